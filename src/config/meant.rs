//! The configuration as meant. Defaults are common practice, no source, unless a field says otherwise;
//! all are to be confirmed against the engine maker's instructions.

use std::collections::BTreeMap;
use std::path::PathBuf;

use chrono_tz::Tz;

use crate::judge::{Kind, Level};

/// Thresholds in force for one engine, after narrowing.
#[derive(Clone, Debug, PartialEq)]
pub struct Rules {
    pub consumption: Consumption,
    pub break_in: BreakIn,
    pub oil_change: OilChange,
    pub ground: Ground,
    pub flight: Flight,
    pub records: Records,
    /// Level per kind where it differs from [`Kind::usual_level`].
    pub levels: BTreeMap<Kind, Level>,
    /// The operator has confirmed the values for this engine against the engine maker's instructions.
    pub confirmed: bool,
}

/// `[consumption]`
#[derive(Clone, Debug, PartialEq)]
pub struct Consumption {
    /// Rate alerts (rises and falls together) a healthy engine may raise per 1000 h. Default 0.3.
    pub false_alarms_per_1000_h: f64,
    /// Smallest change worth an alert, × the baseline (a fall: ÷). Default 1.5.
    pub smallest_change: f64,
    /// Quarts to be consumed before a build's rate is judged. Default 6.
    pub quarts_before_judging: f64,
    /// lb per brake horsepower and hour. Default 0.006; publicly quoted, engine maker's number.
    pub ceiling_lb_per_bhp_h: f64,
    /// Weight of oil, lb per US gallon. Default 7.4.
    pub oil_lb_per_gal: f64,
    /// Rise over the reference at which a slow rise is reported, ×. Default 1.5.
    pub creep_ratio: f64,
    /// Shortest flight the usable oil must last for, h. Default 3.
    pub endurance_h: f64,
}

/// Which oil a build wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum OilWanted {
    /// Turbocharged: ashless dispersant (FAA-H-8083-32 ch. 6, from memory); else either, one kind unmixed.
    ByModel,
    AshlessDispersant,
    Mineral,
    Any,
}

/// `[break_in]`
#[derive(Clone, Debug, PartialEq)]
pub struct BreakIn {
    /// Engine hours since the build at which the oil is changed. Default 5, 25, 50.
    pub oil_changes_at_h: Vec<f64>,
    /// Engine hours past a point that are tolerated. Default 1.
    pub grace_h: f64,
    /// Length of break-in, engine hours. Default 50.
    pub length_h: f64,
    /// Cruise power band, percent of rated power. Default 65 to 75.
    pub power_pct: [f64; 2],
    /// Share of a flight's cruise that may be below the band, percent. Default 50.
    pub below_band_pct: f64,
    pub oil: OilWanted,
    /// Engine hours since the build after which straight mineral oil still in the engine is asked about. Default 100.
    pub mineral_until_h: f64,
    /// Highest cylinder head temperature during break-in, °F. Default 420.
    pub cht_max_f: f64,
    /// Extra climb speed for cooling, kt, over `climb_kt`. Default 10.
    pub climb_extra_kt: f64,
    /// Book climb speed, kt; none: not judged.
    pub climb_kt: Option<f64>,
    /// Height above the field at which power is first brought back, ft. Default 1000.
    pub power_back_ft: f64,
    /// Height above the field below which the aircraft stays over it, ft. Default 3000.
    pub stay_over_field_ft: f64,
    /// Initial cruise, minutes. Default 20.
    pub initial_cruise_min: f64,
    /// Initial cruise setting: inHg and rpm. Default 24 and 2300.
    pub initial_manifold_inhg: f64,
    pub initial_rpm: f64,
    /// Propeller cycles every five minutes of the initial cruise. Default 2.
    pub propeller_cycles_per_5_min: f64,
    /// Probability that the remaining excess is under a quarter, to call consumption stabilised. Default 0.9.
    pub stabilised_p: f64,
}

/// `[oil_change]`
#[derive(Clone, Debug, PartialEq)]
pub struct OilChange {
    /// Engine hours. Default 50 (25 with a screen only).
    pub every_h: f64,
    /// Calendar months. Default 4.
    pub every_months: u32,
    /// Engine hours past the interval that are tolerated. Default 1.
    pub grace_h: f64,
    /// Days past the calendar limit that are tolerated. Default 0.
    pub grace_days: u32,
    /// Share of the interval from which a change is due soon, percent. Default 80.
    pub due_soon_pct: f64,
    /// Days ahead, at recent use, from which a change is due soon. Default 10.
    pub due_soon_days: f64,
    /// Filter or screen findings are expected within this many days of a change. Default 3.
    pub inspection_within_days: f64,
}

/// `[ground]`, minutes with the engine running on the ground.
#[derive(Clone, Debug, PartialEq)]
pub struct Ground {
    /// First run after a build. Default 3.
    pub first_run_min: f64,
    /// Per flight in break-in, before take-off and after landing together. Default 10.
    pub break_in_min: f64,
    /// Per flight in service. Default 25.
    pub in_service_min: f64,
    /// Ground running without flight, summed over three days, in service. Default 60.
    pub three_days_min: f64,
    /// Cylinder head temperature on the ground, °F. Default 380 in break-in and service.
    pub cht_max_f: f64,
}

/// `[flight]`
#[derive(Clone, Debug, PartialEq)]
pub struct Flight {
    /// Take-off rpm must come within this of the red line. Default 100.
    pub takeoff_rpm_within: f64,
    /// Manifold pressure over the maximum that is tolerated, inHg. Default 0.5.
    pub manifold_over_inhg: f64,
    /// Largest reduction of manifold pressure within a minute, inHg. Default 4.
    pub power_step_inhg: f64,
    /// Fall of cylinder head temperature, °F per minute. Default 60 (harm is disputed).
    pub cooling_f_per_min: f64,
    /// Fall of oil pressure at like rpm and oil temperature, percent. Default 12.
    pub oil_pressure_fall_pct: f64,
    /// The same over weeks, percent. Default 8.
    pub oil_pressure_drift_pct: f64,
}

/// `[records]`
#[derive(Clone, Debug, PartialEq)]
pub struct Records {
    /// Days without anything new about an aircraft. Default 10.
    pub silent_days: f64,
    /// Hours by which a meter reading may differ from the flights. Default 0.3.
    pub hours_tolerance: f64,
    /// Days after which a one-time event (a long ground run) is no longer shown as open. Default 14.
    pub event_days: f64,
}

impl Default for Rules {
    fn default() -> Self {
        Self {
            consumption: Consumption {
                false_alarms_per_1000_h: 0.3,
                smallest_change: 1.5,
                quarts_before_judging: 6.0,
                ceiling_lb_per_bhp_h: 0.006,
                oil_lb_per_gal: 7.4,
                creep_ratio: 1.5,
                endurance_h: 3.0,
            },
            break_in: BreakIn {
                oil_changes_at_h: vec![5.0, 25.0, 50.0],
                grace_h: 1.0,
                length_h: 50.0,
                power_pct: [65.0, 75.0],
                below_band_pct: 50.0,
                oil: OilWanted::ByModel,
                mineral_until_h: 100.0,
                cht_max_f: 420.0,
                climb_extra_kt: 10.0,
                climb_kt: None,
                power_back_ft: 1000.0,
                stay_over_field_ft: 3000.0,
                initial_cruise_min: 20.0,
                initial_manifold_inhg: 24.0,
                initial_rpm: 2300.0,
                propeller_cycles_per_5_min: 2.0,
                stabilised_p: 0.9,
            },
            oil_change: OilChange {
                every_h: 50.0,
                every_months: 4,
                grace_h: 1.0,
                grace_days: 0,
                due_soon_pct: 80.0,
                due_soon_days: 10.0,
                inspection_within_days: 3.0,
            },
            ground: Ground {
                first_run_min: 3.0,
                break_in_min: 10.0,
                in_service_min: 25.0,
                three_days_min: 60.0,
                cht_max_f: 380.0,
            },
            flight: Flight {
                takeoff_rpm_within: 100.0,
                manifold_over_inhg: 0.5,
                power_step_inhg: 4.0,
                cooling_f_per_min: 60.0,
                oil_pressure_fall_pct: 12.0,
                oil_pressure_drift_pct: 8.0,
            },
            records: Records { silent_days: 10.0, hours_tolerance: 0.3, event_days: 14.0 },
            levels: BTreeMap::new(),
            confirmed: false,
        }
    }
}

/// Everything that is not per engine.
#[derive(Clone, Debug, PartialEq)]
pub struct Settings {
    pub fleet: FleetSettings,
    pub digest: Digest,
    pub alerts: Alerts,
    pub mail: Option<Mail>,
}

/// `[fleet]`
#[derive(Clone, Debug, PartialEq)]
pub struct FleetSettings {
    pub folder: PathBuf,
    pub models: PathBuf,
    pub state: PathBuf,
    pub time_zone: Tz,
    pub scan_every_s: u32,
    /// The operator's name, for the head of mails and pages.
    pub operator: Option<String>,
}

/// `[digest]`
#[derive(Clone, Debug, PartialEq)]
pub struct Digest {
    /// Five fields, local time, weekdays by name.
    pub schedule: String,
}

/// `[alerts]`
#[derive(Clone, Debug, PartialEq)]
pub struct Alerts {
    /// Days between reminders of an open alert; the last one repeats. Default 1, 2, 4, 7.
    pub remind_after_days: Vec<f64>,
    /// Growth at which an open alert speaks again. Default 0.25.
    pub grows_by: f64,
    /// Hours after which an unacknowledged warning goes to `escalate_to`. Default 12.
    pub escalate_after_h: f64,
    pub escalate_to: Vec<String>,
    /// Quiet hours, local, in which single mails wait (warnings pass if `warnings_pass`).
    pub quiet: Option<(chrono::NaiveTime, chrono::NaiveTime)>,
    pub warnings_pass: bool,
}

impl Default for Alerts {
    fn default() -> Self {
        Self {
            remind_after_days: vec![1.0, 2.0, 4.0, 7.0],
            grows_by: 0.25,
            escalate_after_h: 12.0,
            escalate_to: Vec::new(),
            quiet: None,
            warnings_pass: true,
        }
    }
}

/// How the connection to the mail server is protected.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Security {
    StartTls,
    Tls,
    /// Loopback only.
    None,
}

/// `[mail]`
#[derive(Clone, Debug, PartialEq)]
pub struct Mail {
    pub server: String,
    pub port: u16,
    pub security: Security,
    pub username: Option<String>,
    pub password_file: Option<PathBuf>,
    pub ca_file: Option<PathBuf>,
    pub from: String,
    pub to: Vec<String>,
    /// Further recipients: who gets which letters.
    pub routes: Vec<Route>,
}

/// `[[mail.route]]`: recipients for some letters only. Empty lists mean "all".
#[derive(Clone, Debug, PartialEq)]
pub struct Route {
    pub to: Vec<String>,
    pub at_least: Level,
    pub tails: Vec<String>,
    pub kinds: Vec<Kind>,
    pub digest: bool,
}
