//! The service killed at random moments with mail faults on, and stopped in order many times.

use std::process::Command;

use serde_json::Value;

use crate::support::PROGRAM;
use crate::tools::{helper, must, python};

/// Thirty kills here; the same helper was run with hundreds. It fails on a lost or doubled alert, a letter
/// lost or doubled under another Message-ID, a stop that takes ten seconds, or a letter repeated by a restart.
#[test]
fn kills_lose_nothing_and_restarts_repeat_nothing() {
    let said = must(Command::new(python()).arg(helper("kills.py")).arg(PROGRAM).args(["30", "8", "1"]));
    let counted: Value = serde_json::from_str(said.trim()).unwrap();
    assert_eq!((&counted["kills"], &counted["alerts"], &counted["restarts"]), (&30.into(), &30.into(), &8.into()));
}
