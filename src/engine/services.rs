//! What a fleet knows of kinds of service: how much more oil an engine uses in one than in another.
//!
//! An engine that flies a kind of service for the first time cannot tell what it costs from a change of its own rate. The
//! other engines of the fleet have flown it before. Only what was known at the beginning of a month serves the flights
//! of that month, so that what is said of a flight stays the same when more flights come.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::Datelike as _;

use crate::records::Instant;

/// Consumption in one kind of service over that in another: ln of the ratio, and its standard deviation for an engine
/// nothing else is known of.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Ratio {
    pub ln: f64,
    pub sd: f64,
}

/// Two kinds of service: the one asked about, and the one it is compared with.
pub type Pair = (Arc<str>, Arc<str>);

/// Ratios known to a fleet at the beginning of each month. Empty: nothing is known.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Services {
    months: BTreeMap<i32, Vec<(Pair, Ratio)>>,
}

/// Months since the year 0, in UTC.
pub fn month(at: Instant) -> i32 {
    at.year() * 12 + at.month0() as i32
}

impl Services {
    /// From the ratios known at the beginning of each month.
    pub fn new(months: BTreeMap<i32, Vec<(Pair, Ratio)>>) -> Self {
        Self { months }
    }

    /// Consumption in `of` over that in `to`, as known when the month of `at` began.
    pub fn ratio(&self, at: Instant, of: &str, to: &str) -> Option<Ratio> {
        let (_, known) = self.months.range(..=month(at)).next_back()?;
        known.iter().find_map(|((a, b), ratio)| match () {
            () if **a == *of && **b == *to => Some(*ratio),
            () if **a == *to && **b == *of => Some(Ratio { ln: -ratio.ln, ..*ratio }),
            () => None,
        })
    }
}
