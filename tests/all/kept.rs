//! What must not be lost between a hangar's desk and the morning's mail: an alert whose file was saved over by mistake,
//! an alert that a late entry ended, and an answer in the logbook that could not be carried out.

use std::fs;
use std::path::Path;

use cowlwatch::judge::Kind;
use cowlwatch::shell::store::Store;

use crate::support::{PROGRAM, run, stdout};

const MODELS: &str = "[[model]]\nname = \"Z4\"\nrated_hp = 180\nrated_rpm = 2700\ncylinders = 4\nturbocharged = false\n\
                      oil_capacity_qt = 8.0\noil_minimum_qt = 5.0\nconfirmed = true\n";
/// The director's morning, after the day's digest was written.
const MORNING: [&str; 3] = ["2026-11-22T06:31", "2026-11-23T06:31", "2026-11-24T06:31"];

/// Aircraft whose filter showed metal, each with its own layout of the log where `layout` says so.
fn fleet(tails: &[(&str, &str)]) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    let at = |name: &str| folder.path().join(name);
    fs::write(at("engines.toml"), MODELS).unwrap();
    let fleet = "[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\ntime_zone = \"UTC\"\n";
    fs::write(at("cowlwatch.toml"), fleet).unwrap();
    for (tail, layout) in tails {
        let home = at("fleet").join(tail);
        fs::create_dir_all(&home).unwrap();
        let aircraft = format!(
            "tail = \"{tail}\"\nmeter = \"tach\"\n[[engine]]\nserial = \"Z-{tail}\"\nmodel = \"Z4\"\nhours_at_start = \
             900.0\nsince = \"overhaul\"\nhours_since = 300.0\noil = \"AD 50\"\nlast_oil_change_h = 5.0\n{layout}"
        );
        fs::write(home.join("aircraft.toml"), aircraft).unwrap();
        let log = "date,hours,entry,flight_hours,result,remarks\n2026-11-20,101.0,flight,1.0,,\n\
                   2026-11-21,101.0,filter-inspected,,metal,\n";
        fs::write(home.join(if layout.is_empty() { "logbook.csv" } else { "tech log.csv" }), log).unwrap();
    }
    folder
}

/// `number state` of each alert about metal.
fn scan(folder: &Path, as_of: &str) -> Vec<String> {
    let said = run(folder, &["--config", "cowlwatch.toml", "scan", "--as-of", as_of, "--json"]);
    assert!(said.status.success(), "{said:?}");
    let alerts = Store::open_beside(&folder.join("state")).unwrap().alerts().unwrap();
    let metal = alerts.iter().filter(|a| a.kind() == Kind::MetalFound);
    metal.map(|a| format!("{} {}", a.number, a.state.word())).collect()
}

/// The digest as it would go, on one line.
fn digest(folder: &Path, as_of: &str) -> String {
    let said = stdout(&run(folder, &["--config", "cowlwatch.toml", "digest", "--as-of", as_of]));
    said.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn append(folder: &Path, row: &str) {
    let log = folder.join("fleet/N01Z/logbook.csv");
    fs::write(&log, format!("{}{row}\n", fs::read_to_string(&log).unwrap())).unwrap();
}

/// Saved over by mistake, a log or an aircraft.toml must not take a warning with it overnight.
#[test]
fn a_file_that_is_spoilt_takes_no_alert_with_it() {
    let layout = "[[logbook]]\nfiles = \"tech log*.csv\"\n";
    let folder = fleet(&[("N01Z", ""), ("N02Z", ""), ("N03Z", layout)]);
    let metal = ["1 open", "2 open", "3 open"];
    assert_eq!(scan(folder.path(), MORNING[0]), metal);
    let spoil = |name: &str, text: &str| {
        let path = folder.path().join("fleet").join(name);
        (fs::read(&path).unwrap(), fs::write(&path, text).unwrap(), path)
    };
    let whole = fs::read_to_string(folder.path().join("fleet/N03Z/aircraft.toml")).unwrap();
    let spoilt = [
        spoil("N01Z/aircraft.toml", "tail = N01Z [[[\n"),
        spoil("N02Z/logbook.csv", "saved over\n"),
        // Only the table that says which file is the log.
        spoil("N03Z/aircraft.toml", &whole.replace("files = \"tech", "files = tech")),
    ];
    assert_eq!(scan(folder.path(), MORNING[1]), metal);
    let said = digest(folder.path(), MORNING[2]);
    assert!(said.contains("3 before the next flight") && said.contains("3 engines reported"), "{said}");
    assert!(said.contains("files of 2 aircraft cannot be read"), "{said}");
    assert!(said.contains("until it is mended, what it said before counts"), "{said}");
    // A log that is really gone is gone, also beside an aircraft.toml that cannot be read.
    fs::remove_file(folder.path().join("fleet/N01Z/logbook.csv")).unwrap();
    assert_eq!(scan(folder.path(), MORNING[1]), ["1 closed", "2 open", "3 open"]);
    for (bytes, (), path) in spoilt {
        fs::write(path, bytes).unwrap();
    }
    assert_eq!(scan(folder.path(), MORNING[2]), ["1 closed", "2 open", "3 open"]);
    assert!(!digest(folder.path(), MORNING[2]).contains("cannot be read"));
}

/// Cut down to its header, or with no row that can still be read, a log says as little as one that is saved over.
#[test]
fn a_log_without_its_rows_takes_no_alert_with_it() {
    let folder = fleet(&[("N01Z", ""), ("N02Z", "")]);
    assert_eq!(scan(folder.path(), MORNING[0]), ["1 open", "2 open"]);
    let logs = ["N01Z", "N02Z"].map(|tail| folder.path().join("fleet").join(tail).join("logbook.csv"));
    let whole = fs::read_to_string(&logs[0]).unwrap();
    fs::write(&logs[0], format!("{}\n", whole.lines().next().unwrap())).unwrap();
    fs::write(&logs[1], whole.replace("2026-11-2", "November 2")).unwrap();
    assert_eq!(scan(folder.path(), MORNING[1]), ["1 open", "2 open"]);
    let said = digest(folder.path(), MORNING[2]);
    assert!(said.contains("files of 2 aircraft cannot be read"), "{said}");
    let words = "N01Z/logbook.csv: no entry left of 2, expected the log, or no file; until it is mended, what it said before counts";
    assert!(said.contains(words), "{said}");
    // Rows again, whatever they say; and no file at all is meant.
    fs::write(&logs[0], whole.replace("metal", "clean")).unwrap();
    fs::remove_file(&logs[1]).unwrap();
    assert_eq!(scan(folder.path(), MORNING[2]), ["1 closed", "2 closed"]);
    // One that never had a row is no mistake.
    fs::write(&logs[1], format!("{}\n", whole.lines().next().unwrap())).unwrap();
    scan(folder.path(), MORNING[2]);
    assert!(!digest(folder.path(), MORNING[2]).contains("cannot be read"));
}

/// Work is entered days late: what it ended is told in the next digest all the same.
#[test]
fn what_a_late_entry_ended_is_told() {
    let folder = fleet(&[("N01Z", "")]);
    scan(folder.path(), MORNING[0]);
    scan(folder.path(), MORNING[1]);
    append(folder.path(), "2026-11-22,101.0,action,,1,source found");
    assert_eq!(scan(folder.path(), "2026-11-23T09:00"), ["1 closed"]);
    let said = digest(folder.path(), MORNING[2]);
    assert!(said.contains("ENDED SINCE THE LAST DIGEST N01Z: metal found"), "{said}");
    scan(folder.path(), MORNING[2]);
    assert!(!digest(folder.path(), "2026-11-25T06:31").contains("ENDED"), "once");
}

/// Whoever wrote the row believes that the alert is answered.
#[test]
fn an_answer_that_was_not_carried_out_is_told() {
    let folder = fleet(&[("N01Z", "")]);
    scan(folder.path(), MORNING[0]);
    append(folder.path(), "2026-11-22,101.0,action,,9,source found");
    append(folder.path(), "2026-11-22,101.0,action,,1,mute until next week");
    assert_eq!(scan(folder.path(), MORNING[1]), ["1 open"]);
    let said = digest(folder.path(), MORNING[2]);
    for words in [
        "RECORDS IN DOUBT",
        "N01Z/logbook.csv:4: an answer to alert 9, which does not exist, expected",
        "N01Z/logbook.csv:5: \"mute until next week\" for alert 1, expected an end such as \"mute until 2026-03-09\"",
    ] {
        assert!(said.contains(words), "{words}: {said}");
    }
    // Two weeks on it is set aside like other questions about the log.
    assert!(!digest(folder.path(), "2026-12-08T06:31").contains("alert 9"));
}

/// Runs the program as a user whom permissions bind, which they do not bind root to.
fn as_operator(folder: &Path, arguments: &[&str]) -> std::process::Output {
    use std::os::unix::fs::MetadataExt;
    use std::os::unix::process::CommandExt;
    let owner = fs::metadata(folder).unwrap();
    let program = folder.join("program");
    if !program.exists() {
        fs::copy(PROGRAM, &program).unwrap();
    }
    let mut command = std::process::Command::new(program);
    if owner.uid() == 0 {
        let changed = std::process::Command::new("chown").args(["-R", "65534:65534"]).arg(folder).status();
        assert!(changed.unwrap().success());
    }
    if rustix::process::getuid().is_root() {
        command.uid(65534).gid(65534);
    }
    command.current_dir(folder).args(arguments).output().unwrap()
}

/// A folder that may not be looked into is not an empty one.
#[test]
fn a_folder_that_cannot_be_read_takes_no_alert_with_it() {
    use std::os::unix::fs::PermissionsExt;
    let layout = "[[logbook]]\nfiles = \"logs/tech log*.csv\"\n";
    let folder = fleet(&[("N01Z", ""), ("N02Z", layout)]);
    let inside = |name: &str| folder.path().join("fleet").join(name);
    fs::create_dir(inside("N02Z/logs")).unwrap();
    fs::rename(inside("N02Z/tech log.csv"), inside("N02Z/logs/tech log.csv")).unwrap();
    let scan = |as_of: &str| {
        let said = as_operator(folder.path(), &["--config", "cowlwatch.toml", "scan", "--as-of", as_of, "--json"]);
        assert!(said.status.success(), "{said:?}");
        let alerts = Store::open_beside(&folder.path().join("state")).unwrap().alerts().unwrap();
        let metal = alerts.iter().filter(|a| a.kind() == Kind::MetalFound);
        metal.map(|a| format!("{} {}", a.number, a.state.word())).collect::<Vec<_>>()
    };
    assert_eq!(scan(MORNING[0]), ["1 open", "2 open"]);
    let allow = |name: &str, mode: u32| fs::set_permissions(inside(name), fs::Permissions::from_mode(mode)).unwrap();
    // One can be gone into but not listed, the other neither.
    allow("N01Z", 0o111);
    allow("N02Z/logs", 0o000);
    assert_eq!(scan(MORNING[1]), ["1 open", "2 open"]);
    let said = as_operator(folder.path(), &["--config", "cowlwatch.toml", "digest", "--as-of", MORNING[2]]);
    let said = stdout(&said).split_whitespace().collect::<Vec<_>>().join(" ");
    for name in ["N01Z", "N02Z/logs"] {
        let words = format!(
            "{name}: folder cannot be read (Permission denied (os error 13)), expected a readable folder; until it is, \
             what was read of it before counts"
        );
        assert!(said.contains(&words), "{said}");
    }
    allow("N01Z", 0o755);
    allow("N02Z/logs", 0o755);
    assert_eq!(scan(MORNING[2]), ["1 open", "2 open"]);
    fs::remove_file(inside("N02Z/logs/tech log.csv")).unwrap();
    assert_eq!(scan(MORNING[2]), ["1 open", "2 closed"]);
}
