//! The configuration as an operator meets it: the sample tells the truth, mistakes are named so that they can
//! be mended, and the nearest threshold holds.
//!
//! What is said of the files in `wrong/` stands in each of them, written by hand before the program was asked.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::path::Path;

use cowlwatch::config::keys::{KEYS, SECTIONS, Setting};
use cowlwatch::config::{Config, Rules, Security, load, models};
use cowlwatch::judge::RulesFor;
use cowlwatch::records::aircraft_file;
use cowlwatch::records::layout::Layouts;
use cowlwatch::records::monitor::{self, RecordedEngine, ReduceContext};
use proptest::prelude::*;

const SAMPLE: &str = include_str!("../../config/cowlwatch.toml");
const ENGINES: &str = include_str!("../../config/engines.toml");

fn read(text: &str) -> Result<Config, Vec<String>> {
    load(text, "c.toml", Path::new("/etc/cowlwatch"))
        .map_err(|problems| problems.iter().map(ToString::to_string).collect())
}

/// The sample with every setting in force: a remark without a blank after its # is a setting.
fn sample_in_full() -> String {
    let uncommented = SAMPLE.lines().map(|line| match line.strip_prefix('#') {
        Some(setting) if setting.starts_with(|c: char| c != ' ' && c != '#') => setting,
        _ => line,
    });
    uncommented.collect::<Vec<_>>().join("\n")
}

/// Lines of the sample within a section.
fn section(name: &str) -> Vec<&'static str> {
    let header = format!("[{name}]");
    SAMPLE
        .lines()
        .skip_while(|line| *line != header)
        .skip(1)
        .take_while(|line| !line.trim_start_matches('#').starts_with('['))
        .collect()
}

#[test]
fn the_sample_loads_and_every_setting_in_it_is_the_one_that_holds_without() {
    let plain = read(SAMPLE).unwrap();
    let full = read(&sample_in_full()).unwrap();
    let (left, right) = (plain.settings.clone(), full.settings.clone());
    assert_eq!(left.fleet.models, right.fleet.models);
    assert_eq!(left.fleet.state, right.fleet.state);
    assert_eq!(left.fleet.scan_every_s, right.fleet.scan_every_s);
    assert_eq!(left.digest, right.digest);
    assert_eq!(left.alerts.remind_after_days, right.alerts.remind_after_days);
    assert_eq!(left.alerts.grows_by, right.alerts.grows_by);
    assert_eq!(left.alerts.escalate_after_h, right.alerts.escalate_after_h);
    assert_eq!(left.alerts.warnings_pass, right.alerts.warnings_pass);
    assert_eq!(left.mail, None);
    assert_eq!(right.mail.unwrap().routes.len(), 1);
    assert_eq!(full.layouts.logbooks["our-sheet"].oil["left"].added.as_deref(), Some("Oil L"));
    assert_eq!(full.layouts.monitors["left-recorder"].engine.as_deref(), Some("left"));
    assert_eq!(full.layouts.monitors["left-recorder"].columns["cht1_f"].column, "C1");
    assert_eq!(*plain.rules("N0", "M", "S"), Rules::default());
}

#[test]
fn the_sample_names_every_threshold_with_its_default_range_and_unit() {
    for key in &KEYS {
        let lines = section(key.section);
        let start = format!("#{} = ", key.name);
        let at = lines.iter().position(|line| line.starts_with(&start));
        let at = at.unwrap_or_else(|| panic!("{} is not in the sample", key.path()));
        let remark: Vec<&str> = lines[..at].iter().rev().take_while(|line| line.starts_with("# ")).copied().collect();
        let default = key.of(&Rules::default());
        if default == Setting::Unset {
            assert!(remark.iter().any(|line| line.contains("not set")), "{}", key.path());
        } else {
            assert_eq!(lines[at], format!("{start}{default}"));
        }
        if let Some(range) = key.range() {
            assert!(remark.iter().any(|line| line.contains(&range.to_string())), "{}: {range}", key.path());
        }
    }
    // … and nothing else.
    for name in SECTIONS {
        let settings = section(name).into_iter().filter(|line| line.starts_with('#') && !line.starts_with("# "));
        let known = KEYS.iter().filter(|key| key.section == name).count();
        assert_eq!(settings.count(), known, "[{name}]");
    }
}

#[test]
fn the_sample_of_engine_models_loads() {
    let (file, problems) = models::parse(ENGINES, "engines.toml");
    assert_eq!(problems, []);
    assert_eq!(file.models["H6-350T"].power.len(), 4);
    assert!(!file.models["H6-350T"].confirmed);
}

/// Every field of the rules can be set: the names in the debug form of the rules are those of the keys.
#[test]
fn every_rule_has_a_key() {
    let shown = format!("{:#?}", Rules::default());
    let mut inside = "";
    for line in shown.lines() {
        let depth = line.len() - line.trim_start().len();
        let Some((name, value)) = line.trim().split_once(": ") else { continue };
        match depth {
            4 => inside = if value.ends_with('{') { name } else { "" },
            8 if !inside.is_empty() => {
                let known = KEYS.iter().any(|key| key.section == inside && key.name == name);
                assert!(known, "{inside}.{name} cannot be set");
            }
            _ => {}
        }
    }
}

/// The configuration of the contract, word for word.
#[test]
fn the_configuration_of_the_contract_loads() {
    let config = read(include_str!("contract.toml")).unwrap();
    let settings = &config.settings;
    assert_eq!(settings.fleet.folder, Path::new("/etc/cowlwatch/fleet"));
    assert_eq!(settings.fleet.models, Path::new("/etc/cowlwatch/engines.toml"));
    assert_eq!(settings.fleet.state, Path::new("/var/lib/cowlwatch"));
    assert_eq!(settings.fleet.time_zone, chrono_tz::America::Denver);
    let mail = settings.mail.as_ref().unwrap();
    assert_eq!((mail.server.as_str(), mail.port, mail.security), ("mail.example.org", 587, Security::StartTls));
    assert_eq!(mail.password_file.as_deref(), Some(Path::new("/etc/cowlwatch/smtp-password")));
    assert_eq!(mail.to, ["maintenance@example.org"]);
    assert_eq!(*config.rules("N0417H", "H6-350T", "H-2207"), Rules::default());
}

const BASE: &str = "[fleet]\nfolder = \"fleet\"\ntime_zone = \"America/Denver\"\n";
const MAIL: &str =
    "[mail]\nserver = \"mail.example.org\"\nfrom = \"cowlwatch@example.org\"\nto = [\"maintenance@example.org\"]\n";

/// Every file of `wrong/`: its name, its text, and what is to be said of it: the lines after `#! `, in which
/// FILE stands for its name.
fn wrong_files() -> Vec<(String, String, Vec<String>)> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/all/wrong");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    let read = |path: std::path::PathBuf| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        let text = std::fs::read_to_string(&path).unwrap();
        let said = text.lines().filter_map(|line| line.strip_prefix("#! ")).map(|line| line.replace("FILE", &name));
        let said = said.collect();
        (name, text, said)
    };
    files.into_iter().map(read).collect()
}

/// As an operator meets them: a folder of wrong configurations, each handed to `check`, each with file, line, key
/// and remedy. The fleet beside them is in order, so that nothing else is said.
#[test]
fn check_says_of_each_wrong_configuration_where_and_what_would_be_right() {
    let folder = tempfile::tempdir().unwrap();
    let at = folder.path();
    let aircraft = at.join("fleet/N0417H");
    std::fs::create_dir_all(&aircraft).unwrap();
    std::fs::write(at.join("engines.toml"), ENGINES).unwrap();
    let engine = "tail = \"N0417H\"\nmeter = \"tach\"\n[[engine]]\nserial = \"H-2207\"\nmodel = \"H6-350T\"\n";
    std::fs::write(aircraft.join("aircraft.toml"), engine).unwrap();
    let files = wrong_files();
    assert!(files.len() >= 30);
    let mut wrong = Vec::new();
    for (name, text, expected) in files {
        assert!(!expected.is_empty(), "{name} does not say what is to be said of it");
        std::fs::write(at.join(&name), &text).unwrap();
        let out = crate::support::run(at, &["check", "--config", &name]);
        let said = crate::support::stdout(&out);
        // The nearest known of many is followed by the whole list, which is not repeated in the files.
        let said: Vec<&str> = said.lines().map(|s| s.split(", or another of").next().unwrap_or(s)).collect();
        if said != expected || out.status.code() != Some(78) {
            wrong.push(format!("{name}: {:?}, said {said:#?}\nexpected {expected:#?}", out.status.code()));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn no_message_repeats_a_password() {
    for bad in ["MAIL\npassword = \"hunter2\"\n", "MAIL\npassword = hunter2\n", "MAIL\npasword = \"hunter2\"\n"] {
        let said = read(&format!("{BASE}{}", bad.replace("MAIL\n", MAIL))).err().unwrap_or_default();
        assert!(!said.is_empty() && !said.concat().contains("hunter2"), "{said:?}");
    }
}

#[test]
fn the_nearest_threshold_holds_and_says_where_it_comes_from() {
    let text = format!(
        "{BASE}[ground]\nin_service_min = 30\n[model.\"H6-350T\"]\nconfirmed = true\n\
         [model.\"H6-350T\".ground]\nin_service_min = 31\n[tail.N0417H.ground]\nin_service_min = 32\n\
         [engine.\"H-2207\".ground]\nin_service_min = 33\n"
    );
    let config = read(&text).unwrap();
    for (tail, model, serial, minutes, from, confirmed) in [
        ("N0417H", "H6-350T", "H-2207", 33.0, "c.toml:13", true),
        ("N0417H", "H6-350T", "H-2208", 32.0, "c.toml:11", true),
        ("N0418H", "H6-350T", "H-2209", 31.0, "c.toml:9", true),
        ("N0418H", "Q4-180", "E-1", 30.0, "c.toml:5", false),
        ("N0418H", "Q4-180", "H-2207", 33.0, "c.toml:13", false),
    ] {
        let rules = config.rules(tail, model, serial);
        assert_eq!((rules.ground.in_service_min, rules.confirmed), (minutes, confirmed), "{tail} {serial}");
        let explained = config.explain(tail, model, serial);
        let row = explained.iter().find(|row| row.key == "ground.in_service_min").unwrap();
        assert_eq!((row.value.clone(), row.from.as_str()), (Setting::Number(minutes), from));
        let first = explained.iter().find(|row| row.key == "ground.first_run_min").unwrap();
        assert_eq!((first.value.clone(), first.from.as_str()), (Setting::Number(3.0), "default"));
    }
}

#[test]
fn a_model_of_the_models_file_narrows_the_fleet_and_the_configuration_narrows_it() {
    let models_text = "[[model]]\nname = \"M\"\nrated_hp = 300\nrated_rpm = 2700\ncylinders = 6\n\
                       [model.break_in]\noil_changes_at_h = [10, 25, 50]\n";
    let (file, problems) = models::parse(models_text, "engines.toml");
    assert_eq!(problems, []);
    let config = read(&format!("{BASE}[break_in]\noil_changes_at_h = [4, 20]\n")).unwrap().with_models(&file);
    assert_eq!(config.rules("T", "M", "S").break_in.oil_changes_at_h, [10.0, 25.0, 50.0]);
    assert_eq!(config.rules("T", "N", "S").break_in.oil_changes_at_h, [4.0, 20.0]);
    let text = format!("{BASE}[model.M.break_in]\noil_changes_at_h = [7]\n");
    assert_eq!(read(&text).unwrap().with_models(&file).rules("T", "M", "S").break_in.oil_changes_at_h, [7.0]);
}

#[test]
fn other_thresholds_lie_over_todays_or_replace_them() {
    let config = read(&format!("{BASE}[ground]\nbreak_in_min = 8\nin_service_min = 20\n")).unwrap();
    let change = config.with_thresholds("[ground]\nin_service_min = 40\n", "w.toml").unwrap();
    let ground = change.rules("T", "M", "S").ground.clone();
    assert_eq!((ground.break_in_min, ground.in_service_min), (8.0, 40.0));
    let whole = config.with_thresholds(&format!("{BASE}[ground]\nin_service_min = 40\n"), "w.toml").unwrap();
    assert_eq!(whole.rules("T", "M", "S").ground.break_in_min, 10.0);
    // 30 minutes would contradict the usual 25, but not the 40 already in force.
    let wide = read(&format!("{BASE}[ground]\nin_service_min = 40\n")).unwrap();
    assert!(wide.with_thresholds("[ground]\nfirst_run_min = 30\nbreak_in_min = 30\n", "w.toml").is_ok());
    let said = wide.with_thresholds("[ground]\nbreak_in_min = 50\n", "w.toml").unwrap_err();
    assert_eq!(
        said[0].to_string(),
        "w.toml:2: ground.break_in_min = 50, expected no more than ground.in_service_min = 40"
    );
    let said = config.with_thresholds("[ground]\nin_servce_min = 40\n", "w.toml").unwrap_err();
    assert_eq!(
        said[0].to_string(),
        "w.toml:2: unknown key ground.in_servce_min, expected the nearest known key in_service_min"
    );
}

#[test]
fn narrowing_tables_for_what_the_fleet_does_not_have_are_questioned() {
    let route = "[[mail.route]]\nto = \"a@example.org\"\ntails = [\"N0417H\", \"N0714H\"]\n";
    let config = read(&format!("{BASE}[tail.N0471H.ground]\nin_service_min = 30\n{MAIL}{route}")).unwrap();
    let known = [("N0417H".into(), "M".into(), "S".into())];
    let said: Vec<String> = config.unknown_names(&known).iter().map(ToString::to_string).collect();
    assert_eq!(
        said,
        [
            "c.toml:4: [tail.N0471H], expected the nearest in the fleet, N0417H",
            "c.toml: mail.route.tails has \"N0714H\", expected the nearest in the fleet, N0417H",
        ]
    );
}

#[test]
fn shared_layouts_are_found_however_they_are_written() {
    let sheet = "per = \"flight\"\ndate = { columns = [\"Date\"] }\n";
    let recorder = "skip_lines = 2\ncolumns = { \"left.rpm\" = \"N1\" }\n";
    for text in [
        format!("[layout.sheet]\n{sheet}[layout.recorder]\n{recorder}"),
        format!("[logbook.sheet]\n{sheet}[monitor.recorder]\n{recorder}"),
        format!("[[logbook]]\nname = \"sheet\"\n{sheet}[[monitor]]\nname = \"recorder\"\n{recorder}"),
    ] {
        let layouts = read(&format!("{BASE}{text}")).unwrap().layouts;
        assert_eq!(layouts.logbooks["sheet"].date.columns, ["Date"]);
        assert_eq!(layouts.monitors["recorder"].columns["left.rpm"].column, "N1");
    }
}

/// The indented block of README that has this line, without its indent.
fn of_readme(line: &str) -> String {
    let readme = include_str!("../../README.md");
    let block = readme.split("\n\n").find(|block| block.lines().any(|l| l == format!("       {line}"))).unwrap();
    block.lines().map(|l| format!("{}\n", l.trim())).collect()
}

/// README's aircraft with a right engine, and a recorder for each: every run is of the engine its layout names.
#[test]
fn recorders_of_their_own_are_told_apart_as_readme_says() {
    let aircraft = of_readme("[[engine]]");
    let left = of_readme("[[monitor]]");
    let right = left.replace("left", "right");
    let other = "[[engine]]\nposition = \"right\"\nserial = \"H-2208\"\nmodel = \"H6-350T\"\n";
    let text = format!("{aircraft}{other}{left}{right}");
    let (aircraft, rejections) = aircraft_file::parse(&text, "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(rejections, []);
    let aircraft = aircraft.unwrap();
    let engines = aircraft.engines.iter().map(|e| RecordedEngine::new(e.position.clone(), None)).collect();
    let context = ReduceContext::new(chrono_tz::America::Denver, engines);
    let minutes: String =
        (0..600).map(|s| format!("03/01/2026,14:{:02}:{:02},2300,24,180\n", s / 60, s % 60)).collect();
    let recording = format!("Date,Time,RPM,MAP,C1\n{minutes}");
    for (layout, position) in aircraft.monitors.iter().zip(["left", "right"]) {
        assert_eq!(layout.files, format!("monitor/{position}/*.csv"));
        let (runs, rejections) = monitor::reduce(recording.as_bytes(), "N0417H/monitor/x.csv", Some(layout), &context);
        assert_eq!(rejections, []);
        assert_eq!(runs.iter().map(|r| r.engine.as_deref()).collect::<Vec<_>>(), [Some(position)]);
    }
}

/// As an editor on another system saves it: byte order mark, carriage returns.
#[test]
fn marks_of_other_systems_change_neither_meaning_nor_lines() {
    let text = format!("\u{feff}{BASE}[ground]\nfirst_run_min = -3\n").replace('\n', "\r\n");
    assert_eq!(
        read(&text).err().unwrap_or_default(),
        ["c.toml:5: ground.first_run_min = -3, expected 0.5 to 120 minutes"]
    );
}

proptest! {
    /// Whatever stands in the file, reading it ends in a configuration or in at least one message.
    #[test]
    fn no_text_stops_the_reader(text in "\\PC{0,200}", cut in 0usize..4000) {
        for text in [text.clone(), SAMPLE.chars().take(cut).chain(text.chars()).collect()] {
            if let Err(said) = read(&text) {
                prop_assert!(!said.is_empty());
            }
            let _ = models::parse(&text, "engines.toml");
        }
    }

    /// A number is taken exactly where its range holds it.
    #[test]
    fn a_number_is_taken_within_its_range_only(which in 0usize..KEYS.len(), share in -0.5f64..1.5) {
        use cowlwatch::config::keys::Shape;
        let key = &KEYS[which];
        let (Shape::Number(range) | Shape::Optional(range)) = key.shape else { return Ok(()) };
        let value = range.low + share * (range.high - range.low);
        let text = format!("{BASE}[{}]\n{} = {value:?}\n", key.section, key.name);
        match read(&text) {
            Ok(config) => {
                prop_assert!(range.holds(value));
                prop_assert_eq!(key.of(&config.rules("T", "M", "S")), Setting::Number(value));
            }
            // Within the range only a contradiction with another threshold may be named.
            Err(said) => prop_assert!(!range.holds(value) || said.iter().all(|s| s.contains("expected no ") || s.contains("step")), "{said:?}"),
        }
    }
}
