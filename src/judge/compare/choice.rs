//! Which of two sets of rules the record speaks for, and why.
//!
//! A choice of thresholds weighs what would not have come against what would have been said in vain.
//! Alerts about the records and plain information never decide against something an engine needed.

use super::{Comparison, EngineComparison, Pair};
use crate::judge::Level;

/// What the comparison speaks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Choice {
    /// Nothing that matters differs.
    Either,
    Today,
    Other,
    /// Each raises something the other does not: a person has to say which of it was wanted.
    Look,
}

impl Choice {
    pub fn word(self) -> &'static str {
        match self {
            Self::Either => "either",
            Self::Today => "today",
            Self::Other => "other",
            Self::Look => "look",
        }
    }
}

/// More new cautions than one in this many engine hours are too many to act on (common practice, no source).
const TOO_MANY_EVERY_H: f64 = 100.0;

/// So few new cautions can be acted on in any number of hours (common practice, no source).
const FEW: usize = 3;

/// A share by which false alarms may differ without deciding anything.
pub const LITTLE: f64 = 0.1;

/// What tips the scales: warnings and cautions about engines, then everything.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Scales {
    pub warnings_only_today: usize,
    pub warnings_only_other: usize,
    pub cautions_only_today: usize,
    pub cautions_only_other: usize,
    /// Warnings and cautions of both that come earlier or later under the other rules.
    pub earlier: usize,
    pub later: usize,
    /// Of everything else, information and questions about the records included.
    pub rest_only_today: usize,
    pub rest_only_other: usize,
    pub engine_hours: f64,
    /// False rate alerts to be expected per 1000 engine hours.
    pub false_today: f64,
    pub false_other: f64,
}

impl Scales {
    fn put(&mut self, pair: &Pair) {
        let warning = pair.level() == Level::Warning;
        let slot = match (&pair.today, &pair.other, pair.matters()) {
            (Some(_), None, true) if warning => &mut self.warnings_only_today,
            (Some(_), None, true) => &mut self.cautions_only_today,
            (None, Some(_), true) if warning => &mut self.warnings_only_other,
            (None, Some(_), true) => &mut self.cautions_only_other,
            (Some(_), None, false) => &mut self.rest_only_today,
            (None, Some(_), false) => &mut self.rest_only_other,
            (Some(a), Some(b), true) if b.raised < a.raised => &mut self.earlier,
            (Some(a), Some(b), true) if b.raised > a.raised => &mut self.later,
            _ => return,
        };
        *slot += 1;
    }

    fn of<'a>(engines: impl Iterator<Item = &'a EngineComparison>, expected: super::Expected) -> Self {
        let mut scales = Self {
            engine_hours: expected.engine_hours,
            false_today: expected.today_per_1000_h,
            false_other: expected.other_per_1000_h,
            ..Self::default()
        };
        engines.flat_map(|engine| &engine.pairs).for_each(|pair| scales.put(pair));
        scales
    }

    /// Too many cautions for anybody to act on, raised by one side only.
    fn flood(&self, cautions: usize) -> bool {
        cautions > FEW && cautions as f64 * TOO_MANY_EVERY_H > self.engine_hours
    }

    /// What these speak for.
    pub fn choice(&self) -> Choice {
        let lost = self.warnings_only_today > 0 || self.cautions_only_today > 0;
        let new = self.warnings_only_other > 0 || self.cautions_only_other > 0;
        let flood_today = self.warnings_only_today == 0 && self.flood(self.cautions_only_today);
        let flood_other = self.warnings_only_other == 0 && self.flood(self.cautions_only_other);
        match (lost, new) {
            (true, false) if flood_today => Choice::Look,
            (true, false) => Choice::Today,
            (false, true) if flood_other => Choice::Today,
            (false, true) => Choice::Other,
            (true, true) => Choice::Look,
            (false, false) => self.by_what_is_left(),
        }
    }

    /// Nothing that matters is raised by one side only: time first, then quiet.
    fn by_what_is_left(&self) -> Choice {
        if self.earlier != self.later {
            return if self.earlier > self.later { Choice::Other } else { Choice::Today };
        }
        let (today, other) = (self.rest_only_today, self.rest_only_other);
        if today != other {
            return if today > other { Choice::Other } else { Choice::Today };
        }
        let apart = (self.false_other - self.false_today) / self.false_today.max(1e-9);
        match apart {
            a if a < -LITTLE => Choice::Other,
            a if a > LITTLE => Choice::Today,
            _ => Choice::Either,
        }
    }
}

impl EngineComparison {
    pub fn scales(&self) -> Scales {
        Scales::of(std::iter::once(self), self.expected)
    }
}

impl Comparison {
    pub fn scales(&self) -> Scales {
        Scales::of(self.engines.iter(), self.expected())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn scales(change: impl FnOnce(&mut Scales)) -> Choice {
        let mut scales = Scales { engine_hours: 1000.0, false_today: 0.3, false_other: 0.3, ..Scales::default() };
        change(&mut scales);
        scales.choice()
    }

    /// Each decided by hand from the rule's words, before the program was asked.
    #[test]
    fn what_an_engine_needed_weighs_more_than_quiet() {
        assert_eq!(scales(|_| {}), Choice::Either);
        assert_eq!(scales(|s| (s.warnings_only_today, s.rest_only_today) = (1, 500)), Choice::Today);
        assert_eq!(scales(|s| s.cautions_only_today = 1), Choice::Today);
        assert_eq!(scales(|s| s.warnings_only_other = 1), Choice::Other);
        assert_eq!(scales(|s| s.cautions_only_other = 3), Choice::Other);
        assert_eq!(scales(|s| (s.cautions_only_today, s.cautions_only_other) = (1, 1)), Choice::Look);
    }

    #[test]
    fn more_than_anybody_can_act_on_is_no_gain() {
        // Eleven in 1000 h are more than one in a hundred.
        assert_eq!(scales(|s| s.cautions_only_other = 11), Choice::Today);
        assert_eq!(scales(|s| s.cautions_only_today = 11), Choice::Look);
        assert_eq!(scales(|s| (s.warnings_only_other, s.cautions_only_other) = (1, 11)), Choice::Other);
    }

    #[test]
    fn with_nothing_lost_or_new_time_decides_then_quiet_then_false_alarms() {
        assert_eq!(scales(|s| (s.earlier, s.later, s.rest_only_other) = (2, 1, 9)), Choice::Other);
        assert_eq!(scales(|s| (s.earlier, s.later) = (0, 1)), Choice::Today);
        assert_eq!(scales(|s| s.rest_only_today = 4), Choice::Other);
        assert_eq!(scales(|s| s.rest_only_other = 4), Choice::Today);
        assert_eq!(scales(|s| s.false_other = 0.6), Choice::Today);
        assert_eq!(scales(|s| s.false_other = 0.1), Choice::Other);
    }
}
