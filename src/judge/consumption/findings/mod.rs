//! What is told of one engine's oil: findings opened, grown and settled along its life.
//!
//! Here is what is open and how it closes; the files below hold what opens it.

mod ceiling;
mod change;
mod facts;
mod grade;
mod once;
mod rate;

use super::balance::Balance;
use super::keeping::Log;
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Closing, Finding, Rate, Settled};
use crate::records::{Inspection, Instant, Oil, Source};
use ceiling::OpenCeiling;
pub use change::Found;
use change::{Open, Returned};
use grade::Grade;

/// The state of things at an event.
#[derive(Clone, Debug)]
pub struct Situation {
    pub rate: Rate,
    pub level_qt: f64,
    pub level_sd: f64,
    pub log: Log,
    /// Widening of the reading error, ≥ 1.
    pub noise: f64,
    /// Quarts burnt since the records began, since the baseline, since the last change.
    pub burnt: f64,
    pub quarts: f64,
    pub since_change: f64,
    pub oil: Option<Oil>,
    /// The other engine of a twin was followed beside it, and tells what the flying was like.
    pub witnessed: bool,
}

/// All findings of one engine's oil, and which are open.
#[derive(Debug)]
pub struct Findings<'a> {
    engine: &'a Engine,
    rules: &'a Rules,
    closings: Vec<&'a Closing>,
    all: Vec<Finding>,
    rise: Option<Open>,
    fall: Option<Open>,
    /// The baseline last come back to.
    returned: Option<Returned>,
    /// A change ended that nobody has asked about: the rate came back, or a person closed it.
    ended: Option<bool>,
    ceiling: Option<OpenCeiling>,
    balance: Balance,
    endurance: Option<usize>,
    creep: Option<usize>,
    grade: Option<Grade>,
    metal: Option<(f64, Source)>,
    counts: [u32; 6],
    build: usize,
}

impl<'a> Findings<'a> {
    pub fn new(engine: &'a Engine, rules: &'a Rules, closings: &'a [Closing]) -> Self {
        let mine = format!("|{}|", engine.serial);
        let mut closings: Vec<_> = closings.iter().filter(|c| c.key.contains(&mine)).collect();
        closings.sort_by_key(|c| c.at);
        Self {
            engine,
            rules,
            closings,
            all: Vec::new(),
            rise: None,
            fall: None,
            returned: None,
            ended: None,
            ceiling: None,
            balance: Balance::default(),
            endurance: None,
            creep: None,
            grade: None,
            metal: None,
            counts: [0; 6],
            build: 0,
        }
    }

    pub fn into_all(self) -> Vec<Finding> {
        self.all
    }

    fn subject(&mut self, event: &Event, word: &str, which: usize) -> String {
        if event.build != self.build {
            self.build = event.build;
            self.counts = [0; 6];
        }
        self.counts[which] += 1;
        format!("build {} {word} {}", event.build + 1, self.counts[which])
    }

    fn settle(&mut self, finding: usize, at: Instant, why: String, source: Option<Source>) {
        let settled = &mut self.all[finding].settled;
        if settled.is_none() {
            *settled = Some(Settled { at, why, source });
        }
    }

    /// Everything open is settled by an event.
    pub fn settle_all(&mut self, event: &Event, why: &str) {
        let open = [
            self.rise.take().map(|o| o.finding),
            self.fall.take().map(|o| o.finding),
            self.ceiling.take().map(|o| o.finding),
            self.creep.take(),
        ];
        for finding in open.into_iter().flatten() {
            self.settle(finding, event.at, why.to_owned(), Some(event.source.clone()));
        }
        self.grade = None;
        self.returned = None;
    }

    /// How an open change ended since this was last asked: the rate came back (true), or a person closed it.
    pub fn take_ended(&mut self) -> Option<bool> {
        self.ended.take()
    }

    /// Takes in what people closed up to a moment: the rate since the onset is the baseline from then on.
    pub fn close_up_to(&mut self, at: Instant) {
        while let Some(closing) = self.closings.first().copied().filter(|c| c.at <= at) {
            self.closings.remove(0);
            for side in [true, false] {
                let open = if side { &mut self.rise } else { &mut self.fall };
                if let Some(o) = *open
                    && self.all[o.finding].key() == closing.key
                {
                    *open = None;
                    self.ended = Some(false);
                    self.settle(
                        o.finding,
                        closing.at,
                        "closed; the rate since the onset is the new baseline".into(),
                        None,
                    );
                }
            }
        }
    }

    /// Notes what else the event says.
    pub fn see(&mut self, event: &Event, now: &Situation) {
        if let What::Filter { result: Some(Inspection::Metal) } | What::Screen { result: Some(Inspection::Metal) } =
            event.what
        {
            self.metal = Some((event.hours, event.source.clone()));
            if let Some(o) = self.rise {
                let mut finding = self.all[o.finding].clone();
                self.warn_with_metal(&mut finding, event);
                self.all[o.finding] = finding;
            }
        }
        self.watch_balance(event, now);
        if let What::Flight { .. } = event.what {
            self.watch_ceiling(event, now);
            self.watch_grade(event, now);
        }
    }
}
