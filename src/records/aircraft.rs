//! `aircraft.toml`: which engines sit where when the records begin, and how this aircraft's files are laid out.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::Oil;
pub use super::aircraft_file::parse;
use super::layout::{LogbookLayout, MonitorLayout};
use crate::units::{Hours, Quarts};

/// What the `hours` column of the logbook reads.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Meter {
    Tach,
    Hobbs,
    /// Each engine has its own meter.
    Engine,
}

impl Meter {
    /// As people name the clock: `tach hours`.
    pub fn clock(self) -> &'static str {
        match self {
            Self::Tach => "tach hours",
            Self::Hobbs => "Hobbs hours",
            Self::Engine => "engine-meter hours",
        }
    }
}

/// What an engine's current build is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BuildKind {
    New,
    Overhaul,
    Rebuilt,
    TopOverhaul,
    Cylinder,
}

impl BuildKind {
    /// As people name it: `overhaul`.
    pub fn word(self) -> &'static str {
        match self {
            Self::New => "new",
            Self::Overhaul => "overhaul",
            Self::Rebuilt => "rebuilt",
            Self::TopOverhaul => "top overhaul",
            Self::Cylinder => "cylinder replaced",
        }
    }
}

/// One engine as installed when the records begin.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct InstalledEngine {
    /// `None` in a single-engine aircraft that names none.
    pub position: Option<Arc<str>>,
    pub serial: Arc<str>,
    pub model: Arc<str>,
    /// Engine time since new when the records begin.
    pub hours_at_start: Option<Hours>,
    /// What the current build is, if stated.
    pub since: Option<BuildKind>,
    /// Engine hours run since `since` when the records begin.
    pub hours_since: Option<Hours>,
    pub oil: Option<Oil>,
    /// Engine hours run since the last oil change when the records begin.
    pub last_oil_change_h: Option<Hours>,
    /// Level after a refill, on the dipstick's scale.
    pub fill: Option<Quarts>,
    /// Level at which oil is added (learned if `None`).
    pub add_mark: Option<Quarts>,
    /// Line of its `[[engine]]` table.
    pub line: u32,
}

/// A tail's `aircraft.toml`, checked.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Aircraft {
    pub tail: Arc<str>,
    /// `N0417H/aircraft.toml`.
    pub file: Arc<str>,
    pub meter: Meter,
    /// Quantities that name no unit are litres (else quarts).
    pub oil_in_litres: bool,
    /// The meter when the records begin; `None`: the first reading less that row's flight.
    pub meter_at_start: Option<Hours>,
    pub engines: Vec<InstalledEngine>,
    pub logbooks: Vec<LogbookLayout>,
    pub monitors: Vec<MonitorLayout>,
}
