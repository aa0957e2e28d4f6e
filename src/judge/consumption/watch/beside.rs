//! The mate on a twin, followed together with the engine itself where nobody writes down what was flown.
//!
//! What both engines burn more of on the same flights is the flying; what one of them burns more of is
//! that engine. So the mate's oil is believed in beside the engine's own, and a change is looked for on
//! both: without that, a mate that has begun to burn more would look like a fall here. Nothing is told
//! of the mate here; it is followed for itself, and comes to the same view.

use super::settling::SEATING_LENGTHS;
use super::{QUARTS_AFTER_CHANGE, Watch};
use crate::engine::{Engine, Event, What};
use crate::judge::consumption::calibration::limit;
use crate::judge::consumption::candidates::Candidate;
use crate::judge::consumption::change::{Statistics, accept, statistics};
use crate::judge::consumption::keeping::Log;
use crate::judge::consumption::steps::Step;
use crate::judge::consumption::sump::{LEAST_RATE, Who};
use crate::judge::consumption::track::Track;
use crate::judge::consumption::twin;
use crate::judge::consumption::unlogged::suspect;

/// Engines wear, and seldom mend themselves: how far a fall's ln likelihood ratio must be ahead of a rise's.
const RISE_AHEAD: f64 = 2.0;

/// The mate being followed.
#[derive(Clone, Copy, Debug)]
pub struct Beside {
    /// Which of the engine's mates.
    pub mate: usize,
    /// Quarts it had burnt when a change was last found.
    burnt_at_change: f64,
}

impl<'a> Watch<'a> {
    /// An event of a mate.
    pub(super) fn beside(&mut self, k: usize, mate: usize, event: &'a Event) {
        if self.beside.is_none_or(|b| b.mate != mate) {
            return;
        }
        if matches!(event.what, What::BuildBegan(_) | What::Removed | What::Flight { inferred: false, .. }) {
            return self.leave();
        }
        if self.look(Who::Mate, event).is_some() {
            self.judge_beside(k);
        }
        self.mate_goes(event);
    }

    fn leave(&mut self) {
        self.beside = None;
        self.track.leave_mate();
        self.forget_past();
    }

    /// A flight of both begins: who flies beside, and what its pilots did about its oil. Returns its hours.
    pub(super) fn fly_beside(&mut self, k: usize, step: Step<'a>) -> Option<f64> {
        let (mate, event) = step.beside?;
        if !self.track.mostly_unnamed(step.is_unnamed()) {
            if self.beside.is_some() {
                self.leave();
            }
            return None;
        }
        if self.beside.is_none_or(|b| b.mate != mate) {
            let engine = *self.mates.get(mate)?;
            if self.breaking_in_beside(engine, event) {
                return None;
            }
            self.track.follow_mate(engine);
            self.beside = self.track.mate.is_some().then_some(Beside { mate, burnt_at_change: f64::NEG_INFINITY });
            self.forget_past();
        }
        self.beside_looked = true;
        if self.look(Who::Mate, event).is_some() {
            self.judge_beside(k);
        }
        // What was seen of the mate since may decide what was seen here.
        if let Some(own) = self.last_look {
            self.judge(k, own);
        }
        hours(event)
    }

    /// The same, when a flight is gone through again.
    pub(super) fn look_beside(&self, track: &mut Track, step: Step<'_>) -> Option<f64> {
        let (_, event) = step.beside.filter(|(mate, _)| self.beside.is_some_and(|b| b.mate == *mate))?;
        track.look(Who::Mate, event);
        hours(event)
    }

    /// Rings that seat burn less from flight to flight by themselves: no witness of the flying.
    fn breaking_in_beside(&self, mate: &Engine, event: &Event) -> bool {
        let length_h = self.rules.break_in.length_h;
        mate.builds.get(event.build).is_some_and(|b| {
            b.kind.is_some() && b.zero_known && event.hours - b.zero_hours < SEATING_LENGTHS * length_h
        })
    }

    fn judge_beside(&mut self, k: usize) {
        let (Some(beside), Some(log)) = (self.beside, self.track.mate.map(|m| m.log())) else { return };
        let sump = &self.track.sump;
        let Some(side) = sump.side(Who::Mate) else { return };
        let c = &self.rules.consumption;
        let burnt = self.track.mate_burnt;
        if burnt >= c.quarts_before_judging && burnt - beside.burnt_at_change >= QUARTS_AFTER_CHANGE {
            let Statistics { ln_rise, ln_fall } = statistics(side, &self.ratios, log == Log::Levels);
            let rate = sump.belief.mean[side.rate];
            let at = |rise| limit(log, rise, c.false_alarms_per_1000_h, self.track.flight_h, rate);
            let rises = (ln_rise >= at(true)).then_some(true);
            if let Some(rise) = rises.or((ln_fall >= at(false)).then_some(false))
                && let Some(found) = side.changes.best(rise).filter(|f| self.large_enough(rise, 1.0 + f.size / f.rate))
                && sump.own.changes.best(!rise).is_none_or(|own| !likelier(&own, &found, !rise))
            {
                return self.accept_beside(&found);
            }
        }
        if log != Log::AdditionsOnly
            && let Some(found) = suspect(side, sump.flights, log == Log::Levels)
        {
            self.go_back(k, Who::Mate, &found);
        }
    }

    /// The change of the mate, if it is followed, that would look like this change here: the other way.
    pub(super) fn mirror(&self, rise: bool) -> Option<Candidate> {
        self.beside?;
        self.track.sump.side(Who::Mate)?.changes.best(!rise)
    }

    /// The mate's mirror of a change told here explains as much: what is sure is that the two moved apart.
    pub(super) fn tell_apart(&mut self, event: &Event, mirror: &Candidate) {
        let Some(mate) = self.beside.and_then(|b| self.mates.get(b.mate).copied()) else { return };
        let theirs = [mirror.rate, (mirror.rate + mirror.size).max(LEAST_RATE)];
        let engine = self.engine;
        self.findings.beside_change(event.at, |ours| twin::diverged(engine, mate, ours, theirs));
    }

    /// It is the mate that changed.
    pub(super) fn accept_beside(&mut self, found: &Candidate) {
        accept(&mut self.track.sump, Who::Mate, found);
        self.forget_past();
        if let Some(beside) = &mut self.beside {
            beside.burnt_at_change = self.track.mate_burnt;
        }
    }
}

/// The change `this` of one engine explains more than its mirror, the change `other` of the other engine the other
/// way. `rise`: `this` is a rise.
pub(super) fn likelier(this: &Candidate, other: &Candidate, rise: bool) -> bool {
    this.ln_ratio - other.ln_ratio > if rise { -RISE_AHEAD } else { RISE_AHEAD }
}

fn hours(event: &Event) -> Option<f64> {
    match event.what {
        What::Flight { hours, .. } => Some(hours),
        _ => None,
    }
}
