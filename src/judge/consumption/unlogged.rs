//! Oil that went in and nobody logged: found where a level jumps, before it is taken for a fall of the rate.
//!
//! Every recent flight is a moment before which an addition may have gone unlogged. How likely that was
//! before anything is seen of it depends on the pilots: where oil is always added at such a level and now
//! was not, it probably was and nobody wrote it down; where the oil stood high, hardly.

use super::belief::{Belief, Seen, Vector};
use super::candidates::Candidates;
use super::change::FALLS;
use super::evidence::{Evidence, MARK_SD, normal_cdf};
use super::sump::Side;

/// Past flights kept as possible moments.
const MOMENTS: usize = 14;
/// Quantities considered, qt, with the share of each: a quart is the usual container.
const QUANTITIES: [(f64, f64); 2] = [(1.0, 1.0), (0.5, 0.22)];
/// Odds are held below this.
const MOST: f64 = 1e30;
/// Flights that must have gone by since the candidate began: the one that saw it first, and one more.
const SETTLE_FLIGHTS: u32 = 2;
/// ln odds from which an addition is taken as made, with readings and without.
const TAKEN: f64 = 2.0;
const TAKEN_UNSEEN: f64 = 0.0;
/// ln odds from which an addition is worth being followed.
const POSSIBLE: f64 = -1.0;
/// How far a fall's log-likelihood ratio may be ahead.
const AHEAD_OF_FALL: f64 = 3.0;
const AHEAD_UNSEEN: f64 = 7.0;

/// Recent flights, each as the moment of an addition that was not logged.
#[derive(Clone, Copy, Debug)]
pub struct TopUps {
    moments: Candidates<MOMENTS>,
    /// Odds before anything was seen, of a quart.
    prior: [f64; MOMENTS],
    /// Odds by quantity, against that nothing was forgotten: those before anything was seen, times the
    /// likelihood ratio since.
    odds: [[f64; MOMENTS]; QUANTITIES.len()],
}

impl TopUps {
    pub const EMPTY: Self =
        Self { moments: Candidates::EMPTY, prior: [0.0; MOMENTS], odds: [[0.0; MOMENTS]; QUANTITIES.len()] };

    pub fn clear(&mut self) {
        self.moments.clear();
    }

    /// A flight begins, before which oil may have been added, by these odds.
    pub fn begin(&mut self, level: usize, flight: u32, prior_odds: f64) {
        let c = self.moments.begin(level, 0.0, flight);
        self.prior[c] = prior_odds;
        for (odds, (_, share)) in self.odds.iter_mut().zip(QUANTITIES) {
            odds[c] = prior_odds * share;
        }
    }

    /// A look at the oil, before the belief takes it in.
    pub fn observe(&mut self, n: usize, evidence: &Evidence, gain: &Vector) {
        let per = 1.0 / evidence.density.at(0.0);
        for (odds, (quarts, _)) in self.odds.iter_mut().zip(QUANTITIES) {
            for (c, off) in self.moments.misled(evidence.seen) {
                odds[c] = (odds[c] * per * evidence.density.at(off * quarts)).min(MOST);
            }
        }
        self.moments.observe(n, evidence.seen, gain, evidence.score);
    }

    pub fn burn(&mut self, n: usize, level: usize, slope: &Vector) {
        self.moments.burn(n, level, slope);
    }

    pub fn scale(&mut self, which: usize, factor: f64) {
        self.moments.scale(which, factor);
    }

    pub fn settle(&mut self, which: usize) {
        self.moments.settle(which);
    }

    fn best(&self, until: u32) -> Option<Unlogged> {
        let all = self.odds.iter().zip(QUANTITIES).flat_map(|(odds, (quarts, share))| {
            let ripe = self.moments.moments().filter(|(_, flight)| *flight <= until);
            ripe.map(move |(c, flight)| (flight, quarts, odds[c], share * self.prior[c]))
        });
        let (flight, quarts, odds, prior) = all.max_by(|a, b| a.2.total_cmp(&b.2))?;
        Some(Unlogged { flight, quarts, ln_prior: prior.ln(), ln_odds: odds.ln() })
    }
}

/// An addition that seems to have been made and not logged, just before flight `flight`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unlogged {
    pub flight: u32,
    pub quarts: f64,
    /// ln odds before anything was seen of it, and now.
    pub ln_prior: f64,
    pub ln_odds: f64,
}

impl Unlogged {
    /// The same quantity before the same flight, whatever its odds.
    pub fn is_the_same(&self, other: &Self) -> bool {
        self.flight == other.flight && self.quarts.to_bits() == other.quarts.to_bits()
    }
}

/// The best log-odds of an addition not logged over recent flights, and ½ or 1 qt; −∞ without any.
pub fn ln_odds(side: &Side) -> f64 {
    side.top_ups.best(u32::MAX).map_or(f64::NEG_INFINITY, |u| u.ln_odds)
}

/// An addition to be taken as made, if the evidence is strong and a fall of the rate does not explain it better.
///
/// `levels`: readings are logged, so that a jump is seen when it comes. Without, the choice is between an
/// addition forgotten, of which every engine has some, and a fall, of which few have one: the odds decide.
/// `flights`: begun so far.
pub fn suspect(side: &Side, flights: u32, levels: bool) -> Option<Unlogged> {
    ripe(side, flights).filter(|found| convinces(found.ln_odds, side, levels))
}

/// The same from odds of an addition that were worked out otherwise.
pub fn convinces(ln_odds: f64, side: &Side, levels: bool) -> bool {
    let (least, ahead) = if levels { (TAKEN, AHEAD_OF_FALL) } else { (TAKEN_UNSEEN, AHEAD_UNSEEN) };
    let fall = side.changes.best_of(&FALLS, u32::MAX).map_or(f64::NEG_INFINITY, |best| best.1);
    ln_odds > least && ln_odds > fall - ahead
}

/// An addition that may have been made and not logged, worth being followed.
pub fn possible(side: &Side, flights: u32) -> Option<Unlogged> {
    ripe(side, flights).filter(|found| found.ln_odds > POSSIBLE)
}

/// The likeliest addition, once a few flights have gone by since.
fn ripe(side: &Side, flights: u32) -> Option<Unlogged> {
    side.top_ups.best(flights.checked_sub(SETTLE_FLIGHTS)?)
}

/// Share of additions that nobody logs.
const FORGOTTEN: f64 = 0.04;
/// The same at any level, of flights.
const FORGOTTEN_ANYWHERE: f64 = 5e-4;
/// The same where readings are logged: some pilots top up before a long day, whatever the level.
const TOPPED_UP: f64 = 8e-3;
/// Quarter quarts told apart.
const BINS: usize = 64;
/// Looks counted as "added" and "not added" before any was seen.
const ADDED_BEFORE: f64 = 0.5;
const NOT_BEFORE: f64 = 2.0;

/// At what readings these pilots add oil.
#[derive(Clone, Copy, Debug)]
pub struct Habit {
    added: [u8; BINS],
    not: [u8; BINS],
}

impl Habit {
    pub const NONE: Self = Self { added: [0; BINS], not: [0; BINS] };

    fn bin(reading: f64) -> usize {
        ((reading * 4.0).max(0.0) as usize).min(BINS - 1)
    }

    pub fn note(&mut self, reading: f64, added: bool) {
        let bins = if added { &mut self.added } else { &mut self.not };
        let bin = &mut bins[Self::bin(reading)];
        *bin = bin.saturating_add(1);
    }

    /// Odds that oil was added at this reading and not logged, given that none was logged.
    pub fn forgotten(&self, reading: f64) -> f64 {
        let bin = Self::bin(reading);
        let sum = |counts: &[u8]| counts.iter().map(|n| f64::from(*n)).sum::<f64>();
        // Who adds at a level adds at a lower one.
        let (added, not) = (sum(&self.added[bin..]) + ADDED_BEFORE, sum(&self.not[..=bin]) + NOT_BEFORE);
        FORGOTTEN * added / not + TOPPED_UP
    }
}

/// Odds that oil was added and not logged before a flight, where nobody logs readings: by how far the level
/// (less the mark, if that is unknown too) stands above the mark, qt.
pub fn forgotten_at(belief: &Belief, seen: Seen, above: f64) -> f64 {
    let z = above / (belief.variance_of(seen) + MARK_SD * MARK_SD).sqrt();
    FORGOTTEN * normal_cdf(-z) + FORGOTTEN_ANYWHERE
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Ten times oil was added at 5.5 qt, thirty times not at 7, twice not at 5.25.
    #[test]
    fn pilots_who_always_add_at_a_level_have_forgotten_to_log_it() {
        let mut habit = Habit::NONE;
        (0..10).for_each(|_| habit.note(5.5, true));
        (0..30).for_each(|_| habit.note(7.0, false));
        (0..2).for_each(|_| habit.note(5.25, false));
        // 4 % of additions forgotten: 0.04 · 10.5 ÷ (2 + 2), and 0.04 · 0.5 ÷ (32 + 2), each with 0.008 at any level.
        assert!((habit.forgotten(5.5) - 0.113).abs() < 1e-9);
        assert!((habit.forgotten(7.0) - (0.02 / 34.0 + 0.008)).abs() < 1e-9);
    }
}
