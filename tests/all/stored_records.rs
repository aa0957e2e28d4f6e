//! Records that another version of the program stored: read again, or said to be missing; never in the way.

use std::fs;
use std::path::Path;

use rusqlite::Connection;
use serde_json::Value;

use crate::support::{copy_demo, run};

const AS_OF: &str = "2026-10-31T06:30";

/// One round: what it says to programs, and what it says on the side.
fn scan(folder: &Path) -> (Value, String) {
    let out = run(folder, &["scan", "--config", "demo-fleet/cowlwatch.toml", "--as-of", AS_OF, "--json"]);
    let journal = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(out.status.success(), "{journal}");
    (serde_json::from_slice(&out.stdout).unwrap(), journal)
}

/// Changes what is stored behind the program's back.
fn alter(folder: &Path, sql: &str) {
    let state = folder.join("demo-fleet/state/cowlwatch.sqlite");
    assert!(Connection::open(state).unwrap().execute(sql, []).unwrap() > 0);
}

/// Two of the demo's aircraft, looked at once.
fn two() -> (tempfile::TempDir, Value) {
    let folder = copy_demo();
    for entry in fs::read_dir(folder.path().join("demo-fleet/fleet")).unwrap() {
        let path = entry.unwrap().path();
        if !path.ends_with("N04KM") && !path.ends_with("N05KM") {
            fs::remove_dir_all(path).unwrap();
        }
    }
    scan(folder.path());
    let (settled, _) = scan(folder.path());
    assert_eq!(settled["files"]["read"], 0, "{settled}");
    (folder, settled)
}

fn of_tail<'a>(said: &'a Value, tail: &str) -> Vec<&'a Value> {
    said["alerts"].as_array().unwrap().iter().filter(|a| a["tail"] == tail).collect()
}

/// One byte too many is a shape with one field more; one too few, or none, a shape with one field less.
#[test]
fn records_of_another_shape_are_read_again_before_anything_is_judged() {
    for sql in [
        "UPDATE contents SET records = CAST(records || x'00' AS BLOB)",
        "UPDATE contents SET records = substr(records, 1, length(records) - 1)",
        "UPDATE contents SET records = x''",
        "UPDATE files SET reader = reader + 1",
    ] {
        let (folder, before) = two();
        alter(folder.path(), sql);
        let (after, journal) = scan(folder.path());
        let lines = journal.lines().filter(|l| l.contains("another version")).count();
        assert_eq!(lines, if sql.contains("records") { 2 } else { 0 }, "{sql}: {journal}");
        assert_eq!(after["files"]["read"], before["files"]["unchanged"], "{sql}: {after}");
        assert_eq!(after["alerts"], before["alerts"], "{sql}");
        assert_eq!(scan(folder.path()).1.matches("another version").count(), 0);
    }
}

#[test]
fn a_folder_away_at_that_moment_is_asked_for_and_the_others_are_judged() {
    let (folder, before) = two();
    let (there, away) = (folder.path().join("demo-fleet/fleet/N04KM"), folder.path().join("away"));
    fs::rename(&there, &away).unwrap();
    alter(folder.path(), "UPDATE contents SET records = CAST(records || x'00' AS BLOB)");
    let (after, journal) = scan(folder.path());
    assert!(journal.contains("another version"), "{journal}");
    assert_eq!(of_tail(&after, "N05KM"), of_tail(&before, "N05KM"));
    let kinds: Vec<_> = of_tail(&after, "N04KM").iter().map(|a| a["kind"].as_str().unwrap()).collect();
    assert!(kinds.contains(&"aircraft-missing") && kinds.contains(&"file-rejected"), "{kinds:?}");
    // Back again, it is read whole, and what is open of it is what was open.
    fs::rename(&away, &there).unwrap();
    scan(folder.path());
    let (back, _) = scan(folder.path());
    let open = |said: &Value| -> Vec<String> {
        of_tail(said, "N04KM").iter().map(|a| format!("{} {}", a["number"], a["kind"])).collect()
    };
    assert_eq!(open(&back), open(&before));
}

/// Pictures are stored apart: one that cannot be read leaves its place empty until its recording is read again.
#[test]
fn pictures_of_another_shape_are_made_again() {
    let (folder, before) = two();
    alter(folder.path(), "UPDATE strips SET strip = CAST(strip || x'00' AS BLOB)");
    let (after, journal) = scan(folder.path());
    assert!(journal.contains("stored pictures"), "{journal}");
    assert_eq!(after["alerts"], before["alerts"]);
    let (again, journal) = scan(folder.path());
    assert!(again["files"]["read"].as_u64() > Some(0) && !journal.contains("stored pictures"), "{again} {journal}");
}
