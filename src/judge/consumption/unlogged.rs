//! Oil that went in and nobody logged: found where a level jumps, before it is taken for a fall of the rate.

use super::change::FALLS;
use super::sump::Sump;

/// Quantities considered, qt, with the ln of the odds against each: a quart is the usual container.
const QUANTITIES: [(f64, f64); 2] = [(1.0, 4.0), (0.5, 5.5)];
/// ln odds from which an addition is taken as made.
const TAKEN: f64 = 2.0;
/// Flights that must have gone by since the candidate began: the one that saw it first, and two more.
const SETTLE_FLIGHTS: u32 = 3;
/// How far a fall's log-likelihood ratio may be ahead.
const AHEAD_OF_FALL: f64 = 1.0;

/// An addition that seems to have been made and not logged, just before flight `flight`.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Unlogged {
    pub flight: u32,
    pub quarts: f64,
    pub ln_odds: f64,
}

/// The best log-odds of an addition not logged over recent flights, and ½ or 1 qt; −∞ without any.
pub fn ln_odds(sump: &Sump) -> f64 {
    best(sump, u32::MAX).map_or(f64::NEG_INFINITY, |u| u.ln_odds)
}

fn best(sump: &Sump, until: u32) -> Option<Unlogged> {
    QUANTITIES
        .iter()
        .filter_map(|(quarts, against)| {
            let (flight, ln) = sump.top_ups.best_at(*quarts, until)?;
            Some(Unlogged { flight, quarts: *quarts, ln_odds: ln - against })
        })
        .max_by(|a, b| a.ln_odds.total_cmp(&b.ln_odds))
}

/// An addition to be taken as made, if the evidence is strong and a fall of the rate does not explain it better.
pub fn suspect(sump: &Sump) -> Option<Unlogged> {
    let found = best(sump, sump.flights.checked_sub(SETTLE_FLIGHTS)?)?;
    (found.ln_odds > TAKEN && found.ln_odds > sump.changes.best_of(&FALLS) - AHEAD_OF_FALL).then_some(found)
}
