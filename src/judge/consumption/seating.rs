//! Break-in: how far the excess of a fresh build has gone, and how sure that is.
//!
//! Every pair of an excess `b` and a time constant `τ` on a grid has its own small filter for the
//! rate the rings will settle at, `r·(1 + b·exp(−t/τ))`, and a weight that grows with how well it
//! foretells what people log. With a flat prior the weights say how probable it is that what remains
//! of the excess is under a quarter, and how much of the rate the next flight is expected to take off.
//! (Two windows of hours that agree pass half of all badly seated engines; this does not.)

use super::belief::Belief;
use super::evidence::{Look, Mark, weigh};
use super::sump::{FIRST_RATE, FIRST_RATE_SD, LEVEL, Leg, RATE, burn};

/// Excess at zero hours, of the settled rate.
const EXCESS: [f64; 6] = [0.5, 1.0, 1.5, 2.0, 3.0, 4.0];
/// Time constants, engine hours.
const TAU_H: [f64; 8] = [4.0, 7.0, 12.0, 20.0, 35.0, 60.0, 100.0, 160.0];
/// What counts as settled: the excess that remains, of the settled rate.
const REMAINS: f64 = 0.25;

/// How much of a look without a reading counts: pilots' habits make neighbouring flights alike.
const TRUST: f64 = 0.75;

#[derive(Clone, Debug)]
struct Entry {
    excess: f64,
    tau_h: f64,
    belief: Belief,
    ln_weight: f64,
}

impl Entry {
    fn at(&self, hours: f64) -> f64 {
        1.0 + self.excess * (-hours / self.tau_h).exp()
    }

    /// Mean factor on the settled rate between two moments of the build's clock.
    fn between(&self, from: f64, to: f64) -> f64 {
        if to - from < 1e-9 {
            return self.at(from);
        }
        let spent = (-from / self.tau_h).exp() - (-to / self.tau_h).exp();
        1.0 + self.excess * self.tau_h / (to - from) * spent
    }
}

/// The grid for one build.
#[derive(Clone, Debug)]
pub struct Seating {
    entries: Vec<Entry>,
    /// Engine hours at the build's zero.
    pub zero_hours: f64,
}

impl Seating {
    /// At the beginning of a build, with the level as believed.
    pub fn new(zero_hours: f64, level: f64, variance: f64) -> Self {
        let mut belief = Belief::EMPTY;
        belief.push(level, variance);
        belief.push(FIRST_RATE, FIRST_RATE_SD * FIRST_RATE_SD);
        let entry = |excess, tau_h, weight: f64| Entry { excess, tau_h, belief, ln_weight: weight.ln() };
        let mut entries = vec![entry(0.0, 1.0, TAU_H.len() as f64)];
        for excess in EXCESS {
            entries.extend(TAU_H.map(|tau| entry(excess, tau, 1.0)));
        }
        Self { entries, zero_hours }
    }

    /// Somebody looked at the oil; `mark_qt` is where oil is believed to be added.
    pub fn look(&mut self, look: Look, mark_qt: Option<f64>, noise: f64) {
        let at = |mark| match (mark, mark_qt) {
            (Mark::Unknown(_), Some(qt)) => Mark::At(qt),
            (mark, _) => mark,
        };
        let look = match look {
            Look::Reading(qt) => Look::Reading(qt),
            Look::NoneAdded(m) => Look::NoneAdded(at(m)),
            Look::Added(m, qt) => Look::Added(at(m), qt),
            Look::AddedAlone { mark, quantity, above } => Look::AddedAlone { mark: at(mark), quantity, above },
        };
        for e in &mut self.entries {
            let evidence = weigh(look, LEVEL, &e.belief, noise);
            let gain = e.belief.gain(evidence.seen);
            e.belief.correct(&gain, evidence.score);
            e.belief.mean[RATE] = e.belief.mean[RATE].max(1e-3);
            let trust = if matches!(look, Look::Reading(_)) { 1.0 } else { TRUST };
            e.ln_weight += trust * evidence.ln_likelihood;
        }
        let best = self.entries.iter().map(|e| e.ln_weight).fold(f64::NEG_INFINITY, f64::max);
        self.entries.iter_mut().for_each(|e| e.ln_weight -= best);
    }

    /// Hours flown, ending at engine hours `to`; `service` is the factor of its kind.
    /// Returns what the flight is expected to take off the rate, and the relative spread of that.
    pub fn fly(&mut self, hours: f64, to: f64, service: f64) -> (f64, f64) {
        let end = (to - self.zero_hours).max(0.0);
        let start = (end - hours).max(0.0);
        let (mut before, mut after, mut sum, mut ratio, mut squares) = (0.0, 0.0, 0.0, 0.0, 0.0);
        for e in &mut self.entries {
            let weight = e.ln_weight.exp();
            let rate = e.belief.mean[RATE];
            before += weight * rate * e.at(start);
            after += weight * rate * e.at(end);
            let kept = e.at(end) / e.at(start);
            sum += weight;
            ratio += weight * kept;
            squares += weight * kept * kept;
            let factor = service * e.between(start, end);
            burn(&mut e.belief, [LEVEL, RATE], Leg { hours, factor, service: None, inferred: None });
        }
        let mean = ratio / sum;
        (after / before, (squares / sum - mean * mean).max(0.0).sqrt())
    }

    /// Oil went in.
    pub fn pour(&mut self, quantity: f64, variance: f64) {
        for e in &mut self.entries {
            e.belief.mean[LEVEL] += quantity;
            e.belief.cov[LEVEL][LEVEL] += variance;
        }
    }

    /// Drained and refilled.
    pub fn refill(&mut self, level: f64, variance: f64) {
        self.entries.iter_mut().for_each(|e| e.belief.reset(LEVEL, level, variance));
    }

    /// Probability that what remains of the excess at engine hours `hours` is under a quarter.
    pub fn settled_probability(&self, hours: f64) -> f64 {
        let t = (hours - self.zero_hours).max(0.0);
        let (mut settled, mut all) = (0.0, 0.0);
        for e in &self.entries {
            let weight = e.ln_weight.exp();
            all += weight;
            if e.at(t) - 1.0 < REMAINS {
                settled += weight;
            }
        }
        settled / all
    }
}
