//! Alerts: what is remembered of findings, so that people are told once and nothing is forgotten.
//!
//! A finding is computed anew on every pass; an alert is its number, what people did about it and
//! what they have been told. [`reconcile`] compares the two and decides, with a reason, what is
//! said. Pure: the moment is an argument, storing and sending happen elsewhere.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::judge::{Finding, Kind, Level};
use crate::records::Instant;

/// Where an alert stands.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum State {
    Open,
    Acknowledged,
    Muted,
    Closed,
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
}

/// One line of an alert's history.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Happening {
    pub at: Instant,
    /// A person, or `cowlwatch`.
    pub by: String,
    pub what: String,
}

impl Alert {
    pub fn kind(&self) -> Kind {
        self.finding.kind
    }

    pub fn level(&self) -> Level {
        self.finding.level
    }

    pub fn tail(&self) -> &Arc<str> {
        &self.finding.tail
    }
}
