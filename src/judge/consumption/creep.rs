//! What a slow rise is measured against: the rate once it was well known, and the rate 200 h ago.

use std::collections::VecDeque;

use super::findings::Situation;

/// Quarts burnt since the last change before a rate serves as a reference.
const KNOWN_QUARTS: f64 = 12.0;
/// How far back the second reference lies, engine hours, and how often the rate is noted.
const BACK_H: f64 = 200.0;
const NOTE_EVERY_H: f64 = 10.0;

/// References of one baseline.
#[derive(Clone, Debug, Default)]
pub struct Creep {
    /// Engine hours and rate when the rate was first well known: after break-in, or after the last sudden change.
    pub reference: Option<(f64, f64)>,
    noted: VecDeque<(f64, f64)>,
    /// The reference before a sudden change nobody has judged yet.
    before_change: Option<(f64, f64)>,
}

impl Creep {
    /// A sudden change: what comes after is measured against itself, unless the rate comes back.
    pub fn set_aside(&mut self) {
        *self = Self { before_change: self.reference.or(self.before_change), ..Self::default() };
    }

    /// The rate came back, or somebody took the new one as the baseline: the old reference holds again, or no more.
    pub fn change_ended(&mut self, came_back: bool) {
        let before = self.before_change.take();
        if came_back {
            self.reference = before.or(self.reference);
        }
    }

    /// Notes the rate after a flight.
    pub fn note(&mut self, hours: f64, now: &Situation) {
        if now.since_change.min(now.quarts) < KNOWN_QUARTS {
            return;
        }
        self.reference.get_or_insert((hours, now.rate.qt_per_h));
        if self.noted.back().is_none_or(|(h, _)| hours - h >= NOTE_EVERY_H) {
            self.noted.push_back((hours, now.rate.qt_per_h));
        }
        while self.noted.len() > 1 && self.noted[1].0 <= hours - BACK_H {
            self.noted.pop_front();
        }
    }

    /// The rate 200 h before `hours`, if it was known.
    pub fn before(&self, hours: f64) -> Option<f64> {
        self.noted.front().filter(|(h, _)| *h <= hours - BACK_H).map(|(_, r)| *r)
    }
}
