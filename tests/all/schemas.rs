//! What programs read fits its schema.
//!
//! Outside check: the Python package jsonschema (draft 2020-12). The schemas name every key and allow no other, so
//! that one added, renamed or gone shows here first.

use std::path::{Path, PathBuf};
use std::process::Command;

use crate::support::{copy_demo, run};
use crate::tools;

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/all/schemas")
}

/// What the validator says of outputs, each with its schema.
fn said(at: &Path, outputs: &[(&str, String)]) -> String {
    let mut command = Command::new(tools::python());
    command.arg(tools::helper("check_json.py")).arg(folder());
    for (number, (schema, text)) in outputs.iter().enumerate() {
        let file = at.join(format!("{number}.json"));
        std::fs::write(&file, text).unwrap();
        command.arg(schema).arg(file);
    }
    tools::must(&mut command)
}

#[test]
fn every_output_for_programs_fits_its_schema() {
    let folder = copy_demo();
    let at = folder.path();
    // A tail nobody has described yet, for the proposal of `check`.
    let new = at.join("demo-fleet/fleet/N09KM");
    std::fs::create_dir(&new).unwrap();
    std::fs::copy(at.join("demo-fleet/fleet/N01KM/logbook.csv"), new.join("logbook.csv")).unwrap();
    let output = |args: &[&str]| {
        let mut all = args.to_vec();
        all.extend(["--json", "--config", "demo-fleet/cowlwatch.toml"]);
        let output = run(at, &all);
        assert!(matches!(output.status.code(), Some(0 | 1 | 65)), "{args:?}: {output:?}");
        String::from_utf8(output.stdout).unwrap()
    };
    let morning = ["--as-of", "2026-03-12T06:00"];
    output(&["scan", "--as-of", "2026-02-01T06:00"]);
    let list = output(&["alerts", morning[0], morning[1]]);
    let alerts: serde_json::Value = serde_json::from_str(&list).unwrap();
    let mut outputs = vec![
        ("scan.json", output(&["scan", morning[0], morning[1]])),
        ("scan.json", output(&["replay", "--to", "2026-10-31"])),
        ("status.json", output(&["status", morning[0], morning[1]])),
        ("status.json", output(&["status", "N03KM", morning[0], morning[1]])),
        ("alerts.json", list),
        ("alerts.json", output(&["alerts", "--all", morning[0], morning[1]])),
        ("compare.json", output(&["replay", "--to", "2026-10-31", "--set", "consumption.smallest_change=3"])),
        ("check.json", output(&["check"])),
        ("explain.json", output(&["check", "--explain"])),
        ("explain.json", output(&["check", "--explain", "N03KM"])),
    ];
    let rise = alerts.as_array().unwrap().iter().find(|a| a["kind"] == "oil-rate-rise").unwrap();
    outputs.push(("alert.json", output(&["alerts", &rise["number"].to_string(), morning[0], morning[1]])));
    let said = said(at, &outputs);
    assert_eq!(said, "");
    let checked: serde_json::Value = serde_json::from_str(&outputs[7].1).unwrap();
    assert_eq!(checked["proposed"].as_array().unwrap().len(), 1);
}

/// The validator is really asked: a key nobody named is told, and one that is gone.
#[test]
fn the_validator_tells_a_key_too_many_and_one_too_few() {
    let folder = tempfile::tempdir().unwrap();
    let wrong = "{\"as_of\": \"2026-03-12\", \"files\": {}, \"engines\": [], \"more\": 1}".to_owned();
    let said = said(folder.path(), &[("scan.json", wrong)]);
    for part in ["'more' was unexpected", "'alerts' is a required property", "as_of: '2026-03-12' does not match"] {
        assert!(said.contains(part), "{part}: {said}");
    }
}
