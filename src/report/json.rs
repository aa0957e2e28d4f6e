//! What programs read: the objects of `scan --json`, `replay --json`, `status --json`, `alerts --json`.
//!
//! The names are a contract; keys are added, never renamed. Times carry the fleet zone's offset.
//! Rates are rounded to what the evidence can bear, so that a diff of two outputs shows changes only.

mod alert;

use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::words::numbers;
use crate::alerts::Alert;
use crate::judge::{EnginePhase, EngineView};
use crate::records::Instant;

pub use alert::{AlertInFull, AlertOut, alert_in_full};

/// What a pass did with the files.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct FileCounts {
    pub read: u64,
    pub unchanged: u64,
    /// Still being written, or not read yet.
    pub waiting: u64,
    /// Set aside as a whole.
    pub rejected: u64,
    pub rows_rejected: u64,
}

/// The object of `scan --json`.
#[derive(Debug, Serialize)]
pub struct Scan<'a> {
    as_of: String,
    files: FileCounts,
    engines: Vec<EngineOut<'a>>,
    alerts: Vec<AlertOut<'a>>,
}

/// The object of `scan --json` and `replay --json`.
pub fn scan<'a>(
    as_of: Instant,
    zone: Tz,
    files: FileCounts,
    engines: &'a [EngineView],
    alerts: &'a [Alert],
) -> Scan<'a> {
    Scan {
        as_of: numbers::iso(as_of, zone),
        files,
        engines: self::engines(engines),
        alerts: self::alerts(alerts, zone),
    }
}

/// The list of `status --json`.
pub fn engines(engines: &[EngineView]) -> Vec<EngineOut<'_>> {
    engines.iter().map(EngineOut::new).collect()
}

/// The list of `alerts --json`.
pub fn alerts(alerts: &[Alert], zone: Tz) -> Vec<AlertOut<'_>> {
    alerts.iter().map(|a| AlertOut::new(a, zone)).collect()
}

/// Writes any of these as indented JSON with a final newline.
///
/// # Errors
/// Only if a value cannot be JSON at all, which these cannot be.
pub fn text<T: Serialize>(value: &T) -> Result<String, serde_json::Error> {
    serde_json::to_string_pretty(value).map(|t| t + "\n")
}

/// One engine.
#[derive(Debug, Serialize)]
pub struct EngineOut<'a> {
    tail: &'a str,
    position: Option<&'a str>,
    serial: &'a str,
    model: &'a str,
    installed: bool,
    hours: f64,
    hours_since_build: Option<f64>,
    clock: &'a str,
    oil: Option<&'a str>,
    phase: EnginePhase,
    rate_qt_per_h: Option<f64>,
    rate_low: Option<f64>,
    rate_high: Option<f64>,
    hours_per_qt: Option<f64>,
    baseline_qt_per_h: Option<f64>,
    quarts: f64,
    log: &'a str,
    level_qt: Option<f64>,
    endurance_h: Option<f64>,
    ceiling_qt_per_h: Option<f64>,
    stabilised_p: Option<f64>,
}

impl<'a> EngineOut<'a> {
    fn new(e: &'a EngineView) -> Self {
        let rate = e.rate;
        Self {
            tail: &e.tail,
            position: e.position.as_deref(),
            serial: &e.serial,
            model: &e.model,
            installed: e.installed,
            hours: round(e.hours, 2),
            hours_since_build: e.hours_since_build.map(|h| round(h, 2)),
            clock: &e.clock,
            oil: e.oil.as_deref(),
            phase: e.phase,
            rate_qt_per_h: rate.map(|r| round(r.qt_per_h, 4)),
            rate_low: rate.map(|r| round(r.low, 4)),
            rate_high: rate.map(|r| round(r.high, 4)),
            hours_per_qt: rate.filter(|r| r.qt_per_h > 1e-4).map(|r| round(1.0 / r.qt_per_h, 2)),
            baseline_qt_per_h: e.baseline_qt_per_h.map(|r| round(r, 4)),
            quarts: round(e.quarts, 2),
            log: &e.log,
            level_qt: e.level_qt.map(|l| round(l, 2)),
            endurance_h: e.endurance_h.map(|h| round(h, 1)),
            ceiling_qt_per_h: e.ceiling_qt_per_h.map(|c| round(c, 4)),
            stabilised_p: e.break_in.as_ref().and_then(|b| b.stabilised_p).map(|p| round(p, 3)),
        }
    }
}

/// Rounds to `digits` decimals; −0 becomes 0.
pub(super) fn round(value: f64, digits: i32) -> f64 {
    let scale = 10f64.powi(digits);
    (value * scale).round() / scale + 0.0
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::report::sample;

    /// The keys of the contract, as written in the project's description of its output.
    #[test]
    fn names_and_values_follow_the_contract() {
        let morning = sample::morning();
        let out = scan(morning.as_of, morning.zone, FileCounts::default(), &morning.engines, &morning.alerts);
        let v: serde_json::Value = serde_json::from_str(&text(&out).unwrap()).unwrap();
        assert_eq!(v["as_of"], "2026-02-27T06:30:00-07:00");
        for key in ["read", "unchanged", "waiting", "rejected", "rows_rejected"] {
            assert!(v["files"][key].is_u64(), "{key}");
        }
        let engine = &v["engines"][0];
        for key in [
            "tail",
            "position",
            "serial",
            "model",
            "hours",
            "hours_since_build",
            "oil",
            "phase",
            "rate_qt_per_h",
            "rate_low",
            "rate_high",
            "hours_per_qt",
            "baseline_qt_per_h",
            "quarts",
        ] {
            assert!(engine.get(key).is_some(), "{key}");
        }
        let rise = v["alerts"].as_array().unwrap().iter().find(|a| a["kind"] == "oil-rate-rise").unwrap();
        assert_eq!((&rise["level"], &rise["state"]), (&"caution".into(), &"open".into()));
        assert!(rise["closed"].is_null());
        assert_eq!(rise["evidence"]["since"], "2026-02-09");
        assert_eq!(rise["evidence"]["from_qt_per_h"], 0.11);
        assert_eq!(rise["evidence"]["used"][0], "N0317H/logbook.csv:118");
        assert!(rise["headline"].as_str().unwrap().contains("0.11 → 0.24 qt/h"));
        assert_eq!(rise["raised"], "2026-02-26T18:10:00-07:00");
    }
}
