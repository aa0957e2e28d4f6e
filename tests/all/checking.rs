//! `check`: what is wrong with configuration and logs, what is asked about them, and what is proposed.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs;

use crate::support::{copy_demo, run, stdout};
use crate::tuning::{demo, object};

/// A folder with a log and nothing else is answered with an aircraft.toml to start from; nothing is written.
#[test]
fn check_proposes_an_aircraft_file_where_there_is_none() {
    let folder = copy_demo();
    let at = folder.path().join("demo-fleet/fleet/N09KM");
    fs::create_dir(&at).unwrap();
    fs::copy(folder.path().join("demo-fleet/fleet/N03KM/flight log.csv"), at.join("flight log.csv")).unwrap();
    let out = run(folder.path(), &["check", "--config", "demo-fleet/cowlwatch.toml"]);
    assert_eq!(out.status.code(), Some(65));
    let text = stdout(&out);
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
    let text = stdout(&run(folder.path(), &["check", "--config", "c.toml", "--explain", "E-0311"]));
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
    assert_eq!(stdout(&out).lines().count(), 3, "{}", stdout(&out));
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
        assert!(stdout(&out).contains(part), "{part}: {}", stdout(&out));
    }
    let out = run(folder.path(), &["check", "--config", demo().to_str().unwrap()]);
    assert_eq!(out.status.code(), Some(65));
    assert!(stdout(&out).contains("\"1O qt\""));
}

/// A threshold above what the model itself allows, and a dipstick that reads more than the sump holds.
#[test]
fn check_asks_about_limits_no_engine_could_reach_and_readings_no_sump_could_hold() {
    let folder = copy_demo();
    let config = folder.path().join("demo-fleet/cowlwatch.toml");
    let text = fs::read_to_string(&config).unwrap();
    fs::write(&config, format!("{text}\n[model.\"Q6T-310\".break_in]\ncht_max_f = 540\n")).unwrap();
    let models = folder.path().join("demo-fleet/engines.toml");
    let written = fs::read_to_string(&models).unwrap();
    fs::write(&models, written.replace("oil_capacity_qt = 8.0", "oil_capacity_qt = 6.0")).unwrap();
    let text = stdout(&run(folder.path(), &["check", "--config", "demo-fleet/cowlwatch.toml"]));
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
