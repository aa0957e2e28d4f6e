//! What is fuzzed: each reader of files with one input, and what must hold of its answer.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a broken promise ends the run")]

use std::fs;
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use cowlwatch::config::{load_partly, models};
use cowlwatch::records::layout::{Layouts, Shape};
use cowlwatch::records::monitor::{RecordedEngine, ReduceContext, Reducer, Way};
use cowlwatch::records::propose::{TextShape, propose};
use cowlwatch::records::table::{Sheet, fully_there, workbook};
use cowlwatch::records::{Aircraft, Rejection, aircraft, logbook};

/// A reader, and the beginnings its inputs are made from.
#[derive(Clone, Debug)]
pub struct Reader {
    pub name: &'static str,
    pub read: fn(&[u8]),
    pub seeds: Vec<Vec<u8>>,
}

/// Every reader of what comes from outside.
pub fn readers() -> Vec<Reader> {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    let dialects = files(&here.join("tests/all/dialects"));
    let of = |ends: &[&str]| -> Vec<Vec<u8>> {
        let picked = dialects.iter().filter(|p| ends.iter().any(|e| p.to_string_lossy().ends_with(e)));
        picked.map(|p| fs::read(p).unwrap()).collect()
    };
    let mut recordings: Vec<PathBuf> = files(&here.join("demo-fleet/fleet"));
    recordings.retain(|p| p.components().any(|c| c.as_os_str() == "monitor"));
    let short = |p: &PathBuf| fs::read(p).unwrap().into_iter().take(6_000).collect();
    let mut tables = files(&here.join("demo-fleet"));
    tables.extend(files(&here.join("config")));
    tables.retain(|p| p.extension().is_some_and(|e| e == "toml"));
    vec![
        Reader { name: "logbook", read: log, seeds: of(&[".csv"]) },
        Reader { name: "recording", read: recording, seeds: recordings.iter().step_by(7).map(short).collect() },
        Reader { name: "workbook", read: book, seeds: of(&[".xlsx", ".ods"]) },
        Reader { name: "tables", read: tables_of, seeds: tables.iter().map(|p| fs::read(p).unwrap()).collect() },
    ]
}

/// All files under a folder, in order.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in fs::read_dir(folder).unwrap().map(|e| e.unwrap().path()) {
        if entry.is_dir() {
            found.extend(files(&entry));
        } else {
            found.push(entry);
        }
    }
    found.sort();
    found
}

/// A twin; a layout may be added.
pub const TWIN: &str = r#"
tail = "N0417H"
meter = "tach"
[[engine]]
position = "left"
serial = "H-2207"
model = "H6-350T"
[[engine]]
position = "right"
serial = "H-2208"
model = "H6-350T"
"#;

const LAYOUT: &str = r#"
[[logbook]]
per = "flight"
date = { columns = ["Date", "Off"] }
columns = { hours = "Tach in", flight_hours = "Time", service = "Type", remarks = "Notes" }
[logbook.oil]
left = { added = "Oil L", level = "Dip L", unit = "l" }
right = { added = "Oil R", level = "Dip R" }
"#;

fn twin() -> Aircraft {
    aircraft::parse(&format!("{TWIN}{LAYOUT}"), "N0417H/aircraft.toml", &Layouts::default()).0.unwrap()
}

/// A message names a place, and says what and what was expected, on one line.
pub fn proper(rejections: &[Rejection]) {
    for rejection in rejections {
        assert!(!rejection.found.is_empty() && !rejection.expected.is_empty(), "{rejection:?}");
        assert!(!rejection.to_string().contains(['\n', '\0']), "{rejection:?}");
    }
}

fn sheet(sheet: &Sheet, bytes: &[u8]) {
    let aircraft = twin();
    for layout in [None, aircraft.logbooks.first()] {
        let (_, rejections) = logbook::read(sheet, "N0417H/logbook.csv", layout, &aircraft, Tz::America__Denver);
        proper(&rejections);
    }
    if let Ok(proposal) = propose(sheet, "logbook.csv", &TextShape::of(bytes), Some(&aircraft)) {
        let toml = proposal.toml();
        assert!(toml.parse::<toml::Table>().is_ok(), "{toml}");
    }
}

fn log(bytes: &[u8]) {
    assert!(bytes.starts_with(fully_there(bytes)));
    sheet(&Sheet::from_text(bytes, &Shape::default()), bytes);
}

/// Both ways through a recording say the same.
fn recording(bytes: &[u8]) {
    let engine = |position: &str| RecordedEngine::new(Some(position.into()), None);
    let single = vec![RecordedEngine::new(None, None)];
    for engines in [single, vec![engine("left"), engine("right")]] {
        let context = ReduceContext::new(Tz::America__Denver, engines);
        let mut reducer = Reducer::default();
        let mut by = |way| reducer.reduce_by(way, bytes, "a.csv", None, &context);
        let (fast, plain) = (by(Way::Fast), by(Way::Csv));
        // As text, so that a value that is no number equals itself.
        assert_eq!(format!("{fast:?}"), format!("{plain:?}"));
        assert!(fast.0.iter().all(|run| run.running_s >= 0.0 && run.start <= run.end), "{:?}", fast.0);
        proper(&fast.1);
    }
}

/// In this process: what the child does with inputs too small to be bombs.
fn book(bytes: &[u8]) {
    let read = workbook::read(bytes, &Shape::default());
    sheet(&read, bytes);
}

fn tables_of(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let (config, problems) = load_partly(&text, "cowlwatch.toml", Path::new("/nowhere"));
    proper(&problems);
    let (models, problems) = models::parse(&text, "engines.toml");
    proper(&problems);
    if let Some(config) = config {
        let _ = config.with_models(&models);
    }
    proper(&aircraft::parse(&text, "N0417H/aircraft.toml", &Layouts::default()).1);
}

/// A small, fast source of chance (xorshift64*).
#[derive(Clone, Debug)]
pub struct Chance(pub u64);

impl Chance {
    pub fn below(&mut self, n: usize) -> usize {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        ((self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) as usize) % n.max(1)
    }
}

const PIECES: [&str; 44] = [
    "\"",
    "\"\"",
    ",",
    ";",
    "\t",
    "\n",
    "\r\n",
    "\r",
    "\0",
    "-",
    "+",
    ".",
    "0",
    "9999999999999999999",
    "1e999",
    "NaN",
    "-0.0",
    "2026-03-01T14:05:33Z",
    "2026-11-01T01:30:00",
    "1969-12-31T23:59:59Z",
    "9999-12-31T23:59:59Z",
    "24:00",
    "½",
    "1 1/2",
    "\u{feff}",
    "\u{202e}",
    "sep=;",
    "[[engine]]",
    "[tail.N0417H.ground]\n",
    "= ",
    "inf",
    "\"\"\"",
    "#",
    "'",
    "{",
    "}",
    "[",
    "]",
    "date",
    "time",
    "rpm",
    "left.rpm",
    "46082.5",
    "a\u{300}",
];

/// An input made from the seeds.
pub fn input(seeds: &[Vec<u8>], chance: &mut Chance) -> Vec<u8> {
    let mut bytes = seeds[chance.below(seeds.len())].clone();
    for _ in 0..=chance.below(8) {
        let at = chance.below(bytes.len() + 1);
        let reach = 1 << chance.below(9);
        let to = (at + chance.below(reach)).min(bytes.len());
        match chance.below(8) {
            0 if at < bytes.len() => bytes[at] = chance.below(256) as u8,
            1 if at < bytes.len() => bytes[at] ^= 1 << chance.below(8),
            2 => drop(bytes.drain(at..to)),
            3 => {
                let part = bytes[at..to].to_vec();
                let place = chance.below(bytes.len() + 1);
                bytes.splice(place..place, part);
            }
            4 => {
                let other = &seeds[chance.below(seeds.len())];
                let from = chance.below(other.len() + 1);
                let part = other[from..(from + chance.below(300)).min(other.len())].to_vec();
                bytes.splice(at..to, part);
            }
            5 => bytes.truncate(at),
            _ => drop(bytes.splice(at..at, PIECES[chance.below(PIECES.len())].bytes())),
        }
    }
    bytes
}
