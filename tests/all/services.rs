//! What the engines of a fleet know of kinds of service serves the one that flies a kind for the first time.
#![allow(clippy::unwrap_used, reason = "tests")]

use std::sync::Arc;

use chrono::{DateTime, Datelike as _, Utc};
use cowlwatch::config::Rules;
use cowlwatch::engine::Engine;
use cowlwatch::engine::services::Services;
use cowlwatch::judge::Kind;
use cowlwatch::judge::consumption::follow_among;
use cowlwatch::judge::consumption::services::{Learned, learn, pool};

use crate::consumption::sim::{self, Case, Dice, Kept};

fn later() -> DateTime<Utc> {
    DateTime::from_timestamp(4_000_000_000, 0).unwrap()
}

fn fleet(engines: u64, kept: Kept) -> Vec<Engine> {
    let one = |seed| {
        let case = Case { hours: 400.0, ..Case::realistic(70 + seed, kept) };
        sim::engine(&case, &sim::fly(&case))
    };
    (0..engines).map(one).collect()
}

/// Training burns 1.25 of the mean and charter 0.75.
#[test]
fn ten_engines_know_what_a_service_costs() {
    for (kept, near) in [(Kept::Levels, 0.06), (Kept::Flights, 0.1)] {
        let learned: Vec<Learned> = fleet(10, kept).iter().map(learn).collect();
        let ratio = pool(learned.iter(), later()).without(&[]).ratio(later(), "charter", "training").unwrap();
        assert!((ratio.ln - (0.75_f64 / 1.25).ln()).abs() < near, "{kept:?} {ratio:?}");
        assert!(ratio.sd < 0.15, "{kept:?} {ratio:?}");
    }
}

/// What comes later does not change what was known of a month.
#[test]
fn later_flights_change_nothing_known_before() {
    let whole = fleet(1, Kept::Levels).remove(0);
    let last = whole.events.last().unwrap().at;
    let start = whole.events[0].at;
    let middle = start + (last - start) / 2;
    let month = |at: DateTime<Utc>| (at.year(), at.month());
    let mut cut = whole.clone();
    cut.events.retain(|e| month(e.at) < month(middle));
    assert!(cut.events.len() > 50 && cut.events.len() < whole.events.len());
    let [a, b] = [&whole, &cut].map(|engine| pool([learn(engine)].iter(), middle).without(&[]));
    assert!(a.ratio(middle, "charter", "training").is_some());
    assert_eq!(a, b);
}

/// Training for 200 h, then only charter, which burns 0.6 of it; with the first charter flight the rate doubles. Alone,
/// an engine sees 1.2 times what it burnt before.
#[test]
fn a_doubling_hides_behind_a_lighter_service_only_where_nobody_flew_it_before() {
    let learned: Vec<Learned> = fleet(10, Kept::Levels).iter().map(learn).collect();
    let known = Arc::new(pool(learned.iter(), later()).without(&[]));
    let (mut alone, mut among) = (0, 0);
    for seed in 0..10 {
        let mut case = Case::realistic(900 + seed, Kept::Levels);
        (case.fault_at, case.ratio) = (200.0, 2.0);
        let plan: Vec<(f64, usize)> = (0..250).map(|i| if i < 200 { (1.0, 0) } else { (1.0, 1) }).collect();
        let mut flights = sim::fly_plan(&case, &plan, &mut Dice(seed + 1));
        // In years when the fleet had flown.
        flights.iter_mut().for_each(|f| f.at += chrono::TimeDelta::days(3 * 365));
        let engine = sim::engine(&case, &flights);
        let found = |services: &Arc<Services>| {
            let followed = follow_among(&engine, &[], services, &Rules::default(), &[], later());
            usize::from(followed.findings.iter().any(|f| f.kind == Kind::OilRateRise && f.hours.unwrap() > 200.0))
        };
        alone += found(&Arc::default());
        among += found(&known);
    }
    assert!(among >= 9 && alone <= 4, "among others {among}, alone {alone} of 10");
}
