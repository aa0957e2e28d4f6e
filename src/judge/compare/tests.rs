#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::judge::{Evidence, Settled};
use chrono::{TimeDelta, TimeZone, Utc};
use proptest::prelude::*;

fn day(n: i64) -> Instant {
    Utc.with_ymd_and_hms(2026, 1, 1, 12, 0, 0).unwrap() + TimeDelta::days(n)
}

fn finding(kind: Kind, serial: &str, subject: &str, raised: i64, settled: Option<i64>) -> Finding {
    Finding {
        kind,
        level: kind.usual_level(),
        tail: "N0417H".into(),
        position: Some("left".into()),
        serial: Some(serial.into()),
        subject: subject.to_owned(),
        raised: day(raised),
        hours: Some(1000.0 + 2.0 * raised as f64),
        settled: settled.map(|n| Settled { at: day(n), why: String::new(), source: None }),
        size: 1.0,
        evidence: Evidence::default(),
    }
}

#[test]
fn a_rise_that_comes_later_is_the_same_rise_whatever_its_number() {
    let today = [
        finding(Kind::OilRateRise, "H-1", "rise 1", 10, Some(14)),
        finding(Kind::OilRateRise, "H-1", "rise 2", 100, None),
    ];
    // The other rules do not raise the first (a false one), and raise the second three days later as their first.
    let other = [finding(Kind::OilRateRise, "H-1", "rise 1", 103, None)];
    let c = compare(&today, &other);
    let pairs = &c.engines[0].pairs;
    assert_eq!((pairs[0].later_days(), pairs[0].other.is_none()), (None, true));
    assert_eq!((pairs[1].later_days(), pairs[1].later_hours()), (Some(3.0), Some(6.0)));
    let n = c.counts();
    assert_eq!((n.today, n.other, n.both, n.only_today, n.only_other, n.later, n.earlier), (2, 1, 1, 1, 0, 1, 0));
    assert_eq!(c.median_shift(), (Some(6.0), Some(3.0)));
}

#[test]
fn events_are_the_same_by_subject_only() {
    let today = [
        finding(Kind::TakeoffRpm, "H-1", "run a", 1, None),
        finding(Kind::OilChangeOverdue, "H-1", "point 5 h", 3, None),
    ];
    let other = [
        finding(Kind::TakeoffRpm, "H-1", "run b", 2, None),
        finding(Kind::OilChangeOverdue, "H-1", "point 10 h", 3, None),
    ];
    let n = compare(&today, &other).counts();
    assert_eq!((n.both, n.only_today, n.only_other), (0, 2, 2));
}

#[test]
fn engines_are_kept_apart_and_lost_warnings_counted() {
    let today = [finding(Kind::MetalFound, "H-1", "filter", 5, None)];
    let other = [finding(Kind::MetalFound, "H-2", "filter", 5, None)];
    let c = compare(&today, &other);
    assert_eq!(c.engines.len(), 2);
    assert_eq!((c.counts().warnings_only_today, c.counts().warnings_only_other), (1, 1));
}

fn any_findings() -> impl Strategy<Value = Vec<Finding>> {
    let one = (0usize..Kind::ALL.len(), 0u8..3, 0u8..4, 0i64..400, proptest::option::of(0i64..90));
    proptest::collection::vec(one, 0..25).prop_map(|all| {
        all.into_iter()
            .map(|(kind, serial, subject, raised, open)| {
                let subject = format!("s{subject}");
                finding(Kind::ALL[kind], &format!("H-{serial}"), &subject, raised, open.map(|n| raised + n))
            })
            .collect()
    })
}

proptest! {
    /// Every finding stands in exactly one pair, a judgement agrees with itself, and swapping the sides
    /// swaps the counts.
    #[test]
    fn nothing_is_lost_or_counted_twice(today in any_findings(), other in any_findings()) {
        let n = compare(&today, &other).counts();
        prop_assert_eq!((n.today, n.other), (today.len(), other.len()));
        let back = compare(&other, &today).counts();
        prop_assert_eq!((n.both, n.only_today, n.only_other), (back.both, back.only_other, back.only_today));
        let itself = compare(&today, &today);
        prop_assert_eq!(itself.counts().both, today.len());
        let moved = itself.pairs().filter(|(_, p)| p.later_days() != Some(0.0)).count();
        prop_assert_eq!(moved, 0);
    }
}
