//! The running service under what will go wrong: killed at random, a false clock, a disk that cannot be written.
//!
//! Each case is a Python program in `tests/tools` that can be run alone and longer; here is its short form.

use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;

use crate::support::PROGRAM;
use crate::tools::{helper, must, program, python};

/// Thirty kills here; the same helper was run with a thousand. It fails on a lost or doubled alert, a letter
/// lost or doubled under another Message-ID, a stop that takes ten seconds, or a letter repeated by a restart.
#[test]
fn kills_lose_nothing_and_restarts_repeat_nothing() {
    let said = must(Command::new(python()).arg(helper("kills.py")).arg(PROGRAM).args(["30", "8", "1"]));
    let counted: Value = serde_json::from_str(said.trim()).unwrap();
    assert_eq!((&counted["kills"], &counted["alerts"], &counted["restarts"]), (&30.into(), &30.into(), &8.into()));
}

/// Debian's libfaketime. Its build for programs of several threads is named MT.
fn libfaketime() -> PathBuf {
    program("faketime", "faketime");
    let folders =
        ["/usr/lib/x86_64-linux-gnu", "/usr/lib/aarch64-linux-gnu", "/usr/lib64", "/usr/lib", "/usr/local/lib"];
    let found = folders.iter().map(|f| Path::new(f).join("faketime/libfaketimeMT.so.1")).find(|p| p.exists());
    found.unwrap_or_else(|| panic!("this case needs libfaketimeMT.so.1 (Debian: apt-get install libfaketime)"))
}

/// Both changes of the clocks of 2026 in America/Denver, jumps of three days either way, restarts between.
/// Steps of two hours here; the helper was run with steps of half an hour.
#[test]
fn one_digest_for_each_date_whatever_the_clock_does() {
    let said = must(Command::new(python()).arg(helper("clock.py")).arg(PROGRAM).arg(libfaketime()).arg("120"));
    let counted: Value = serde_json::from_str(said.trim()).unwrap();
    // Eve (the service starts after its hour), the day of the change and the day after, then six dates of the jumps.
    assert_eq!(counted["digests"], serde_json::json!([18, 18, 18]));
}

#[test]
fn a_disk_that_cannot_be_written_is_said_and_survived() {
    program("strace", "strace");
    let output = Command::new(python()).arg(helper("disk.py")).arg(PROGRAM).output().unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    if output.status.code() == Some(77) {
        eprintln!("a_disk_that_cannot_be_written_is_said_and_survived: {said}");
        return;
    }
    assert!(output.status.success(), "{said}");
    let counted: Value = serde_json::from_str(String::from_utf8_lossy(&output.stdout).trim()).unwrap();
    assert_eq!(counted["letters"], 8);
}
