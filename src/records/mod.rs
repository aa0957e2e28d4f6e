//! What the files say, and nothing more.
//!
//! Reading never fails: every reader returns the records it could make out and a [`Rejection`] for
//! each row it could not, with the line, what stood there and what was expected. One broken row
//! must not cost an operator the rest of the sheet. No judgement is made here.

pub mod aircraft;
pub mod aircraft_file;
pub mod keyed;
pub mod layout;
pub mod layout_tables;
pub mod local;
pub mod logbook;
pub mod monitor;
pub mod oil;
pub mod propose;
pub mod run;
pub mod table;

use std::fmt;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, NaiveTime, Utc};
use serde::{Deserialize, Serialize};

pub use aircraft::Aircraft;
pub use oil::{Oil, OilFamily};
pub use run::RunSummary;

use crate::units::{Hours, Quarts};

/// A moment. The fleet's zone is applied when records are put in order and when people read them.
pub type Instant = DateTime<Utc>;

/// Where a fact stands: a file, relative to the fleet folder, and its line (1-based; 0 = the file as a whole).
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Source {
    pub file: Arc<str>,
    pub line: u32,
}

impl fmt::Display for Source {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        if self.line == 0 { write!(f, "{}", self.file) } else { write!(f, "{}:{}", self.file, self.line) }
    }
}

/// A row, key or file that could not be used. Prints as `file:line: what, and what was expected`.
#[derive(Clone, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Rejection {
    pub source: Source,
    /// What was found, in words the person who wrote it will recognise: `level "1O qt"`.
    pub found: String,
    /// What was expected: `a number of quarts such as 8.5`.
    pub expected: String,
    /// True when the whole file was set aside, not one row.
    pub whole_file: bool,
}

/// What was found may hold anything; a message is one line, and nothing in it moves a cursor or ends a header.
pub fn visible(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c }).collect()
}

impl fmt::Display for Rejection {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let text = format!("{}: {}, expected {}", self.source, self.found, self.expected);
        f.write_str(&visible(&text))
    }
}

/// A date in the fleet's local time, with the time of day where the sheet gives one.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Stamp {
    pub date: NaiveDate,
    pub time: Option<NaiveTime>,
}

/// What a logbook entry says happened. Words in the sheet: [`EntryKind::word`].
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EntryKind {
    Flight,
    GroundRun,
    OilLevel,
    OilAdded,
    OilChanged,
    FilterInspected,
    ScreenCleaned,
    Installed,
    Removed,
    Overhauled,
    TopOverhauled,
    CylinderReplaced,
    MeterChanged,
    Action,
    Note,
}

impl EntryKind {
    /// Every kind, in the order of the logbook contract.
    pub const ALL: [Self; 15] = [
        Self::Flight,
        Self::GroundRun,
        Self::OilLevel,
        Self::OilAdded,
        Self::OilChanged,
        Self::FilterInspected,
        Self::ScreenCleaned,
        Self::Installed,
        Self::Removed,
        Self::Overhauled,
        Self::TopOverhauled,
        Self::CylinderReplaced,
        Self::MeterChanged,
        Self::Action,
        Self::Note,
    ];

    /// The word in the `entry` column.
    pub fn word(self) -> &'static str {
        match self {
            Self::Flight => "flight",
            Self::GroundRun => "ground-run",
            Self::OilLevel => "oil-level",
            Self::OilAdded => "oil-added",
            Self::OilChanged => "oil-changed",
            Self::FilterInspected => "filter-inspected",
            Self::ScreenCleaned => "screen-cleaned",
            Self::Installed => "installed",
            Self::Removed => "removed",
            Self::Overhauled => "overhauled",
            Self::TopOverhauled => "top-overhauled",
            Self::CylinderReplaced => "cylinder-replaced",
            Self::MeterChanged => "meter-changed",
            Self::Action => "action",
            Self::Note => "note",
        }
    }
}

/// What a filter or screen showed.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Inspection {
    Clean,
    Trace,
    Metal,
}

impl Inspection {
    /// Every result.
    pub const ALL: [Self; 3] = [Self::Clean, Self::Trace, Self::Metal];

    /// The word in the `result` column.
    pub fn word(self) -> &'static str {
        match self {
            Self::Clean => "clean",
            Self::Trace => "trace",
            Self::Metal => "metal",
        }
    }
}

/// One thing that happened, as logged. A sheet row may give several (oil per engine, then the flight);
/// they then share a source and stand in the order in which they happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct LogEntry {
    pub source: Source,
    pub stamp: Stamp,
    /// Position; `None` = the only engine, or all engines (a flight).
    pub engine: Option<Arc<str>>,
    pub kind: EntryKind,
    /// The meter's reading at the entry (for a flight: at its end; `meter-changed`: the new reading).
    pub hours: Option<Hours>,
    /// Oil poured in (`oil-added`).
    pub quantity: Option<Quarts>,
    /// Dipstick: before any oil for `oil-level` and `oil-added`, after the refill for `oil-changed`.
    /// A flight's pre-flight reading has become an `oil-level` entry before it.
    pub level: Option<Quarts>,
    /// What was poured.
    pub oil: Option<Oil>,
    /// Length of a flight or ground run.
    pub flight_hours: Option<Hours>,
    /// Kind of service, the operator's own word.
    pub service: Option<Arc<str>>,
    /// What a filter or screen showed.
    pub result: Option<Inspection>,
    /// Serial of an engine installed or removed.
    pub serial: Option<Arc<str>>,
    /// `action`: the number of the alert it is about.
    pub alert: Option<u32>,
    pub remarks: Option<Arc<str>>,
}

/// Everything one tail's folder says.
#[derive(Clone, Debug)]
pub struct TailRecords {
    pub aircraft: Aircraft,
    /// In file order; putting them in order of time is the history's work.
    pub entries: Vec<LogEntry>,
    pub runs: Vec<RunSummary>,
}
