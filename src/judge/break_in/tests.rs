//! Break-in flights against the plan.
#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::engine::What;
use crate::judge::Fact;
use crate::judge::running::made::{at, engine, flight, push, push_run};
use crate::records::aircraft::BuildKind;
use crate::records::run::Handling;

fn cruise(percent: &[(u8, f32)], from: &str) -> RunSummary {
    let mut run = flight("2026-03-06T14:00:00Z", 4.0, 80.0, 2.0);
    run.handling = Handling { cruise_power: percent.to_vec(), power_from: Some(from.into()), ..Handling::default() };
    run
}

fn told(engine: &Engine) -> Vec<Finding> {
    findings(engine, &Rules::default(), at("2026-12-31T00:00:00Z"))
}

fn one(run: RunSummary, hours: f64) -> (Vec<Finding>, [f64; 4]) {
    let mut e = engine(Some(BuildKind::Overhaul), hours);
    push_run(&mut e, run);
    (told(&e), progress(&e, &Rules::default(), at("2026-12-31T00:00:00Z")))
}

#[test]
fn cruise_below_the_band() {
    let (found, minutes) = one(cruise(&[(58, 3960.0), (66, 300.0), (75, 60.0), (76, 120.0)], "chart"), 10.0);
    assert_eq!(minutes, [6.0, 66.0, 2.0, 0.0]);
    let f = &found[0];
    assert_eq!((found.len(), f.kind, f.evidence.number("value")), (1, Kind::BreakInPower, Some(89.0)));
    assert_eq!((f.evidence.number("power_pct"), f.evidence.number("cruise_min")), (Some(58.0), Some(74.0)));
    assert!(f.evidence.text("power_from").unwrap().contains("chart"));
}

#[test]
fn within_the_band_or_after_break_in_nothing_is_said() {
    assert_eq!(one(cruise(&[(58, 1800.0), (65, 1800.0)], "recorded"), 10.0).0, []);
    assert_eq!(one(cruise(&[(58, 3600.0)], "recorded"), 60.0), (vec![], [0.0; 4]));
    assert_eq!(one(cruise(&[(58, 300.0)], "recorded"), 10.0).0, []);
}

#[test]
fn fuel_flow_can_show_too_little_power_never_enough() {
    let (found, minutes) = one(cruise(&[(55, 3000.0), (70, 600.0)], "fuel flow"), 10.0);
    assert_eq!(minutes, [0.0, 50.0, 0.0, 10.0]);
    assert_eq!(found.len(), 1);
    assert!(found[0].evidence.text("power_from").unwrap().contains("at most"));
    assert_eq!(one(cruise(&[(70, 3600.0)], "fuel flow"), 10.0).0, []);
}

#[test]
fn unknown_power_is_not_held_against_the_flight() {
    let mut run = cruise(&[(55, 600.0)], "chart");
    run.handling.cruise_unknown_s = 1200.0;
    assert_eq!(one(run, 10.0).0, []);
}

fn list(f: &Finding, name: &str) -> Vec<String> {
    if let Some(Fact::List(l)) = f.evidence.get(name) { l.clone() } else { Vec::new() }
}

fn first_flight() -> RunSummary {
    let mut run = flight("2026-03-04T14:00:00Z", 4.0, 60.0, 2.0);
    run.handling = Handling {
        power_back_ft: Some(1050.0),
        left_field_ft: Some(1800.0),
        initial_cruise_s: Some(1200.0),
        propeller_cycles: Some(8),
        descent_fpm: Some(520.0),
        ..Handling::default()
    };
    run
}

#[test]
fn the_first_flight_says_what_was_and_was_not_flown_so() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    std::sync::Arc::make_mut(&mut e.model).turbocharged = false;
    push_run(&mut e, first_flight());
    let found = told(&e);
    assert_eq!((found.len(), found[0].kind), (1, Kind::BreakInProfile));
    let not = list(&found[0], "not_flown");
    assert_eq!(not, ["more than 5 NM from the field at 1800 ft above it, plan 3000 ft"]);
    assert_eq!(list(&found[0], "flown_as_planned").len(), 4);
    // A second flight is not held against the plan for the first.
    let mut second = first_flight();
    second.start = at("2026-03-05T14:00:00Z");
    second.end = at("2026-03-05T15:00:00Z");
    push_run(&mut e, second);
    assert_eq!(told(&e).len(), 1);
}

#[test]
fn a_turbocharged_engine_cruises_normally() {
    let mut run = first_flight();
    (run.handling.left_field_ft, run.handling.initial_cruise_s, run.handling.propeller_cycles) =
        (None, Some(0.0), Some(0));
    assert_eq!(one(run, 0.0).0, []);
}

#[test]
fn an_unrecorded_flight_before_makes_it_not_the_first() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    push(&mut e, at("2026-03-03T20:00:00Z"), 0.8, What::Flight { hours: 0.8, service: None, inferred: false });
    push_run(&mut e, first_flight());
    assert_eq!(told(&e), []);
}

#[test]
fn an_initial_cruise_counted_near_another_setting_is_not_judged() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    std::sync::Arc::make_mut(&mut e.model).turbocharged = false;
    let mut run = first_flight();
    (run.handling.initial_cruise_s, run.handling.propeller_cycles) = (Some(60.0), Some(0));
    run.handling.initial_setting = Some([22.0, 2400.0]);
    push_run(&mut e, run);
    let found = told(&e);
    assert_eq!(list(&found[0], "not_flown").len(), 1);
    assert!(list(&found[0], "not_recorded").iter().any(|n| n == "initial cruise"));
}

#[test]
fn fuel_flow_of_the_initial_cruise_is_looked_at() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    std::sync::Arc::make_mut(&mut e.model).turbocharged = false;
    let mut run = first_flight();
    (run.handling.left_field_ft, run.handling.fuel_flow_below_climb_gph) = (Some(3100.0), Some(0.1));
    push_run(&mut e, run);
    assert_eq!(
        list(&told(&e)[0], "not_flown"),
        ["fuel flow in the initial cruise 0.1 gal/h below climb, plan about 1"]
    );
}

/// 3 h flown in two days from 0.0: what stands in the records, and nothing judged.
#[test]
fn the_record_of_a_build_line_by_line() {
    use crate::records::{Inspection, Oil};
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    push_run(&mut e, flight("2026-03-04T14:00:00Z", 6.0, 80.0, 4.0));
    push(&mut e, at("2026-03-05T08:00:00Z"), 0.0, What::Added { qt: 1.0, oil: None });
    push_run(&mut e, cruise(&[(66, 1200.0), (58, 300.0)], "chart"));
    push(&mut e, at("2026-03-06T18:00:00Z"), 0.0, What::Changed { level_after_qt: None, oil: Oil::parse("AD 50") });
    push(&mut e, at("2026-03-06T18:30:00Z"), 0.0, What::Filter { result: Some(Inspection::Trace) });
    e.events.last_mut().unwrap().remarks = Some("fine grey paste".into());
    let record = record(&e, &Rules::default(), &[], at("2026-03-07T00:00:00Z"));
    let oil: Vec<_> = record.oil.iter().map(|l| (l.what.as_str(), l.remarks.as_deref())).collect();
    assert_eq!(oil, [("oil changed, AD 50", None), ("filter: trace", Some("fine grey paste"))]);
    assert_eq!((record.added_qt, record.runs.len(), record.earlier), (1.0, 2, None));
    let run = &record.runs[1];
    assert!((run.hours - (1.5 + 86.0 / 60.0)).abs() < 1e-9, "{}", run.hours);
    assert_eq!((run.ground_min, run.air_min, run.band_min), (6.0, 80.0, [20.0, 5.0, 0.0, 0.0]));
    assert_eq!(super::record(&e, &Rules::default(), &[], at("2026-03-04T00:00:00Z")).runs.len(), 0);
}
