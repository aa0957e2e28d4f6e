//! The commands that take something elsewhere: digest, chart, backup, export, a test message, and what
//! people do about an alert. On a copy of the demo fleet, as one would use them.

use std::path::Path;
use std::process::{Command, Output};

use crate::support::{copy_demo, run, stdout};
use crate::tools::{helper, must, python};

fn cowlwatch(folder: &Path, args: &[&str]) -> Output {
    let mut all = args.to_vec();
    all.extend(["--config", "demo-fleet/cowlwatch.toml"]);
    run(folder, &all)
}

fn ok(folder: &Path, args: &[&str]) -> String {
    let output = cowlwatch(folder, args);
    assert!(output.status.success(), "{args:?}: {}", String::from_utf8_lossy(&output.stderr));
    stdout(&output)
}

const MORNING: &str = "2026-02-20T06:00";

#[test]
fn the_digest_is_shown_and_nothing_is_kept() {
    let folder = copy_demo();
    let text = ok(folder.path(), &["digest", "--as-of", MORNING]);
    assert!(text.starts_with("Subject: cowlwatch 20 Feb:"), "{text}");
    assert!(text.contains("N03KM left") && text.contains("does not determine airworthiness"), "{text}");
    let html = ok(folder.path(), &["digest", "--html", "--as-of", MORNING]);
    assert!(html.contains("data:image/png;base64,") && !html.contains("cid:"));
    assert!(!folder.path().join("demo-fleet/state").exists());
}

#[test]
fn pictures_are_png_or_svg() {
    let folder = copy_demo();
    for of in ["consumption", "statistic"] {
        ok(folder.path(), &["chart", "E-0311", "--of", of, "--out", "c.png", "--as-of", MORNING]);
        // ISO/IEC 15948 section 5.2: the signature of a PNG datastream.
        let png = std::fs::read(folder.path().join("c.png")).unwrap();
        assert_eq!(png[..8], [137, 80, 78, 71, 13, 10, 26, 10]);
        ok(folder.path(), &["chart", "E-0311", "--of", of, "--out", "c.svg", "--as-of", MORNING]);
        assert!(std::fs::read_to_string(folder.path().join("c.svg")).unwrap().trim_end().ends_with("</svg>"));
    }
    let twin = cowlwatch(folder.path(), &["chart", "N03KM", "--out", "c.png", "--as-of", MORNING]);
    assert_eq!(twin.status.code(), Some(64));
    assert!(String::from_utf8_lossy(&twin.stderr).contains("E-0311, E-0312"));
}

/// From the state where the run is among the latest, else read again from its recording: the same picture.
#[test]
fn a_recorded_run_is_drawn_from_the_state_or_from_its_file() {
    let folder = copy_demo();
    let chart = |run: &[&str], out: &str, morning: &str| {
        let args = ["chart", "E-0201", "--of", "recording", "--out", out, "--as-of", morning];
        ok(folder.path(), &[&args[..], run].concat())
    };
    let said = chart(&[], "latest.png", "2026-03-12T06:00");
    assert!(said.contains("N02KM, E-0201: run of ") && said.contains("hottest cylinder"), "{said}");
    let first = chart(&["--run", "2026-03-03T14:06"], "first.svg", "2026-03-12T06:00");
    assert!(first.contains("run of 3 Mar 14:05, 14 min"), "{first}");
    let at_time = std::fs::read_to_string(folder.path().join("first.svg")).unwrap();
    // By then some hundred runs are newer.
    ok(folder.path(), &["scan"]);
    chart(&["--run", "2026-03-03"], "again.svg", "2026-03-12T06:00");
    assert_eq!(std::fs::read_to_string(folder.path().join("again.svg")).unwrap(), at_time);
    let none =
        cowlwatch(folder.path(), &["chart", "E-0201", "--of", "recording", "--run", "2024-01-01", "--out", "x.png"]);
    assert_eq!(none.status.code(), Some(65));
    assert!(String::from_utf8_lossy(&none.stderr).contains("the latest began"));
    let without = cowlwatch(folder.path(), &["chart", "E-0201", "--run", "2026-03-03", "--out", "x.png"]);
    assert_eq!(without.status.code(), Some(64));
}

#[test]
fn a_backup_is_a_state_of_its_own() {
    let folder = copy_demo();
    ok(folder.path(), &["scan", "--as-of", MORNING]);
    ok(folder.path(), &["backup", "copy.sqlite"]);
    let again = cowlwatch(folder.path(), &["backup", "copy.sqlite"]);
    assert!(!again.status.success(), "an existing file is not overwritten");
    // Put back in place of a lost state, it knows every alert by its number.
    let before = ok(folder.path(), &["alerts", "--all", "--json", "--as-of", MORNING]);
    let state = folder.path().join("demo-fleet/state");
    std::fs::remove_dir_all(&state).unwrap();
    std::fs::create_dir(&state).unwrap();
    std::fs::rename(folder.path().join("copy.sqlite"), state.join("cowlwatch.sqlite")).unwrap();
    assert_eq!(ok(folder.path(), &["alerts", "--all", "--json", "--as-of", MORNING]), before);
}

/// Started before the hour of the digest: the first summary tells the past, the digest after it only what is new.
#[test]
fn the_past_is_told_once_though_a_digest_follows_the_first_summary() {
    let folder = copy_demo();
    ok(folder.path(), &["scan", "--as-of", "2026-02-20T04:00:00-07:00"]);
    ok(folder.path(), &["scan", "--as-of", "2026-02-20T06:00:00-07:00"]);
    let outbox = folder.path().join("demo-fleet/state/outbox");
    let mut letters: Vec<_> = std::fs::read_dir(outbox).unwrap().map(|e| e.unwrap().path()).collect();
    letters.sort();
    let subjects: Vec<String> = letters
        .iter()
        .map(|l| must(Command::new(python()).arg(helper("read_mail.py")).arg(l)))
        .map(|said| serde_json::from_str::<serde_json::Value>(&said).unwrap()["subject"].as_str().unwrap().to_owned())
        .collect();
    assert_eq!(subjects.len(), 2, "{subjects:?}");
    assert!(subjects[0].contains("first look") && subjects[1].contains("nothing new"), "{subjects:?}");
}

#[test]
fn an_export_has_every_row_of_the_logs() {
    let folder = copy_demo();
    ok(folder.path(), &["export", "out"]);
    let rows = |name: &str| std::fs::read_to_string(folder.path().join("out").join(name)).unwrap();
    // Every addition in the sheets of N02KM, counted as text.
    let sheets: String = std::fs::read_dir(folder.path().join("demo-fleet/fleet/N02KM"))
        .unwrap()
        .map(|e| e.unwrap().path())
        .filter(|p| p.extension().is_some_and(|e| e == "csv"))
        .map(|p| std::fs::read_to_string(p).unwrap())
        .collect();
    let written = sheets.lines().filter(|l| l.contains("oil-added")).count();
    let entries = rows("entries.csv");
    let told = entries.lines().filter(|l| l.starts_with("N02KM,") && l.contains(",oil-added,")).count();
    assert!(written > 20);
    assert_eq!(told, written);
    // Of this run the recording has 21:05:00 to 21:19:00 UTC, all of it at an airspeed of nothing.
    let run = "N02KM,,2026-03-03T14:05:00-07:00,2026-03-03T14:19:00-07:00,14.0,14.0,0.0,0,speed,\
               N02KM/monitor/2026/2026-03-03-ground.csv:2";
    let runs = rows("runs.csv");
    let near = runs.lines().find(|l| l.contains("2026-03-03-ground.csv"));
    assert_eq!(near, Some(run));
    assert!(rows("alerts.csv").contains("oil-rate-rise,caution"));
    assert!(rows("alert-history.csv").contains(",cowlwatch,raised"));
}

#[test]
fn a_test_message_says_where_it_went() {
    let folder = copy_demo();
    let said = ok(folder.path(), &["mail-test"]);
    assert!(said.contains("outbox took the test message"), "{said}");
    let letters: Vec<_> = std::fs::read_dir(folder.path().join("demo-fleet/state/outbox")).unwrap().collect();
    assert_eq!(letters.len(), 1);
}

#[test]
fn people_answer_an_alert_and_its_history_tells() {
    let folder = copy_demo();
    ok(folder.path(), &["scan", "--as-of", MORNING]);
    let list: serde_json::Value =
        serde_json::from_str(&ok(folder.path(), &["alerts", "--json", "--as-of", MORNING])).unwrap();
    let rise = list.as_array().unwrap().iter().find(|a| a["kind"] == "oil-rate-rise").unwrap();
    let number = rise["number"].to_string();
    ok(folder.path(), &["acknowledge", &number, "--by", "T. Iwu", "--note", "cowl off tonight"]);
    let told = ok(folder.path(), &["alerts", &number, "--as-of", MORNING]);
    assert!(told.contains("T. Iwu") && told.contains("cowl off tonight"), "{told}");
    let endless = cowlwatch(folder.path(), &["mute", &number, "--by", "T. Iwu"]);
    assert_eq!(endless.status.code(), Some(64), "a mute always has an end");
    ok(folder.path(), &["close", &number, "--by", "T. Iwu", "--note", "return line replaced"]);
    // Who, when and what, in order, on the screen and in the export.
    let told = ok(folder.path(), &["alerts", &number, "--as-of", MORNING]);
    ok(folder.path(), &["export", "out"]);
    let sheet = std::fs::read_to_string(folder.path().join("out/alert-history.csv")).unwrap();
    let mine: Vec<&str> = sheet.lines().filter(|l| l.starts_with(&format!("{number},"))).collect();
    let mut from = 0;
    for what in ["raised", "acknowledged: cowl off tonight", "closed: return line replaced"] {
        assert!(told.contains(what), "{told}");
        from += 1 + mine[from..].iter().position(|l| l.contains(what)).unwrap_or_else(|| panic!("{what}: {mine:?}"));
    }
    let open = ok(folder.path(), &["alerts", "--json", "--as-of", MORNING]);
    assert!(!open.contains("\"oil-rate-rise\""), "{open}");
    let nobody = cowlwatch(folder.path(), &["close", "9999", "--by", "T. Iwu"]);
    assert_eq!(nobody.status.code(), Some(64));
}
