//! Files copied so slowly that they are looked at many times before they are whole.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fmt::Write as _;
use std::fs::{self, OpenOptions};
use std::io::Write as _;
use std::path::Path;

use serde_json::Value;

use crate::fuzz::readers::Chance;
use crate::support::{run, stdout};

const CONFIGURATION: &str =
    "[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\ntime_zone = \"America/Denver\"\n";
const MODELS: &str = "[[model]]\nname = \"K6-250\"\nrated_hp = 250\nrated_rpm = 2700\ncylinders = 6\noil_capacity_qt = 12\n\
                      oil_minimum_qt = 7\ncht_max_f = 460\nmanifold_max_inhg = 30\n";
const AIRCRAFT: &str = "tail = \"N0417H\"\nmeter = \"tach\"\nmeter_at_start = 1000.0\n\n[[engine]]\nserial = \"H-2207\"\n\
                        model = \"K6-250\"\nhours_at_start = 1000.0\nsince = \"overhaul\"\nhours_since = 600.0\noil = \"AD 50\"\n";

/// Flights with dips and additions, an overdue oil change and metal; readings with digits that matter when cut off.
fn log() -> String {
    let mut text =
        String::from("date,time,engine,hours,entry,quantity,level,oil,flight_hours,service,result,remarks\n");
    for day in 1..=28 {
        let hours = 1000.0 + f64::from(day) * 2.5;
        let level = if day % 3 == 0 { "8.5" } else { "10.25" };
        let (entry, added) = if day % 3 == 0 { ("oil-added", "1.75") } else { ("oil-level", "") };
        writeln!(text, "2026-03-{day:02},08:00,,{:.1},{entry},{added},{level},AD 50,,,,", hours - 2.5).unwrap();
        writeln!(text, "2026-03-{day:02},10:45,,{hours:.1},flight,,,,2.5,charter,,").unwrap();
        if day == 20 {
            writeln!(text, "2026-03-{day},16:00,,{hours:.1},filter-inspected,,,,,,metal,").unwrap();
        }
    }
    text
}

/// A ground run that is too long and too hot, then a flight.
fn recording() -> String {
    let mut text = String::from("time,rpm,manifold_inhg,ias_kt,alt_ft,oil_temp_f,cht1_f,cht2_f\n");
    for s in 0..2000 {
        let at = chrono::DateTime::from_timestamp(1_774_728_000 + s, 0).unwrap().format("%Y-%m-%dT%H:%M:%SZ");
        let (rpm, inhg, kt) = if s < 1700 { (1500, "15.0", "0.0") } else { (2680, "28.5", "105.5") };
        writeln!(text, "{at},{rpm},{inhg},{kt},{},185,{},455.5", 5000 + (s - 1700).max(0) * 10, 430 + s % 5).unwrap();
    }
    text
}

/// A fleet of one aircraft; gives what a scan says.
struct Fleet(tempfile::TempDir);

impl Fleet {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir_all(folder.path().join("fleet/N0417H/monitor")).unwrap();
        fs::write(folder.path().join("cowlwatch.toml"), CONFIGURATION).unwrap();
        fs::write(folder.path().join("engines.toml"), MODELS).unwrap();
        fs::write(folder.path().join("fleet/N0417H/aircraft.toml"), AIRCRAFT).unwrap();
        Self(folder)
    }

    fn file(&self, name: &str) -> std::path::PathBuf {
        self.0.path().join("fleet/N0417H").join(name)
    }

    fn scan(&self, more: &[&str]) -> Value {
        let moment = ["scan", "--config", "cowlwatch.toml", "--as-of", "2026-03-29T06:30", "--json"];
        let output = run(self.0.path(), &[&moment[..], more].concat());
        assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
        serde_json::from_str(&stdout(&output)).unwrap()
    }
}

/// What matters of an answer: the engines, and the alerts that stand, without the numbers given on the way.
fn stands(said: &Value) -> (Value, Vec<String>) {
    let open = said["alerts"].as_array().unwrap().iter().filter(|a| a["closed"].is_null() && a["state"] != "closed");
    let mut alerts: Vec<String> =
        open.map(|a| format!("{} {} {} {}", a["kind"], a["level"], a["raised"], a["evidence"])).collect();
    alerts.sort();
    (said["engines"].clone(), alerts)
}

/// What a text says as far as it has come over: whole rows, and a row that has all its cells without its last one,
/// which may lack digits.
fn rows(text: &str, cut: usize) -> String {
    let there = &text[..cut];
    if text[cut..].starts_with('\n') {
        return there.to_owned();
    }
    let (whole, last) = there.split_at(there.rfind('\n').map_or(0, |end| end + 1));
    let commas = |line: &str| line.matches(',').count();
    match last.rfind(',') {
        Some(at) if !whole.is_empty() && text.lines().next().map(commas) == Some(commas(last)) => {
            format!("{whole}{}\n", &last[..=at])
        }
        _ => whole.to_owned(),
    }
}

#[test]
fn no_finding_rests_on_a_row_that_is_not_there_yet() {
    let (slow, clean) = (Fleet::new(), Fleet::new());
    let files = [("logbook.csv", log()), ("monitor/a.csv", recording())];
    let mut chance = Chance(20_261_126);
    let mut seen = Vec::new();
    for (name, text) in &files {
        let mut cut = 0;
        while cut < text.len() {
            // Mostly a few rows; now and then a few bytes.
            let most = if chance.below(3) == 0 { 20 } else { text.len() / 6 };
            let step = 1 + chance.below(most);
            let next = (cut + step).min(text.len());
            let mut file = OpenOptions::new().create(true).append(true).open(slow.file(name)).unwrap();
            file.write_all(&text.as_bytes()[cut..next]).unwrap();
            cut = next;
            drop(file);
            // Not a word on a header that is not there yet.
            let whole = rows(text, cut);
            if whole.is_empty() {
                continue;
            }
            fs::write(clean.file(name), whole).unwrap();
            let (now, expected) = (stands(&slow.scan(&[])), stands(&clean.scan(&["--dry-run"])));
            assert_eq!(now, expected, "{name} cut at {cut}: …{:?}", &text[cut.saturating_sub(60)..cut]);
            seen.extend(now.1);
        }
    }
    // The final state is that of a clean read, and there was something to find.
    let fresh = Fleet::new();
    for (name, text) in &files {
        fs::write(fresh.file(name), text).unwrap();
    }
    let expected = stands(&fresh.scan(&[]));
    assert_eq!(stands(&slow.scan(&[])), expected);
    for kind in ["metal-found", "ground-run-long"] {
        assert!(expected.1.iter().any(|a| a.contains(kind)), "{kind}: {expected:?}");
    }
    assert!(Path::new(&slow.file("logbook.csv")).exists() && seen.len() > 10);
}
