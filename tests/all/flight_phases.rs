//! Phases of flight against a general-purpose trajectory library's labels.
//!
//! `tests/data/flight-phases.csv` holds an invented flight with noise and, beside it, the labels that
//! openap 2.6.2 (PyPI, LGPL-3.0) gives it: GND, CL, LVL or CR, DE, by fuzzy logic over height, speed and
//! rate of climb. Ours uses speed and a bend in the height curve: another method, so most but not all agree.

use std::fmt::Write;

use cowlwatch::records::monitor::{RecordedEngine, ReduceContext, reduce};
use cowlwatch::records::run::Phase;

const LABELLED: &str = include_str!("../data/flight-phases.csv");

#[test]
fn phases_agree_with_an_independent_library() {
    let rows: Vec<Vec<&str>> = LABELLED.lines().skip(2).map(|l| l.split(',').collect()).collect();
    let mut recording = String::from("time,rpm,alt_ft,gs_kt\n");
    for row in &rows {
        let at = chrono::DateTime::from_timestamp(1_772_546_700 + row[0].parse::<i64>().unwrap(), 0).unwrap();
        writeln!(recording, "{},2300,{},{}", at.format("%Y-%m-%dT%H:%M:%SZ"), row[1], row[2]).unwrap();
    }
    let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, None)]);
    let (runs, rejected) = reduce(recording.as_bytes(), "a.csv", None, &context);
    assert_eq!((runs.len(), rejected.len(), runs[0].flights), (1, 0, 1));
    // Airborne where the library first and last says it is not on the ground, within seconds: a row stands for four, and the
    // library calls the float over the runway level flight.
    let at = |row: &Vec<&str>| row[0].parse::<f64>().unwrap();
    let off = rows.iter().find(|r| r[3] != "GND").map(at).unwrap();
    let on = rows.iter().skip_while(|r| at(r) < off).find(|r| r[3] == "GND").map(at).unwrap();
    let run = &runs[0];
    assert!((run.ground_before_s - off).abs() <= 8.0, "off at {off} s, ours {}", run.ground_before_s);
    let landed = run.ground_before_s + run.air_s;
    assert!((landed - on).abs() <= 16.0, "on at {on} s, ours {landed}");
    let (mut same, mut judged) = (0, 0);
    let mut differ = Vec::new();
    for row in &rows {
        let wanted: &[Phase] = match row[3] {
            "GND" => &[Phase::TaxiOut, Phase::RunUp, Phase::TakeOff, Phase::TaxiIn],
            "CL" => &[Phase::TakeOff, Phase::Climb],
            "LVL" | "CR" => &[Phase::Cruise],
            "DE" => &[Phase::Descent],
            // The library does not say.
            _ => continue,
        };
        let at: f32 = row[0].parse().unwrap();
        let Some(segment) = runs[0].segments.iter().find(|s| s.from_s <= at && at < s.to_s) else { continue };
        judged += 1;
        if wanted.contains(&segment.phase) {
            same += 1;
        } else {
            differ.push((row[0], row[3], segment.phase));
        }
    }
    assert!(judged > 1000, "{judged}");
    assert!(f64::from(same) >= 0.97 * f64::from(judged), "{same} of {judged}: {differ:?}");
}
