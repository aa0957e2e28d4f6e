//! Invented mornings for the tests of this room: an invented operator, tails that cannot exist.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::sync::Arc;

use chrono::{Duration, NaiveDate, TimeZone, Utc};
use chrono_tz::America::Denver;

use super::{Freshness, Morning, Undelivered};
use crate::alerts::{Acknowledged, Alert, Closed, State, Told};
use crate::judge::break_in::{OilLine, Record, RunLine};
use crate::judge::{
    BreakIn, Due, EnginePhase, EngineView, Evidence, Finding, Kind, Level, Rate, RatePoint, RunLimits, Settled,
};
use crate::records::{Instant, Rejection, Source};

/// Local time in the fleet's zone, 2026.
pub fn at(month: u32, day: u32, hour: u32, minute: u32) -> Instant {
    Denver.with_ymd_and_hms(2026, month, day, hour, minute, 0).unwrap().with_timezone(&Utc)
}

pub fn date(month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(2026, month, day).unwrap()
}

pub fn lines(file: &str, from: u32, to: u32) -> Vec<Source> {
    (from..=to).map(|line| Source { file: file.into(), line }).collect()
}

/// A finding without evidence.
pub fn finding(kind: Kind, tail: &str, position: &str, serial: &str, raised: Instant) -> Finding {
    Finding {
        kind,
        level: kind.usual_level(),
        tail: tail.into(),
        position: (!position.is_empty()).then(|| position.into()),
        serial: (!serial.is_empty()).then(|| serial.into()),
        subject: "1".to_owned(),
        raised,
        hours: None,
        settled: None,
        size: 1.0,
        evidence: Evidence::default(),
    }
}

pub fn alert(number: u32, finding: Finding, seen: Instant) -> Alert {
    Alert {
        number,
        key: finding.key(),
        finding,
        state: State::Open,
        first_seen: seen,
        closed: None,
        acknowledged: None,
        muted_until: None,
        told: None,
        history: Vec::new(),
        memory: crate::alerts::Memory::default(),
    }
}

/// Left engine of a twin, doubled.
pub fn rise() -> Finding {
    let mut f = finding(Kind::OilRateRise, "N0317H", "left", "H-2311", at(2, 26, 18, 10));
    f.hours = Some(1254.1);
    f.size = 2.18;
    f.evidence = Evidence::default()
        .with("from_qt_per_h", 0.11)
        .with("to_qt_per_h", 0.24)
        .with("ratio", 2.18)
        .with("ratio_low", 1.8)
        .with("ratio_high", 2.6)
        .with("from_h_per_qt", 9.1)
        .with("to_h_per_qt", 4.2)
        .with("since", date(2, 9))
        .with("since_hours", 1237.3)
        .with("hours_since_onset", 16.8)
        .with("to_low", 0.19)
        .with("to_high", 0.29)
        .with("clock", "tach hours")
        .with("log", "levels")
        .with("used", lines("N0317H/logbook.csv", 118, 143))
        .with("left_out", lines("N0317H/logbook.csv", 130, 130))
        .with("unchanged", vec!["oil AD 50".to_owned(), "the meter".to_owned()])
        .with("share_of_ceiling", 0.24)
        .with("endurance_h", 4.2)
        .with("level_qt", 10.0)
        .with("oil", "AD 50");
    f
}

pub fn overdue() -> Finding {
    let mut f = finding(Kind::OilChangeOverdue, "N0217H", "", "H-2201", at(2, 26, 11, 0));
    f.hours = Some(11.0);
    f.evidence = Evidence::default()
        .with("point_h", 5.0)
        .with("grace_h", 1.0)
        .with("hours_past", 6.0)
        .with("hours_since_build", 11.0);
    f
}

pub fn metal() -> Finding {
    let mut f = finding(Kind::MetalFound, "N0817H", "", "H-2801", at(2, 26, 15, 0));
    f.hours = Some(1748.9);
    f.evidence = Evidence::default()
        .with("part", "filter")
        .with("result", "metal")
        .with("remarks", "ferrous slivers, about a dozen, magnetic")
        .with("lines", lines("N0817H/logbook.csv", 301, 301));
    f
}

/// Sixteen weeks of points around `rate`, doubling at `step` if given.
pub fn points(rate: f64, step: Option<usize>) -> Vec<RatePoint> {
    (0..100)
        .map(|i| {
            let grown = step.is_some_and(|s| i >= s);
            let r = if grown { rate * 2.0f64.min(1.0 + 0.1 * (i - step.unwrap_or(0)) as f64) } else { rate };
            let wobble = 1.0 + 0.04 * ((i * 7 % 11) as f64 - 5.0) / 5.0;
            let width = 0.35 / (1.0 + i as f64 / 12.0) + 0.08;
            RatePoint {
                at: at(2, 27, 5, 0) - Duration::days(100 - i as i64),
                hours: 1100.0 + 1.55 * i as f64,
                rate: Rate { qt_per_h: r * wobble, low: r * (1.0 - width), high: r * (1.0 + width) },
                level_qt: 10.0 - (i % 6) as f64 * 0.2,
                ln_rise: if grown { 1.0 + 0.35 * (i - step.unwrap_or(0)) as f32 } else { (i % 9) as f32 * 0.2 },
                ln_fall: (i % 5) as f32 * 0.3,
                rise_limit: 7.5,
                fall_limit: 9.0,
                added_qt: if i % 6 == 5 { 1.0 } else { 0.0 },
            }
        })
        .collect()
}

/// A watched engine.
pub fn engine(tail: &str, position: &str, serial: &str, rate: f64) -> EngineView {
    EngineView {
        tail: tail.into(),
        position: (!position.is_empty()).then(|| position.into()),
        serial: serial.into(),
        model: "H6-350T".into(),
        installed: true,
        hours: 1254.1,
        hours_since_build: Some(612.4),
        clock: "tach hours".to_owned(),
        oil: Some("AD 50".to_owned()),
        phase: EnginePhase::Watched,
        rate: Some(Rate { qt_per_h: rate, low: rate * 0.9, high: rate * 1.1 }),
        baseline_qt_per_h: Some(rate * 0.99),
        quarts: 31.5,
        log: "levels".to_owned(),
        level_qt: Some(9.5),
        endurance_h: Some(0.5 / rate),
        ceiling_qt_per_h: Some(1.005),
        points: points(rate, None),
        oil_changes_h: vec![1118.0, 1168.4, 1217.9],
        due: vec![Due {
            what: "oil change".to_owned(),
            hours_left: Some(32.0),
            by: Some(date(4, 20)),
            days_left: Some(20.0),
            soon: false,
        }],
        break_in: None,
        limits: RunLimits { cht_f: Some(460.0), oil_temp_f: Some(240.0), power_pct: None },
        last_record: Some(at(2, 26, 17, 0)),
        unconfirmed: Vec::new(),
    }
}

pub fn in_break_in() -> EngineView {
    let mut e = engine("N0217H", "", "H-2201", 0.24);
    e.model = "H6-300".into();
    e.hours = 11.0;
    e.hours_since_build = Some(11.0);
    e.oil = Some("mineral 50".to_owned());
    e.phase = EnginePhase::BreakIn;
    e.baseline_qt_per_h = None;
    e.quarts = 3.5;
    e.break_in = Some(BreakIn {
        kind: "overhaul".to_owned(),
        began: Some(at(2, 18, 9, 0)),
        hours: 11.0,
        length_h: 50.0,
        points: vec![(5.0, None), (25.0, None), (50.0, None)],
        stabilised_p: Some(0.12),
        missing: vec!["2.5 more quarts".to_owned(), "14 h more, at least".to_owned()],
        band_min: [212.0, 66.0, 0.0, 14.0],
        power_pct: [65.0, 75.0],
        oil_wanted: "mineral or ashless dispersant, one kind".to_owned(),
        use_h_per_day: Some(1.2),
        record: break_in_record(),
    });
    e.unconfirmed = vec!["break_in.oil_changes_at_h".to_owned(), "ceiling_lb_per_bhp_h".to_owned()];
    let mut k = 0.0;
    e.oil_changes_h = Vec::new();
    e.points = points(0.24, None).into_iter().take(12).collect();
    for p in &mut e.points {
        k += 0.95;
        p.hours = k;
        p.rate = Rate { qt_per_h: 0.14 + 0.31 * f64::exp(-k / 9.0), low: 0.10, high: 0.45 };
    }
    e
}

/// Two runs and the filter of an early look.
fn break_in_record() -> Record {
    let source = |line| Source { file: "N0217H/logbook.csv".into(), line };
    let run = |day, hours, ground_min, air_min, cht: f32, band_min| RunLine {
        start: at(2, day, 9, 30),
        hours,
        ground_min,
        air_min,
        flights: u16::from(air_min > 0.0),
        inferred: false,
        cht_f: Some(cht),
        cylinder: Some(3),
        oil_temp_f: Some(188.0),
        band_min,
        source: source(2),
    };
    Record {
        oil: vec![OilLine {
            at: at(2, 19, 16, 0),
            hours: 1.3,
            what: "filter: clean".to_owned(),
            remarks: Some("cut at the first look for leaks".to_owned()),
            source: source(12),
        }],
        runs: vec![run(18, 0.1, 4.0, 0.0, 310.0, [0.0; 4]), run(19, 1.3, 9.0, 66.0, 402.0, [48.0, 6.0, 0.0, 0.0])],
        added_qt: 2.0,
        earlier: Some((10.2, Rate { qt_per_h: 0.41, low: 0.28, high: 0.55 })),
    }
}

/// A busy morning with one of everything.
pub fn morning() -> Morning {
    let previous = at(2, 26, 6, 30);
    let mut left = engine("N0317H", "left", "H-2311", 0.24);
    left.baseline_qt_per_h = Some(0.11);
    left.points = points(0.11, Some(82));
    let mut due = engine("N0517H", "", "H-2501", 0.12);
    due.due = vec![Due {
        what: "oil change".to_owned(),
        hours_left: Some(6.5),
        by: Some(date(3, 14)),
        days_left: Some(5.0),
        soon: true,
    }];
    let mut silent = engine("N0617H", "", "H-2601", 0.09);
    silent.last_record = Some(at(2, 14, 12, 0));
    let engines = vec![
        in_break_in(),
        left,
        engine("N0317H", "right", "H-2312", 0.10),
        due,
        silent,
        engine("N0817H", "", "H-2801", 0.19),
    ];
    Morning {
        operator: Some("Brindlemoor Air Charter".to_owned()),
        zone: Denver,
        as_of: at(2, 27, 6, 30),
        sequence: 58,
        previous: Some(previous),
        alerts: alerts(previous),
        aircraft: aircraft(&engines),
        engines,
        rejections: rejections(),
        unplaced: Vec::new(),
        pictures: Vec::new(),
        undelivered: Undelivered {
            letters: 2,
            oldest: Some(at(2, 26, 18, 12)),
            last_error: Some("451 try again later".to_owned()),
        },
        first: false,
    }
}

/// A morning on which nothing happened.
pub fn quiet() -> Morning {
    let mut m = morning();
    m.alerts.retain(|a| a.number == 8 || a.number == 3);
    m.engines.iter_mut().for_each(|e| e.due.retain(|d| !d.soon));
    m.engines.remove(0);
    m.aircraft = aircraft(&m.engines);
    m.rejections.clear();
    m.undelivered = Undelivered::default();
    m
}

/// The first pass over a fleet with a past.
pub fn first_look() -> Morning {
    let mut m = morning();
    m.first = true;
    m.previous = None;
    m.sequence = 1;
    m
}

fn aircraft(engines: &[EngineView]) -> Vec<Freshness> {
    let mut tails: Vec<Arc<str>> = engines.iter().map(|e| e.tail.clone()).collect();
    tails.dedup();
    tails
        .into_iter()
        .map(|tail| Freshness {
            silent: tail.as_ref() == "N0617H",
            last_record: engines.iter().filter(|e| e.tail == tail).filter_map(|e| e.last_record).max(),
            missing: false,
            spoilt: false,
            tail,
        })
        .collect()
}

fn rejections() -> Vec<Rejection> {
    vec![Rejection {
        source: Source { file: "N0517H/logbook.csv".into(), line: 87 },
        found: "quantity \"1O qt\"".to_owned(),
        expected: "a number of quarts such as 1 or 0.5".to_owned(),
        whole_file: false,
    }]
}

fn alerts(previous: Instant) -> Vec<Alert> {
    let fresh = previous + Duration::hours(12);
    let mut silent = finding(Kind::DataSilent, "N0617H", "", "", at(2, 24, 12, 0));
    silent.evidence = Evidence::default().with("days", 12.7).with("last_record", at(2, 14, 12, 0));
    let mut old = finding(Kind::OilRateCreep, "N0817H", "", "H-2801", at(1, 20, 12, 0));
    old.evidence =
        Evidence::default().with("from_qt_per_h", 0.09).with("to_qt_per_h", 0.14).with("clock", "tach hours");
    let mut muted = finding(Kind::GroundRunLong, "N0517H", "", "H-2501", at(2, 20, 9, 0));
    muted.evidence = Evidence::default().with("minutes", 31.0).with("limit_min", 25.0).with("at", at(2, 20, 9, 0));
    let mut settled = finding(Kind::OilChangeOverdue, "N0317H", "right", "H-2312", at(2, 20, 9, 0));
    settled.evidence = Evidence::default().with("every_h", 50.0).with("hours_past", 2.1);
    settled.settled =
        Some(Settled { at: at(2, 26, 14, 0), why: "oil changed 2.1 h past the point".to_owned(), source: None });
    let mut hours = finding(Kind::HoursDisagree, "N0817H", "", "", at(2, 26, 16, 0));
    hours.evidence = Evidence::default()
        .with("found", 2764.0)
        .with("expected", 2747.1)
        .with("lines", lines("N0817H/logbook.csv", 299, 300));

    let mut out = vec![
        alert(12, metal(), fresh),
        alert(11, rise(), fresh),
        alert(9, overdue(), at(2, 25, 12, 0)),
        alert(8, silent, at(2, 24, 12, 0)),
        alert(3, old, at(1, 20, 12, 0)),
        alert(6, muted, at(2, 20, 10, 0)),
        alert(5, settled, at(2, 20, 10, 0)),
        alert(13, hours, fresh),
    ];
    for a in &mut out {
        if a.first_seen < previous {
            a.told = Some(Told {
                at: a.first_seen,
                size: a.finding.size,
                level: Level::Caution,
                reminders: 0,
                changed_again: None,
                carried: true,
            });
        }
    }
    out[4].state = State::Acknowledged;
    out[4].acknowledged = Some(Acknowledged {
        at: at(1, 21, 8, 0),
        by: "R. Hale".to_owned(),
        note: "compressions at next 100 h".to_owned(),
        until: Some(at(4, 1, 0, 0)),
    });
    out[5].state = State::Muted;
    out[5].muted_until = Some(at(3, 6, 9, 0));
    out[6].state = State::Closed;
    out[6].closed = Some(Closed { at: at(2, 26, 14, 0), by: None, why: "oil changed 2.1 h past the point".to_owned() });
    out
}
