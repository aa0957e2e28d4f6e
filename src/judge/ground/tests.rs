//! Ground running: when it is long, and when it is not to be mentioned.
#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::judge::running::made::{at, engine, flight, ground_run, push, push_run};
use crate::records::aircraft::BuildKind;

const LATER: &str = "2026-04-30T00:00:00Z";

fn told(engine: &Engine) -> Vec<Finding> {
    findings(engine, &Rules::default(), at(LATER))
}

fn kinds(engine: &Engine) -> Vec<(Kind, String)> {
    told(engine).into_iter().map(|f| (f.kind, f.subject)).collect()
}

#[test]
fn a_long_and_hot_first_run_after_an_overhaul() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    push_run(&mut e, ground_run("2026-03-03T14:05:00Z", 14.0, 391.0));
    let found = told(&e);
    assert_eq!(found.len(), 1);
    let f = &found[0];
    assert_eq!((f.kind, f.subject.as_str()), (Kind::FirstRunLong, "run 2026-03-03T14:05"));
    assert_eq!(f.raised, at("2026-03-03T14:19:00Z"));
    assert_eq!((f.evidence.number("minutes"), f.evidence.number("limit_min")), (Some(14.0), Some(3.0)));
    assert_eq!(f.evidence.number("cht_ground_f"), Some(391.0));
    assert_eq!(f.evidence.text("basis"), Some("speed"));
    assert!(f.evidence.text("limit_from").unwrap().contains("to be confirmed"));
    assert_eq!(f.settled.as_ref().map(|s| s.at), Some(at("2026-03-17T14:19:00Z")));
}

#[test]
fn a_logged_first_run_counts_at_its_least() {
    for (hours, long) in [(0.1, false), (0.2, true)] {
        let mut e = engine(Some(BuildKind::New), 0.0);
        push(&mut e, at("2026-03-03T18:00:00Z"), hours, What::GroundRun { hours });
        assert_eq!(kinds(&e).iter().any(|k| k.0 == Kind::FirstRunLong), long, "{hours} h");
    }
}

#[test]
fn a_recording_and_an_entry_of_the_same_run_count_once() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    push_run(&mut e, ground_run("2026-03-03T14:05:00Z", 14.0, 350.0));
    push(&mut e, at("2026-03-03T19:00:00Z"), 0.0, What::GroundRun { hours: 0.2 });
    assert_eq!(kinds(&e), [(Kind::FirstRunLong, "run 2026-03-03T14:05".into())]);
    // A second, longer one on the same day is not covered by the recording.
    push(&mut e, at("2026-03-03T20:00:00Z"), 0.5, What::GroundRun { hours: 0.5 });
    assert_eq!(kinds(&e)[1], (Kind::GroundRunLong, "ground-run 2026-03-03 no. 2".into()));
}

#[test]
fn limits_differ_in_break_in_and_in_service() {
    let mut e = engine(Some(BuildKind::TopOverhaul), 20.0);
    push_run(&mut e, flight("2026-03-03T14:00:00Z", 9.0, 60.0, 3.0));
    let found = told(&e);
    assert_eq!((found[0].kind, found[0].evidence.text("phase")), (Kind::GroundRunLong, Some("break-in")));
    assert_eq!(found[0].evidence.number("before_min"), Some(9.0));
    assert_eq!(found[0].evidence.number("after_min"), Some(3.0));
    let mut e = engine(Some(BuildKind::TopOverhaul), 60.0);
    push_run(&mut e, flight("2026-03-03T14:00:00Z", 9.0, 60.0, 3.0));
    assert_eq!(told(&e), []);
    push_run(&mut e, flight("2026-03-04T14:00:00Z", 20.0, 60.0, 6.0));
    assert_eq!(kinds(&e), [(Kind::GroundRunLong, "run 2026-03-04T14:00".into())]);
}

#[test]
fn the_state_of_the_build_unknown_is_not_break_in() {
    let mut e = engine(None, 0.0);
    push_run(&mut e, ground_run("2026-03-03T14:05:00Z", 14.0, 350.0));
    assert_eq!(told(&e), []);
}

#[test]
fn what_cannot_be_told_is_not_claimed() {
    let mut e = engine(Some(BuildKind::Overhaul), 10.0);
    let run = RunSummary { basis: AirBasis::Unknown, ..ground_run("2026-03-03T14:05:00Z", 40.0, 350.0) };
    push_run(&mut e, run);
    assert_eq!(told(&e), []);
    let run = RunSummary { basis: AirBasis::Power, ..ground_run("2026-03-04T14:05:00Z", 40.0, 350.0) };
    push_run(&mut e, run);
    assert_eq!(told(&e)[0].evidence.text("basis"), Some("power (inferred)"));
}

#[test]
fn three_days_of_trouble_shooting_add_up_once() {
    let mut e = engine(Some(BuildKind::Overhaul), 600.0);
    push_run(&mut e, ground_run("2026-02-02T16:00:00Z", 22.0, 371.0));
    push_run(&mut e, ground_run("2026-02-03T16:00:00Z", 24.0, 375.0));
    assert_eq!(told(&e), []);
    push_run(&mut e, ground_run("2026-02-04T16:00:00Z", 24.0, 378.0));
    assert_eq!(kinds(&e), [(Kind::GroundRunLong, "three days to 2026-02-04".into())]);
    let f = &told(&e)[0];
    assert_eq!((f.evidence.number("minutes"), f.evidence.number("days")), (Some(70.0), Some(3.0)));
    assert_eq!(f.evidence.number("cht_ground_f"), Some(378.0));
    assert_eq!(f.evidence.lines("lines").len(), 3);
    // The next day goes on: still one finding, grown.
    push_run(&mut e, ground_run("2026-02-05T16:00:00Z", 25.0, 378.0));
    let found = told(&e);
    assert_eq!((found.len(), found[0].size), (1, 73.0));
}

#[test]
fn heat_on_the_ground_in_a_short_run() {
    let mut e = engine(Some(BuildKind::Overhaul), 600.0);
    push_run(&mut e, ground_run("2026-02-02T16:00:00Z", 8.0, 402.0));
    let f = &told(&e)[0];
    assert_eq!(
        (f.kind, f.evidence.number("value"), f.evidence.number("limit")),
        (Kind::ChtHigh, Some(402.0), Some(380.0))
    );
    assert_eq!(f.evidence.text("where"), Some("on the ground"));
}

#[test]
fn later_runs_are_not_seen_before_their_end() {
    let mut e = engine(Some(BuildKind::Overhaul), 0.0);
    push_run(&mut e, ground_run("2026-03-03T14:05:00Z", 14.0, 391.0));
    assert_eq!(findings(&e, &Rules::default(), at("2026-03-03T14:18:00Z")), []);
    assert!(findings(&e, &Rules::default(), at("2026-03-03T14:20:00Z"))[0].settled.is_none());
}
