//! The plain balance of the last looks: oil gone over hours flown, as a mechanic would work it out on paper.
//!
//! The filter takes a wildly low reading for a misreading and learns a new rate over some quarts. An engine that
//! suddenly loses oil at about its maker's maximum has not the time. Here nothing is smoothed: the level read before,
//! less the level read now, and what was poured between, against what the engine usually uses. In return much is
//! asked: far more gone than usual, two looks that say so, and no one reading or entry that says it alone.
//!
//! The constants come from simulation: fewer than 0.02 warnings per 1000 h of healthy engines at 1/20 to 1/3 qt/h,
//! with 3 % gross readings (`goals N ceiling`).

use std::collections::VecDeque;

use super::NINETY;
use super::evidence::{MARK_SD, READING_SD, TWO_QUARTS, TWO_QUARTS_BELOW};
use super::keeping::Log;
use crate::engine::{Event, What};
use crate::records::Instant;

/// Share of the ceiling that the lower bound of the rate must reach.
pub const NEAR: f64 = 0.75;
/// Oil that must be gone beyond the usual, qt.
const BEYOND_QT: f64 = 3.25;
/// What the look before must show of it, and what must be left without the flights that show most, qt.
const AGREES_QT: f64 = 2.0;
const REST_QT: f64 = 1.0;
/// Looks in a window at most.
const LOOKS: usize = 8;
/// Hours of looks from which they can show that no more is lost: in fewer, one addition not logged would.
const MENDED_H: f64 = 8.0;
/// A level that rises by so much of itself is a refill or an addition nobody logged, qt.
const JUMP_QT: f64 = 1.2;

/// Somebody saw the oil.
#[derive(Clone, Copy, Debug)]
struct Look {
    /// Level before any addition, qt: on the dipstick, or from the mark where oil was only added.
    level: f64,
    /// `level` less all that was poured before: falls by what the engine used, whatever was added.
    balance: f64,
    sd: f64,
    /// Flown since the records began, by the flights; engine hours by the clock.
    flown: f64,
    hours: f64,
    at: Instant,
    /// The most the engine was thought to use at that time, qt/h.
    usual: f64,
}

impl Look {
    /// Hours from this look to a later one. A mis-keyed meter must not shorten them, nor a flight not logged.
    fn hours_to(&self, later: &Self) -> f64 {
        (later.flown - self.flown).max(later.hours - self.hours)
    }
}

/// Oil gone between two looks.
#[derive(Clone, Copy, Debug)]
pub struct Gone {
    pub quarts: f64,
    pub hours: f64,
    /// Standard deviation of `quarts`, qt.
    pub sd: f64,
    /// When the looks began, with engine hours.
    pub since: Instant,
    pub since_hours: f64,
    /// The most the engine was thought to use before, qt/h.
    pub usual_qt_per_h: f64,
    /// The dipstick now, where it was read, qt.
    pub level_qt: Option<f64>,
}

impl Gone {
    pub fn qt_per_h(&self) -> f64 {
        self.quarts / self.hours
    }

    /// One-sided 95 % bounds of the rate, qt/h.
    pub fn low(&self) -> f64 {
        ((self.quarts - NINETY * self.sd) / self.hours).max(0.0)
    }

    pub fn high(&self) -> f64 {
        (self.quarts + NINETY * self.sd) / self.hours
    }

    /// What is gone beyond the usual, qt.
    fn beyond(&self) -> f64 {
        self.quarts - self.usual_qt_per_h * self.hours
    }
}

/// The last looks at one engine's oil.
#[derive(Debug, Default)]
pub struct Balance {
    looks: VecDeque<Look>,
    poured: f64,
    flown: f64,
    /// Flown before the last flight: nobody has looked since.
    departed: f64,
    /// Somebody read the dipstick since the last flight.
    read: bool,
    by_dipstick: bool,
}

impl Balance {
    /// Takes an event in; `usual` is the most the engine is thought to use, qt/h, and `noise` ≥ 1 widens readings.
    /// True where it was a look.
    pub fn note(&mut self, event: &Event, log: Log, usual: f64, noise: f64) -> bool {
        match event.what {
            What::Level { qt } => {
                self.read = true;
                self.look(event, qt, READING_SD * noise.sqrt(), usual, true);
                return true;
            }
            What::Added { qt, .. } => {
                let alone = !self.read && log != Log::Levels;
                if alone {
                    let below = if qt >= TWO_QUARTS { TWO_QUARTS_BELOW } else { 0.0 };
                    self.look(event, -below, MARK_SD, usual, false);
                }
                self.poured += qt;
                return alone;
            }
            What::Flight { hours, .. } | What::GroundRun { hours } => {
                self.departed = self.flown;
                self.flown += hours;
                self.read = false;
            }
            // How much went in is not known well enough, nor where the level stood: the next look is the first.
            What::Changed { .. } | What::Installed | What::BuildBegan(_) => self.looks.clear(),
            _ => {}
        }
        false
    }

    fn look(&mut self, event: &Event, level: f64, sd: f64, usual: f64, by_dipstick: bool) {
        let balance = level - self.poured;
        let look = Look { level, balance, sd, flown: self.flown, hours: event.hours, at: event.at, usual };
        if by_dipstick != self.by_dipstick || self.looks.back().is_some_and(|l| balance - l.balance > JUMP_QT) {
            self.looks.clear();
        }
        self.by_dipstick = by_dipstick;
        // Two looks without a flight between are one, or a row written twice would agree with itself. Of two readings
        // the later counts; of two additions the first was made at the mark.
        if self.looks.back().is_some_and(|l| self.flown <= l.flown) {
            if !by_dipstick {
                return;
            }
            self.looks.pop_back();
        }
        // One more than a window, to check its first look by.
        if self.looks.len() > LOOKS {
            self.looks.pop_front();
        }
        self.looks.push_back(look);
    }

    /// Far more oil gone than usual, at a rate near a ceiling, qt/h: the fewest looks that show it.
    pub fn near(&self, ceiling: f64) -> Option<Gone> {
        let now = self.looks.len().checked_sub(1)?;
        let from = (1..now.saturating_sub(1)).rev().find(|&from| self.shows(from, now, ceiling))?;
        Some(self.gone(from, now))
    }

    /// The window as it is, the window without its last look, and the window without its worst stretch all have to
    /// show it; its first look is taken with the one before. So no one reading, nor one entry, can say it alone.
    fn shows(&self, from: usize, now: usize, ceiling: f64) -> bool {
        let (gone, before) = (self.gone(from, now), self.gone(from, now - 1));
        let usual = gone.usual_qt_per_h;
        let stretch = |(a, b): (&Look, &Look)| a.balance - b.balance - usual * a.hours_to(b);
        let worst = self.looks.range(from..now).zip(self.looks.range(from + 1..=now)).map(stretch).fold(0.0, f64::max);
        gone.low() >= NEAR * ceiling
            && gone.beyond() >= BEYOND_QT
            && before.qt_per_h() >= NEAR * ceiling
            && before.beyond() >= AGREES_QT
            && gone.beyond() - worst >= REST_QT
    }

    /// Oil gone between two looks; the first is held down to the one before it, which may only have stood higher.
    fn gone(&self, from: usize, to: usize) -> Gone {
        let (a, b) = (self.looks[from], self.looks[to]);
        let start = from.checked_sub(1).map_or(a.balance, |before| a.balance.min(self.looks[before].balance));
        Gone {
            quarts: start - b.balance,
            hours: a.hours_to(&b),
            sd: a.sd.hypot(b.sd),
            since: a.at,
            since_hours: a.hours,
            usual_qt_per_h: a.usual,
            level_qt: self.by_dipstick.then_some(b.level),
        }
    }

    /// What was seen so far has been told and settled: it shows nothing again.
    pub fn forget(&mut self) {
        self.looks.clear();
    }

    /// The most the rate can be (95 %) over the looks since some engine hours, qt/h; `None` before some hours of them.
    pub fn at_most(&self, since_hours: f64) -> Option<f64> {
        let first = self.looks.iter().find(|l| l.hours >= since_hours)?;
        let last = self.looks.back()?;
        let sd = NINETY * first.sd.hypot(last.sd);
        // Where oil is only added, none added before the last flight means that the level was above the mark.
        let (balance, hours) = match self.by_dipstick {
            true => (last.balance, first.hours_to(last)),
            false => (-self.poured, self.departed - first.flown),
        };
        (hours >= MENDED_H).then(|| (first.balance - balance + sd) / hours)
    }
}

#[cfg(test)]
mod tests;
