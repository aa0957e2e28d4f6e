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
    let shown = said(&run(folder.path(), &["alerts", &number, "--config", config, "--as-of", "2026-02-20"]));
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

/// A folder with a log and nothing else is answered with an aircraft.toml to start from; nothing is written.
#[test]
fn check_proposes_an_aircraft_file_where_there_is_none() {
    let folder = crate::support::copy_demo();
    let at = folder.path().join("demo-fleet/fleet/N09KM");
    fs::create_dir(&at).unwrap();
    fs::copy(folder.path().join("demo-fleet/fleet/N03KM/flight log.csv"), at.join("flight log.csv")).unwrap();
    let out = run(folder.path(), &["check", "--config", "demo-fleet/cowlwatch.toml"]);
    assert_eq!(out.status.code(), Some(65));
    let text = said(&out);
    for part in [
        "N09KM: a folder without aircraft.toml",
        "Proposed for ",
        "N09KM/aircraft.toml",
        "tail = \"N09KM\"",
        "position = \"left\"",
        "position = \"right\"",
        "serial = \"\"",
        "[[logbook]]",
    ] {
        assert!(text.contains(part), "{part}: {text}");
    }
    assert_eq!(fs::read_dir(&at).unwrap().count(), 1, "nothing is written");
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

/// The exit codes of the contract, each brought about.
#[test]
fn commands_end_with_the_codes_of_the_contract() {
    let folder = crate::support::copy_demo();
    let at = folder.path();
    let code = |args: &[&str]| {
        let mut all = args.to_vec();
        if !args.contains(&"--config") {
            all.extend(["--config", "demo-fleet/cowlwatch.toml"]);
        }
        run(at, &all).status.code()
    };
    let morning = ["--as-of", "2026-03-12T06:00"];
    assert_eq!(code(&["status", morning[0], morning[1]]), Some(0));
    assert_eq!(code(&["status", morning[0], morning[1], "--fail-on", "caution"]), Some(1));
    assert_eq!(code(&["status", "--as-of", "2025-07-02", "--fail-on", "warning"]), Some(0));
    assert_eq!(code(&["stauts"]), Some(64));
    assert_eq!(code(&["status", "--as-of", "yesterday"]), Some(64));
    assert_eq!(code(&["alerts", "4711", morning[0], morning[1]]), Some(64));
    assert_eq!(code(&["check"]), Some(65));
    assert_eq!(code(&["chart", "E-0311", "--out", "no/such/folder/c.png", morning[0], morning[1]]), Some(73));
    assert_eq!(code(&["replay", "--with", "missing.toml"]), Some(74));
    assert_eq!(code(&["status", "--config", "missing.toml"]), Some(78));
    // Another one runs on this state: it is named.
    let service = crate::reload::Service::start(at, "demo-fleet/cowlwatch.toml");
    service.wait_for(" watching ", 1);
    let busy = run(at, &["scan", "--config", "demo-fleet/cowlwatch.toml", "--as-of", "2025-07-02"]);
    let err = String::from_utf8_lossy(&busy.stderr).into_owned();
    let named = err.contains(&service.child.id().to_string());
    assert_eq!(busy.status.code(), Some(75));
    assert!(named, "{err}");
}

/// Help that teaches: every command a person calls shows how.
#[test]
fn every_command_shows_an_example() {
    let folder = tempfile::tempdir().unwrap();
    let mut without = Vec::new();
    for command in [
        "watch",
        "scan",
        "check",
        "replay",
        "status",
        "alerts",
        "acknowledge",
        "mute",
        "close",
        "digest",
        "mail-test",
        "chart",
        "backup",
        "export",
        "layout",
        "demo",
    ] {
        let help = said(&run(folder.path(), &[command, "--help"]));
        if !help.contains("Example") || !help.contains(&format!("  cowlwatch {command}")) {
            without.push(command);
        }
        // An example must be one the program understands.
        for line in help.lines().filter_map(|line| line.trim().strip_prefix("cowlwatch ")) {
            let words = split(line);
            let words: Vec<&str> =
                words.iter().map(String::as_str).take_while(|w| !matches!(*w, ">" | ">>" | "|")).collect();
            let parsed = cowlwatch::cli::understands(&words);
            assert!(parsed.is_ok(), "{command}: cowlwatch {line}: {parsed:?}");
        }
    }
    assert_eq!(without, [""; 0]);
}

/// Words as a shell takes them apart.
fn split(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), String::new(), None);
    for c in line.chars() {
        match (c, quote) {
            (c, Some(q)) if c == q => quote = None,
            ('"' | '\'', None) => quote = Some(c),
            (' ', None) => words.extend((!word.is_empty()).then(|| std::mem::take(&mut word))),
            (c, _) => word.push(c),
        }
    }
    words.extend((!word.is_empty()).then_some(word));
    words
}

/// A threshold above what the model itself allows, and a dipstick that reads more than the sump holds.
#[test]
fn check_asks_about_limits_no_engine_could_reach_and_readings_no_sump_could_hold() {
    let folder = crate::support::copy_demo();
    let config = folder.path().join("demo-fleet/cowlwatch.toml");
    let text = fs::read_to_string(&config).unwrap();
    fs::write(&config, format!("{text}\n[model.\"Q6T-310\".break_in]\ncht_max_f = 540\n")).unwrap();
    let models = folder.path().join("demo-fleet/engines.toml");
    let written = fs::read_to_string(&models).unwrap();
    fs::write(&models, written.replace("oil_capacity_qt = 8.0", "oil_capacity_qt = 6.0")).unwrap();
    let text = said(&run(folder.path(), &["check", "--config", "demo-fleet/cowlwatch.toml"]));
    let line = fs::read_to_string(&config).unwrap().lines().count();
    assert!(
        text.contains(&format!(
            "demo-fleet/cowlwatch.toml:{line}: break_in.cht_max_f = 540, expected no more than cht_max_f = "
        )),
        "{text}"
    );
    assert!(
        text.lines().any(|l| l.starts_with("N01KM/") && l.contains("above oil_capacity_qt = 6 of Q4-180")),
        "{text}"
    );
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
