//! Alerts: what is remembered of findings, so that people are told once and nothing is forgotten.
//!
//! A finding is computed anew on every pass; an alert is its number, what people did about it and
//! what they have been told. [`reconcile`] compares the two and decides, with a reason, what is
//! said. Pure: the moment is an argument, storing and sending happen elsewhere.

mod actions;
mod asleep;
mod bundle;
mod operations;
mod past;
mod reconcile;
mod speak;

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::judge::{Closing, Fact, Finding, Kind, Level};
use crate::records::Instant;

pub use actions::{Action, Deed, Unplaced};
pub use asleep::{Asleep, Rest, Sleeper};
pub use bundle::{Audience, Bundle, bundles};
pub use operations::Refused;
pub use past::first_sight;
pub use reconcile::{Outcome, Pass, reconcile};
pub use speak::{Decision, How, Say, Silence, Why};

/// Where an alert stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    Open,
    Acknowledged,
    Muted,
    Closed,
}

impl State {
    /// The word in JSON, mails and commands.
    pub fn word(self) -> &'static str {
        match self {
            Self::Open => "open",
            Self::Acknowledged => "acknowledged",
            Self::Muted => "muted",
            Self::Closed => "closed",
        }
    }
}

/// A remembered alert.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Alert {
    pub number: u32,
    /// [`Finding::key`].
    pub key: String,
    pub finding: Finding,
    pub state: State,
    /// When the program first saw it (the record's own time is `finding.raised`).
    pub first_seen: Instant,
    pub closed: Option<Closed>,
    pub acknowledged: Option<Acknowledged>,
    pub muted_until: Option<Instant>,
    /// What has been told: size and level then, when, and how many reminders since.
    pub told: Option<Told>,
    pub history: Vec<Happening>,
    /// What only [`reconcile`] needs from one pass to the next.
    #[serde(default)]
    pub memory: Memory,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Closed {
    pub at: Instant,
    /// `None`: closed by the record that settled it.
    pub by: Option<String>,
    pub why: String,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Acknowledged {
    pub at: Instant,
    pub by: String,
    pub note: String,
    pub until: Option<Instant>,
}

#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Told {
    pub at: Instant,
    pub size: f64,
    pub level: Level,
    pub reminders: u32,
    /// When the records last showed a further change on top, as told.
    #[serde(default)]
    pub changed_again: Option<Instant>,
    /// A digest has gone since, so that the days until the next reminder count from it.
    #[serde(default = "yes")]
    pub carried: bool,
}

/// States written before digests were noted had been told long ago.
fn yes() -> bool {
    true
}

/// One line of an alert's history.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Happening {
    pub at: Instant,
    /// A person, or `cowlwatch`.
    pub by: String,
    pub what: String,
}

/// What [`reconcile`] carries from pass to pass.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(default)]
pub struct Memory {
    /// The last pass no longer had the finding.
    pub gone: bool,
    /// Something that must still be said (it waited for the end of quiet hours).
    pub owed: Option<Why>,
    /// Since when a warning waits for somebody to acknowledge it.
    pub unanswered_since: Option<Instant>,
    pub escalated: Option<Instant>,
    /// When the last mail of its own went out.
    pub last_single: Option<Instant>,
    /// The pass that closed it, or found it closed by an entry. The record that ended it may be days older.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub ended: Option<Instant>,
    /// Logbook `action` entries already carried out, so that none is carried out twice.
    pub actions: Vec<String>,
    /// The logbook entry that closed it, so that a withdrawn entry opens it again.
    pub closed_by_action: Option<String>,
}

/// Who did what the program did.
pub(crate) const PROGRAM: &str = "cowlwatch";

impl Alert {
    /// A finding seen for the first time.
    pub fn new(number: u32, finding: Finding, now: Instant) -> Self {
        let mut alert = Self {
            number,
            key: finding.key(),
            finding,
            state: State::Open,
            first_seen: now,
            closed: None,
            acknowledged: None,
            muted_until: None,
            told: None,
            history: Vec::with_capacity(2),
            memory: Memory::default(),
        };
        alert.note(now, PROGRAM, "raised");
        alert
    }

    pub fn kind(&self) -> Kind {
        self.finding.kind
    }

    pub fn level(&self) -> Level {
        self.finding.level
    }

    pub fn tail(&self) -> &Arc<str> {
        &self.finding.tail
    }

    /// Open, acknowledged or muted.
    pub fn is_live(&self) -> bool {
        self.state != State::Closed
    }

    /// When the records last showed a further change on top of the one it is about.
    pub(crate) fn changed_again(&self) -> Option<Instant> {
        match self.finding.evidence.get("changed_again") {
            Some(Fact::Time(at)) => Some(*at),
            _ => None,
        }
    }

    /// Adds a line to the history; the oldest lines but the first give way after 200.
    pub(crate) fn note(&mut self, at: Instant, by: &str, what: impl Into<String>) {
        const LINES: usize = 200;
        if self.history.len() >= LINES {
            self.history.remove(1);
        }
        self.history.push(Happening { at, by: by.to_owned(), what: what.into() });
    }
}

/// The rate alerts a person closed: from there the judge of consumption starts a new baseline.
pub fn closings(alerts: &[Alert]) -> Vec<Closing> {
    let rate = |kind| {
        matches!(
            kind,
            Kind::OilRateRise | Kind::OilRateFall | Kind::OilRateCreep | Kind::OilRateCeiling | Kind::EnginesDiverged
        )
    };
    alerts
        .iter()
        .filter(|a| rate(a.kind()))
        .filter_map(|a| {
            let closed = a.closed.as_ref().filter(|c| c.by.is_some())?;
            Some(Closing { key: a.key.clone(), at: closed.at })
        })
        .collect()
}

#[cfg(test)]
mod property_tests;
#[cfg(test)]
mod tests;
