//! What the program told: alerts read back from its JSON.

use std::path::{Path, PathBuf};
use std::sync::OnceLock;

use chrono::{DateTime, FixedOffset, NaiveDate};
use serde_json::Value;

use crate::support;

/// One alert.
#[derive(Clone, Debug)]
pub struct Told {
    pub kind: String,
    pub level: String,
    pub tail: String,
    pub position: String,
    pub serial: String,
    pub raised: DateTime<FixedOffset>,
    pub closed: Option<DateTime<FixedOffset>>,
    pub headline: String,
    pub evidence: Value,
}

impl Told {
    /// Local day on which it was raised.
    pub fn day(&self) -> NaiveDate {
        self.raised.date_naive()
    }

    pub fn line(&self) -> String {
        let closed = self.closed.map_or("open".to_owned(), |c| format!("closed {}", c.format("%F %R")));
        format!(
            "{} {} {} {} {} {} {closed}: {}",
            self.raised.format("%F %R"),
            self.level,
            self.kind,
            self.tail,
            self.position,
            self.serial,
            self.headline
        )
    }

    /// All of it as text, to look for log lines in.
    pub fn text(&self) -> String {
        format!("{} {}", self.headline, self.evidence)
    }
}

fn text(value: &Value, key: &str) -> String {
    value[key].as_str().unwrap_or_default().to_owned()
}

fn time(value: &Value, key: &str) -> Option<DateTime<FixedOffset>> {
    value[key].as_str().map(|t| DateTime::parse_from_rfc3339(t).unwrap())
}

/// The alerts of an object as `scan --json` and `replay --json` print it, in order of time.
pub fn alerts(object: &Value) -> Vec<Told> {
    let mut alerts: Vec<Told> = object["alerts"]
        .as_array()
        .unwrap()
        .iter()
        .map(|a| Told {
            kind: text(a, "kind"),
            level: text(a, "level"),
            tail: text(a, "tail"),
            position: text(a, "position"),
            serial: text(a, "serial"),
            raised: time(a, "raised").unwrap(),
            closed: time(a, "closed"),
            headline: text(a, "headline"),
            evidence: a["evidence"].clone(),
        })
        .collect();
    alerts.sort_by_key(|a| a.raised);
    alerts
}

/// The engine of an object by its serial.
pub fn engine(object: &Value, serial: &str) -> Value {
    let engines = object["engines"].as_array().unwrap();
    engines.iter().find(|e| e["serial"] == serial).unwrap_or_else(|| panic!("no {serial} in {object}")).clone()
}

/// Runs the program in `folder` and reads what it prints; alerts of any level are no failure.
pub fn json(folder: &Path, args: &[&str]) -> Value {
    let output = support::run(folder, args);
    assert!(output.status.success(), "{args:?}: {}\n{}", output.status, String::from_utf8_lossy(&output.stderr));
    serde_json::from_slice(&output.stdout).unwrap_or_else(|e| panic!("{args:?}: {e}"))
}

/// The demo fleet as committed.
pub fn committed() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-fleet")
}

/// A fresh copy of a folder, without any state a person's own run left in it.
pub fn copied(from: &Path) -> tempfile::TempDir {
    let folder = tempfile::tempdir().unwrap();
    support::copy(from, folder.path());
    folder
}

/// Every alert of the sixteen months, as if the program had been running.
pub fn replayed() -> &'static [Told] {
    static ALL: OnceLock<Vec<Told>> = OnceLock::new();
    ALL.get_or_init(|| {
        let folder = copied(&committed());
        alerts(&json(
            folder.path(),
            &["replay", "--config", "cowlwatch.toml", "--to", "2026-10-31T23:00:00-06:00", "--json"],
        ))
    })
}

/// The demo fleet as of a moment, nothing stored.
pub fn as_of(moment: &str) -> Value {
    let folder = copied(&committed());
    json(folder.path(), &["scan", "--config", "cowlwatch.toml", "--dry-run", "--as-of", moment, "--json"])
}

pub fn day(text: &str) -> NaiveDate {
    text.parse().unwrap()
}
