//! Engines and runs made for the tests of the judges of runs.

use std::sync::Arc;

use chrono::{DateTime, TimeDelta};

use crate::engine::{Build, Engine, Event, Model, What};
use crate::records::aircraft::BuildKind;
use crate::records::run::{AirBasis, Peak};
use crate::records::{Instant, RunSummary, Source};

/// RFC 3339.
pub fn at(text: &str) -> Instant {
    DateTime::parse_from_rfc3339(text).map(|t| t.to_utc()).unwrap_or_default()
}

/// An engine whose build of this kind began `hours_since` hours before the records.
pub fn engine(kind: Option<BuildKind>, hours_since: f64) -> Engine {
    let source = Source { file: Arc::from("N0417H/aircraft.toml"), line: 5 };
    let model = Model {
        name: Arc::from("H6-350T"),
        rated_hp: 350.0,
        rated_rpm: 2700.0,
        cylinders: 6,
        turbocharged: true,
        cylinder_finish: None,
        oil_capacity_qt: Some(12.0),
        oil_minimum_qt: Some(9.0),
        manifold_max_inhg: Some(38.0),
        cht_max_f: Some(460.0),
        oil_temp_max_f: Some(240.0),
        power: Vec::new(),
        hp_per_gph: None,
        confirmed: true,
        source: source.clone(),
    };
    Engine {
        serial: Arc::from("H-2207"),
        model: Arc::new(model),
        events: Vec::new(),
        builds: vec![Build { kind, began: None, zero_hours: 1000.0 - hours_since, zero_known: kind.is_some(), source }],
        placements: Vec::new(),
        hours_at_start: 1000.0,
        clock_h: 1000.0,
        hours_since_new_known: true,
        oil_at_start: None,
        last_change_hours: None,
        fill_qt: None,
        add_mark_qt: None,
        zone: chrono_tz::UTC,
    }
}

/// Adds an event that takes `hours` of engine time.
pub fn push(engine: &mut Engine, at: Instant, hours: f64, what: What) {
    let line = engine.events.len() as u32 + 2;
    let event = Event {
        at,
        hours: engine.hours() + hours,
        build: engine.builds.len() - 1,
        tail: Arc::from("N0417H"),
        position: Some(Arc::from("left")),
        source: Source { file: Arc::from("N0417H/logbook.csv"), line },
        remarks: None,
        what,
    };
    engine.clock_h = event.hours;
    engine.events.push(event);
}

/// A ground run of some minutes that got this hot.
pub fn ground_run(start: &str, minutes: f64, cht_f: f32) -> RunSummary {
    let start = at(start);
    RunSummary {
        file: Arc::from("N0417H/monitor/a.csv"),
        line: 2,
        start,
        end: start + TimeDelta::seconds((minutes * 60.0) as i64),
        running_s: minutes * 60.0,
        basis: AirBasis::Speed,
        ground_before_s: minutes * 60.0,
        cht_ground_f: Some(Peak { value: cht_f, at_s: 60.0, cylinder: Some(3) }),
        cht_f: Some(Peak { value: cht_f, at_s: 60.0, cylinder: Some(3) }),
        ..RunSummary::default()
    }
}

/// A flight with this many minutes on the ground before, in the air, and on the ground after.
pub fn flight(start: &str, before: f64, air: f64, after: f64) -> RunSummary {
    let run = ground_run(start, before + air + after, 350.0);
    RunSummary { flights: 1, ground_before_s: before * 60.0, air_s: air * 60.0, ground_after_s: after * 60.0, ..run }
}

/// Adds a recorded run and takes its time.
pub fn push_run(engine: &mut Engine, run: RunSummary) {
    let hours = run.running_s / 3600.0;
    push(engine, run.end, hours, What::Run(Arc::new(run)));
}
