//! What the fleet knows of kinds of service, taken into one engine's belief; and what this engine believes of them.
//!
//! A ratio of two kinds is taken in as the fleet first told it, and later by what the fleet has learned since: the
//! difference of the two precisions, so that nothing counts twice.

use std::sync::Arc;

use super::Track;
use crate::engine::services::Ratio;
use crate::judge::consumption::belief::Seen;
use crate::records::Instant;

impl Track {
    /// The words for kinds of service, by their numbers.
    pub fn words(&self) -> &[Arc<str>] {
        &self.words
    }

    /// What the fleet knows of a kind of service, against the one best known here when it was first asked; later, what
    /// it has learned since.
    pub(super) fn ask_fleet(&mut self, at: Instant, slot: usize) {
        let (Some(of), Some(word)) = (self.services[slot], self.words.get(slot)) else { return };
        let variance = |i: usize| self.sump.belief.cov[i][i];
        let told = |s: usize| Some((s, self.services[s]?, self.fleet.ratio(at, word, self.words.get(s)?)?));
        let (best, ln, precision) = match self.told[slot] {
            Some((s, ln, precision)) => (told(s), ln, precision),
            None => {
                // Only against earlier ones, so that nothing is told in a circle.
                let others = (0..slot).filter_map(told);
                let doubt = |(_, i, ratio): &(usize, usize, Ratio)| variance(*i) + ratio.sd * ratio.sd;
                (others.min_by(|a, b| doubt(a).total_cmp(&doubt(b))), 0.0, 0.0)
            }
        };
        let Some((s, to, ratio)) = best else { return };
        let now = 1.0 / (ratio.sd * ratio.sd);
        let more = now - precision;
        if more < 0.1 * now {
            return;
        }
        let new = (ratio.ln * now - ln * precision) / more;
        // The ratio as a difference, at the factor believed of the other.
        let (times, factor) = (new.exp(), (1.0 + self.sump.belief.mean[to]).max(0.1));
        let spread = (times * factor).powi(2) / more + (times - 1.0).powi(2) * variance(to);
        self.sump.compare(Seen { of, above: Some(to) }, (times - 1.0) * factor, spread);
        self.told[slot] = Some((s, ratio.ln, now));
    }

    /// ln of the consumption in the service numbered `a` over that in `b`, as believed, and its variance.
    pub fn service_ratio(&self, a: usize, b: usize) -> Option<(f64, f64)> {
        let (a, b) = (self.services[a]?, self.services[b]?);
        let belief = &self.sump.belief;
        let (x, y) = ((1.0 + belief.mean[a]).max(0.1), (1.0 + belief.mean[b]).max(0.1));
        let c = &belief.cov;
        Some(((x / y).ln(), c[a][a] / (x * x) + c[b][b] / (y * y) - 2.0 * c[a][b] / (x * y)))
    }
}
