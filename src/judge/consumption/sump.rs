//! The oil in one sump: level and rate, seen through readings, additions, refills and flights.
//!
//! The recursion, step by step: a look becomes a score, every candidate change and then the belief
//! take it in; an addition or a flight moves them on.

use super::belief::{Belief, Score, Seen, UNKNOWNS, Vector};
use super::candidates::Candidates;
use super::evidence::{Evidence, Look, weigh};
use super::unlogged::TopUps;

/// Index of the level, qt on the dipstick's scale.
pub const LEVEL: usize = 0;
/// Index of the rate, qt per engine hour.
pub const RATE: usize = 1;

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
/// Length of a flight where the log does not give it, hours.
pub const USUAL_FLIGHT_H: f64 = 1.3;
/// Spread of a service's factor on consumption.
pub const SERVICE_SD: f64 = 0.25;

/// Spread of what flights nobody named have in common, and how much of it one takes over from the one before.
const UNNAMED_SD: f64 = 0.22;
const RUNS_ON: f64 = 0.92;

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

/// Whose oil: the engine followed, or the other engine of its twin, which flies the same flights.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Who {
    Own,
    Mate,
}

/// One engine's unknowns in the belief, and what may have happened to them.
#[derive(Clone, Copy, Debug)]
pub struct Side {
    pub level: usize,
    pub rate: usize,
    pub changes: Candidates<CHANGES>,
    pub top_ups: TopUps,
    /// Widening of the reading error, ≥ 1: grows with a sloppy dipstick.
    pub noise: f64,
}

impl Side {
    fn new(level: usize, rate: usize) -> Self {
        Self { level, rate, changes: Candidates::EMPTY, top_ups: TopUps::EMPTY, noise: 1.0 }
    }

    /// What may have happened is forgotten.
    pub fn clear(&mut self) {
        self.changes.clear();
        self.top_ups.clear();
    }
}

/// Level, rate and candidates of one sump, and of the mate's where that is followed with it. A clone is a snapshot.
#[derive(Clone, Debug)]
pub struct Sump {
    pub belief: Belief,
    pub own: Side,
    /// Most engines have none, and snapshots are many.
    pub mate: Option<Box<Side>>,
    /// Flights begun so far.
    pub flights: u32,
    /// Log-likelihood of all that was seen, up to a constant of the log.
    pub ln_likelihood: f64,
}

impl Sump {
    /// A sump with the level believed to be `level` (variance `variance`) and nothing known of the rate.
    pub fn new(level: f64, variance: f64) -> Self {
        let mut belief = Belief::EMPTY;
        belief.push(level, variance);
        belief.push(FIRST_RATE, FIRST_RATE_SD * FIRST_RATE_SD);
        Self { belief, own: Side::new(LEVEL, RATE), mate: None, flights: 0, ln_likelihood: 0.0 }
    }

    /// Follows the mate's oil from now on, or again from the beginning. False: there is no room for it.
    pub fn follow_mate(&mut self, level: f64, variance: f64) -> bool {
        let rate = (FIRST_RATE, FIRST_RATE_SD * FIRST_RATE_SD);
        let side = match self.mate.as_deref() {
            Some(old) => Side::new(old.level, old.rate),
            None if self.belief.n + 3 > UNKNOWNS => return false,
            None => Side::new(self.belief.n, self.belief.n + 1),
        };
        if side.level == self.belief.n {
            self.belief.push(level, variance);
            self.belief.push(rate.0, rate.1);
        } else {
            self.belief.reset(side.level, level, variance);
            self.belief.reset(side.rate, rate.0, rate.1);
        }
        self.settle(side.level);
        self.settle(side.rate);
        self.mate = Some(Box::new(side));
        true
    }

    /// The side of one of the engines; the mate's only where it is followed.
    pub fn side(&self, who: Who) -> Option<&Side> {
        match who {
            Who::Own => Some(&self.own),
            Who::Mate => self.mate.as_deref(),
        }
    }

    fn sides(&mut self) -> impl Iterator<Item = &mut Side> {
        std::iter::once(&mut self.own).chain(self.mate.as_deref_mut())
    }

    pub fn side_mut(&mut self, who: Who) -> Option<&mut Side> {
        match who {
            Who::Own => Some(&mut self.own),
            Who::Mate => self.mate.as_deref_mut(),
        }
    }

    /// What may have happened to either engine is forgotten.
    pub fn clear(&mut self) {
        self.sides().for_each(Side::clear);
    }

    /// An unknown is known afresh: no candidate misleads about it any more.
    pub fn settle(&mut self, unknown: usize) {
        for side in self.sides() {
            side.changes.settle(unknown);
            side.top_ups.settle(unknown);
        }
    }

    pub fn level(&self) -> f64 {
        self.belief.mean[LEVEL]
    }

    pub fn rate(&self) -> f64 {
        self.belief.mean[RATE]
    }

    /// Drained and refilled to `level`.
    pub fn refill(&mut self, who: Who, level: f64, variance: f64) {
        let Some(side) = self.side_mut(who) else { return };
        side.top_ups.clear();
        let i = side.level;
        self.belief.reset(i, level, variance);
        self.settle(i);
    }

    /// A look at the oil: candidates take it in first, the belief after. `None`: a mate that is not followed.
    pub fn look(&mut self, who: Who, look: Look) -> Option<Evidence> {
        let side = self.side(who)?;
        let evidence = weigh(look, side.level, &self.belief, side.noise);
        self.ln_likelihood += evidence.ln_likelihood;
        let gain = self.belief.gain(evidence.seen);
        let n = self.belief.n;
        for side in self.sides() {
            side.changes.observe(n, evidence.seen, &gain, evidence.score);
            side.top_ups.observe(n, &evidence, &gain);
        }
        self.belief.correct(&gain, evidence.score);
        if let (Look::Reading(_), Some(side)) = (look, self.side_mut(who)) {
            let squared = (evidence.surprise * evidence.surprise * side.noise).min(9.0);
            side.noise = (0.985 * side.noise + 0.015 * squared).max(1.0);
        }
        Some(evidence)
    }

    fn add(&mut self, who: Who, quantity: f64, variance: f64) {
        if let Some(i) = self.side(who).map(|s| s.level) {
            self.belief.mean[i] += quantity;
            self.belief.cov[i][i] += variance;
        }
    }

    /// Oil went in, qt.
    pub fn pour(&mut self, who: Who, quantity: f64) {
        self.add(who, quantity, POURED_VAR);
    }

    /// An addition that seems to have been made and not logged is taken as made.
    pub fn pour_unlogged(&mut self, who: Who, quantity: f64) {
        self.add(who, quantity, UNLOGGED_VAR);
    }

    /// A flight begins: with it a change may begin on either engine, or an addition nobody logged have been made,
    /// by these odds (own, the mate's).
    pub fn begin_flight(&mut self, forgotten: [f64; 2]) {
        let (flight, rates) = (self.flights, self.belief.mean);
        for (side, odds) in self.sides().zip(forgotten) {
            side.changes.begin(side.rate, rates[side.rate], flight);
            side.top_ups.begin(side.level, flight, odds);
        }
        self.flights += 1;
    }

    /// Hours flown. Returns the quarts believed burnt.
    pub fn fly(&mut self, who: Who, leg: Leg) -> f64 {
        let Some((level, rate)) = self.side(who).map(|s| (s.level, s.rate)) else { return 0.0 };
        let (burnt, slope) = burn(&mut self.belief, [level, rate], leg);
        let n = self.belief.n;
        for side in self.sides() {
            side.changes.burn(n, level, &slope);
            side.top_ups.burn(n, level, &slope);
        }
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
        self.scale(RATE, factor);
    }

    fn scale(&mut self, unknown: usize, factor: f64) {
        for side in self.sides() {
            side.changes.scale(unknown, factor);
            side.top_ups.scale(unknown, factor);
        }
    }

    /// Everything known of the rate is forgotten: a new build.
    pub fn forget_rate(&mut self, mean: f64, sd: f64) {
        self.belief.reset(RATE, mean, sd * sd);
        self.clear();
    }

    /// Starts to follow a kind of service, whose flights have been `share` of those behind the rate
    /// so far: the rate was that of the mix, and is split into rate and factor. Returns the new unknown.
    pub fn follow_service(&mut self, share: f64) -> Option<usize> {
        let variance = SERVICE_SD * SERVICE_SD;
        let i = self.belief.push(0.0, variance)?;
        self.settle(i);
        let pull = -share * self.rate();
        let b = &mut self.belief;
        b.cov[RATE][RATE] += pull * pull * variance;
        b.cov[RATE][i] = pull * variance;
        b.cov[i][RATE] = b.cov[RATE][i];
        Some(i)
    }

    /// One unknown above another is known from elsewhere: by so much, with this variance.
    pub fn compare(&mut self, seen: Seen, by: f64, variance: f64) {
        let total = self.belief.variance_of(seen) + variance;
        let score = Score { slope: (by - seen.take(&self.belief.mean)) / total, weight: 1.0 / total };
        let (gain, n) = (self.belief.gain(seen), self.belief.n);
        for side in self.sides() {
            side.changes.observe(n, seen, &gain, score);
        }
        self.belief.correct(&gain, score);
    }

    /// Starts to follow what flights nobody named have in common. Returns the new unknown.
    pub fn follow_unnamed(&mut self) -> Option<usize> {
        let i = self.belief.push(0.0, UNNAMED_SD * UNNAMED_SD)?;
        self.settle(i);
        Some(i)
    }

    /// The next flight takes after the one before, and is drawn back to the usual (first-order autoregressive).
    pub fn run_on(&mut self, i: usize) {
        let keep = RUNS_ON;
        let b = &mut self.belief;
        b.mean[i] *= keep;
        for k in 0..b.n {
            b.cov[i][k] *= keep;
            b.cov[k][i] *= keep;
        }
        b.cov[i][i] += (1.0 - keep * keep) * UNNAMED_SD * UNNAMED_SD;
        self.scale(i, keep);
    }
}

/// Moves a belief over hours flown on the engine with these unknowns of level and rate.
/// Returns the quarts believed burnt, and the slope of the level in every unknown.
pub fn burn(b: &mut Belief, [level, rate]: [usize; 2], leg: Leg) -> (f64, Vector) {
    let used = b.mean[rate];
    let service = 1.0 + leg.service.map_or(0.0, |i| b.mean[i]);
    let hours = leg.hours * leg.factor * service.max(0.1);
    let burnt = used * hours;
    let mut slope: Vector = [0.0; UNKNOWNS];
    slope[rate] = -hours;
    if let Some(i) = leg.service {
        slope[i] = -used * leg.hours * leg.factor;
    }
    let spread = leg.inferred.map_or(FLIGHT_SD * FLIGHT_SD, |n| FLIGHT_SD * FLIGHT_SD / n + UNSEEN_SERVICE_SD.powi(2));
    b.burn(level, burnt, &slope, spread * burnt * burnt + FLIGHT_VAR);
    b.cov[rate][rate] += (WEAR_SD * used).powi(2) * leg.hours;
    b.mean[rate] = used.max(LEAST_RATE);
    (burnt, slope)
}
