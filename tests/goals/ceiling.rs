//! An engine that suddenly loses oil at about its maker's maximum: how soon the ceiling warning comes, and how often
//! it comes to healthy engines. The logs are read as logbooks, mis-keyed hours and all.

use cowlwatch::config::Rules;
use cowlwatch::judge::{Finding, Kind, consumption};
use cowlwatch::units::ceiling_qt_per_h;

use super::sim::{self, Case, Kept};
use super::{later, quantile};

/// Hours looked at after the jump.
const WITHIN_H: f64 = 30.0;

pub fn tell(engines: u64) {
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        for share in [0.9, 1.2] {
            jump(kept, share, engines);
        }
    }
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        for rate in [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0] {
            healthy(kept, rate, engines);
        }
    }
}

fn warnings(followed: &consumption::Followed) -> impl Iterator<Item = &Finding> {
    followed.findings.iter().filter(|f| f.kind == Kind::OilRateCeiling)
}

/// From 8 h/qt to a share of the ceiling at once.
fn jump(kept: Kept, share: f64, engines: u64) {
    let rules = Rules::default();
    let (mut found, mut missed, mut early, mut rises) = (Vec::new(), 0, 0, Vec::new());
    for seed in 0..engines {
        let mut case = Case::realistic(seed + 5_000_001, kept);
        case.fault_at = 200.0 + (seed % 50) as f64;
        case.hours = case.fault_at + WITHIN_H + 10.0;
        let c = &rules.consumption;
        let ceiling = ceiling_qt_per_h(c.ceiling_lb_per_bhp_h, sim::model().rated_hp, c.oil_lb_per_gal);
        case.ratio = share * ceiling / case.rate;
        let flights = sim::fly(&case);
        let followed = consumption::follow(&sim::read(&case, &flights), &[], &rules, &[], later());
        let first = flights.iter().find(|f| f.meter - f.hours >= case.fault_at - 1e-6).unwrap();
        let onset = first.meter - first.hours;
        early += warnings(&followed).filter(|f| f.hours.unwrap() <= onset).count();
        match warnings(&followed).map(|f| f.hours.unwrap() - onset).find(|h| *h > 0.0) {
            Some(h) if h <= WITHIN_H => found.push(h),
            _ => missed += 1,
        }
        let rise = followed.findings.iter().filter(|f| f.kind == Kind::OilRateRise);
        rises.extend(rise.map(|f| f.hours.unwrap() - onset).find(|h| *h > 0.0));
    }
    found.sort_by(f64::total_cmp);
    rises.sort_by(f64::total_cmp);
    println!(
        "{kept:?} 0.125 qt/h to {share} of the ceiling: warned after {:.1} h, 90 % {:.1} h, not within {WITHIN_H:.0} h {:.1} %, before it {early}; the rise after {:.1} h, 90 % {:.1} h",
        quantile(&found, 0.5),
        quantile(&found, 0.9),
        100.0 * f64::from(missed) / engines as f64,
        quantile(&rises, 0.5),
        quantile(&rises, 0.9)
    );
}

/// Warnings of a healthy engine, per 1000 h.
fn healthy(kept: Kept, rate: f64, engines: u64) {
    let rules = Rules::default();
    let mut false_warnings = 0;
    for seed in 0..engines {
        let mut case = Case::realistic(seed + 6_000_001, kept);
        (case.rate, case.hours) = (rate, 1000.0);
        let engine = sim::read(&case, &sim::fly(&case));
        let followed = consumption::follow(&engine, &[], &rules, &[], later());
        false_warnings += warnings(&followed).count();
    }
    println!(
        "{kept:?} {rate:.3} qt/h healthy, {engines} engines of 1000 h: {:.4} ceiling warnings per 1000 h",
        false_warnings as f64 / engines as f64
    );
}
