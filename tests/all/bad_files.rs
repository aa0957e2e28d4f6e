//! Everything that can be wrong with files at once, in one fleet folder: the sound ones are read, each bad one is
//! named, and memory stays small.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs::{self, File};
use std::io::Write;
use std::os::unix::fs::symlink;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;

use serde_json::Value;

use crate::support::{PROGRAM, copy_demo};
use crate::workbooks::bomb;

/// Output and peak resident memory, kB, of `cowlwatch scan`.
fn scan(folder: &Path) -> (Value, u64) {
    let mut child = Command::new(PROGRAM)
        .args(["scan", "--config", "cowlwatch.toml", "--as-of", "2026-11-25T06:30", "--json"])
        .current_dir(folder)
        .stdout(File::create(folder.join("said.json")).unwrap())
        .stderr(Stdio::null())
        .spawn()
        .unwrap();
    let status = format!("/proc/{}/status", child.id());
    let mut peak = 0;
    while child.try_wait().unwrap().is_none() {
        let text = fs::read_to_string(&status).unwrap_or_default();
        let now = text.lines().find_map(|l| l.strip_prefix("VmHWM:")?.trim().strip_suffix(" kB")?.parse().ok());
        peak = peak.max(now.unwrap_or(0));
        std::thread::sleep(Duration::from_millis(2));
    }
    (serde_json::from_str(&fs::read_to_string(folder.join("said.json")).unwrap()).unwrap(), peak)
}

/// A file of `size` bytes that begins with `text` and takes no room on the disk: NULs to its end.
fn sparse(path: &Path, text: &str, size: u64) {
    let mut file = File::create(path).unwrap();
    file.write_all(text.as_bytes()).unwrap();
    file.set_len(size).unwrap();
}

#[test]
fn a_folder_full_of_traps_costs_the_traps_alone() {
    let home = copy_demo();
    let folder = home.path().join("demo-fleet");
    // Two aircraft are enough.
    for tail in fs::read_dir(folder.join("fleet")).unwrap().map(|e| e.unwrap().path()) {
        if !tail.ends_with("N06KM") && !tail.ends_with("N02KM") {
            fs::remove_dir_all(tail).unwrap();
        }
    }
    let (sound, _) = scan(&folder);
    fs::remove_dir_all(folder.join("state")).unwrap();

    let tail = folder.join("fleet/N06KM");
    let monitor = tail.join("monitor");
    let recording = fs::read_dir(monitor.join("2026")).unwrap().next().unwrap().unwrap().path();
    sparse(&monitor.join("long-line.csv"), "time,left.rpm\nx", 512 << 20);
    sparse(&tail.join("logbook-huge.csv"), "date,entry\n", 512 << 20);
    // A recording set aside on the disk before it was written: its tail is the sound recording's.
    let text = fs::read_to_string(&recording).unwrap();
    sparse(&recording, &text, text.len() as u64 + 300_000);
    sparse(&monitor.join("nothing-yet.csv"), "", 100_000);
    let made = Command::new("mkfifo").arg(monitor.join("pipe.csv")).status().unwrap();
    assert!(made.success());
    symlink("../monitor", monitor.join("round-and-round")).unwrap();
    symlink("self.csv", monitor.join("self.csv")).unwrap();
    symlink("/etc/passwd", monitor.join("link.csv")).unwrap();
    fs::create_dir_all(monitor.join("folder.csv")).unwrap();
    bomb(&tail.join("logbook-bomb.ods"));
    fs::write(tail.join("logbook-old.xlsx"), [0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1]).unwrap();
    fs::write(tail.join("logbook-empty.csv"), "").unwrap();
    fs::write(tail.join("~$logbook.xlsx"), "owner").unwrap();
    fs::write(tail.join(".~lock.logbook.csv#"), "owner").unwrap();
    fs::create_dir_all(folder.join("fleet/notes")).unwrap();

    let (found, peak) = scan(&folder);
    assert!(peak < 200 * 1024, "{peak} kB resident");
    assert_eq!(found["engines"], sound["engines"]);
    let others = |said: &Value| -> Vec<String> {
        let alerts = said["alerts"].as_array().unwrap().iter().filter(|a| a["kind"] != "file-rejected");
        alerts.map(|a| format!("{} {} {}", a["kind"], a["serial"], a["raised"])).collect()
    };
    assert_eq!(others(&found), others(&sound));

    let check = Command::new(PROGRAM).args(["check", "--config", "cowlwatch.toml"]).current_dir(&folder).output();
    let check = check.unwrap();
    assert_eq!(check.status.code(), Some(65));
    let said = String::from_utf8_lossy(&check.stdout).into_owned() + &String::from_utf8_lossy(&check.stderr);
    for (file, what) in [
        ("N06KM/monitor/long-line.csv:2", "a line of more than 65,000 characters"),
        ("N06KM/monitor/nothing-yet.csv", "no header row"),
        ("N06KM/monitor/pipe.csv", "not a regular file"),
        ("N06KM/monitor/self.csv", "a link"),
        ("N06KM/monitor/link.csv", "a link"),
        ("N06KM/logbook-huge.csv", "larger than 64 MB"),
        ("N06KM/logbook-bomb.ods", "takes more than 128 MB or 20 s"),
        ("N06KM/logbook-old.xlsx", "an old (.xls) or password-protected workbook"),
        ("notes", "a folder without aircraft.toml"),
    ] {
        let lines: Vec<&str> = said.lines().filter(|l| l.contains(&format!("{file}:"))).collect();
        assert!(lines.iter().any(|l| l.contains(what)), "{file}: {what}\n{said}");
        assert_eq!(lines.len(), 1, "{file}\n{said}");
    }
    assert_eq!(said.matches("N06KM/").count(), 8, "{said}");
}
