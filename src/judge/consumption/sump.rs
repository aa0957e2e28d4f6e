//! The oil in one sump: level and rate, seen through readings, additions, refills and flights.
//!
//! The recursion, step by step: a look becomes a score, every candidate change and then the belief
//! take it in; an addition or a flight moves them on.

use super::belief::{Belief, UNKNOWNS, Vector};
use super::candidates::Candidates;
use super::evidence::{Evidence, Look, weigh};
use super::unlogged::TopUps;

/// Index of the level, qt on the dipstick's scale.
pub const LEVEL: usize = 0;
/// Index of the rate, qt per engine hour.
pub const RATE: usize = 1;

/// Variance of the level after a refill, qt² (0.3 qt).
pub const REFILL_VAR: f64 = 0.09;
/// Variance of a logged quantity, qt².
const POURED_VAR: f64 = 0.03 * 0.03;
/// Variance of a quantity that was not logged, qt² (0.14 qt).
const UNLOGGED_VAR: f64 = 0.02;
/// Flight-to-flight variation of consumption, of the expected.
const FLIGHT_SD: f64 = 0.40;
/// The same of a whole stretch whose flights nobody logged: one kind of service runs into the next.
const UNSEEN_SERVICE_SD: f64 = 0.2;
/// Level variance every flight adds, qt².
const FLIGHT_VAR: f64 = 1e-4;
/// Slow wear: relative drift of the rate per square root of an hour.
const WEAR_SD: f64 = 0.005;
/// Rate believed before anything is known, qt/h, and its standard deviation.
pub const FIRST_RATE: f64 = 0.125;
pub const FIRST_RATE_SD: f64 = 0.15;
/// Rate below which none is believed, qt/h: a thousandth would last a sump through an engine's life.
pub const LEAST_RATE: f64 = 0.002;
/// Spread of a service's factor on consumption.
const SERVICE_SD: f64 = 0.25;

/// Past flights kept as possible moments of change.
pub const CHANGES: usize = 80;

/// A flight as the sump sees it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Leg {
    pub hours: f64,
    /// Known factor on the rate.
    pub factor: f64,
    /// Unknown whose value is the relative departure of this kind of service, if tracked.
    pub service: Option<usize>,
    /// Flights this stands for, where only the hours between two entries are known.
    pub inferred: Option<f64>,
}

/// Level, rate and candidates of one sump. Copying it is taking a snapshot.
#[derive(Clone, Copy, Debug)]
pub struct Sump {
    pub belief: Belief,
    pub changes: Candidates<CHANGES>,
    pub top_ups: TopUps,
    /// Widening of the reading error, ≥ 1: grows with a sloppy dipstick.
    pub noise: f64,
    /// Flights begun so far.
    pub flights: u32,
}

impl Sump {
    /// A sump with the level believed to be `level` (variance `variance`) and nothing known of the rate.
    pub fn new(level: f64, variance: f64) -> Self {
        let mut belief = Belief::EMPTY;
        belief.push(level, variance);
        belief.push(FIRST_RATE, FIRST_RATE_SD * FIRST_RATE_SD);
        Self { belief, changes: Candidates::EMPTY, top_ups: TopUps::EMPTY, noise: 1.0, flights: 0 }
    }

    pub fn level(&self) -> f64 {
        self.belief.mean[LEVEL]
    }

    pub fn rate(&self) -> f64 {
        self.belief.mean[RATE]
    }

    /// Drained and refilled to `level`.
    pub fn refill(&mut self, level: f64, variance: f64) {
        self.belief.reset(LEVEL, level, variance);
        self.changes.settle(LEVEL);
        self.top_ups.clear();
    }

    /// A look at the oil: candidates take it in first, the belief after.
    pub fn look(&mut self, look: Look) -> Evidence {
        let evidence = weigh(look, LEVEL, &self.belief, self.noise);
        let gain = self.belief.gain(evidence.seen);
        self.changes.observe(self.belief.n, evidence.seen, &gain, evidence.score);
        self.top_ups.observe(self.belief.n, &evidence, &gain);
        self.belief.correct(&gain, evidence.score);
        if matches!(look, Look::Reading(_)) {
            let squared = (evidence.surprise * evidence.surprise * self.noise).min(9.0);
            self.noise = (0.985 * self.noise + 0.015 * squared).max(1.0);
        }
        evidence
    }

    /// Oil went in, qt.
    pub fn pour(&mut self, quantity: f64) {
        self.belief.mean[LEVEL] += quantity;
        self.belief.cov[LEVEL][LEVEL] += POURED_VAR;
    }

    /// An addition that seems to have been made and not logged is taken as made.
    pub fn pour_unlogged(&mut self, quantity: f64) {
        self.belief.mean[LEVEL] += quantity;
        self.belief.cov[LEVEL][LEVEL] += UNLOGGED_VAR;
    }

    /// A flight begins: with it a change may begin, or an addition nobody logged have been made, by these odds.
    pub fn begin_flight(&mut self, forgotten: f64) {
        self.changes.begin(RATE, self.rate(), self.flights);
        self.top_ups.begin(self.flights, forgotten);
        self.flights += 1;
    }

    /// Hours flown. Returns the quarts believed burnt.
    pub fn fly(&mut self, leg: Leg) -> f64 {
        let (burnt, slope) = burn(&mut self.belief, leg);
        self.changes.burn(self.belief.n, LEVEL, &slope);
        self.top_ups.burn(self.belief.n, &slope);
        burnt
    }

    /// The rate becomes `factor` times what it was, known to a relative standard deviation: what
    /// break-in takes off it during a flight.
    pub fn scale_rate(&mut self, factor: f64, relative_sd: f64) {
        let b = &mut self.belief;
        b.mean[RATE] *= factor;
        for i in 0..b.n {
            b.cov[RATE][i] *= factor;
            b.cov[i][RATE] *= factor;
        }
        b.cov[RATE][RATE] += (relative_sd * b.mean[RATE]).powi(2);
        self.changes.scale(RATE, factor);
        self.top_ups.scale(RATE, factor);
    }

    /// Everything known of the rate is forgotten: a new build.
    pub fn forget_rate(&mut self, mean: f64, sd: f64) {
        self.belief.reset(RATE, mean, sd * sd);
        self.changes.clear();
        self.top_ups.clear();
    }

    /// Starts to follow a kind of service, whose flights have been `share` of those behind the rate
    /// so far: the rate was that of the mix, and is split into rate and factor. Returns the new unknown.
    pub fn follow_service(&mut self, share: f64) -> Option<usize> {
        let variance = SERVICE_SD * SERVICE_SD;
        let i = self.belief.push(0.0, variance)?;
        self.changes.settle(i);
        self.top_ups.settle(i);
        let pull = -share * self.rate();
        let b = &mut self.belief;
        b.cov[RATE][RATE] += pull * pull * variance;
        b.cov[RATE][i] = pull * variance;
        b.cov[i][RATE] = b.cov[RATE][i];
        Some(i)
    }
}

/// Moves a belief over hours flown. Returns the quarts believed burnt, and the slope of the level in every unknown.
pub fn burn(b: &mut Belief, leg: Leg) -> (f64, Vector) {
    let rate = b.mean[RATE];
    let service = 1.0 + leg.service.map_or(0.0, |i| b.mean[i]);
    let hours = leg.hours * leg.factor * service.max(0.1);
    let burnt = rate * hours;
    let mut slope: Vector = [0.0; UNKNOWNS];
    slope[RATE] = -hours;
    if let Some(i) = leg.service {
        slope[i] = -rate * leg.hours * leg.factor;
    }
    let spread = leg.inferred.map_or(FLIGHT_SD * FLIGHT_SD, |n| FLIGHT_SD * FLIGHT_SD / n + UNSEEN_SERVICE_SD.powi(2));
    b.burn(LEVEL, burnt, &slope, spread * burnt * burnt + FLIGHT_VAR);
    b.cov[RATE][RATE] += (WEAR_SD * rate).powi(2) * leg.hours;
    b.mean[RATE] = rate.max(LEAST_RATE);
    (burnt, slope)
}
