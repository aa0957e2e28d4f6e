//! Balances worked out on paper.
#![allow(clippy::unwrap_used, reason = "tests")]

use chrono::{DateTime, TimeDelta};

use super::{Balance, Gone, Log};
use crate::engine::{Event, What};
use crate::records::Source;

const CEILING: f64 = 1.0;
/// The most the engine was thought to use, qt/h.
const USUAL: f64 = 0.1;

/// A row of the log before a flight of an hour: the dipstick, and what was poured.
type Row = (Option<f64>, f64);

fn event(n: usize, what: What) -> Event {
    Event {
        at: DateTime::from_timestamp(1_700_000_000, 0).unwrap() + TimeDelta::days(n as i64),
        hours: n as f64,
        build: 0,
        tail: "N0101B".into(),
        position: None,
        source: Source { file: "N0101B/logbook.csv".into(), line: n as u32 + 2 },
        remarks: None,
        what,
    }
}

/// What the last row shows, the rows before it showing nothing.
fn first_shown(log: Log, rows: &[Row]) -> Option<(usize, Gone)> {
    let mut balance = Balance::default();
    for (n, &(reading, poured)) in rows.iter().enumerate() {
        let mut looked = false;
        if let Some(qt) = reading {
            looked |= balance.note(&event(n, What::Level { qt }), log, USUAL, 1.0);
        }
        if poured > 0.0 {
            looked |= balance.note(&event(n, What::Added { qt: poured, oil: None }), log, USUAL, 1.0);
        }
        if let Some(gone) = balance.near(CEILING).filter(|_| looked) {
            return Some((n, gone));
        }
        let flight = What::Flight { hours: 1.0, service: None, inferred: false };
        balance.note(&event(n, flight), log, USUAL, 1.0);
    }
    None
}

fn levels(rows: &[(f64, f64)]) -> Option<(usize, Gone)> {
    let rows: Vec<Row> = rows.iter().map(|&(qt, poured)| (Some(qt), poured)).collect();
    first_shown(Log::Levels, &rows)
}

/// A quart an hour from the third row on, two topped up at 5: at the sixth row four are gone in four hours. Beyond the
/// usual are 4 − 0.4 = 3.6 qt (3.25 asked; 2.7 the row before); the lower bound is (4 − 1.645·0.26·√2) / 4 = 0.849.
#[test]
fn a_quart_an_hour_is_shown_after_four_hours() {
    let (row, gone) =
        levels(&[(7.0, 0.0), (7.0, 0.0), (7.0, 0.0), (6.0, 0.0), (5.0, 2.0), (6.0, 0.0), (5.0, 2.0)]).unwrap();
    assert_eq!((row, gone.quarts, gone.hours, gone.since_hours), (6, 4.0, 4.0, 2.0));
    assert!((gone.low() - 0.8488).abs() < 1e-4, "{}", gone.low());
    assert_eq!(gone.level_qt, Some(5.0));
}

/// The same by additions alone: the level is at the mark each time, so that three poured between are three gone.
#[test]
fn a_quart_before_every_flight_is_shown_by_what_was_poured() {
    let rows: Vec<Row> = (0..12).map(|n| (None, if n == 0 || n >= 4 { 1.0 } else { 0.0 })).collect();
    let (row, gone) = first_shown(Log::FlightsAndAdditions, &rows).unwrap();
    // From row 4: its quart and those of 5, 6 and 7 by row 8, 4 − 0.4 beyond the usual.
    assert_eq!((row, gone.quarts, gone.hours, gone.level_qt), (8, 4.0, 4.0, None));
}

#[test]
fn no_one_reading_however_wrong_shows_anything() {
    for off in [-3.0, -1.5, 1.5, 3.0] {
        for at in 0..12 {
            let rows: Vec<_> =
                (0..12).map(|n| (7.0 - 0.1 * f64::from(n) + if n == at { off } else { 0.0 }, 0.0)).collect();
            assert!(levels(&rows).is_none(), "{off} at {at}");
        }
    }
}

/// An oil change entered as eight quarts added, a quart entered as four, an addition entered twice: one step each.
#[test]
fn no_one_entry_shows_anything() {
    for phantom in [2.0, 4.0, 8.0] {
        for at in 1..11 {
            let rows: Vec<_> =
                (0..12).map(|n| (7.0 - 0.1 * f64::from(n), if n == at { phantom } else { 0.0 })).collect();
            assert!(levels(&rows).is_none(), "{phantom} at {at}");
        }
    }
}

/// A refill nobody entered, after which the level is another: up or down, it is one step.
#[test]
fn a_forgotten_refill_shows_nothing() {
    for to in [3.5, 5.0, 9.0] {
        let rows: Vec<_> = (0..12).map(|n| (if n < 6 { 7.0 } else { to } - 0.1 * f64::from(n), 0.0)).collect();
        assert!(levels(&rows).is_none(), "{to}");
    }
}

/// A row written twice would agree with itself.
#[test]
fn a_row_written_twice_is_one_look() {
    let mut balance = Balance::default();
    for n in 0..4 {
        balance.note(&event(n, What::Level { qt: 7.0 }), Log::Levels, USUAL, 1.0);
        let hours = if n == 3 { 3.0 } else { 1.0 };
        balance.note(&event(n, What::Flight { hours, service: None, inferred: false }), Log::Levels, USUAL, 1.0);
    }
    for _ in 0..3 {
        balance.note(&event(6, What::Level { qt: 3.0 }), Log::Levels, USUAL, 1.0);
    }
    assert!(balance.near(CEILING).is_none());
    assert_eq!(balance.looks.len(), 5);
}

/// Two quarts gone in each of two flights of three hours are a third of them an hour, whatever the meter says.
#[test]
fn hours_are_those_of_the_flights_where_the_meter_says_fewer() {
    let shown = |flight_h: f64| {
        let mut balance = Balance::default();
        for n in 0..8 {
            let level = 12.0 - 1.2 * n.max(3) as f64;
            balance.note(&event(n, What::Level { qt: level }), Log::Levels, USUAL, 1.0);
            balance.note(
                &event(n, What::Flight { hours: flight_h, service: None, inferred: false }),
                Log::Levels,
                USUAL,
                1.0,
            );
        }
        balance.near(CEILING).is_some()
    };
    assert!(shown(1.0) && !shown(3.0));
}

/// Once mended: a tenth of a quart an hour over eight hours is at most (0.8 + 1.645·0.26·√2) / 8 = 0.1756 qt/h.
#[test]
fn after_a_repair_the_most_the_rate_can_be_is_known() {
    let mut balance = Balance::default();
    for n in 0..9 {
        balance.note(&event(n, What::Level { qt: 7.0 - 0.1 * n as f64 }), Log::Levels, USUAL, 1.0);
        balance.note(&event(n, What::Flight { hours: 1.0, service: None, inferred: false }), Log::Levels, USUAL, 1.0);
    }
    assert!((balance.at_most(0.0).unwrap() - 0.1756).abs() < 1e-4);
    assert!(balance.at_most(5.0).is_none());
}
