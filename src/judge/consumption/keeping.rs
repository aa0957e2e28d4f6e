//! How one engine's oil is written down: what kind of log this has been lately, where its pilots add
//! oil, and what they did about the oil since the last flight.

use super::evidence::{Look, Mark, above_when_added};
use super::sump::{Side, Sump, USUAL_FLIGHT_H, Who};
use super::unlogged::{Habit, forgotten_at};
use crate::engine::{Engine, Event, What};

/// What a log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Log {
    Levels,
    FlightsAndAdditions,
    AdditionsOnly,
}

impl Log {
    /// As people read it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Levels => "levels",
            Self::FlightsAndAdditions => "flights and additions",
            Self::AdditionsOnly => "additions only",
        }
    }
}

/// Flights without a reading after which a log no longer counts as one with levels.
const FLIGHTS_WITHOUT_READING: u32 = 5;
/// How far below a fill oil is added, qt.
const MARK_BELOW_FILL_QT: f64 = 1.0;
/// Variance of a mark to be learned, qt².
const MARK_VAR: f64 = 0.36;

/// Relative standard deviation below which the rate counts as known.
const KNOWN: f64 = 0.5;

/// Odds of an addition not logged beside one that was, and where nothing is known of the level.
const TWICE: f64 = 3e-4;
const UNSEEN: f64 = 7e-3;

/// The log of one engine's oil, as far as it has been read.
#[derive(Clone, Copy, Debug)]
pub struct Keeping {
    who: Who,
    /// Somebody looked at the oil since the last flight.
    pub looked: bool,
    mark: Option<Mark>,
    /// Level after an oil change, qt.
    pub fill: Option<f64>,
    since_reading: u32,
    logged_h: f64,
    inferred_h: f64,
    habit: Habit,
    /// The reading since the last flight, and whether oil was added since.
    reading: Option<f64>,
    added: bool,
}

impl Keeping {
    pub fn new(who: Who, engine: &Engine) -> Self {
        Self {
            who,
            looked: false,
            mark: engine.add_mark_qt.map(Mark::At),
            fill: engine.fill_qt,
            since_reading: FLIGHTS_WITHOUT_READING + 1,
            logged_h: 0.0,
            inferred_h: 0.0,
            habit: Habit::NONE,
            reading: None,
            added: false,
        }
    }

    /// What kind of log this has been lately.
    pub fn log(&self) -> Log {
        if self.since_reading <= FLIGHTS_WITHOUT_READING {
            Log::Levels
        } else if self.inferred_h > self.logged_h {
            Log::AdditionsOnly
        } else {
            Log::FlightsAndAdditions
        }
    }

    fn side<'a>(&self, sump: &'a Sump) -> &'a Side {
        sump.side(self.who).unwrap_or(&sump.own)
    }

    fn mark(&mut self, sump: &mut Sump) -> Mark {
        if let Some(mark) = self.mark {
            return mark;
        }
        let level = sump.belief.mean[self.side(sump).level];
        let guess = self.fill.map_or(level - 0.5, |f| f - MARK_BELOW_FILL_QT);
        let mark = sump.belief.push(guess, MARK_VAR).map_or(Mark::At(guess), Mark::Unknown);
        if let Mark::Unknown(i) = mark {
            sump.settle(i);
        }
        self.mark = Some(mark);
        mark
    }

    /// The mark as believed, if the log has needed one, qt.
    pub fn mark_qt(&self, sump: &Sump) -> Option<f64> {
        self.mark.map(|m| m.at(&sump.belief))
    }

    /// What the event shows of the oil. `None`: nothing.
    pub fn look(&mut self, event: &Event, sump: &mut Sump) -> Option<Look> {
        match event.what {
            What::Level { qt } => {
                self.since_reading = 0;
                self.looked = true;
                self.reading = Some(qt);
                Some(Look::Reading(qt))
            }
            What::Added { qt, .. } if !self.looked => {
                self.looked = true;
                match self.log() {
                    Log::Levels => None,
                    Log::FlightsAndAdditions => Some(Look::Added(self.mark(sump), qt)),
                    Log::AdditionsOnly => {
                        let burnt = sump.belief.mean[self.side(sump).rate] * USUAL_FLIGHT_H;
                        Some(Look::AddedAlone { mark: self.mark(sump), quantity: qt, above: above_when_added(burnt) })
                    }
                }
            }
            // None was added before the drain: an addition cut off by it is not one that never comes.
            What::Changed { .. } if !self.looked && self.log() == Log::AdditionsOnly && self.rate_known(sump) => {
                Some(Look::NoneAdded(self.mark(sump)))
            }
            What::Flight { inferred: false, .. } if !self.looked && self.log() == Log::FlightsAndAdditions => {
                Some(Look::NoneAdded(self.mark(sump)))
            }
            _ => None,
        }
    }

    /// What the absence of an addition over a whole stretch says is normal only about a rate known by now.
    fn rate_known(&self, sump: &Sump) -> bool {
        let i = self.side(sump).rate;
        sump.belief.cov[i][i].max(0.0).sqrt() < KNOWN * sump.belief.mean[i]
    }

    /// Odds that oil was added before the flight to come and nobody logged it. What was seen before it is used up.
    pub fn forgotten(&mut self, sump: &Sump) -> f64 {
        let (reading, added) = (self.reading.take(), std::mem::take(&mut self.added));
        let odds = match (reading, self.mark) {
            _ if added => TWICE,
            (Some(y), _) => self.habit.forgotten(y),
            (None, Some(mark)) => {
                let (seen, at) = mark.against(self.side(sump).level);
                let above = seen.take(&sump.belief.mean) - at;
                forgotten_at(&sump.belief, seen, above)
            }
            (None, None) => UNSEEN,
        };
        if let Some(y) = reading {
            self.habit.note(y, added);
        }
        odds
    }

    /// Oil was added, qt.
    pub fn pour(&mut self, sump: &mut Sump, qt: f64) {
        self.added = true;
        sump.pour(self.who, qt);
    }

    /// Drained and refilled, to a level that somebody read or to the usual one.
    pub fn refill(&mut self, sump: &mut Sump, level: Option<f64>) {
        match (level, self.fill) {
            (Some(level), _) => {
                sump.refill(self.who, level, REFILL_READ_VAR);
                self.fill.get_or_insert(level);
            }
            (None, Some(fill)) => sump.refill(self.who, fill, REFILL_VAR),
            (None, None) => sump.refill(self.who, sump.belief.mean[self.side(sump).level], 1.0),
        }
        self.looked = false;
    }

    /// A flight was flown.
    pub fn flew(&mut self, hours: f64, inferred: bool) {
        let keep = 0.9;
        *(if inferred { &mut self.inferred_h } else { &mut self.logged_h }) += hours;
        self.inferred_h *= keep;
        self.logged_h *= keep;
        self.looked = false;
        self.since_reading = self.since_reading.saturating_add(1);
    }
}

/// Variance of the level after a refill, qt² (0.3 qt).
pub const REFILL_VAR: f64 = 0.09;
/// A reading right after a refill, qt² (its own error).
const REFILL_READ_VAR: f64 = 0.07;
