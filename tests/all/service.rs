//! The units for systemd: accepted by systemd's own checker, and closed as far as the work allows.
//!
//! Outside check: `systemd-analyze` of systemd 250 or later. Where it is not installed only the text is held.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::process::Command;

fn units() -> Vec<PathBuf> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("systemd");
    let mut units: Vec<PathBuf> = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    units.sort();
    units
}

fn unit(name: &str) -> String {
    fs::read_to_string(units().into_iter().find(|unit| unit.ends_with(name)).unwrap()).unwrap()
}

fn checker_present() -> bool {
    Command::new("systemd-analyze").arg("--version").output().is_ok_and(|out| out.status.success())
}

/// Lays the units out as installed, with stand-ins for the programs they call.
fn installed() -> tempfile::TempDir {
    let root = tempfile::tempdir().unwrap();
    let system = root.path().join("etc/systemd/system");
    fs::create_dir_all(&system).unwrap();
    for unit in units() {
        fs::copy(&unit, system.join(unit.file_name().unwrap())).unwrap();
    }
    for program in ["usr/bin/cowlwatch", "usr/bin/systemctl", "bin/sh", "bin/kill"] {
        let path = root.path().join(program);
        fs::create_dir_all(path.parent().unwrap()).unwrap();
        fs::write(&path, "#!/bin/sh\n").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o755)).unwrap();
    }
    // The targets and sockets the units wait for are those of the machine.
    if Path::new("/lib/systemd/system").is_dir() {
        fs::create_dir_all(root.path().join("lib/systemd")).unwrap();
        let copied =
            Command::new("cp").args(["-r", "/lib/systemd/system"]).arg(root.path().join("lib/systemd")).status();
        assert!(copied.unwrap().success());
    }
    root
}

#[test]
fn the_checker_of_systemd_finds_nothing_wrong() {
    if !checker_present() {
        return;
    }
    let root = installed();
    for name in ["cowlwatch.service", "cowlwatch-failed@x.service", "cowlwatch-alive.service", "cowlwatch-alive.timer"]
    {
        let out = Command::new("systemd-analyze")
            .args(["verify", "--man=no", &format!("--root={}", root.path().display()), name])
            .output()
            .unwrap();
        let said = String::from_utf8_lossy(&out.stderr).into_owned();
        // Complaints about units that are not ours are the machine's.
        let ours: Vec<&str> = said.lines().filter(|line| line.contains("cowlwatch")).collect();
        assert_eq!(ours, [""; 0], "{name}");
    }
}

#[test]
fn what_systemd_calls_exposure_stays_low() {
    if !checker_present() {
        return;
    }
    // systemd rates from 0 (closed) to 10; the threshold is in tenths.
    for (name, threshold) in
        [("cowlwatch.service", 11), ("cowlwatch-failed@.service", 6), ("cowlwatch-alive.service", 18)]
    {
        let path = units().into_iter().find(|unit| unit.ends_with(name)).unwrap();
        let out = Command::new("systemd-analyze")
            .args(["security", "--offline=yes", "--no-pager", &format!("--threshold={threshold}")])
            .arg(&path)
            .output()
            .unwrap();
        assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
    }
}

#[test]
fn the_service_tells_when_it_fails_and_stays_down_on_a_wrong_configuration() {
    let service = unit("cowlwatch.service");
    for line in [
        "Type=notify",
        "RestartPreventExitStatus=78",
        "OnFailure=cowlwatch-failed@%n.service",
        "LoadCredential=smtp-password",
        "#RequiresMountsFor=/srv/fleet",
        "ProtectSystem=strict",
        "SocketBindDeny=any",
    ] {
        assert!(service.lines().any(|l| l == line), "{line}");
    }
    assert!(service.lines().any(|l| l.starts_with("WatchdogSec=")));
    assert!(unit("cowlwatch-alive.timer").contains("Persistent=yes"));
    assert!(unit("cowlwatch-alive.service").contains("OnFailure=cowlwatch-failed@cowlwatch.service.service"));
}
