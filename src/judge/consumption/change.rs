//! The statistics of a rise and of a fall, and what a change looks like once found.

use super::NINETY;
use super::candidates::Candidate;
use super::sump::{LEAST_RATE, Side, Sump, Who};
use super::unlogged;

/// Ratios to the baseline looked for at the usual smallest change of 1.5. The smallest counts twice: at as many false
/// alarms fewer such rises go by than with ratios spread evenly, and larger ones are seen as soon. (Found by simulation.)
pub const RISES: [f64; 3] = [1.5, 1.5, 2.4];
pub const FALLS: [f64; 3] = [0.5, 0.6667, 0.75];

/// ln of the Shiryaev–Roberts sums.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Statistics {
    pub ln_rise: f64,
    pub ln_fall: f64,
}

/// Both statistics now. `levels`: the log holds dipstick readings, so that a fall may be an addition not logged.
pub fn statistics(side: &Side, ratios: &Ratios, levels: bool) -> Statistics {
    let ln_rise = side.changes.ln_sum(&ratios.rises);
    let mut ln_fall = side.changes.ln_sum(&ratios.falls);
    if levels {
        ln_fall -= unlogged::ln_odds(side).max(0.0);
    }
    Statistics { ln_rise, ln_fall }
}

/// Ratios looked for, from the smallest change the user wants to hear of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratios {
    pub rises: [f64; 3],
    pub falls: [f64; 3],
}

impl Ratios {
    /// `smallest` > 1, × the baseline.
    pub fn new(smallest: f64) -> Self {
        let s = smallest.max(1.05) / 1.5;
        Self { rises: RISES.map(|r| 1.0 + (r - 1.0) * s.max(0.2)), falls: FALLS.map(|r| (r / s).min(0.97)) }
    }
}

/// From which ratio on a change is nearly as large as the smallest the user wants to hear of.
pub fn nearly(smallest: f64) -> f64 {
    1.0 + 0.5 * (smallest - 1.0)
}

/// A change that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    pub rise: bool,
    pub found: Candidate,
    pub ln_statistic: f64,
}

impl Change {
    /// Rates before and after, in the filter's own scale.
    pub fn rates(&self) -> (f64, f64) {
        (self.found.rate, (self.found.rate + self.found.size).max(0.0))
    }

    /// After ÷ before, with its 90 % interval.
    pub fn ratio(&self) -> (f64, f64, f64) {
        let half = NINETY * (self.found.variance + (CHOSEN * self.found.size).powi(2)).sqrt();
        let at = |size: f64| (1.0 + size / self.found.rate).max(0.0);
        (at(self.found.size), at(self.found.size - half), at(self.found.size + half))
    }
}

/// Relative standard deviation of a change's size for having been found at its most striking.
const CHOSEN: f64 = 0.3;
/// Share of an accepted change that is believed at first, and the standard deviation added to it, of its size: it was found
/// at its most striking, and may have been none. (Found by simulation: less error of the rate after false changes and
/// after true ones.)
const BELIEVED: f64 = 0.7;
const WHETHER: f64 = 0.5;

/// The belief follows a change that was found on one of the engines, and the search starts anew.
pub fn accept(sump: &mut Sump, who: Who, found: &Candidate) {
    let Some(rate) = sump.side(who).map(|s| s.rate) else { return };
    sump.belief.shift(&found.error, BELIEVED * found.size, found.variance + (WHETHER * found.size).powi(2));
    let rate = &mut sump.belief.mean[rate];
    *rate = rate.max(LEAST_RATE);
    sump.clear();
}
