//! The run summary: what is kept of a monitor recording (gigabytes in, a kilobyte kept).
//!
//! One summary is one engine run, from start to stop. The reducer makes it while reading; judges
//! read only this. Every figure says how it was found, since ground and air are inferred: there is
//! no weight-on-wheels switch in a recording.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::{Instant, Source};

/// Raised whenever the reducer's result for the same bytes changes, so that stored summaries are made anew.
pub const REDUCER_VERSION: u32 = 4;

/// What told ground from air.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum AirBasis {
    /// Airspeed or ground speed.
    Speed,
    /// Height above where the run began.
    Height,
    /// Power alone: marked as inferred wherever it is shown.
    Power,
    /// Nothing usable: no ground or air time is claimed.
    #[default]
    Unknown,
}

impl AirBasis {
    /// The word in exports.
    pub fn word(self) -> &'static str {
        match self {
            Self::Speed => "speed",
            Self::Height => "height",
            Self::Power => "power",
            Self::Unknown => "unknown",
        }
    }
}

/// A part of a run.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Running on the ground, standing or moving.
    Ground,
    TaxiOut,
    RunUp,
    TakeOff,
    Climb,
    Cruise,
    Descent,
    TaxiIn,
}

/// One phase of a run, in order of time, without overlap.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Segment {
    pub phase: Phase,
    /// Seconds after [`RunSummary::start`].
    pub from_s: f32,
    pub to_s: f32,
}

/// A highest or lowest value with the moment it occurred.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Peak {
    pub value: f32,
    /// Seconds after the start of the run.
    pub at_s: f32,
    /// Cylinder (1-based), where the channel has one.
    pub cylinder: Option<u8>,
}

/// One engine run as a recording shows it. Absent channels give `None`, never zero.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct RunSummary {
    pub file: Arc<str>,
    /// Line of the run's first sample.
    pub line: u32,
    /// Position named by the channel prefix (`left.`), else `None` = the only engine.
    pub engine: Option<Arc<str>>,
    /// First sample with the engine running.
    #[serde(with = "chrono::serde::ts_milliseconds")]
    pub start: Instant,
    /// Last sample with the engine running.
    #[serde(with = "chrono::serde::ts_milliseconds")]
    pub end: Instant,
    /// Seconds running (gaps in the recording left out).
    pub running_s: f64,
    /// Seconds missing inside the run.
    pub gap_s: f64,
    /// Typical spacing of samples, seconds.
    pub sample_s: f64,
    /// The engine was already running when the recording began, or still when it ended: the run may
    /// go on in another file (see `monitor::join`).
    pub cut_start: bool,
    pub cut_end: bool,
    pub basis: AirBasis,
    /// Number of separate airborne segments.
    pub flights: u16,
    /// Seconds on the ground before the first take-off (all of it for a run without flight).
    pub ground_before_s: f64,
    /// Seconds on the ground between landings and later take-offs of the same run.
    pub ground_between_s: f64,
    /// Seconds on the ground after the last landing.
    pub ground_after_s: f64,
    /// Seconds airborne.
    pub air_s: f64,
    pub segments: Vec<Segment>,
    /// Highest cylinder head temperature on the ground, °F.
    pub cht_ground_f: Option<Peak>,
    /// Highest cylinder head temperature of the run, °F.
    pub cht_f: Option<Peak>,
    /// Highest oil temperature, °F.
    pub oil_temp_f: Option<Peak>,
    /// Highest rpm on the ground while (by speed) stationary, outside the run-up.
    pub rpm_standing: Option<Peak>,
    /// Highest rpm reached on the ground.
    pub rpm_ground: Option<Peak>,
    /// Sustained rpm in the first take-off.
    pub rpm_takeoff: Option<Peak>,
    /// Highest sustained manifold pressure, inHg.
    pub manifold_inhg: Option<Peak>,
    /// Lowest oil pressure while running above idle, psi.
    pub oil_press_min_psi: Option<Peak>,
    /// Median oil pressure in cruise, psi, with the rpm and oil temperature it goes with.
    pub oil_press_cruise_psi: Option<f32>,
    pub oil_temp_cruise_f: Option<f32>,
    pub rpm_cruise: Option<f32>,
    /// Fastest fall of the hottest cylinder over 60 s, °F per minute (positive).
    pub cooling_f_per_min: Option<Peak>,
    /// Largest fall of manifold pressure within 60 s in flight, inHg (positive).
    pub power_step_inhg: Option<Peak>,
    /// Highest outside air temperature on the ground, °F.
    pub oat_ground_f: Option<f32>,
    /// Break-in evidence: power bands, climb, first cruise. See [`Handling`].
    pub handling: Handling,
    /// What was wrong with the recording, in a person's words: frozen probe, clock off by an hour.
    pub doubts: Vec<String>,
    /// The run thinned to what a picture shows, fresh from the reducer; kept apart from the summary, if at all.
    #[serde(skip)]
    pub strip: Option<Box<super::monitor::Strip>>,
}

/// How the run was flown, for the break-in profile.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Handling {
    /// Cruise by whole percent of rated power (64.9 counts as 64), as (percent, seconds), sparse.
    pub cruise_power: Vec<(u8, f32)>,
    /// How percent power was found: `recorded`, `chart`, `fuel flow` (then an upper bound); `None`: not found.
    pub power_from: Option<String>,
    /// Cruise seconds for which no power could be told.
    pub cruise_unknown_s: f32,
    /// Seconds of the first climb until power was brought back.
    pub full_power_s: Option<f32>,
    /// Height above the field when power was first brought back, ft.
    pub power_back_ft: Option<f32>,
    /// Median climb speed below 3,000 ft above the field, kt.
    pub climb_kt: Option<f32>,
    /// Height above the field when the aircraft first was more than 5 nautical miles away, ft.
    pub left_field_ft: Option<f32>,
    /// Seconds of the initial cruise near [`Self::initial_setting`].
    pub initial_cruise_s: Option<f32>,
    /// The setting looked for in the initial cruise: inHg and rpm.
    pub initial_setting: Option<[f32; 2]>,
    /// Propeller cycles (near the red line, down to 2200 rpm and back) in the initial cruise.
    pub propeller_cycles: Option<u16>,
    /// Fuel flow of the initial cruise below that of the climb, gal/h.
    pub fuel_flow_below_climb_gph: Option<f32>,
    /// Median and largest descent rate over half minutes, ft/min.
    pub descent_fpm: Option<f32>,
    pub descent_max_fpm: Option<f32>,
}

impl RunSummary {
    /// Where it stands.
    pub fn source(&self) -> Source {
        Source { file: self.file.clone(), line: self.line }
    }

    /// Seconds on the ground with the engine running.
    pub fn ground_s(&self) -> f64 {
        self.ground_before_s + self.ground_between_s + self.ground_after_s
    }

    /// The run never left the ground, as far as the recording can tell.
    pub fn ground_only(&self) -> bool {
        self.flights == 0 && self.basis != AirBasis::Unknown
    }
}
