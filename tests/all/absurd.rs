//! Absurd recordings never make an absurd alert: probes that read 9999 or 0, freeze or come and go, words for
//! numbers, clocks that jump, engines that turn at 30,000 rpm.
//!
//! A sound flight well inside every limit is spoilt in one way at a time and taken through reducer, history and
//! judges. No limit may then be said to have been passed: whatever is seen is not the engine.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::fmt::Write as _;
use std::sync::Arc;

use chrono::TimeDelta;
use cowlwatch::config::Rules;
use cowlwatch::engine::{self, Model, Models};
use cowlwatch::judge::{self, Kind, RulesFor};
use cowlwatch::records::layout::Layouts;
use cowlwatch::records::monitor::{RecordedEngine, ReduceContext, reduce};
use cowlwatch::records::{RunSummary, Source, TailRecords, aircraft_file};
use proptest::prelude::*;

const COLUMNS: [&str; 9] =
    ["time", "rpm", "manifold_inhg", "fuel_flow_gph", "oil_temp_f", "oil_press_psi", "cht1_f", "cht2_f", "ias_kt"];

/// Kinds that say a limit was passed or a plan not kept.
const LIMITS: [Kind; 12] = [
    Kind::FirstRunLong,
    Kind::GroundRunLong,
    Kind::TakeoffRpm,
    Kind::ManifoldHigh,
    Kind::ChtHigh,
    Kind::OilTempHigh,
    Kind::OilPressureFalling,
    Kind::CoolingFast,
    Kind::PowerStepLarge,
    Kind::BreakInPower,
    Kind::BreakInProfile,
    Kind::OilRateCeiling,
];

struct Usual;

impl RulesFor for Usual {
    fn rules(&self, _: &str, _: &str, _: &str) -> Arc<Rules> {
        Arc::new(Rules::default())
    }
}

fn model() -> Arc<Model> {
    let mut model = Model::unknown("X".into(), Source { file: "engines.toml".into(), line: 1 });
    (model.rated_hp, model.rated_rpm, model.cylinders, model.turbocharged) = (300.0, 2700.0, 2, true);
    (model.manifold_max_inhg, model.cht_max_f, model.oil_temp_max_f) = (Some(36.0), Some(460.0), Some(240.0));
    model.hp_per_gph = Some(13.7);
    Arc::new(model)
}

/// Row `second` of the sound flight: 5 min on the ground, a minute of run-up in it, 60 min in the air, 4 min back.
fn sound(second: usize) -> Vec<String> {
    let (rpm, inhg, gph, cht, kt) = match second {
        0..200 => (1000.0, 12.0, 4.0, 250.0, 8.0),
        200..230 => (1800.0, 16.0, 6.0, 290.0, 0.0),
        230..300 => (1000.0, 12.0, 4.0, 300.0, 8.0),
        300..900 => (2680.0, 34.0, 24.0, 380.0, 100.0),
        900..3600 => (2400.0, 28.0, 15.4, 360.0, 150.0),
        3600..3900 => (2300.0, 25.0, 12.0, 340.0, 140.0),
        _ => (1000.0, 12.0, 4.0, 320.0, 8.0),
    };
    let at = chrono::DateTime::from_timestamp(1_772_546_700, 0).unwrap() + TimeDelta::seconds(second as i64);
    let oil = (120.0 + second as f64 / 30.0).min(190.0);
    // Temperatures move slowly from one phase to the next.
    let ramp = (second as f64 / 4.0 + 80.0).min(cht);
    let mut row = vec![at.format("%Y-%m-%dT%H:%M:%SZ").to_string()];
    row.extend([rpm, inhg, gph, oil, 60.0, ramp, ramp - 15.0, kt].map(|v| format!("{v:.1}")));
    row
}

fn recording(spoil: impl Fn(usize, &mut Vec<String>)) -> String {
    let mut out = COLUMNS.join(",");
    for second in 0..4140 {
        let mut row = sound(second);
        spoil(second, &mut row);
        write!(out, "\n{}", row.join(",")).unwrap();
    }
    out
}

/// Findings about limits, with what they say, of a break-in engine (12 h) and of one in service (600 h).
fn told(recordings: &[String]) -> Vec<String> {
    let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, Some(model()))]);
    let mut runs: Vec<RunSummary> = Vec::new();
    for (k, text) in recordings.iter().enumerate() {
        runs.extend(reduce(text.as_bytes(), &format!("N0101A/monitor/{k}.csv"), None, &context).0);
    }
    let mut all = Vec::new();
    for since in [12, 600] {
        let text = format!(
            "tail = \"N0101A\"\nmeter = \"tach\"\n[[engine]]\nserial = \"P-1\"\nmodel = \"X\"\nhours_at_start = {since}.0\n\
             since = \"overhaul\"\nhours_since = {since}.0\n"
        );
        let aircraft = aircraft_file::parse(&text, "N0101A/aircraft.toml", &Layouts::default()).0.unwrap();
        let tails = [TailRecords { aircraft, entries: Vec::new(), runs: runs.clone() }];
        let as_of = chrono::DateTime::from_timestamp(1_772_546_700 + 86_400, 0).unwrap();
        let models = Models::from([("X".into(), model())]);
        let fleet = engine::build(&tails, &models, chrono_tz::UTC, as_of, 0.3);
        let judged = judge::judge(&fleet, &Usual, chrono_tz::UTC, &[], as_of);
        let limits = judged.findings.into_iter().filter(|f| LIMITS.contains(&f.kind));
        all.extend(limits.map(|f| format!("{since} h: {} {:?}", f.kind, f.evidence)));
    }
    all
}

type Fault = fn(usize, &str) -> String;

/// What goes wrong with one channel, from a second of the flight on.
const FAULTS: [(&str, Fault); 16] = [
    ("9999 throughout", |_, _| "9999".into()),
    ("9999 for minutes", |s, v| if (1000..1400).contains(&s) { "9999".into() } else { v.into() }),
    ("zero throughout", |_, _| "0".into()),
    ("zero now and then", |s, v| if s % 7 == 3 { "0".into() } else { v.into() }),
    ("zero from the cruise on", |s, v| if s > 1500 { "0".into() } else { v.into() }),
    ("negative", |_, _| "-40.0".into()),
    ("a large negative", |_, v| format!("-{v}")),
    ("NaN", |_, _| "NaN".into()),
    ("infinity", |s, v| if s % 2 == 0 { "inf".into() } else { v.into() }),
    ("words", |_, _| "---".into()),
    ("empty", |_, _| String::new()),
    ("30,000", |_, _| "30000".into()),
    ("30,000 for a minute", |s, v| if (1200..1260).contains(&s) { "30000".into() } else { v.into() }),
    ("a number of forty digits", |_, _| "9".repeat(40)),
    ("every second sample at twice", |s, v| {
        if s % 2 == 0 { format!("{:.1}", 2.0 * v.parse::<f64>().unwrap()) } else { v.into() }
    }),
    ("spikes", |s, v| if s % 400 == 7 { format!("{:.1}", 1.7 * v.parse::<f64>().unwrap()) } else { v.into() }),
];

#[test]
fn the_sound_flight_says_nothing() {
    assert_eq!(told(&[recording(|_, _| {})]), Vec::<String>::new());
}

/// Each fault in each channel but the time, and in all of them at once.
#[test]
fn no_absurd_reading_becomes_a_finding_about_a_limit() {
    let mut absurd = Vec::new();
    for (what, fault) in FAULTS {
        for (column, name) in COLUMNS.iter().enumerate().skip(1) {
            let text = recording(|s, row| row[column] = fault(s, &row[column]));
            absurd.extend(told(&[text]).into_iter().map(|t| format!("{name} {what}: {t}")));
        }
        let text = recording(|s, row| row.iter_mut().skip(1).for_each(|cell| *cell = fault(s, cell)));
        absurd.extend(told(&[text]).into_iter().map(|t| format!("all {what}: {t}")));
    }
    assert_eq!(absurd, Vec::<String>::new());
}

/// One head or the oil stands still at a value above the limits while the other head moves.
#[test]
fn a_frozen_probe_makes_no_finding() {
    for (column, value) in [(6, "640.0"), (7, "470.0"), (6, "212.0"), (6, "-20.0")] {
        let text = recording(|_, row| row[column] = value.into());
        assert_eq!(told(&[text]), Vec::<String>::new(), "{} {value}", COLUMNS[column]);
    }
}

#[test]
fn a_clock_that_jumps_makes_no_finding() {
    type Shift = fn(usize) -> i64;
    let shifts: [(&str, Shift); 5] = [
        ("an hour forward in cruise", |s| if s > 2000 { 3600 } else { 0 }),
        ("an hour back in cruise", |s| if s > 2000 { -3600 } else { 0 }),
        ("back to 2000 in cruise", |s| if s > 2000 { -820_000_000 } else { 0 }),
        ("a second back every minute", |s| -((s / 60) as i64)),
        ("to and fro", |s| if s % 600 > 300 { 90 } else { 0 }),
    ];
    for (what, shift) in shifts {
        let text = recording(|s, row| {
            let at = chrono::DateTime::parse_from_rfc3339(&row[0]).unwrap() + TimeDelta::seconds(shift(s));
            row[0] = at.format("%Y-%m-%dT%H:%M:%SZ").to_string();
        });
        assert_eq!(told(&[text]), Vec::<String>::new(), "{what}");
    }
}

/// The recorder of the ground: with neither speed nor height, time on the ground is still told, marked as inferred.
#[test]
fn without_speed_and_height_ground_time_is_told_and_marked() {
    let mut out = String::from("time,rpm,manifold_inhg,cht1_f");
    for second in 0..2400 {
        let row = sound(second % 200);
        let at = chrono::DateTime::from_timestamp(1_772_546_700 + second as i64, 0).unwrap();
        write!(out, "\n{},{},{},{}", at.format("%Y-%m-%dT%H:%M:%SZ"), row[1], row[2], row[6]).unwrap();
    }
    let told = told(&[out]);
    let long: Vec<_> = told.iter().filter(|t| t.contains("ground-run-long")).collect();
    assert_eq!(long.len(), 2, "{told:?}");
    assert!(long.iter().all(|t| t.contains("power (inferred)") && t.contains("40.0")), "{long:?}");
}

/// A loose probe that reads 607 °F for eight minutes and comes back while the other head holds its cruise temperature:
/// the jump is no movement by which the other would be frozen, or none would be left to speak against it.
#[test]
fn a_head_that_jumps_does_not_make_the_other_a_frozen_one() {
    let text = recording(|s, row| {
        if (637..1126).contains(&s) {
            row[6] = "606.7".to_owned();
        }
    });
    assert_eq!(told(&[text]), Vec::<String>::new());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// Any stretch of any channel of one head replaced by any constant or noise far from what a head can do at once.
    #[test]
    fn a_head_that_jumps_makes_no_finding(
        from in 400usize..3000,
        length in 1usize..1000,
        value in prop_oneof![Just(0.0), 500.0..20_000.0, -5000.0..-61.0],
        noise in 0.0..300.0f64,
    ) {
        let text = recording(|s, row| {
            if (from..from + length).contains(&s) {
                row[6] = format!("{:.1}", value + noise * ((s * 7919) % 13) as f64 / 13.0);
            }
        });
        prop_assert_eq!(told(&[text]), Vec::<String>::new());
    }
}
