//! Setting thresholds: what holds, what others would have done, and the manual that says how.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Output;

use serde_json::Value;

use crate::support::{run, stdout};

/// The demo fleet's configuration; it is only read.
pub fn demo() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-fleet/cowlwatch.toml")
}

/// What a command that succeeded said, as JSON.
pub fn object(out: &Output) -> Value {
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stderr));
    serde_json::from_str(&stdout(out)).unwrap()
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
    assert!(stdout(&out).contains("No difference: "), "{}", stdout(&out));
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
    let text = stdout(&out);
    assert!(text.lines().count() <= 40 && text.lines().all(|line| line.chars().count() <= 80), "{text}");
    let page = fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert!(page.starts_with("<!DOCTYPE html>") && page.contains("with.toml") && !page.contains("http://www.example"));
    // No bar in a pipe.
    assert_eq!(String::from_utf8_lossy(&out.stderr), "");
}

/// Where the evidence decided otherwise, the page shows it: the line and both limits.
#[test]
fn the_page_has_a_chart_where_a_rate_alert_differs() {
    let folder = tempfile::tempdir().unwrap();
    let set = ["--set", "consumption.false_alarms_per_1000_h=5", "--html", "page.html", "--json"];
    let value = object(&replay(folder.path(), "", &set));
    let moved = |engine: &&Value| {
        let pairs = engine["alerts"].as_array().unwrap().iter();
        pairs.filter(|p| p["kind"] == "oil-rate-rise").any(|p| p["later_days"] != 0.0)
    };
    let engines = value["engines"].as_array().unwrap().iter().filter(moved).count();
    let page = fs::read_to_string(folder.path().join("page.html")).unwrap();
    assert!(engines > 0);
    assert_eq!(page.matches("evidence of a rise and the limit").count(), engines);
    // 5 instead of 0.3 per 1000 h.
    let expected = &value["false_alarms"];
    let ratio = expected["other_per_1000_h"].as_f64().unwrap() / expected["today_per_1000_h"].as_f64().unwrap();
    assert!((ratio - 5.0 / 0.3).abs() < 0.1, "{expected}");
}

/// A setting on the command line is a configuration of one line: the same result, the same refusals.
#[test]
fn set_does_what_a_file_with_the_same_line_does() {
    let folder = tempfile::tempdir().unwrap();
    let strip = |mut value: Value| {
        value["with"] = Value::Null;
        value
    };
    let file = object(&replay(folder.path(), "[flight]\ncooling_f_per_min = 300\n", &["--json"]));
    let set = object(&replay(folder.path(), "", &["--set", "flight.cooling_f_per_min=300", "--json"]));
    assert_eq!(set["with"], "with.toml, flight.cooling_f_per_min=300");
    assert_eq!(strip(file), strip(set));
    // Over the file where both set it, and for one tail.
    let both = ["--set", "flight.cooling_f_per_min=60", "--set", "tail.N02KM.break_in.oil=any", "--json"];
    let value = object(&replay(folder.path(), "[flight]\ncooling_f_per_min = 300\n", &both));
    let tails = value["engines"].as_array().unwrap().iter().filter(|e| e["choice"] != "either");
    assert!(tails.map(|e| e["tail"].as_str().unwrap().to_owned()).all(|tail| tail == "N02KM"), "{value}");
}

#[test]
fn set_is_refused_in_the_words_of_the_configuration() {
    let folder = tempfile::tempdir().unwrap();
    for (written, said) in [
        (
            "consumption.smallest_chnge=2",
            "unknown key consumption.smallest_chnge, expected the nearest known key smallest_change",
        ),
        ("ground.in_service_min=-3", "ground.in_service_min = -3, expected 1 to 480 minutes"),
        ("break_in.cht_max_f=216", "break_in.cht_max_f = 216, expected 250 to 550 °F; 216 °C would be 420.8"),
        ("ground.in_service_min=5", "ground.in_service_min = 5, expected no less than ground.break_in_min = 10"),
        ("levels.cht-high=red", "levels.cht-high = \"red\", expected one of \"advisory\", \"caution\", \"warning\""),
        ("consumption.smallest_change", "no = in it, expected KEY=VALUE, such as consumption.smallest_change=2"),
        ("digest.schedule=0 7 * * *", "digest.schedule is no threshold, expected a key of one of \"consumption\""),
        ("smallest_change=2", "smallest_change is no threshold, expected a key of one of \"consumption\""),
    ] {
        let out = replay(folder.path(), "", &["--set", written]);
        assert_eq!(out.status.code(), Some(78), "{written}");
        let err = String::from_utf8_lossy(&out.stderr).into_owned();
        assert!(err.contains(&format!("--set {written}: {said}")), "{written}: {err}");
    }
    let config = demo();
    let alone = run(folder.path(), &["replay", "--config", config.to_str().unwrap(), "--html", "page.html"]);
    assert_eq!(alone.status.code(), Some(64));
}

/// The rise of the demo's left engine: what would have kept it away was tried, and so it holds in a replay.
#[test]
fn an_alert_tells_what_would_have_kept_it_away() {
    let folder = tempfile::tempdir().unwrap();
    let config = demo();
    let config = config.to_str().unwrap();
    let list = run(folder.path(), &["alerts", "--config", config, "--json", "--as-of", "2026-02-20"]);
    let list = object(&list);
    let rise = list.as_array().unwrap().iter().find(|a| a["kind"] == "oil-rate-rise").unwrap();
    let number = rise["number"].to_string();
    let shown = stdout(&run(folder.path(), &["alerts", &number, "--config", config, "--as-of", "2026-02-20"]));
    for part in ["Evidence of a rise", "◆", "It would not have come", "With consumption.", "qt less been poured since"]
    {
        assert!(shown.contains(part), "{part}: {shown}");
    }
    assert!(shown.lines().all(|line| line.chars().count() <= 100), "{shown}");
    let full = object(&run(folder.path(), &["alerts", &number, "--config", config, "--as-of", "2026-02-20", "--json"]));
    let course = full[0]["course"].as_array().unwrap();
    let over = |point: &Value| point["value"].as_f64() >= point["limit"].as_f64();
    let first = course.iter().position(over).unwrap();
    // The course has a point after each flight; the alert came at the look before the first one over the limit.
    let (at, hours) = (rise["hours"].as_f64().unwrap(), |i: usize| course[i]["hours"].as_f64().unwrap());
    assert!(hours(first - 1) <= at && at < hours(first), "{at}: {} {}", hours(first - 1), hours(first));
    let settings = full[0]["otherwise"]["settings"].as_array().unwrap();
    let nearest = &settings[0];
    let set = format!("{}={}", nearest["key"].as_str().unwrap(), nearest["value"]);
    let config_arguments = ["replay", "--config", config, "--to", "2026-02-20", "--json", "--set", &set];
    let compared = object(&run(folder.path(), &config_arguments));
    let engine = compared["engines"].as_array().unwrap().iter().find(|e| e["serial"] == rise["serial"]).unwrap();
    let rises: Vec<_> = engine["alerts"].as_array().unwrap().iter().filter(|a| a["kind"] == "oil-rate-rise").collect();
    assert!(rises.iter().any(|a| a["other"].is_null() && !a["today"].is_null()), "{set}: {rises:?}");
}

/// A limit on one number: the threshold beside the value that was measured.
#[test]
fn a_simple_limit_tells_where_it_would_have_had_to_be() {
    let folder = tempfile::tempdir().unwrap();
    let config = demo();
    let config = config.to_str().unwrap();
    let list = object(&run(folder.path(), &["alerts", "--config", config, "--json", "--all", "--as-of", "2026-02-20"]));
    let long =
        list.as_array().unwrap().iter().find(|a| a["kind"] == "ground-run-long" && a["evidence"]["limit_min"] == 25.0);
    let long = long.unwrap();
    let minutes = long["evidence"]["minutes"].as_f64().unwrap();
    let number = long["number"].to_string();
    let full = object(&run(folder.path(), &["alerts", &number, "--config", config, "--as-of", "2026-02-20", "--json"]));
    let settings = full[0]["otherwise"]["settings"].as_array().unwrap();
    let own = settings.iter().find(|s| s["key"] == "ground.in_service_min").unwrap();
    let value = own["value"].as_f64().unwrap();
    assert!(value >= minutes && value <= minutes + 1.5, "{value} for {minutes} min");
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
