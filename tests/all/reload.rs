//! SIGHUP: the service reads its configuration anew, says what changed, and keeps the old one where the new is wrong.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use rustix::process::{Pid, Signal, kill_process};

use crate::support::{PROGRAM, copy_demo};

/// How long the service may take for anything here; far more than it needs.
const PATIENCE: Duration = Duration::from_secs(60);

/// A running service with its log; ends with its case.
pub struct Service {
    pub child: Child,
    log: PathBuf,
}

impl Service {
    pub fn start(folder: &Path, config: &str) -> Self {
        let log = folder.join("log");
        let child = Command::new(PROGRAM)
            .args(["watch", "--config", config])
            .current_dir(folder)
            .env("RUST_LOG", "info")
            .env_remove("JOURNAL_STREAM")
            .stdout(Stdio::null())
            .stderr(File::create(&log).unwrap())
            .spawn()
            .unwrap();
        Self { child, log }
    }

    fn said(&self) -> String {
        fs::read_to_string(&self.log).unwrap()
    }

    /// Waits until the log holds `words` `times` times.
    pub fn wait_for(&self, words: &str, times: usize) -> String {
        let started = Instant::now();
        loop {
            let said = self.said();
            if said.matches(words).count() >= times {
                return said;
            }
            assert!(started.elapsed() < PATIENCE, "{words} never came:\n{said}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    pub fn signal(&self, signal: Signal) {
        kill_process(Pid::from_child(&self.child), signal).unwrap();
    }
}

impl Drop for Service {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

#[test]
fn a_reload_lists_what_changed_and_keeps_numbers_and_the_old_one_on_a_mistake() {
    let folder = copy_demo();
    let at = folder.path();
    let config = at.join("demo-fleet/cowlwatch.toml");
    let before = fs::read_to_string(&config).unwrap();
    let service = Service::start(at, "demo-fleet/cowlwatch.toml");
    service.wait_for(" pass ", 1);
    let alerts = |_: ()| {
        let out = crate::support::run(at, &["alerts", "--all", "--json", "--config", "demo-fleet/cowlwatch.toml"]);
        let list: serde_json::Value = serde_json::from_slice(&out.stdout).unwrap();
        let list = list.as_array().unwrap().clone();
        list.iter()
            .map(|a| (a["number"].to_string(), a["raised"].to_string(), a["kind"].to_string()))
            .collect::<Vec<_>>()
    };
    let remembered = alerts(());

    let with = format!("{before}\n[tail.N03KM.ground]\nin_service_min = 33\n[alerts]\ngrows_by = 0.5\n");
    fs::write(&config, with).unwrap();
    service.signal(Signal::HUP);
    let said = service.wait_for("configuration read anew", 1);
    let changed: Vec<&str> = said.lines().filter(|line| line.contains("configuration changed")).collect();
    assert_eq!(changed.len(), 2, "{said}");
    assert!(said.contains("alerts.grows_by: 0.25 -> 0.5"), "{said}");
    assert!(said.contains("tail.N03KM.ground.in_service_min: not set -> 33 (demo-fleet/cowlwatch.toml:"), "{said}");
    // Findings follow the new rules; what was numbered keeps its number.
    service.wait_for(" pass ", 2);
    assert_eq!(alerts(()), remembered);

    fs::write(&config, format!("{before}\n[ground]\nin_servce_min = 5\n")).unwrap();
    service.signal(Signal::HUP);
    let said = service.wait_for("configuration refused; the old one stays", 1);
    assert!(said.contains("unknown key ground.in_servce_min, expected the nearest known key in_service_min"), "{said}");
    let outbox = at.join("demo-fleet/state/outbox");
    let started = Instant::now();
    let mailed = || {
        let letters = fs::read_dir(&outbox).into_iter().flatten().flatten();
        letters.filter_map(|l| fs::read_to_string(l.path()).ok()).any(|text| text.contains("configuration refused"))
    };
    while !mailed() {
        assert!(started.elapsed() < PATIENCE, "the refusal was not mailed");
        std::thread::sleep(Duration::from_millis(50));
    }

    // Put back: measured against what is in force, which is the configuration before the mistake.
    fs::write(&config, &before).unwrap();
    service.signal(Signal::HUP);
    let said = service.wait_for("configuration read anew", 2);
    assert!(said.contains("tail.N03KM.ground.in_service_min: 33 -> not set"), "{said}");
    service.signal(Signal::HUP);
    service.wait_for("configuration unchanged", 1);
}

/// The new folder is watched from the reload on: a file there is seen long before the next look is due.
#[test]
fn another_fleet_folder_is_watched_after_a_reload() {
    let folder = copy_demo();
    let at = folder.path().join("demo-fleet");
    let config = at.join("cowlwatch.toml");
    let text = fs::read_to_string(&config).unwrap().replace("[fleet]\n", "[fleet]\nscan_every_s = 3600\n");
    let (old, new) = (at.join("fleet"), at.join("other"));
    for tail in ["N02KM", "N03KM", "N04KM", "N05KM", "N06KM", "N07KM", "N08KM"] {
        fs::remove_dir_all(old.join(tail)).unwrap();
    }
    crate::support::copy(&old, &new);
    fs::write(&config, &text).unwrap();
    let service = Service::start(folder.path(), "demo-fleet/cowlwatch.toml");
    service.wait_for(" pass ", 1);
    fs::write(&config, text.replace("folder = \"fleet\"", "folder = \"other\"")).unwrap();
    service.signal(Signal::HUP);
    service.wait_for("configuration read anew", 1);
    service.wait_for(" pass ", 2);
    // What the reload and the letters before it asked for is over.
    std::thread::sleep(Duration::from_secs(3));
    let passes = service.said().matches(" pass ").count();
    let log = new.join("N01KM/logbook.csv");
    let rows = fs::read_to_string(&log).unwrap();
    fs::write(&log, rows.trim_end().rsplit_once('\n').unwrap().0).unwrap();
    assert!(service.wait_for(" pass ", passes + 1).contains("pass read=1"));
}
