//! Setting thresholds: what holds, what others would have done, and the manual that says how.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::support::run;

/// The demo fleet's configuration; it is only read.
fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-fleet/cowlwatch.toml")
}

fn said(out: &Output) -> String {
    String::from_utf8_lossy(&out.stdout).into_owned()
}

fn object(out: &Output) -> Value {
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_str(&said(out)).unwrap()
}

fn replay(folder: &Path, with: &str, more: &[&str]) -> Output {
    fs::write(folder.join("with.toml"), with).unwrap();
    let config = demo();
    let mut arguments = vec!["replay", "--config", config.to_str().unwrap(), "--to", "2026-10-31"];
    arguments.extend(["--with", "with.toml"]);
    arguments.extend(more);
    run(folder, &arguments)
}

#[test]
fn the_same_thresholds_make_no_difference() {
    let folder = tempfile::tempdir().unwrap();
    let out = replay(folder.path(), "[ground]\nin_service_min = 25\n", &[]);
    assert!(said(&out).contains("No difference: "), "{}", said(&out));
}

/// Cooling is a plain comparison with one number, so no alert of it may remain above the highest fall, and
/// with a lower number there can only be more.
#[test]
fn a_threshold_changes_the_alerts_it_is_about_and_no_others() {
    let folder = tempfile::tempdir().unwrap();
    let high = object(&replay(folder.path(), "[flight]\ncooling_f_per_min = 300\n", &["--json"]));
    let kinds = |value: &Value, side: &str, other: &str| -> Vec<String> {
        let engines = value["engines"].as_array().unwrap().iter();
        let pairs = engines.flat_map(|engine| engine["alerts"].as_array().unwrap());
        let only = pairs.filter(|pair| pair[other].is_null() && !pair[side].is_null());
        only.map(|pair| pair["kind"].as_str().unwrap().to_owned()).collect()
    };
    assert!(!kinds(&high, "today", "other").is_empty());
    assert!(kinds(&high, "today", "other").iter().all(|kind| kind == "cooling-fast"));
    assert_eq!(kinds(&high, "other", "today"), [""; 0]);
    let low = object(&replay(folder.path(), "[flight]\ncooling_f_per_min = 20\n", &["--json"]));
    assert_eq!(kinds(&low, "today", "other"), [""; 0]);
    assert!(low["counts"]["other"].as_u64() >= low["counts"]["today"].as_u64());
}

/// Two hours more of grace put an overdue oil change two engine hours later, or out of sight.
#[test]
fn grace_moves_an_overdue_change_by_its_hours() {
    let folder = tempfile::tempdir().unwrap();
    let value = object(&replay(folder.path(), "[break_in]\ngrace_h = 3\n", &["--json"]));
    let mut moved = 0;
    for pair in value["engines"].as_array().unwrap().iter().flat_map(|e| e["alerts"].as_array().unwrap()) {
        if pair["kind"] == "oil-change-overdue" && pair["later_h"].as_f64().is_some_and(|h| h != 0.0) {
            assert_eq!(pair["later_h"], 2.0, "{pair}");
            moved += 1;
        }
    }
    assert!(moved > 0);
}

#[test]
fn the_comparison_is_a_page_too_and_fits_a_screen() {
    let folder = tempfile::tempdir().unwrap();
    let strict = "[flight]\ncooling_f_per_min = 20\npower_step_inhg = 1\n[ground]\nin_service_min = 10\n";
    let out = replay(folder.path(), strict, &["--html", "page.html"]);
    let text = said(&out);
    assert!(text.lines().count() <= 40 && text.lines().all(|line| line.chars().count() <= 100), "{text}");
    let page = fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("with.toml") && !page.contains("http"));
}

#[test]
fn thresholds_that_cannot_hold_are_refused_by_name() {
    let folder = tempfile::tempdir().unwrap();
    let out = replay(folder.path(), "[ground]\nin_servce_min = 25\n", &[]);
    assert_eq!(out.status.code(), Some(78));
    let err = String::from_utf8_lossy(&out.stderr).into_owned();
    assert!(
        err.contains("with.toml:2: unknown key ground.in_servce_min, expected the nearest known key in_service_min")
    );
}

#[test]
fn explain_names_the_line_that_set_a_threshold() {
    let folder = tempfile::tempdir().unwrap();
    let demo = demo();
    let base = demo.parent().unwrap().display();
    let text = format!(
        "[fleet]\nfolder = \"{base}/fleet\"\nmodels = \"{base}/engines.toml\"\nstate = \"state\"\n\
         time_zone = \"America/Denver\"\n[tail.N03KM.ground]\nin_service_min = 30\n"
    );
    fs::write(folder.path().join("c.toml"), text).unwrap();
    let out = run(folder.path(), &["check", "--config", "c.toml", "--explain", "N03KM", "--json"]);
    let value = object(&out);
    let engines = value.as_array().unwrap();
    assert_eq!(engines.len(), 2);
    let row = |key: &str| {
        let rows = engines[0]["thresholds"].as_array().unwrap();
        rows.iter().find(|row| row["key"] == key).unwrap().clone()
    };
    assert_eq!(
        (row("ground.in_service_min")["value"].as_f64(), &row("ground.in_service_min")["from"]),
        (Some(30.0), &"c.toml:7".into())
    );
    assert_eq!(row("ground.first_run_min")["from"], "default");
    let text = said(&run(folder.path(), &["check", "--config", "c.toml", "--explain", "E-0311"]));
    assert!(text.lines().any(|l| l.split_whitespace().collect::<Vec<_>>() == ["ground.in_service_min", "30", "minutes", "c.toml:7"]), "{text}");
    let none = run(folder.path(), &["check", "--config", "c.toml", "--explain", "N0999X"]);
    assert_eq!(none.status.code(), Some(64));
    // Nothing was written.
    assert!(!folder.path().join("state").exists());
}

/// `check` names every problem of the configuration at once and ends with 78; a fault in a log ends with 65.
#[test]
fn check_ends_with_the_code_that_fits() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("c.toml"), "[fleet]\nfolder = 1\ntime_zone = \"Mars\"\n[oil]\n").unwrap();
    let out = run(folder.path(), &["check", "--config", "c.toml"]);
    assert_eq!(out.status.code(), Some(78));
    assert_eq!(said(&out).lines().count(), 3, "{}", said(&out));
    // A mistake in the configuration does not hide what is wrong with the models and the logs.
    let base = demo().parent().unwrap().display().to_string();
    fs::write(folder.path().join("m.toml"), "[[model]]\nname = \"Q4-180\"\n").unwrap();
    let text = format!(
        "[fleet]\nfolder = \"{base}/fleet\"\nmodels = \"m.toml\"\nstate = \"state\"\n\
         time_zone = \"America/Denver\"\n[ground]\nfirst_run_min = 0\n"
    );
    fs::write(folder.path().join("c.toml"), text).unwrap();
    let out = run(folder.path(), &["check", "--config", "c.toml"]);
    assert_eq!(out.status.code(), Some(78));
    for part in ["c.toml:7: ground.first_run_min = 0", "m.toml:1: model.rated_hp is missing", "\"1O qt\""] {
        assert!(said(&out).contains(part), "{part}: {}", said(&out));
    }
    let out = run(folder.path(), &["check", "--config", demo().to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(65));
    assert!(said(&out).contains("\"1O qt\""));
}

#[test]
fn manual_and_completions_name_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let help = said(&run(folder.path(), &["--help"]));
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|word| *word != "help")
        .collect();
    assert!(commands.contains(&"watch") && commands.contains(&"replay"), "{help}");
    let manual = said(&run(folder.path(), &["man"]));
    for command in &commands {
        assert!(manual.contains(&format!(".SS {}", command.replace('-', "\\-"))), "{command}");
    }
    for shell in ["bash", "zsh", "fish"] {
        let completions = said(&run(folder.path(), &["completions", shell]));
        assert!(commands.iter().all(|command| completions.contains(command)), "{shell}");
    }
}
