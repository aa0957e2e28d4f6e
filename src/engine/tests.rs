//! Lives put together from small logs written by hand, the expectations worked out on paper.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::sync::Arc;

use chrono_tz::America::Denver;

use super::{Fleet, Models, Query, What, build};
use crate::records::layout::{Layouts, Shape};
use crate::records::table::Sheet;
use crate::records::{Instant, TailRecords, aircraft_file, logbook};

fn tail(name: &str, aircraft: &str, log: &str) -> TailRecords {
    let (aircraft, wrong) = aircraft_file::parse(aircraft, &format!("{name}/aircraft.toml"), &Layouts::default());
    assert!(wrong.is_empty(), "{wrong:?}");
    let aircraft = aircraft.unwrap();
    let sheet = Sheet::from_text(log.as_bytes(), &Shape::default());
    let (entries, wrong) = logbook::read(&sheet, &format!("{name}/logbook.csv"), None, &aircraft, Denver);
    assert!(wrong.is_empty(), "{wrong:?}");
    TailRecords { aircraft, entries, runs: Vec::new() }
}

fn at(text: &str) -> Instant {
    chrono::DateTime::parse_from_rfc3339(text).unwrap().to_utc()
}

fn fleet(tails: &[TailRecords]) -> Fleet {
    build(tails, &Models::new(), Denver, at("2027-01-01T00:00:00Z"), 0.3)
}

fn engine<'a>(fleet: &'a Fleet, serial: &str) -> &'a super::Engine {
    fleet.engines.iter().find(|e| &*e.serial == serial).unwrap()
}

fn near(a: f64, b: f64) -> bool {
    (a - b).abs() < 1e-6
}

const TWIN: &str = r#"
tail = "N0101H"
meter = "tach"
meter_at_start = 1000.0
[[engine]]
position = "left"
serial = "T-1"
model = "X"
hours_at_start = 500.0
[[engine]]
position = "right"
serial = "T-2"
model = "X"
hours_at_start = 600.0
since = "overhaul"
hours_since = 10.0
"#;

const SINGLE: &str = r#"
tail = "N0102H"
meter = "tach"
meter_at_start = 50.0
[[engine]]
serial = "T-3"
model = "X"
hours_at_start = 50.0
"#;

#[test]
fn both_engines_of_a_twin_fly_and_oil_goes_to_the_one_named() {
    let log = "date,engine,hours,entry,quantity,flight_hours\n\
               2026-03-01,,1001.5,flight,,1.5\n\
               2026-03-02,left,1001.5,oil-added,1,\n\
               2026-03-02,,1003.5,flight,,2.0\n";
    let fleet = fleet(&[tail("N0101H", TWIN, log)]);
    assert!(near(engine(&fleet, "T-1").hours(), 503.5) && near(engine(&fleet, "T-2").hours(), 603.5));
    let added = |serial| engine(&fleet, serial).events.iter().filter(|e| matches!(e.what, What::Added { .. })).count();
    assert_eq!((added("T-1"), added("T-2")), (1, 0));
    assert!(near(engine(&fleet, "T-2").build().zero_hours, 590.0));
}

#[test]
fn a_moved_engine_takes_its_hours_with_it() {
    let twin = "date,engine,hours,entry,flight_hours,serial\n\
                2026-03-01,,1010.0,flight,10.0,\n\
                2026-03-10,left,1010.0,removed,,T-1\n\
                2026-03-11,left,1010.0,installed,,T-3\n\
                2026-03-12,,1012.0,flight,2.0,\n";
    let single = "date,engine,hours,entry,flight_hours\n\
                  2026-03-01,,57.0,flight,7.0\n\
                  2026-03-09,,57.0,removed,\n";
    let fleet = fleet(&[tail("N0101H", TWIN, twin), tail("N0102H", SINGLE, single)]);
    let moved = engine(&fleet, "T-3");
    assert!(near(moved.hours(), 59.0), "7 h on the single, 2 h on the twin: {}", moved.hours());
    assert_eq!(moved.placements.len(), 2);
    let place = moved.placement().unwrap();
    assert_eq!((&*place.tail, place.position.as_deref()), ("N0101H", Some("left")));
    let shelf = engine(&fleet, "T-1");
    assert!(shelf.placement().is_none() && near(shelf.hours(), 510.0));
    assert!(fleet.queries.iter().all(|q| matches!(q, Query::UnknownModel { .. })), "{:?}", fleet.queries);
}

#[test]
fn the_same_serial_in_two_aircraft_is_asked_about_and_not_merged() {
    let other = SINGLE.replace("T-3", "T-1");
    let log = "date,hours,entry,flight_hours\n2026-03-02,52.0,flight,2.0\n";
    let twin = "date,hours,entry,flight_hours\n2026-03-01,1001.0,flight,1.0\n";
    let fleet = fleet(&[tail("N0101H", TWIN, twin), tail("N0102H", &other, log)]);
    assert!(near(engine(&fleet, "T-1").hours(), 501.0));
    let Some(Query::SerialTwice { places, lines, .. }) =
        fleet.queries.iter().find(|q| matches!(q, Query::SerialTwice { .. }))
    else {
        panic!("no question: {:?}", fleet.queries);
    };
    assert_eq!(places, &["N0101H left", "N0102H"]);
    assert_eq!(lines.len(), 2);
}

#[test]
fn an_overhaul_at_the_shop_begins_a_build_when_the_engine_comes_back() {
    let log = "date,hours,entry,flight_hours,serial\n\
               2026-03-01,60.0,flight,10.0,\n\
               2026-03-02,60.0,removed,,T-3\n\
               2026-05-01,60.0,overhauled,,T-3\n\
               2026-05-02,60.0,installed,,T-3\n\
               2026-05-03,62.0,flight,2.0,\n";
    let fleet = fleet(&[tail("N0102H", SINGLE, log)]);
    let engine = engine(&fleet, "T-3");
    assert_eq!(engine.builds.len(), 2);
    assert!(near(engine.hours() - engine.build().zero_hours, 2.0));
    assert!(near(engine.hours(), 62.0), "total time goes on");
}

#[test]
fn a_log_kept_newest_first_reads_the_same() {
    let head = "date,hours,entry,flight_hours,level\n";
    let rows = [
        "2026-03-01,51.0,flight,1.0,8",
        "2026-03-01,52.5,flight,1.5,7.5",
        "2026-03-04,54.0,flight,1.5,7",
        "2026-03-05,55.0,flight,1.0,7",
    ];
    let forward = fleet(&[tail("N0102H", SINGLE, &format!("{head}{}\n", rows.join("\n")))]);
    let mut reversed = rows;
    reversed.reverse();
    let backward = fleet(&[tail("N0102H", SINGLE, &format!("{head}{}\n", reversed.join("\n")))]);
    let story = |fleet: &Fleet| -> Vec<String> {
        engine(fleet, "T-3").events.iter().map(|e| format!("{} {:.1} {:?}", e.at, e.hours, e.what)).collect()
    };
    assert_eq!(story(&forward).len(), 8);
    assert_eq!(story(&forward), story(&backward));
}

#[test]
fn a_flight_over_midnight_keeps_its_place() {
    let log = "date,time,hours,entry,flight_hours,level\n\
               2026-03-01,20:00,50.0,oil-level,,8\n\
               2026-03-01,22:40,52.0,flight,2.0,\n\
               2026-03-01,23:00,52.0,oil-level,,7.5\n\
               2026-03-01,00:30,53.5,flight,1.5,\n\
               2026-03-02,09:00,53.5,oil-level,,7\n";
    let fleet = fleet(&[tail("N0102H", SINGLE, log)]);
    let hours: Vec<f64> = engine(&fleet, "T-3").events.iter().map(|e| (e.hours * 10.0).round() / 10.0).collect();
    assert_eq!(hours, [50.0, 52.0, 52.0, 53.5, 53.5]);
}

#[test]
fn what_is_later_than_the_moment_is_unseen() {
    let log =
        "date,time,hours,entry,flight_hours\n2026-03-01,10:00,51.0,flight,1.0\n2026-03-02,10:00,52.0,flight,1.0\n";
    let tails = [tail("N0102H", SINGLE, log)];
    // 10:00 in Denver in winter is 17:00 UTC.
    let before = build(&tails, &Models::new(), Denver, at("2026-03-02T16:59:00Z"), 0.3);
    let after = build(&tails, &Models::new(), Denver, at("2026-03-02T17:00:00Z"), 0.3);
    assert!(near(engine(&before, "T-3").hours(), 51.0) && near(engine(&after, "T-3").hours(), 52.0));
}

#[test]
fn engines_with_meters_of_their_own_keep_their_own_clocks() {
    let aircraft = TWIN.replace("\"tach\"", "\"engine\"").replace("meter_at_start = 1000.0\n", "");
    let log = "date,engine,hours,entry,flight_hours,level\n\
               2026-03-01,left,501.0,oil-level,,8\n\
               2026-03-01,right,601.0,oil-level,,8\n\
               2026-03-02,,,flight,2.0,\n\
               2026-03-03,left,502.9,oil-level,,8\n\
               2026-03-03,right,603.1,oil-level,,8\n";
    let fleet = fleet(&[tail("N0101H", &aircraft, log)]);
    assert!(near(engine(&fleet, "T-1").hours(), 501.9), "{}", engine(&fleet, "T-1").hours());
    assert!(near(engine(&fleet, "T-2").hours(), 602.1), "{}", engine(&fleet, "T-2").hours());
}

#[test]
fn a_position_the_aircraft_does_not_have_is_asked_about() {
    let mut records = tail("N0101H", TWIN, "date,engine,entry,level\n2026-03-01,left,oil-level,8\n");
    records.entries[0].engine = Some(Arc::from("centre"));
    let fleet = fleet(&[records]);
    assert!(
        matches!(&fleet.queries[..], [Query::UnknownModel { .. }, Query::UnknownModel { .. }, Query::UnknownPosition { position, .. }]
        if &**position == "centre"),
        "{:?}",
        fleet.queries
    );
}
