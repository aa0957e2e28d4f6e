//! Figures for a collector: OpenMetrics text (OpenMetrics 1.0.0, prometheus.io/docs/specs/om/open_metrics_spec).
//!
//! A stopped service shows in what no longer moves: the time of the last scan and of the last mail
//! accepted are absolute, so that a collector can alarm on their age.

use std::fmt::Write as _;
use std::sync::Arc;

use crate::alerts::{Alert, State};
use crate::judge::{EngineView, Level};
use crate::records::Instant;
use crate::report::Undelivered;

const STATES: [State; 3] = [State::Open, State::Acknowledged, State::Muted];

/// Alerts that are not closed, by level and state.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct AlertCounts([[u32; STATES.len()]; Level::ALL.len()]);

impl AlertCounts {
    pub fn of(alerts: &[Alert]) -> Self {
        let count = |level, state| alerts.iter().filter(|a| a.level() == level && a.state == state).count() as u32;
        Self(Level::ALL.map(|level| STATES.map(|state| count(level, state))))
    }
}

/// An engine's figures, small enough to be kept between passes.
#[derive(Clone, Debug)]
pub struct EngineFigures {
    tail: Arc<str>,
    position: Option<Arc<str>>,
    serial: Arc<str>,
    rate_qt_per_h: Option<f64>,
    baseline_qt_per_h: Option<f64>,
    hours: f64,
    last_record: Option<Instant>,
}

impl EngineFigures {
    /// Of the engines that are installed; one listed twice would make the whole text invalid.
    pub fn of(engines: &[EngineView]) -> Vec<Self> {
        let mut seen = std::collections::BTreeSet::new();
        let installed = engines.iter().filter(|e| e.installed && seen.insert(&e.serial));
        installed
            .map(|e| Self {
                tail: e.tail.clone(),
                position: e.position.clone(),
                serial: e.serial.clone(),
                rate_qt_per_h: e.rate.map(|r| r.qt_per_h),
                baseline_qt_per_h: e.baseline_qt_per_h,
                hours: e.hours,
                last_record: e.last_record,
            })
            .collect()
    }
}

/// What the figures are made of.
#[derive(Clone, Debug)]
pub struct Figures {
    pub version: &'static str,
    /// End of the last scan that went through.
    pub last_scan: Option<Instant>,
    /// Seconds the last scan took.
    pub scan_s: f64,
    pub files_known: u64,
    pub files_read: u64,
    pub files_waiting: u64,
    pub files_rejected: u64,
    pub rows_rejected: u64,
    pub alerts: AlertCounts,
    pub engines: Vec<EngineFigures>,
    pub undelivered: Undelivered,
    pub last_mail: Option<Instant>,
    pub letters_sent: u64,
    /// Number of the digest made last.
    pub digest_sequence: u32,
    pub last_digest: Option<Instant>,
    pub now: Instant,
}

/// The text, ending in `# EOF`.
pub fn openmetrics(f: &Figures) -> String {
    let mut text = Text(String::new());
    text.family("cowlwatch_build", "info", None, "Version of the program.");
    text.sample("cowlwatch_build_info", &[("version", f.version)], 1.0);

    text.moment("cowlwatch_last_scan_timestamp_seconds", "End of the last scan that went through.", f.last_scan);
    text.gauge("cowlwatch_scan_seconds", Some("seconds"), "How long the last scan took.", f.scan_s);
    text.family("cowlwatch_files", "gauge", None, "Files by what the last scan made of them.");
    for (state, count) in
        [("known", f.files_known), ("read", f.files_read), ("waiting", f.files_waiting), ("rejected", f.files_rejected)]
    {
        text.sample("cowlwatch_files", &[("state", state)], count as f64);
    }
    text.gauge("cowlwatch_rows_rejected", None, "Rows that could not be read.", f.rows_rejected as f64);

    text.family("cowlwatch_alerts", "gauge", None, "Alerts that are not closed, by level and state.");
    for (level, counts) in Level::ALL.iter().zip(f.alerts.0) {
        for (state, count) in STATES.iter().zip(counts) {
            text.sample("cowlwatch_alerts", &[("level", level.word()), ("state", state.word())], f64::from(count));
        }
    }
    mail(&mut text, f);
    engines(&mut text, &f.engines);
    text.0.push_str("# EOF\n");
    text.0
}

fn mail(text: &mut Text, f: &Figures) {
    let waiting = f64::from(f.undelivered.letters);
    text.gauge("cowlwatch_letters_waiting", None, "Letters the mail server has not taken yet.", waiting);
    let age = f.undelivered.oldest.map_or(0.0, |oldest| seconds(f.now) - seconds(oldest)).max(0.0);
    text.gauge("cowlwatch_oldest_letter_age_seconds", Some("seconds"), "Age of the oldest of them.", age);
    text.family(
        "cowlwatch_letters_sent",
        "counter",
        None,
        "Letters taken by the mail server, or written to the folder.",
    );
    text.sample("cowlwatch_letters_sent_total", &[], f.letters_sent as f64);
    text.moment("cowlwatch_last_letter_timestamp_seconds", "When the last letter was taken.", f.last_mail);
    let sequence = f64::from(f.digest_sequence);
    text.gauge("cowlwatch_digest_number", None, "Number of the digest made last.", sequence);
    text.moment("cowlwatch_last_digest_timestamp_seconds", "When it was made.", f.last_digest);
}

fn engines(text: &mut Text, engines: &[EngineFigures]) {
    let mut series = |name: &str, help: &str, value: &dyn Fn(&EngineFigures) -> Option<f64>| {
        text.family(name, "gauge", None, help);
        for engine in engines {
            let position = engine.position.as_deref().unwrap_or("");
            let labels = [("tail", &*engine.tail), ("position", position), ("serial", &*engine.serial)];
            if let Some(value) = value(engine) {
                text.sample(name, &labels, value);
            }
        }
    };
    series("cowlwatch_engine_oil_quarts_per_hour", "Oil consumption.", &|e| e.rate_qt_per_h);
    series("cowlwatch_engine_baseline_quarts_per_hour", "The engine's own baseline.", &|e| e.baseline_qt_per_h);
    series("cowlwatch_engine_total_hours", "Engine hours at the last record.", &|e| Some(e.hours));
    series("cowlwatch_engine_last_record_timestamp_seconds", "Time of the last record.", &|e| {
        e.last_record.map(seconds)
    });
}

fn seconds(at: Instant) -> f64 {
    at.timestamp_millis() as f64 / 1000.0
}

struct Text(String);

impl Text {
    fn family(&mut self, name: &str, kind: &str, unit: Option<&str>, help: &str) {
        // Writing to a String cannot fail.
        let _ = writeln!(self.0, "# TYPE {name} {kind}");
        if let Some(unit) = unit {
            let _ = writeln!(self.0, "# UNIT {name} {unit}");
        }
        let _ = writeln!(self.0, "# HELP {name} {}", escaped(help));
    }

    fn sample(&mut self, name: &str, labels: &[(&str, &str)], value: f64) {
        let labels: Vec<String> = labels.iter().map(|(n, v)| format!("{n}=\"{}\"", escaped(v))).collect();
        let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
        let value = if value.is_finite() { value } else { 0.0 };
        let _ = writeln!(self.0, "{name}{labels} {value}");
    }

    fn gauge(&mut self, name: &str, unit: Option<&str>, help: &str, value: f64) {
        self.family(name, "gauge", unit, help);
        self.sample(name, &[], value);
    }

    /// A moment; before it has come there is no sample.
    fn moment(&mut self, name: &str, help: &str, at: Option<Instant>) {
        self.family(name, "gauge", Some("seconds"), help);
        if let Some(at) = at {
            self.sample(name, &[], seconds(at));
        }
    }
}

/// OpenMetrics 1.0.0 ABNF: backslash, double quote and line feed are escaped.
fn escaped(text: &str) -> String {
    text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n")
}
