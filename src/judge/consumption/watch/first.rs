//! The first quarts, gone through twice.
//!
//! Before anything is known the rate is believed so loosely that much of the belief lies below zero, and whether oil
//! was added says little about such a rate that a normal belief can hold: an engine that burns little is told too
//! high, and one that burns much is held near the first guess. Once the rate is roughly known, all that
//! was seen so far is gone through again, from that rate.

use super::Watch;

/// Quarts burnt after which the rate is known well enough to begin again from it. Judging starts later.
const FIRST_QT: f64 = 4.0;
/// Standard deviation of the rate begun again with, of that rate: several times what is known of it by then, so that
/// what was seen hardly counts twice. (Both found by simulation.)
const FIRST_SD: f64 = 0.6;

impl Watch<'_> {
    /// After step `now`, a flight. What was told so far stays told.
    pub(super) fn first_quarts_again(&mut self, now: usize) {
        if self.first_again || self.track.burnt < FIRST_QT {
            return;
        }
        self.first_again = true;
        // Rings that seat burn less from flight to flight: there is no one rate to begin with.
        if self.burnt_at_base > 0.0 || self.seating.is_some() || self.judging() {
            return;
        }
        let steps = self.steps[..=now].to_vec();
        let mut again = Watch::new(steps, self.engine, &self.mates, &self.services, self.rules, &[]);
        again.first_again = true;
        let rate = self.track.sump.rate();
        again.track.sump.forget_rate(rate, FIRST_SD * rate);
        (0..=now).for_each(|k| again.step(k));
        self.track = again.track;
        self.kept = again.kept;
        self.accounts = again.accounts.untold();
        self.beside = again.beside;
        self.changed_h = again.changed_h;
    }
}
