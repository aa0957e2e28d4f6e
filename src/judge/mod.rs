//! The judges: what the records show, against the rules in force.
//!
//! [`judge`] is a pure function of the fleet's history, the rules and a moment. Each finding is
//! dated by the record that gave rise to it (or by the moment something became overdue), so the
//! same call serves the live service, a restart and a replay of ten years. Nothing a judge knows
//! is stored; what people and mail servers did is remembered elsewhere (`alerts`).

mod assemble;
pub mod break_in;
pub mod compare;
pub mod consumption;
pub mod doubts;
pub mod flight_review;
pub mod gaps;
pub mod ground;
pub mod oil_change;
pub mod otherwise;
pub mod running;

use std::fmt;
use std::sync::Arc;

use chrono::NaiveDate;
use serde::{Deserialize, Serialize};

use crate::config::Rules;
use crate::engine::{Engine, Fleet};
use crate::records::{Instant, Source};

/// What kind of finding or alert. The words are the contract of `scan --json`.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    OilRateRise,
    OilRateFall,
    OilRateCeiling,
    OilRateCreep,
    /// Usable oil at the present rate is shorter than a flight.
    OilEndurance,
    EnginesDiverged,
    AdditionNotLogged,
    RefillNotLogged,
    OilChangeDue,
    OilChangeOverdue,
    FilterNotInspected,
    MetalFound,
    OilWrong,
    OilGradeChanged,
    GroundRunLong,
    FirstRunLong,
    TakeoffRpm,
    ManifoldHigh,
    ChtHigh,
    OilTempHigh,
    OilPressureFalling,
    CoolingFast,
    PowerStepLarge,
    BreakInPower,
    BreakInProfile,
    BreakInStabilised,
    DataSilent,
    HoursDisagree,
    FileRejected,
    /// A known aircraft's folder or file cannot be read any more.
    AircraftMissing,
    /// A folder, serial, model or position that does not fit the rest.
    RecordsConflict,
}

impl Kind {
    /// Every kind.
    pub const ALL: [Self; 31] = [
        Self::OilRateRise,
        Self::OilRateFall,
        Self::OilRateCeiling,
        Self::OilRateCreep,
        Self::OilEndurance,
        Self::EnginesDiverged,
        Self::AdditionNotLogged,
        Self::RefillNotLogged,
        Self::OilChangeDue,
        Self::OilChangeOverdue,
        Self::FilterNotInspected,
        Self::MetalFound,
        Self::OilWrong,
        Self::OilGradeChanged,
        Self::GroundRunLong,
        Self::FirstRunLong,
        Self::TakeoffRpm,
        Self::ManifoldHigh,
        Self::ChtHigh,
        Self::OilTempHigh,
        Self::OilPressureFalling,
        Self::CoolingFast,
        Self::PowerStepLarge,
        Self::BreakInPower,
        Self::BreakInProfile,
        Self::BreakInStabilised,
        Self::DataSilent,
        Self::HoursDisagree,
        Self::FileRejected,
        Self::AircraftMissing,
        Self::RecordsConflict,
    ];

    /// The word in JSON, mails and commands.
    pub fn word(self) -> &'static str {
        match self {
            Self::OilRateRise => "oil-rate-rise",
            Self::OilRateFall => "oil-rate-fall",
            Self::OilRateCeiling => "oil-rate-ceiling",
            Self::OilRateCreep => "oil-rate-creep",
            Self::OilEndurance => "oil-endurance",
            Self::EnginesDiverged => "engines-diverged",
            Self::AdditionNotLogged => "addition-not-logged",
            Self::RefillNotLogged => "refill-not-logged",
            Self::OilChangeDue => "oil-change-due",
            Self::OilChangeOverdue => "oil-change-overdue",
            Self::FilterNotInspected => "filter-not-inspected",
            Self::MetalFound => "metal-found",
            Self::OilWrong => "oil-wrong",
            Self::OilGradeChanged => "oil-grade-changed",
            Self::GroundRunLong => "ground-run-long",
            Self::FirstRunLong => "first-run-long",
            Self::TakeoffRpm => "takeoff-rpm",
            Self::ManifoldHigh => "manifold-high",
            Self::ChtHigh => "cht-high",
            Self::OilTempHigh => "oil-temp-high",
            Self::OilPressureFalling => "oil-pressure-falling",
            Self::CoolingFast => "cooling-fast",
            Self::PowerStepLarge => "power-step-large",
            Self::BreakInPower => "break-in-power",
            Self::BreakInProfile => "break-in-profile",
            Self::BreakInStabilised => "break-in-stabilised",
            Self::DataSilent => "data-silent",
            Self::HoursDisagree => "hours-disagree",
            Self::FileRejected => "file-rejected",
            Self::AircraftMissing => "aircraft-missing",
            Self::RecordsConflict => "records-conflict",
        }
    }

    /// The level unless the configuration says otherwise.
    pub fn usual_level(self) -> Level {
        match self {
            Self::MetalFound | Self::OilRateCeiling | Self::OilEndurance => Level::Warning,
            Self::OilRateRise
            | Self::OilChangeOverdue
            | Self::OilWrong
            | Self::EnginesDiverged
            | Self::GroundRunLong
            | Self::FirstRunLong
            | Self::TakeoffRpm
            | Self::ManifoldHigh
            | Self::ChtHigh
            | Self::OilTempHigh
            | Self::OilPressureFalling
            | Self::BreakInPower
            | Self::FilterNotInspected
            | Self::DataSilent
            | Self::AircraftMissing => Level::Caution,
            _ => Level::Advisory,
        }
    }

    /// True for something that happened once and is over: it fades from view, nothing will settle it.
    pub fn happens_once(self) -> bool {
        matches!(
            self,
            Self::AdditionNotLogged
                | Self::RefillNotLogged
                | Self::OilGradeChanged
                | Self::BreakInStabilised
                | Self::GroundRunLong
                | Self::FirstRunLong
                | Self::TakeoffRpm
                | Self::ManifoldHigh
                | Self::ChtHigh
                | Self::OilTempHigh
                | Self::CoolingFast
                | Self::PowerStepLarge
                | Self::BreakInPower
                | Self::BreakInProfile
                | Self::HoursDisagree
        )
    }

    /// True where the log is in doubt, not the engine.
    pub fn about_records(self) -> bool {
        matches!(
            self,
            Self::AdditionNotLogged
                | Self::RefillNotLogged
                | Self::DataSilent
                | Self::HoursDisagree
                | Self::FileRejected
                | Self::AircraftMissing
                | Self::RecordsConflict
        )
    }
}

impl fmt::Display for Kind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.word())
    }
}

/// How urgent (the three levels of flight-deck alerting, 14 CFR 25.1322). Ordered: advisory < caution < warning.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// For information.
    Advisory,
    /// Soon.
    Caution,
    /// Before the next flight.
    Warning,
}

impl Level {
    /// The highest first.
    pub const ALL: [Self; 3] = [Self::Warning, Self::Caution, Self::Advisory];

    /// The word in JSON, mails and commands.
    pub fn word(self) -> &'static str {
        match self {
            Self::Advisory => "advisory",
            Self::Caution => "caution",
            Self::Warning => "warning",
        }
    }
}

/// One fact of a finding's evidence. Words are made of it by `report`.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(untagged)]
pub enum Fact {
    Flag(bool),
    Number(f64),
    Date(NaiveDate),
    Time(Instant),
    Text(String),
    /// Log lines.
    Lines(Vec<Source>),
    List(Vec<String>),
}

/// A finding's facts by name, in the order in which they are told. Names carry units (`from_qt_per_h`).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Evidence(pub Vec<(String, Fact)>);

impl Evidence {
    /// Adds a fact; a `NaN` or infinity is a programming error and is left out.
    pub fn with(mut self, name: &str, fact: impl Into<Fact>) -> Self {
        self.set(name, fact);
        self
    }

    /// Adds a fact if there is one.
    pub fn with_some<F: Into<Fact>>(self, name: &str, fact: Option<F>) -> Self {
        match fact {
            Some(fact) => self.with(name, fact),
            None => self,
        }
    }

    /// Adds or replaces a fact.
    pub fn set(&mut self, name: &str, fact: impl Into<Fact>) {
        let fact = fact.into();
        if matches!(fact, Fact::Number(n) if !n.is_finite()) {
            return;
        }
        match self.0.iter_mut().find(|(n, _)| n == name) {
            Some(slot) => slot.1 = fact,
            None => self.0.push((name.to_owned(), fact)),
        }
    }

    pub fn get(&self, name: &str) -> Option<&Fact> {
        self.0.iter().find(|(n, _)| n == name).map(|(_, f)| f)
    }

    pub fn number(&self, name: &str) -> Option<f64> {
        match self.get(name) {
            Some(Fact::Number(n)) => Some(*n),
            _ => None,
        }
    }

    pub fn text(&self, name: &str) -> Option<&str> {
        match self.get(name) {
            Some(Fact::Text(t)) => Some(t),
            _ => None,
        }
    }

    pub fn date(&self, name: &str) -> Option<NaiveDate> {
        match self.get(name) {
            Some(Fact::Date(d)) => Some(*d),
            _ => None,
        }
    }

    pub fn lines(&self, name: &str) -> &[Source] {
        match self.get(name) {
            Some(Fact::Lines(l)) => l,
            _ => &[],
        }
    }
}

macro_rules! fact_from {
    ($($type:ty => $variant:ident),* $(,)?) => {
        $(impl From<$type> for Fact {
            fn from(value: $type) -> Self {
                Self::$variant(value.into())
            }
        })*
    };
}
fact_from!(bool => Flag, f64 => Number, u32 => Number, NaiveDate => Date, Instant => Time, &str => Text,
    String => Text, Vec<Source> => Lines, Vec<String> => List);

impl From<&Arc<str>> for Fact {
    fn from(value: &Arc<str>) -> Self {
        Self::Text(value.to_string())
    }
}

/// The record, or the passing of time, that settled a finding.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Settled {
    pub at: Instant,
    /// In a person's words: `oil changed at 13.4 h, 8.4 h past the point`.
    pub why: String,
    pub source: Option<Source>,
}

/// Something the records show that somebody should know.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Finding {
    pub kind: Kind,
    pub level: Level,
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    pub serial: Option<Arc<str>>,
    /// Tells this finding from others of its kind and engine, the same on every pass over the same
    /// records: `point 5 h`, `run 2026-03-03T14:05`, `rise 1`. Built with [`Finding::key`].
    pub subject: String,
    /// Time of the record that gave rise to it, or the moment it became overdue.
    pub raised: Instant,
    /// Engine hours then, where that makes sense.
    pub hours: Option<f64>,
    pub settled: Option<Settled>,
    /// What "grows by a quarter" is measured on: the ratio, the hours overdue, the minutes.
    pub size: f64,
    pub evidence: Evidence,
}

impl Finding {
    /// Identity across passes.
    pub fn key(&self) -> String {
        let whose = self.serial.as_ref().unwrap_or(&self.tail);
        format!("{}|{}|{}", self.kind, whose, self.subject)
    }

    /// A finding about an engine at an event of its life.
    pub fn at_event(kind: Kind, engine: &Engine, event: &crate::engine::Event, subject: String) -> Self {
        Self {
            kind,
            level: kind.usual_level(),
            tail: event.tail.clone(),
            position: event.position.clone(),
            serial: Some(engine.serial.clone()),
            subject,
            raised: event.at,
            hours: Some(event.hours),
            settled: None,
            size: 1.0,
            evidence: Evidence::default(),
        }
    }
}

/// Where an engine stands in its life.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum EnginePhase {
    /// Within the break-in hours of its build, or not yet stabilised.
    BreakIn,
    /// Too few quarts seen to judge.
    Learning,
    Watched,
}

/// A rate with its 90 % interval, quarts per engine hour.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Rate {
    pub qt_per_h: f64,
    pub low: f64,
    pub high: f64,
}

/// One point of an engine's consumption picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct RatePoint {
    pub at: Instant,
    /// Engine hours.
    pub hours: f64,
    pub rate: Rate,
    /// The level believed to be in the sump, qt.
    pub level_qt: f64,
    /// ln of the change statistic for a rise and for a fall, and the limit each has to reach.
    pub ln_rise: f32,
    pub ln_fall: f32,
    pub rise_limit: f32,
    pub fall_limit: f32,
    /// Oil added at this point, qt (0 = none).
    pub added_qt: f32,
}

impl RatePoint {
    /// The evidence of a rise, else of a fall, and the limit it has to reach.
    pub fn evidence(&self, rise: bool) -> (f64, f64) {
        let (ln, limit) = if rise { (self.ln_rise, self.rise_limit) } else { (self.ln_fall, self.fall_limit) };
        (f64::from(ln).max(0.0), f64::from(limit))
    }
}

/// The next thing due on an engine.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Due {
    /// `oil change (5 h of break-in)`, `oil change`.
    pub what: String,
    /// Engine hours left (negative: past), where hours count.
    pub hours_left: Option<f64>,
    /// Date by which, where months count.
    pub by: Option<NaiveDate>,
    /// Days left at recent use or to the date, whichever is sooner.
    pub days_left: Option<f64>,
    /// Within the due-soon share or days.
    pub soon: bool,
}

/// How far a build's break-in has come.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct BreakIn {
    pub kind: String,
    pub began: Option<Instant>,
    pub hours: f64,
    pub length_h: f64,
    /// Planned oil-change points with the hours at which each was done, if it was.
    pub points: Vec<(f64, Option<f64>)>,
    /// Probability that what remains of the excess is under a quarter; `None`: not enough evidence to say.
    pub stabilised_p: Option<f64>,
    /// What stands between this engine and "stabilised", in a person's words.
    pub missing: Vec<String>,
    /// Cruise minutes within, below and above the power band, and unknown.
    pub band_min: [f64; 4],
    /// The band, percent of rated power.
    pub power_pct: [f64; 2],
    pub oil_wanted: String,
    /// Engine hours a day in the last month; `None`: too little flown to say.
    pub use_h_per_day: Option<f64>,
    /// What stands in the records, line by line.
    pub record: break_in::Record,
}

/// Limits a picture of a run shows, °F.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RunLimits {
    pub cht_f: Option<f64>,
    pub oil_temp_f: Option<f64>,
    /// Band of cruise power in break-in, percent.
    pub power_pct: Option<[f64; 2]>,
}

/// One engine's state as of the moment judged.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct EngineView {
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    pub serial: Arc<str>,
    pub model: Arc<str>,
    /// False: on the shelf; `tail` is where it last sat.
    pub installed: bool,
    pub hours: f64,
    pub hours_since_build: Option<f64>,
    /// The clock rates are in: `tach hours`.
    pub clock: String,
    pub oil: Option<String>,
    pub phase: EnginePhase,
    pub rate: Option<Rate>,
    pub baseline_qt_per_h: Option<f64>,
    /// Quarts consumed and seen since the baseline began.
    pub quarts: f64,
    /// Kind of log in use: `levels`, `flights and additions`, `additions only`.
    pub log: String,
    pub level_qt: Option<f64>,
    /// Usable oil at this rate, hours.
    pub endurance_h: Option<f64>,
    /// Configured ceiling, qt/h.
    pub ceiling_qt_per_h: Option<f64>,
    pub points: Vec<RatePoint>,
    /// Engine hours at which the oil was changed, for the picture.
    #[serde(default)]
    pub oil_changes_h: Vec<f64>,
    pub due: Vec<Due>,
    pub break_in: Option<BreakIn>,
    /// Limits for runs as they hold now.
    pub limits: RunLimits,
    pub last_record: Option<Instant>,
    /// Rules in force that nobody has confirmed against the engine maker's instructions.
    pub unconfirmed: Vec<String>,
}

/// What one pass of the judges says.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Judgement {
    /// In order of `raised`; settled ones included.
    pub findings: Vec<Finding>,
    pub engines: Vec<EngineView>,
}

/// A rate alert closed by a person: the baseline restarts at its onset.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Closing {
    /// [`Finding::key`] of what was closed.
    pub key: String,
    pub at: Instant,
}

/// Which rules hold for an engine.
pub trait RulesFor {
    fn rules(&self, tail: &str, model: &str, serial: &str) -> Arc<Rules>;
}

/// The level an operator gave a finding's kind, unless a judge raised it for a reason of its own.
pub fn levelled(finding: Finding, rules: &Rules) -> Finding {
    assemble::levelled(finding, rules)
}

/// Judges the whole fleet as of a moment. `closings` are the rate alerts people have closed.
pub fn judge(
    fleet: &Fleet,
    rules: &dyn RulesFor,
    zone: chrono_tz::Tz,
    closings: &[Closing],
    as_of: Instant,
) -> Judgement {
    assemble::judge(fleet, rules, zone, closings, as_of)
}
