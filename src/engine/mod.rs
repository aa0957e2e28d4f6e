//! One engine's life, put together from what every tail's files say.
//!
//! An engine is its serial: it is installed, overhauled, moved to another wing, and its history
//! goes with it. Readings of three kinds of meter become one clock, engine hours; builds (new,
//! overhaul, top overhaul, cylinder) and oil fills cut that life into pieces the judges can reason
//! about. What does not add up is left out of the clock and reported as a question about the records.

pub mod clock;
pub mod history;
pub mod order;
pub mod recorder_clock;
pub mod services;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::records::aircraft::{BuildKind, Meter};
use crate::records::{Inspection, Instant, Oil, RunSummary, Source};

pub use history::build;

/// An engine model, from the engine models file. Numbers the operator has not confirmed say so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Model {
    pub name: Arc<str>,
    pub rated_hp: f64,
    pub rated_rpm: f64,
    pub cylinders: u8,
    pub turbocharged: bool,
    pub cylinder_finish: Option<String>,
    pub oil_capacity_qt: Option<f64>,
    pub oil_minimum_qt: Option<f64>,
    pub manifold_max_inhg: Option<f64>,
    pub cht_max_f: Option<f64>,
    pub oil_temp_max_f: Option<f64>,
    pub power: Vec<PowerPoint>,
    /// Horsepower per gallon per hour lean of peak, where fuel flow gives power.
    pub hp_per_gph: Option<f64>,
    /// The operator has confirmed these numbers against the engine maker's instructions.
    pub confirmed: bool,
    /// Where the model stands: file and line.
    pub source: Source,
}

impl Model {
    /// Stands in for a model the models file does not have, so that the rest of the engine's records still count.
    pub fn unknown(name: Arc<str>, source: Source) -> Self {
        Self {
            name,
            rated_hp: 0.0,
            rated_rpm: 0.0,
            cylinders: 0,
            turbocharged: false,
            cylinder_finish: None,
            oil_capacity_qt: None,
            oil_minimum_qt: None,
            manifold_max_inhg: None,
            cht_max_f: None,
            oil_temp_max_f: None,
            power: Vec::new(),
            hp_per_gph: None,
            confirmed: false,
            source,
        }
    }
}

/// One row of a power chart.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct PowerPoint {
    pub rpm: f64,
    pub manifold_inhg: f64,
    pub altitude_ft: f64,
    pub percent: f64,
}

/// The models, by name.
pub type Models = BTreeMap<Arc<str>, Arc<Model>>;

/// A stretch of an engine's life between things that make its rings seat anew.
#[derive(Clone, Debug, PartialEq)]
pub struct Build {
    /// `None`: the records do not say what the engine's state at their beginning was.
    pub kind: Option<BuildKind>,
    /// When it began; `None` if before the records.
    pub began: Option<Instant>,
    /// Engine hours at which this build's clock stood at zero (may lie before the records).
    pub zero_hours: f64,
    /// True if the hours since build at the start of the records are known.
    pub zero_known: bool,
    pub source: Source,
}

/// Something in an engine's life, in order of time.
#[derive(Clone, Debug)]
pub struct Event {
    pub at: Instant,
    /// Engine hours (since new where known, else since the records began), after the event.
    pub hours: f64,
    /// Index into [`Engine::builds`].
    pub build: usize,
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    pub source: Source,
    /// The entry's own words, where it has any.
    pub remarks: Option<Arc<str>>,
    pub what: What,
}

/// What happened to the engine.
#[derive(Clone, Debug)]
pub enum What {
    /// A flight, or running between two readings that no flight row explains.
    Flight {
        /// Engine hours this flight took, by the meter where it can be trusted.
        hours: f64,
        service: Option<Arc<str>>,
        /// True where the log shows hours but no flight row: an additions-only log, or a flight not logged.
        inferred: bool,
    },
    GroundRun {
        hours: f64,
    },
    /// Dipstick reading before any oil.
    Level {
        qt: f64,
    },
    /// Oil added after `Level` of the same row, if any.
    Added {
        qt: f64,
        oil: Option<Oil>,
    },
    /// Drained and refilled.
    Changed {
        level_after_qt: Option<f64>,
        oil: Option<Oil>,
    },
    Filter {
        result: Option<Inspection>,
    },
    Screen {
        result: Option<Inspection>,
    },
    Installed,
    Removed,
    /// A new build began (its index is the event's `build`).
    BuildBegan(BuildKind),
    MeterChanged,
    Action {
        alert: Option<u32>,
        text: Option<Arc<str>>,
    },
    Note {
        text: Arc<str>,
    },
    /// A monitor recording of one run.
    Run(Arc<RunSummary>),
}

/// Where an engine sat, from when until when.
#[derive(Clone, Debug, PartialEq)]
pub struct Placement {
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    pub meter: Meter,
    pub from: Option<Instant>,
    pub to: Option<Instant>,
}

/// One engine by serial, with its whole known life.
#[derive(Clone, Debug)]
pub struct Engine {
    pub serial: Arc<str>,
    pub model: Arc<Model>,
    pub events: Vec<Event>,
    pub builds: Vec<Build>,
    /// In order of time; the last one without `to` is where it sits now.
    pub placements: Vec<Placement>,
    /// Engine hours when the records begin, and whether that is time since new.
    pub hours_at_start: f64,
    /// Engine hours now: after the last event.
    pub clock_h: f64,
    pub hours_since_new_known: bool,
    /// Oil when the records begin.
    pub oil_at_start: Option<Oil>,
    /// Engine hours of the last oil change before the records, if stated.
    pub last_change_hours: Option<f64>,
    pub fill_qt: Option<f64>,
    pub add_mark_qt: Option<f64>,
    /// Zone of the fleet's logs.
    pub zone: chrono_tz::Tz,
}

impl Engine {
    /// The date of a moment as the log would write it.
    pub fn date(&self, at: Instant) -> chrono::NaiveDate {
        at.with_timezone(&self.zone).date_naive()
    }

    /// Engine hours after the last event.
    pub fn hours(&self) -> f64 {
        self.clock_h
    }

    /// The build the engine is in now. There is always one.
    pub fn build(&self) -> &Build {
        &self.builds[self.builds.len() - 1]
    }

    /// Where it sits now, if installed.
    pub fn placement(&self) -> Option<&Placement> {
        self.placements.last().filter(|p| p.to.is_none())
    }

    /// Where it last sat: for an engine on the shelf, the place it came from.
    pub fn last_placement(&self) -> Option<&Placement> {
        self.placements.last()
    }
}

/// An aircraft as the judges of the records see it.
#[derive(Clone, Debug)]
pub struct AircraftHistory {
    pub tail: Arc<str>,
    pub file: Arc<str>,
    pub meter: Meter,
    /// Last logbook row about this aircraft.
    pub last_log: Option<Instant>,
    /// Last monitor recording.
    pub last_recording: Option<Instant>,
    /// Last flight or ground run.
    pub last_running: Option<Instant>,
    /// Moments something was heard of it, thinned to what bounds silences of more than a day.
    pub heard: Vec<Instant>,
    /// Serial now installed, by position.
    pub installed: Vec<(Option<Arc<str>>, Arc<str>)>,
}

impl AircraftHistory {
    /// Notes that something was heard; within a day of the last two, the later one replaces the last.
    fn hear(&mut self, at: Instant) {
        let day = chrono::TimeDelta::days(1);
        match self.heard[..] {
            [.., before, last] if at - before < day && last <= at => {
                let end = self.heard.len() - 1;
                self.heard[end] = at;
            }
            _ => self.heard.push(at),
        }
    }
}

/// A question about the records: the log is in doubt, not the engine.
#[derive(Clone, Debug, PartialEq)]
pub enum Query {
    /// A meter reading that does not fit its neighbours was set aside.
    HoursDisagree {
        tail: Arc<str>,
        at: Instant,
        /// The reading and what the neighbours led one to expect.
        read: f64,
        expected: f64,
        /// The meter jumped and stayed: running nobody logged, or a meter change without an entry.
        jumped: bool,
        /// The row, then the rows it was checked against.
        lines: Vec<Source>,
    },
    /// An entry names an engine position the aircraft does not have.
    UnknownPosition { tail: Arc<str>, at: Instant, position: Arc<str>, known: Vec<Arc<str>>, source: Source },
    /// The same serial is installed in two places at once.
    SerialTwice { serial: Arc<str>, at: Instant, places: Vec<String>, lines: Vec<Source> },
    /// An engine names a model the models file does not have.
    UnknownModel { tail: Arc<str>, serial: Arc<str>, model: Arc<str>, source: Source },
    /// The recorder's clock is whole hours off the logbook's.
    RecorderClock {
        tail: Arc<str>,
        /// The flight that made it sure.
        at: Instant,
        /// The first flight that showed it, by the recorder.
        since: Instant,
        /// How far the recorder is ahead of the log, hours.
        ahead_h: i64,
        /// Flights that agree on it.
        agree: usize,
        /// The recording that fits the log again, and when.
        until: Option<(Instant, Source)>,
        lines: Vec<Source>,
    },
    /// Fewer or more data than the entry needs: an `installed` without a serial, for example.
    Incomplete { tail: Arc<str>, at: Instant, what: String, expected: String, source: Source },
}

/// What the whole fleet's files say, by engine and by aircraft.
#[derive(Clone, Debug, Default)]
pub struct Fleet {
    pub engines: Vec<Engine>,
    pub aircraft: Vec<AircraftHistory>,
    pub queries: Vec<Query>,
    /// What the whole fleet knows of kinds of service; these may be only some of its engines.
    pub services: std::sync::Arc<services::Services>,
}

#[cfg(test)]
mod tests;
