//! Alerts that sleep: closed by the records, everything about them told, nothing waiting.
//!
//! Ten years of a hundred engines are some twenty thousand of them, and on nearly every pass each only has to hear
//! that its finding is still there and still settled. So a pass holds their keys and numbers alone, and wakes (loads)
//! those for which something may change: the finding is no longer settled or no longer there, or an entry of the log
//! names the alert.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use super::{Action, Alert, State};
use crate::judge::Finding;
use crate::records::Instant;

/// What is known of an alert that sleeps.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Sleeper {
    pub number: u32,
    /// [`Finding::key`].
    pub key: Box<str>,
    /// The last pass no longer had its finding.
    pub gone: bool,
}

impl Alert {
    /// The newest moment that is remembered of an alert that may sleep: from then on, once a digest has gone after it,
    /// a pass that sees the same finding settled (or sees none, where it was gone) changes nothing about it, and says
    /// nothing of it. `None`: it is looked at on every pass.
    pub fn rests(&self) -> Option<Instant> {
        let closed = self.closed.as_ref().filter(|closed| closed.by.is_none() && self.state == State::Closed)?;
        let memory = &self.memory;
        let over = self.finding.settled.is_some() || memory.gone;
        let carried = self.told.as_ref().is_none_or(|told| told.carried);
        let waits = memory.owed.is_some() || memory.unanswered_since.is_some() || memory.escalated.is_some();
        if !over || !carried || waits || memory.closed_by_action.is_some() {
            return None;
        }
        let told = self.told.as_ref().map(|told| told.at);
        [told, memory.last_single].into_iter().flatten().chain([memory.ended.unwrap_or(closed.at)]).max()
    }
}

/// The sleepers of a pass, and which of them have met their finding.
#[derive(Clone, Debug, Default)]
pub struct Asleep {
    by_key: HashMap<Box<str>, u32>,
    by_number: BTreeMap<u32, Slot>,
    /// Highest number an alert has had.
    last: u32,
}

#[derive(Clone, Copy, Debug)]
struct Slot {
    gone: bool,
    met: Met,
}

#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Met {
    Not,
    /// Settled, as it was.
    AsItWas,
    /// Otherwise than it was.
    Changed,
}

/// What [`super::reconcile`] knows of the alerts it is not given, and of those woken for another reason than their
/// finding.
#[derive(Clone, Debug, Default)]
pub struct Rest {
    /// Highest number an alert has had.
    pub last: u32,
    /// Woken ones whose finding is there and settled as it was.
    pub met: HashSet<u32>,
}

impl Asleep {
    /// `last` is the highest number of all alerts.
    pub fn new(sleepers: impl IntoIterator<Item = Sleeper>, last: u32) -> Self {
        let mut asleep = Self { last, ..Self::default() };
        for Sleeper { number, key, gone } in sleepers {
            asleep.by_key.insert(key, number);
            asleep.by_number.insert(number, Slot { gone, met: Met::Not });
        }
        asleep
    }

    /// Leaves the findings that are not just the settled past of a sleeper, and gives the numbers of the sleepers whose
    /// past they are. They come in order: of two of one key the first stands.
    pub fn meet(&mut self, findings: &mut Vec<Finding>) -> Vec<u32> {
        let mut met = Vec::new();
        findings.retain(|finding| {
            let slot = self.by_key.get(finding.key().as_str()).and_then(|n| Some((*n, self.by_number.get_mut(n)?)));
            let Some((number, slot)) = slot else { return true };
            if slot.met == Met::Not {
                let as_it_was = finding.settled.is_some() && !slot.gone;
                slot.met = if as_it_was { Met::AsItWas } else { Met::Changed };
                met.extend(as_it_was.then_some(number));
            }
            slot.met == Met::Changed
        });
        met
    }

    /// The sleepers that met their finding when it was judged last meet it again; false, and nothing is done, if one of
    /// them is awake by now.
    pub fn meet_again(&mut self, met: &[u32]) -> bool {
        let asleep = met.iter().all(|n| self.by_number.get(n).is_some_and(|slot| !slot.gone));
        if asleep {
            for number in met {
                self.by_number.entry(*number).and_modify(|slot| slot.met = Met::AsItWas);
            }
        }
        asleep
    }

    /// Once all findings have come: the numbers of those to be woken, and what is known of the rest.
    pub fn wake(self, actions: &[Action]) -> (BTreeSet<u32>, Rest) {
        let named: HashSet<u32> = actions.iter().map(|action| action.number).collect();
        let (mut woken, mut met) = (BTreeSet::new(), HashSet::new());
        for (number, Slot { gone, met: how }) in self.by_number {
            let answered = named.contains(&number);
            if answered || how == Met::Changed || (how == Met::Not && !gone) {
                woken.insert(number);
            }
            if answered && how == Met::AsItWas {
                met.insert(number);
            }
        }
        (woken, Rest { last: self.last, met })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_those_asleep_meet_their_finding_again() {
        let sleeper = |number, gone| Sleeper { number, key: format!("key {number}").into(), gone };
        let asleep = || Asleep::new([sleeper(1, false), sleeper(2, true), sleeper(3, false)], 4);
        let woken = |met: &[u32]| {
            let mut asleep = asleep();
            (asleep.meet_again(met), asleep.wake(&[]).0.into_iter().collect::<Vec<_>>())
        };
        assert_eq!(woken(&[1, 3]), (true, vec![]));
        assert_eq!(woken(&[1]), (true, vec![3]), "of one nothing came");
        assert_eq!(woken(&[1, 3, 4]), (false, vec![1, 3]), "one is awake");
        assert_eq!(woken(&[1, 2, 3]), (false, vec![1, 3]), "one had lost its finding");
    }
}
