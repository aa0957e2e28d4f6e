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
    /// Keeps what is believed right after a flight, step `step`.
    pub(super) fn keep(&mut self, step: usize, track: Track) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(Kept { flight: track.sump.flights - 1, step, track });
    }

    /// Without readings a refill nobody logged looks like a fall: where a change was due, that is asked first.
    pub(super) fn refill_instead(&mut self, event: &Event) -> bool {
        let due = self.change_due(event);
        let Some(fill) = self.engine.fill_qt.filter(|_| due && self.track.log() != Log::Levels) else { return false };
        self.track.sump.refill(Who::Own, fill, 0.25);
        self.track.sump.own.changes.clear();
        self.forget_past();
        self.changed_h = Some(event.hours);
        self.findings.not_logged(event, event, None);
        true
    }

    /// An oil change would have been due by now.
    pub(super) fn change_due(&self, event: &Event) -> bool {
        self.changed_h.is_some_and(|h| event.hours - h >= 0.9 * self.rules.oil_change.every_h)
    }

    /// An addition before a flight has been taken as made: asks about it. Returns the finding.
    pub(super) fn tell_not_logged(&mut self, now: usize, found: &Unlogged) -> Option<usize> {
        let event = self.steps[now].event;
        let from = self.flights.get(found.flight as usize).copied().unwrap_or(now);
        let own = self.steps[(from + 1).min(now)..=now].iter().filter(|s| s.mate.is_none()).map(|s| s.event);
        let next = own.clone().find(|e| matches!(e.what, What::Level { .. }));
        if let Some(seating) = &mut self.seating {
            seating.pour(found.quarts, 0.02);
        }
        let refilled =
            self.change_due(event) && self.engine.fill_qt.is_some_and(|fill| self.track.sump.level() > fill - 0.5);
        if refilled {
            self.changed_h = Some(event.hours);
        }
        self.findings.not_logged(next.unwrap_or(event), event, (!refilled).then_some(found.quarts))
    }

    /// Takes an addition as made, and goes through the flights since again. `None`: that was too long ago.
    pub(super) fn go_back(&mut self, now: usize, who: Who, found: &Unlogged) -> Option<()> {
        let at = self.kept.iter().position(|kept| kept.flight == found.flight)?;
        self.accounts.clear();
        self.kept.truncate(at + 1);
        let from = self.kept.back_mut()?;
        from.track.sump.pour_unlogged(who, found.quarts);
        let (step, start) = (from.step, from.track.clone());
        let mut since = Vec::new();
        self.track = self.again(start, step, now, |step, track| since.push((step, track.clone())));
        since.into_iter().for_each(|(step, track)| self.keep(step, track));
        Some(())
    }

    /// What would be believed had oil been added before a flight. `None`: that was too long ago.
    pub(super) fn had_been_added(&self, now: usize, who: Who, found: &Unlogged) -> Option<Track> {
        let kept = self.kept.iter().find(|kept| kept.flight == found.flight)?;
        let mut start = kept.track.clone();
        start.sump.pour_unlogged(who, found.quarts);
        Some(self.again(start, kept.step, now, |_, _| {}))
    }

    /// Goes from a belief right after step `from` through what came since, up to the look at step `now`; `flown` hears of
    /// every flight.
    fn again(&self, mut track: Track, from: usize, now: usize, mut flown: impl FnMut(usize, &Track)) -> Track {
        for k in from + 1..=now {
            let step = self.steps[k];
            let of = if step.mate.is_none() { Who::Own } else { Who::Mate };
            if of == Who::Mate && step.mate != self.beside.map(|b| b.mate) {
                continue;
            }
            track.look(of, step.event);
            if k == now {
                // A flight is a look at both engines' oil: the mate's comes second.
                if of == Who::Own && self.beside_looked {
                    self.look_beside(&mut track, step);
                }
                break;
            }
            if of == Who::Mate {
                track.mate_goes(step.event);
                continue;
            }
            let mate_h = self.look_beside(&mut track, step);
            track.go(step.event, step.service, self.decays[k], mate_h);
            if let What::Flight { .. } = step.event.what {
                flown(k, &track);
            }
        }
        track
    }
}
