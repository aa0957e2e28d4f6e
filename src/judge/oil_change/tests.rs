//! Plans worked out on paper from the rules: points at 5, 25 and 50 h, an hour's grace, 50 h or 4 months after.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use chrono_tz::America::Denver;

use super::{Changes, judge};
use crate::config::Rules;
use crate::engine::{Models, build};
use crate::judge::{Finding, Kind};
use crate::records::layout::{Layouts, Shape};
use crate::records::table::Sheet;
use crate::records::{Instant, TailRecords, aircraft_file, logbook};

fn at(text: &str) -> Instant {
    chrono::DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

fn changes(aircraft: &str, log: &str, as_of: &str) -> Changes {
    of_model(&Models::new(), aircraft, log, as_of)
}

/// As [`changes`], for a turbocharged engine.
fn turbocharged(aircraft: &str, log: &str, as_of: &str) -> Changes {
    let source = crate::records::Source { file: "engines.toml".into(), line: 1 };
    let mut model = crate::engine::Model::unknown("X".into(), source);
    model.turbocharged = true;
    of_model(&Models::from([("X".into(), model.into())]), aircraft, log, as_of)
}

fn of_model(models: &Models, aircraft: &str, log: &str, as_of: &str) -> Changes {
    let text = format!("tail = \"N0103H\"\nmeter = \"tach\"\n[[engine]]\nserial = \"P-1\"\nmodel = \"X\"\n{aircraft}");
    let (aircraft, wrong) = aircraft_file::parse(&text, "N0103H/aircraft.toml", &Layouts::default());
    assert!(wrong.is_empty(), "{wrong:?}");
    let aircraft = aircraft.unwrap();
    let text = format!("date,time,hours,entry,flight_hours,oil,result,quantity,remarks\n{log}");
    let sheet = Sheet::from_text(text.as_bytes(), &Shape::default());
    let (entries, wrong) = logbook::read(&sheet, "N0103H/logbook.csv", None, &aircraft, Denver);
    assert!(wrong.is_empty(), "{wrong:?}");
    let tails = [TailRecords { aircraft, entries, runs: Vec::new() }];
    let as_of = at(as_of);
    let fleet = build(&tails, models, Denver, as_of, 0.3);
    judge(&fleet.engines[0], &Rules::default(), Denver, as_of)
}

const OVERHAULED: &str = "hours_at_start = 0.0\nsince = \"overhaul\"\nhours_since = 0.0\n";

/// A flight of 1.5 h each morning from 1 March 2026, readings from 1.5.
fn flights(days: std::ops::RangeInclusive<u32>) -> String {
    days.map(|d| format!("2026-03-{d:02},09:00,{:.1},flight,1.5,,\n", f64::from(d) * 1.5)).collect()
}

fn overdue(changes: &Changes) -> Vec<&Finding> {
    changes.findings.iter().filter(|f| f.kind == Kind::OilChangeOverdue).collect()
}

#[test]
fn a_missed_first_change_is_overdue_at_the_flight_that_passes_point_and_grace() {
    // 4 flights: 6.0 h, not past 5 + 1; the fifth ends at 7.5 h.
    assert!(overdue(&changes(OVERHAULED, &flights(1..=4), "2026-03-06T00:00:00Z")).is_empty());
    let found = changes(OVERHAULED, &flights(1..=5), "2026-03-06T00:00:00Z");
    let [finding] = overdue(&found)[..] else { panic!("{:?}", found.findings) };
    assert_eq!(finding.raised, at("2026-03-05T16:00:00Z"));
    assert_eq!(finding.hours, Some(6.0));
    assert!(finding.settled.is_none());
    let due = found.findings.iter().find(|f| f.kind == Kind::OilChangeDue).unwrap();
    // 80 % of five hours are four: the third flight ends at 4.5 h.
    assert_eq!(due.raised, at("2026-03-03T16:00:00Z"));
    assert_eq!(due.settled.as_ref().map(|s| s.at), Some(finding.raised));
}

#[test]
fn a_late_change_settles_it_and_does_not_move_the_next_point() {
    let log = format!("{}2026-03-09,12:00,13.5,oil-changed,,mineral 50,\n{}", flights(1..=9), flights(10..=18));
    let found = changes(OVERHAULED, &log, "2026-03-19T00:00:00Z");
    let [first, second] = overdue(&found)[..] else { panic!("{:?}", found.findings) };
    let settled = first.settled.as_ref().unwrap();
    assert_eq!(settled.at, at("2026-03-09T18:00:00Z"));
    assert_eq!(settled.why, "oil changed at 13.5 h, 8.5 h past the point");
    // 25 stays 25: 26.0 is passed by the flight that ends at 27.0 h, on the 18th.
    assert_eq!(second.raised, at("2026-03-18T15:00:00Z"));
    assert_eq!(found.points.iter().map(|p| p.0).collect::<Vec<_>>(), [5.0, 25.0, 50.0]);
    assert!(found.points[0].1.is_some() && found.points[1].1.is_none());
}

#[test]
fn while_a_point_is_missed_the_next_is_not_announced() {
    // 21.0 h on the 14th: past 80 % of the way to 25, and the change at 5 h is still open.
    let found = changes(OVERHAULED, &flights(1..=16), "2026-03-17T00:00:00Z");
    let due = found.findings.iter().filter(|f| f.kind == Kind::OilChangeDue).count();
    assert_eq!((due, overdue(&found).len()), (1, 1));
}

#[test]
fn a_change_on_time_says_nothing() {
    let log = format!("{}2026-03-03,12:00,4.5,oil-changed,,AD 50,\n{}", flights(1..=3), flights(4..=12));
    let found = changes(OVERHAULED, &log, "2026-03-13T00:00:00Z");
    assert!(overdue(&found).is_empty(), "{:?}", found.findings);
    assert_eq!(found.due.len(), 1);
    assert!((found.due[0].hours_left.unwrap() - 7.0).abs() < 1e-9);
    assert_eq!(found.oil.unwrap().to_string(), "AD 50");
}

#[test]
fn in_service_the_change_is_due_by_hours_or_by_months() {
    let start = "hours_at_start = 900.0\nlast_oil_change_h = 45.0\n";
    let log = "2026-03-01,09:00,902.0,flight,2.0,,\n2026-03-02,09:00,907.0,flight,5.0,,\n";
    let found = changes(start, log, "2026-03-03T00:00:00Z");
    let [finding] = overdue(&found)[..] else { panic!("{:?}", found.findings) };
    assert_eq!(finding.raised, at("2026-03-02T16:00:00Z"));
    // By months: changed on 1 March, due on 1 July, overdue from the 2nd, 00:00 in Denver.
    let log = "2026-03-01,09:00,902.0,flight,2.0,,\n2026-03-01,12:00,902.0,oil-changed,,AD 50,\n2026-04-01,09:00,904.0,flight,2.0,,\n";
    assert!(overdue(&changes(start, log, "2026-07-02T05:59:00Z")).is_empty());
    let found = changes(start, log, "2026-07-02T06:00:00Z");
    let [finding] = overdue(&found)[..] else { panic!("{:?}", found.findings) };
    assert_eq!(finding.raised, at("2026-07-02T06:00:00Z"));
}

#[test]
fn metal_is_a_warning_and_a_trace_only_after_break_in() {
    let old = "hours_at_start = 900.0\nsince = \"overhaul\"\nhours_since = 300.0\nlast_oil_change_h = 10.0\n";
    let log = |result: &str| {
        format!("2026-03-01,09:00,902.0,flight,2.0,,\n2026-03-01,12:00,902.0,filter-inspected,,,{result}\n")
    };
    let level = |start: &str, result: &str| {
        let found = changes(start, &log(result), "2026-03-02T00:00:00Z");
        found.findings.iter().find(|f| f.kind == Kind::MetalFound).map(|f| f.level.word())
    };
    assert_eq!(level(old, "metal"), Some("warning"));
    assert_eq!(level(old, "trace"), Some("caution"));
    assert_eq!(level(old, "clean"), None);
    let new = OVERHAULED.replace("0.0", "900.0").replace("hours_since = 900.0", "hours_since = 4.0");
    assert_eq!(level(&new, "trace"), None);
}

#[test]
fn kinds_of_oil_are_not_mixed() {
    let start = format!("{OVERHAULED}oil = \"mineral 50\"\n");
    let log = "2026-03-01,09:00,1.5,flight,1.5,,,\n2026-03-02,12:00,1.5,oil-added,,AD 50,,1\n";
    let found = changes(&start, log, "2026-03-03T00:00:00Z");
    let wrong: Vec<_> = found.findings.iter().filter(|f| f.kind == Kind::OilWrong).collect();
    assert_eq!(wrong.len(), 1);
    assert_eq!(wrong[0].evidence.text("found"), Some("AD 50"));
    assert_eq!(wrong[0].evidence.text("expected"), Some("mineral 50"));
}

#[test]
fn a_change_without_a_look_into_the_filter_is_asked_about_after_three_days() {
    let start = "hours_at_start = 900.0\nlast_oil_change_h = 45.0\n";
    let change = "2026-03-01,12:00,900.0,oil-changed,,AD 50,\n";
    let kinds = |log: &str, as_of: &str| -> usize {
        changes(start, log, as_of).findings.iter().filter(|f| f.kind == Kind::FilterNotInspected).count()
    };
    assert_eq!(kinds(change, "2026-03-04T18:00:00Z"), 0);
    assert_eq!(kinds(change, "2026-03-04T19:00:00Z"), 1);
    let looked = format!("{change}2026-03-02,08:00,900.0,filter-inspected,,,clean\n");
    assert_eq!(kinds(&looked, "2026-04-01T00:00:00Z"), 0);
}

fn wrong(changes: &Changes) -> Vec<&Finding> {
    changes.findings.iter().filter(|f| f.kind == Kind::OilWrong).collect()
}

/// FAA-H-8083-32 ch. 6 (from memory): a turbocharged engine is broken in and operated on ashless dispersant oil.
#[test]
fn mineral_oil_in_a_turbocharged_engine_is_wrong_in_break_in_and_after() {
    let log = "2026-03-01,09:00,1.5,flight,1.5,,,,\n2026-03-02,12:00,1.5,oil-added,,mineral 50,,1,from the blue drum\n";
    let found = turbocharged(&format!("{OVERHAULED}oil = \"AD 50\"\n"), log, "2026-03-03T00:00:00Z");
    let [f] = wrong(&found)[..] else { panic!("{:?}", found.findings) };
    assert_eq!(f.evidence.text("expected"), Some("ashless dispersant"));
    assert_eq!(f.evidence.text("remarks"), Some("from the blue drum"));
    let old = "hours_at_start = 900.0\nsince = \"overhaul\"\nhours_since = 300.0\noil = \"AD 50\"\n";
    let log = "2026-03-01,09:00,902.0,flight,2.0,,,,\n2026-03-02,12:00,902.0,oil-changed,,mineral 50,,,\n";
    let found = turbocharged(old, log, "2026-03-03T00:00:00Z");
    assert_eq!(wrong(&found).len(), 1, "{:?}", found.findings);
    assert_eq!(wrong(&changes(old, log, "2026-03-03T00:00:00Z")), Vec::<&Finding>::new());
    // What aircraft.toml says is in it when the records begin counts too, once.
    let start = format!("{OVERHAULED}oil = \"mineral 50\"\n");
    let found = turbocharged(&start, &flights(1..=3), "2026-03-06T00:00:00Z");
    let [f] = wrong(&found)[..] else { panic!("{:?}", found.findings) };
    assert!(f.evidence.get("in_the_engine").is_some() && f.settled.is_none());
}

/// 1.5 h a day from 0.0 on mineral oil: the 67th flight ends at 100.5 h, past the 100 h from which it is asked about.
#[test]
fn break_in_oil_left_in_long_after_is_asked_about_until_it_is_changed() {
    let start = format!("{OVERHAULED}oil = \"mineral 50\"\n");
    let day = |n: u32| chrono::NaiveDate::from_ymd_opt(2026, 1, 1).unwrap() + chrono::Days::new(u64::from(n));
    let flown = |n: u32| -> String {
        (1..=n).map(|d| format!("{},09:00,{:.1},flight,1.5,,,,\n", day(d), f64::from(d) * 1.5)).collect()
    };
    assert_eq!(wrong(&changes(&start, &flown(66), "2026-06-01T00:00:00Z")), Vec::<&Finding>::new());
    let found = changes(&start, &flown(70), "2026-06-01T00:00:00Z");
    let [f] = wrong(&found)[..] else { panic!("{:?}", found.findings) };
    assert_eq!((f.level.word(), f.evidence.number("hours_since_build")), ("advisory", Some(100.5)));
    let again = format!("{}{},12:00,105.0,oil-changed,,mineral 50,,,\n", flown(70), day(70));
    assert!(wrong(&changes(&start, &again, "2026-06-01T00:00:00Z"))[0].settled.is_none());
    let changed = format!("{}{},12:00,105.0,oil-changed,,AD 50,,,\n", flown(70), day(70));
    assert!(wrong(&changes(&start, &changed, "2026-06-01T00:00:00Z"))[0].settled.is_some());
}

/// Metals vary in break-in: an analysis written into the log, as a note or a remark, is not judged.
#[test]
fn oil_analysis_in_break_in_is_not_judged() {
    let log = format!(
        "{}2026-03-03,12:00,4.5,oil-changed,,AD 50,,,oil analysis sent\n2026-03-03,12:10,4.5,filter-inspected,,,clean,,\n\
         2026-03-04,10:00,4.5,note,,,,,\"oil analysis: iron 95 ppm, chromium 14 ppm, high\"\n",
        flights(1..=3)
    );
    let found = changes(OVERHAULED, &log, "2026-03-05T00:00:00Z");
    let open: Vec<_> = found.findings.iter().filter(|f| f.settled.is_none()).map(|f| f.kind).collect();
    assert_eq!(open, []);
}

#[test]
fn the_inspectors_words_come_with_the_metal() {
    let old = "hours_at_start = 900.0\nsince = \"overhaul\"\nhours_since = 300.0\nlast_oil_change_h = 10.0\n";
    let log = "2026-03-01,09:00,902.0,flight,2.0,,,,\n\
               2026-03-01,12:00,902.0,filter-inspected,,,metal,,\"ferrous slivers, about a dozen\"\n";
    let found = changes(old, log, "2026-03-02T00:00:00Z");
    let metal = found.findings.iter().find(|f| f.kind == Kind::MetalFound).unwrap();
    assert_eq!(metal.evidence.text("remarks"), Some("ferrous slivers, about a dozen"));
}
