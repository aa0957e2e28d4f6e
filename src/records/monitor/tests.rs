//! Recordings made by hand against their truth.
#![allow(clippy::unwrap_used, reason = "tests")]

mod faults;
mod flown;
mod layouts;

use super::made::{Leg, Made, flight, leg};
use super::*;
use crate::records::run::{AirBasis, Phase};

fn context() -> ReduceContext {
    ReduceContext::new(chrono_tz::America::Denver, vec![RecordedEngine::new(None, None)])
}

fn runs(csv: &str) -> Vec<RunSummary> {
    let (runs, rejections) = reduce(csv.as_bytes(), "N0417H/monitor/a.csv", None, &context());
    assert_eq!(rejections, []);
    runs
}

fn near(got: f64, want: f64, within: f64) {
    assert!((got - want).abs() <= within, "got {got}, want {want} ± {within}");
}

#[test]
fn ground_and_air_to_the_sample_at_every_rate() {
    for every_s in [0.2, 0.5, 1.0, 2.0, 5.0, 10.0] {
        let made = Made { every_s, ..Made::default() };
        let runs = runs(&made.csv(&flight(400.0, 600.0, 1800.0, 600.0, 240.0)));
        let run = &runs[0];
        assert_eq!((runs.len(), run.flights, run.basis), (1, 1, AirBasis::Speed));
        near(run.ground_before_s, 400.0, every_s);
        near(run.air_s, 3000.0, every_s);
        near(run.ground_after_s, 240.0, every_s);
        near(run.running_s, 3640.0, every_s);
        let cruise = run.segments.iter().find(|s| s.phase == Phase::Cruise).unwrap();
        near(f64::from(cruise.from_s), 1000.0, every_s);
        near(f64::from(cruise.to_s), 2800.0, every_s);
        let phases: Vec<Phase> = run.segments.iter().map(|s| s.phase).collect();
        use Phase::{Climb, Cruise, Descent, RunUp, TakeOff, TaxiIn, TaxiOut};
        assert_eq!(phases, [TaxiOut, RunUp, TaxiOut, TakeOff, Climb, Cruise, Descent, TaxiIn], "{every_s}");
    }
}

#[test]
fn ground_without_speed_is_told_by_height_then_by_power() {
    let legs = flight(400.0, 600.0, 1800.0, 600.0, 240.0);
    let by_height = Made { columns: vec!["rpm", "manifold_inhg", "alt_ft"], ..Made::default() };
    let run = &runs(&by_height.csv(&legs))[0];
    assert_eq!((run.basis, run.flights), (AirBasis::Height, 1));
    near(run.ground_before_s, 400.0, 4.0);
    near(run.ground_after_s, 240.0, 6.0);
    let by_power = Made { columns: vec!["rpm", "manifold_inhg"], ..Made::default() };
    let run = &runs(&by_power.csv(&legs))[0];
    assert_eq!((run.basis, run.flights), (AirBasis::Power, 1));
    near(run.ground_before_s, 400.0, 10.0);
    near(run.ground_after_s, 240.0, 1.0);
}

#[test]
fn a_ground_run_is_no_flight_and_its_heat_is_seen() {
    let legs = [
        leg(10.0, 0.0, 28.0, 0.0, 5000.0, 60.0),
        leg(840.0, 1500.0, 15.0, 0.0, 5000.0, 391.0),
        leg(30.0, 0.0, 28.0, 0.0, 5000.0, 380.0),
    ];
    let run = &runs(&Made::default().csv(&legs))[0];
    assert!(run.ground_only());
    near(run.ground_before_s, 840.0, 1.0);
    let hot = run.cht_ground_f.unwrap();
    near(f64::from(hot.value), 391.0, 2.0);
    assert_eq!(hot.cylinder, Some(1));
    near(f64::from(run.rpm_standing.unwrap().value), 1500.0, 0.1);
}

#[test]
fn several_runs_over_midnight() {
    let mut legs = flight(400.0, 600.0, 900.0, 600.0, 240.0);
    legs.extend(flight(300.0, 600.0, 600.0, 600.0, 200.0));
    let made = Made { start_ms: 1_772_582_400_000 - 600_000, ..Made::default() };
    let runs = runs(&made.csv(&legs));
    assert_eq!(runs.len(), 2);
    near(runs[1].ground_before_s, 300.0, 1.0);
    assert!(runs[0].start < runs[1].start && !runs[0].cut_end);
}

#[test]
fn both_ways_give_the_same() {
    let csv = Made::default().csv(&flight(400.0, 600.0, 900.0, 600.0, 240.0));
    let by = |way| Reducer::default().reduce_by(way, csv.as_bytes(), "a.csv", None, &context());
    assert_eq!(by(Way::Fast), by(Way::Csv));
}

/// Time in service is "the time from the moment an aircraft leaves the surface of the earth until it touches it at
/// the next point of landing" (14 CFR 1.1). Two flights without stopping the engine: taxi, waiting and rolling between
/// them count for nothing.
#[test]
fn air_time_is_time_in_service_as_14_cfr_1_1_has_it() {
    let mut legs = flight(400.0, 600.0, 900.0, 600.0, 240.0);
    legs.truncate(10);
    // Off again after 240 s of taxi: roll at rising power, 300 s up, 600 s along, 300 s down, in.
    legs.push(Leg { step: false, ..leg(20.0, 2680.0, 25.0, 49.0, 5000.0, 300.0) });
    legs.push(leg(300.0, 2680.0, 24.0, 90.0, 8000.0, 380.0));
    legs.push(leg(600.0, 2400.0, 22.0, 140.0, 8000.0, 360.0));
    legs.push(leg(300.0, 2300.0, 18.0, 130.0, 5000.0, 330.0));
    legs.push(leg(200.0, 1000.0, 11.0, 10.0, 5000.0, 280.0));
    for every_s in [0.2, 1.0, 5.0] {
        let run = &runs(&Made { every_s, ..Made::default() }.csv(&legs))[0];
        assert_eq!(run.flights, 2);
        near(run.air_s, 2100.0 + 1200.0, 2.0 * every_s);
        near(run.ground_between_s, 260.0, every_s);
        near(run.ground_before_s + run.ground_between_s + run.ground_after_s, 860.0, 2.0 * every_s);
    }
}
