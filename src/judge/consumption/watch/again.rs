//! Going back: an addition or a refill that nobody logged is taken as made where it was made, and what came
//! since is gone through again.

use super::Watch;
use crate::engine::{Event, What};
use crate::judge::consumption::keeping::Log;
use crate::judge::consumption::sump::Who;
use crate::judge::consumption::track::Track;
use crate::judge::consumption::unlogged::Unlogged;

/// Flights that can be gone through again when an addition turns out not to have been logged.
pub(super) const KEPT: usize = 16;

/// A moment that can be gone back to: right after the flight with number `flight`, which was step `step`.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    flight: u32,
    step: usize,
    track: Track,
}

impl Watch<'_> {
    pub(super) fn keep(&mut self, step: usize) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        let flight = self.track.sump.flights - 1;
        self.kept.push_back(Kept { flight, step, track: self.track.clone() });
    }

    /// Without readings a refill nobody logged looks like a fall: where a change was due, that is asked first.
    pub(super) fn refill_instead(&mut self, event: &Event) -> bool {
        let due = self.change_due(event);
        let Some(fill) = self.engine.fill_qt.filter(|_| due && self.track.log() != Log::Levels) else { return false };
        self.track.sump.refill(Who::Own, fill, 0.25);
        self.track.sump.own.changes.clear();
        self.kept.clear();
        self.changed_h = Some(event.hours);
        self.findings.not_logged(event, event, None);
        true
    }

    /// An oil change would have been due by now.
    pub(super) fn change_due(&self, event: &Event) -> bool {
        self.changed_h.is_some_and(|h| event.hours - h >= 0.9 * self.rules.oil_change.every_h)
    }

    /// An addition seems to have been made and not logged: takes it as made, and asks.
    pub(super) fn not_logged(&mut self, now: usize, found: Unlogged) {
        let Some(from) = self.go_back(now, Who::Own, found) else { return };
        let event = self.steps[now].event;
        let own = self.steps[from + 1..=now].iter().filter(|s| s.mate.is_none()).map(|s| s.event);
        let next = own.clone().find(|e| matches!(e.what, What::Level { .. }));
        if let Some(seating) = &mut self.seating {
            seating.pour(found.quarts, 0.02);
        }
        let refilled =
            self.change_due(event) && self.engine.fill_qt.is_some_and(|fill| self.track.sump.level() > fill - 0.5);
        if refilled {
            self.changed_h = Some(event.hours);
        }
        self.findings.not_logged(next.unwrap_or(event), event, (!refilled).then_some(found.quarts));
    }

    /// Takes an addition as made, and goes through the flights since again. Returns the step gone back to.
    pub(super) fn go_back(&mut self, now: usize, who: Who, found: Unlogged) -> Option<usize> {
        let at = self.kept.iter().position(|kept| kept.flight == found.flight)?;
        self.kept.truncate(at + 1);
        let kept = self.kept.back_mut()?;
        kept.track.sump.pour_unlogged(who, found.quarts);
        let from = kept.step;
        self.track = kept.track.clone();
        for k in from + 1..=now {
            let step = self.steps[k];
            let of = if step.mate.is_none() { Who::Own } else { Who::Mate };
            if of == Who::Mate && step.mate != self.beside.map(|b| b.mate) {
                continue;
            }
            self.track.look(of, step.event);
            if k == now {
                // A flight is a look at both engines' oil: the mate's comes second.
                if of == Who::Own && self.beside_looked {
                    self.look_beside(step);
                }
                break;
            }
            if of == Who::Mate {
                self.track.mate_goes(step.event);
                continue;
            }
            let mate_h = self.look_beside(step);
            self.track.go(step.event, step.service, self.decays[k], mate_h);
            if let What::Flight { .. } = step.event.what {
                self.keep(k);
            }
        }
        Some(from)
    }
}
