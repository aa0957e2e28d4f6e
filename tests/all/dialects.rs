//! One log in the ways spreadsheets, scripts and people write it: all must read to the same records.
//!
//! The files are made by `dialects/make.py` with Python's csv module, pandas, openpyxl, xlsxwriter
//! and odfpy, and some of them saved again by LibreOffice (`dialects/libreoffice.sh`); the records below are typed by hand from the table in that script.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fs::{self, File};
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use cowlwatch::records::aircraft::parse;
use cowlwatch::records::layout::{Layouts, Shape};
use cowlwatch::records::propose::{TextShape, propose};
use cowlwatch::records::table::{Sheet, workbook};
use cowlwatch::records::{Aircraft, LogEntry, logbook};
use cowlwatch::shell;

use crate::support::PROGRAM;

const EXPECTED: [&str; 17] = [
    "2026-02-26 09:10 left oil-level level 9.50",
    "2026-02-26 09:10 right oil-level level 9.00",
    "2026-02-26 09:10 flight hours 1483.50 length 1.20 charter",
    "2026-02-27 08:00 left oil-level level 9.00",
    "2026-02-27 08:00 right oil-added quantity 1.00 level 8.50",
    "2026-02-27 08:00 flight hours 1484.90 length 1.40 charter: naïve: 5 °C",
    "2026-03-01 09:15 left oil-added quantity 1.00 level 8.50",
    "2026-03-01 09:15 right oil-level level 9.00",
    "2026-03-01 09:15 flight hours 1486.00 length 1.10 training",
    "2026-03-01 14:05 flight hours 1487.30 length 1.30 charter: wind \"gusty\"; late, then calm",
    "2026-03-02 07:30 left oil-level level 9.00",
    "2026-03-02 07:30 right oil-added quantity 0.50 level 8.50",
    "2026-03-02 07:30 flight hours 1489.00 length 1.70 ferry",
    "2026-03-13 10:00 left oil-added quantity 1.50 level 8.00",
    "2026-03-13 10:00 right oil-level level 8.50",
    "2026-03-13 10:00 flight hours 1490.50 length 1.50 charter: left cowl wiped",
    "2026-04-05 16:45 left oil-level level 9.00, 2026-04-05 16:45 right oil-level level 9.00, \
     2026-04-05 16:45 flight hours 1491.60 length 1.10 charter",
];

const AIRCRAFT: &str = "tail = \"N0417H\"\nmeter = \"tach\"\n\
    [[engine]]\nposition = \"left\"\nserial = \"H-2207\"\nmodel = \"H6-350T\"\n\
    [[engine]]\nposition = \"right\"\nserial = \"H-2208\"\nmodel = \"H6-350T\"\n";

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/all/dialects")
}

fn aircraft(layout: &str) -> Aircraft {
    let (aircraft, problems) = parse(&format!("{AIRCRAFT}{layout}"), "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(problems, [], "{layout}");
    aircraft.unwrap()
}

fn shown(entry: &LogEntry) -> String {
    let mut text = format!(
        "{} {}",
        entry.stamp.date,
        entry.stamp.time.map_or("--:--".to_owned(), |t| t.format("%H:%M").to_string())
    );
    let mut add = |name: &str, value: Option<f64>| value.into_iter().for_each(|v| text += &format!(" {name} {v:.2}"));
    let engine = entry.engine.as_deref().map_or(String::new(), |e| format!(" {e}"));
    add("hours", entry.hours.map(|h| h.get()));
    add("length", entry.flight_hours.map(|h| h.get()));
    add("quantity", entry.quantity.map(|q| q.get()));
    add("level", entry.level.map(|q| q.get()));
    let (when, rest) = text.split_at(16);
    let mut text = format!("{when}{engine} {}{rest}", entry.kind.word());
    if let Some(service) = &entry.service {
        text += &format!(" {service}");
    }
    if let Some(remarks) = &entry.remarks {
        text += &format!(": {}", remarks.replace('\n', " "));
    }
    assert!(entry.oil.is_none() && entry.result.is_none() && entry.serial.is_none() && entry.alert.is_none());
    text
}

#[test]
fn every_dialect_reads_to_the_same_records() {
    let mut seen = 0;
    let mut files: Vec<PathBuf> = fs::read_dir(folder()).unwrap().map(|e| e.unwrap().path()).collect();
    files.sort();
    for path in files {
        let name = path.file_name().unwrap().to_str().unwrap();
        if [".py", ".sh", ".toml"].iter().any(|ending| name.ends_with(ending)) {
            continue;
        }
        let layout = fs::read_to_string(folder().join(format!("{name}.toml"))).unwrap_or_default();
        let aircraft = aircraft(&layout);
        let layout = aircraft.logbooks.first();
        let shape = logbook::shape(layout);
        let sheet = if name.ends_with(".csv") {
            Sheet::from_text(&fs::read(&path).unwrap(), &shape)
        } else {
            let inside = workbook::read(&fs::read(&path).unwrap(), &shape);
            let apart = shell::workbook::read_with(Path::new(PROGRAM), File::open(&path).unwrap(), &shape).unwrap();
            assert_eq!(inside, apart, "{name}");
            inside
        };
        let (entries, rejections) = logbook::read(&sheet, name, layout, &aircraft, Tz::America__Denver);
        let shown: Vec<String> = entries.iter().map(shown).collect();
        assert_eq!(rejections, [], "{name}");
        assert_eq!(shown.join(", "), EXPECTED.join(", "), "{name}");
        seen += 1;
    }
    assert!(seen >= 50, "{seen} dialects");
}

/// What `cowlwatch layout` proposes for a sheet nobody has described must be a valid table, and read
/// the sheet as its description does.
#[test]
fn proposed_layouts_read_to_the_same_records() {
    for name in [
        "flights.csv",
        "flights.xlsx",
        "flights.ods",
        "flights-cells.csv",
        "flights-litres.csv",
        "shuffled.csv",
        "second-sheet.xlsx",
        "month-names.csv",
        "semicolons.csv",
        "grouped.xlsx",
        "grouped.csv",
        "libreoffice-grouped.ods",
        "groups-above.xlsx",
        "libreoffice-groups-above.csv",
    ] {
        let bytes = fs::read(folder().join(name)).unwrap();
        let mut shape = Shape::default();
        let (sheet, text) = if name.ends_with(".csv") {
            (Sheet::from_text(&bytes, &shape), TextShape::of(&bytes))
        } else {
            shape.sheet = (name == "second-sheet.xlsx").then(|| "2026".to_owned());
            (workbook::read(&bytes, &shape), TextShape::default())
        };
        let proposal = propose(&sheet, name, &text, Some(&aircraft(""))).unwrap();
        let mut toml = proposal.toml();
        if name == "flights-litres.csv" {
            // No column of that sheet says litres; the proposal asks.
            assert!(toml.contains("# check: oil columns name no unit"), "{toml}");
            toml = toml.replace("[logbook.oil.left]", "[logbook.oil.left]\nunit = \"l\"");
            toml = toml.replace("[logbook.oil.right]", "[logbook.oil.right]\nunit = \"l\"");
        }
        if let Some(sheet) = &shape.sheet {
            toml = toml.replace("[[logbook]]", &format!("[[logbook]]\nsheet = \"{sheet}\""));
        }
        let aircraft = aircraft(&toml);
        let layout = &aircraft.logbooks[0];
        let sheet = match name.ends_with(".csv") {
            true => Sheet::from_text(&bytes, &layout.shape),
            false => workbook::read(&bytes, &layout.shape),
        };
        let (entries, rejections) = logbook::read(&sheet, name, Some(layout), &aircraft, Tz::America__Denver);
        assert_eq!(rejections, [], "{name}\n{toml}");
        let shown: Vec<String> = entries.iter().map(shown).collect();
        assert_eq!(shown.join(", "), EXPECTED.join(", "), "{name}\n{toml}");
    }
}
