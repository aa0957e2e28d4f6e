//! Oil consumption: the state of the sump, the rate, and the day it changed.

pub mod belief;
pub mod candidates;
pub mod change;
pub mod evidence;
pub mod sump;
pub mod unlogged;

use crate::config::Rules;
use crate::engine::Engine;
use crate::judge::{Closing, Finding, Rate, RatePoint};
use crate::records::Instant;

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
/// `mate` is the other engine of the twin it sits in now, if any.
pub fn follow(
    _engine: &Engine,
    _mate: Option<&Engine>,
    _rules: &Rules,
    _closings: &[Closing],
    _as_of: Instant,
) -> Followed {
    Followed::default()
}
