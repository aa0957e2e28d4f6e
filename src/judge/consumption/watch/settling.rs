//! Break-in: what it takes off the rate, and when the evidence shows that consumption has stabilised.

use super::Watch;
use crate::engine::{Event, What};
use crate::judge::consumption::findings::Situation;
use crate::judge::consumption::seating::Seating;
use crate::judge::consumption::steps::Step;

/// Quarts of a build before its consumption can be called stabilised.
const SETTLED_QUARTS: f64 = 4.0;
/// Break-in lengths after which a build counts as settled one way or the other.
pub(super) const SEATING_LENGTHS: f64 = 3.0;

impl Watch<'_> {
    /// The break-in grid takes the event in.
    pub(super) fn seat(&mut self, k: usize, step: Step<'_>) {
        let event = step.event;
        let service = self.track.service_factor(step.service);
        let (level, variance) = (self.track.sump.level(), self.track.level_sd().powi(2));
        let Some(seating) = &mut self.seating else { return };
        match &event.what {
            What::Flight { hours, .. } => self.decays[k] = Some(seating.fly(*hours, event.hours, service)),
            What::Added { qt, .. } => seating.pour(*qt, 1e-3),
            What::Changed { level_after_qt, .. } => {
                let fill = level_after_qt.or(self.engine.fill_qt).unwrap_or(level);
                seating.refill(fill, if level_after_qt.is_some() { 0.07 } else { 0.09_f64.max(variance * 0.5) });
            }
            _ => {}
        }
        if event.hours - seating.zero_hours > SEATING_LENGTHS * self.rules.break_in.length_h {
            self.seating = None;
        }
    }

    /// Says once per build that consumption has stabilised, when the evidence shows it.
    pub(super) fn ask_if_settled(&mut self, event: &Event, now: &Situation) {
        let Some(seating) = &self.seating else { return };
        if self.stabilised || !self.missing(seating, event.hours, now.quarts).is_empty() {
            return;
        }
        self.stabilised = true;
        let p = seating.settled_probability(event.hours);
        let since = event.hours - seating.zero_hours;
        self.findings.stabilised(event, p, since, now);
    }

    /// What stands between this build and "stabilised", in a person's words.
    pub(super) fn missing(&self, seating: &Seating, hours: f64, quarts: f64) -> Vec<String> {
        let rules = &self.rules.break_in;
        let (since, least) = (hours - seating.zero_hours, rules.length_h / 2.0);
        let p = seating.settled_probability(hours);
        let mut missing = Vec::new();
        if since < least {
            missing.push(format!("{least:.0} h since the build (now {since:.1} h)"));
        }
        if quarts < SETTLED_QUARTS {
            missing.push(format!("{SETTLED_QUARTS:.0} quarts burnt and seen (now {quarts:.1})"));
        }
        if p < rules.stabilised_p {
            missing.push(format!(
                "a probability of {:.0} % that less than a quarter of the excess remains (now {:.0} %): more flights with the oil logged",
                rules.stabilised_p * 100.0,
                p * 100.0
            ));
        }
        missing
    }

    pub(super) fn breaking_in(&self) -> bool {
        self.seating.is_some() && !self.stabilised
    }
}
