//! Oil consumption: the state of the sump, the rate, and the day it changed.

mod balance;
pub mod belief;
pub mod calibration;
pub mod candidates;
pub mod change;
pub mod compare;
mod creep;
pub mod evidence;
mod findings;
mod keeping;
pub mod seating;
pub mod services;
mod steps;
pub mod sump;
pub mod track;
mod twin;
pub mod unlogged;
mod watch;

use std::sync::Arc;

use crate::config::Rules;
use crate::engine::Engine;
use crate::engine::services::Services;
use crate::judge::{Closing, Finding, Kind, Rate, RatePoint};
use crate::records::Instant;
use crate::units::ceiling_qt_per_h;

/// What following one engine's oil gives.
#[derive(Clone, Debug, Default)]
pub struct Followed {
    pub findings: Vec<Finding>,
    pub rate: Option<Rate>,
    pub baseline_qt_per_h: Option<f64>,
    /// Quarts consumed and seen since the baseline began.
    pub quarts: f64,
    /// Kind of log in use: `levels`, `flights and additions`, `additions only`.
    pub log: String,
    pub level_qt: Option<f64>,
    pub points: Vec<RatePoint>,
    /// Probability that the remaining break-in excess is under a quarter.
    pub stabilised_p: Option<f64>,
    /// What is missing for that, in a person's words.
    pub stabilised_missing: Vec<String>,
}

/// Follows an engine's oil through its whole life up to `as_of`.
///
/// `mates`: the other engines that ever flew on the same aircraft. Pure: the same records give the
/// same findings, and a finding raised by the records up to a moment stays the same when more come.
pub fn follow(engine: &Engine, mates: &[&Engine], rules: &Rules, closings: &[Closing], as_of: Instant) -> Followed {
    follow_among(engine, mates, &Arc::default(), rules, closings, as_of)
}

/// The same for an engine of a fleet that knows something of its kinds of service.
pub fn follow_among(
    engine: &Engine,
    mates: &[&Engine],
    services: &Arc<Services>,
    rules: &Rules,
    closings: &[Closing],
    as_of: Instant,
) -> Followed {
    let mut followed = watch::Watch::new(steps::of(engine, mates), engine, mates, services, rules, closings).run(as_of);
    let changed = |f: &Finding| matches!(f.kind, Kind::OilRateRise | Kind::OilRateFall);
    if let Some(mate) = twin::now(engine, mates)
        && followed.findings.iter().any(changed)
    {
        let other = watch::Watch::new(steps::of(mate, &[engine]), mate, &[engine], services, rules, &[]).run(as_of);
        twin::compare(engine, mate, &mut followed, &other);
    }
    followed
}

/// The configured ceiling, qt/h; none where the rated power is not known.
pub fn ceiling(engine: &Engine, rules: &Rules) -> Option<f64> {
    let c = &rules.consumption;
    (engine.model.rated_hp > 0.0)
        .then(|| ceiling_qt_per_h(c.ceiling_lb_per_bhp_h, engine.model.rated_hp, c.oil_lb_per_gal))
}

/// Share of additions not logged, by which the rate is raised in a report.
const UNLOGGED_LEVELS: f64 = 0.015;
const UNLOGGED_ADDITIONS: f64 = 0.04;
/// What the filter's standard deviation is too large by, with readings, once so many quarts have been burnt: it believes in
/// more wear and larger slips than are usual, so that neither is a change. (Found by simulation.)
const TOO_WIDE: f64 = 0.2;
const TOO_WIDE_QT: f64 = 25.0;
/// Quarts over which it counts how many of them happened to be left out: what was longer ago is forgotten.
const REMEMBERED_QT: f64 = 40.0;
/// Standard normal quantile of a 90 % interval, and of a bound on one side at 95 %.
const NINETY: f64 = 1.645;

/// The rate with its 90 % interval, over the mix of services lately flown.
fn estimate(track: &track::Track) -> Rate {
    let (rate, sd) = track.mean_rate();
    let (unlogged, luck, of_sd) = match track.log() {
        keeping::Log::Levels => (UNLOGGED_LEVELS, 0.0, 1.0 - TOO_WIDE * (track.burnt / TOO_WIDE_QT).min(1.0)),
        // So many quarts, each left out or not: Poisson's variance. With readings they are found and taken back.
        _ => (UNLOGGED_ADDITIONS, (UNLOGGED_ADDITIONS / track.burnt.clamp(1.0, REMEMBERED_QT)).sqrt(), 1.0),
    };
    let rate = rate / (1.0 - unlogged);
    let half = NINETY * (of_sd * sd / (1.0 - unlogged)).hypot(luck * rate);
    Rate { qt_per_h: rate, low: (rate - half).max(0.0), high: rate + half }
}
