//! What the judges said last, group by group, so that a row that lands has only its own aircraft judged anew.
//!
//! What they say of a group of tails follows from its records, the rules, the rate alerts people closed, what the fleet
//! knew of kinds of service when the month began, and the moment. A verdict stands while all but the last are as they
//! were. How far the moment may lag is for the service to say, which lets all verdicts lapse as often as it would look
//! for what the calendar brings; a digest never rests on an old one.

use std::collections::hash_map::Entry;
use std::collections::{BTreeSet, HashMap, HashSet};
use std::sync::Arc;

use chrono::TimeDelta;

use super::Rules;
use crate::alerts::Action;
use crate::engine::Fleet;
use crate::engine::services::{Services, month};
use crate::judge::consumption::services::{self, Learned, Pool};
use crate::judge::{Closing, EngineView, Finding};
use crate::records::{Instant, Rejection};
use crate::shell::scan::{self, Batch, Change, FileRecords};
use crate::shell::store::{Pass, StoreError};

/// No verdict stands for longer, whatever the clock did.
const STANDS: TimeDelta = TimeDelta::minutes(10);

/// What is kept from pass to pass; empty, everything is judged.
#[derive(Debug, Default)]
pub struct Verdicts {
    /// Under which the groups were judged.
    rules: Option<Rules>,
    closings: Vec<Closing>,
    /// What the files of a tail say of who it shares engines with, and what could not be read.
    tails: HashMap<String, OfTail>,
    pub(super) groups: HashMap<Vec<String>, Verdict>,
    /// What the engines of each group have learned of kinds of service by the beginning of a month, and that month.
    learned: HashMap<Vec<String>, Vec<Learned>>,
    learned_by: i32,
    /// Together; verdicts rest on it.
    pool: Pool,
    /// Of all groups here.
    engines: Vec<EngineView>,
}

/// What the records of one tail say before anything is judged.
#[derive(Clone, Debug)]
pub(super) struct OfTail {
    pub(super) serials: BTreeSet<Arc<str>>,
    pub(super) rejections: Vec<Rejection>,
}

/// What was said of one group.
#[derive(Debug)]
pub(super) struct Verdict {
    pub(super) as_of: Instant,
    /// All but the settled past of alerts that sleep, in order.
    pub(super) findings: Vec<Finding>,
    /// Sleeping alerts that met their finding, by number.
    pub(super) met: Vec<u32>,
    pub(super) serials: HashSet<Arc<str>>,
    pub(super) rest: Rest,
}

/// What beside findings and engines is known of a group.
#[derive(Clone, Debug, Default)]
pub(super) struct Rest {
    /// Each aircraft and its last record.
    pub(super) aircraft: Vec<(Arc<str>, Option<Instant>)>,
    /// Entries of the log about alerts.
    pub(super) actions: Vec<Action>,
    pub(super) first_record: Option<Instant>,
}

impl Verdicts {
    /// From here on everything is judged anew.
    pub fn lapse(&mut self) {
        self.groups.clear();
        self.engines.clear();
    }

    /// What the files of a tail say, read if it is not known.
    pub(super) fn see(&mut self, pass: &Pass<'_>, tail: &str) -> Result<&OfTail, StoreError> {
        Ok(match self.tails.entry(tail.to_owned()) {
            Entry::Occupied(known) => known.into_mut(),
            Entry::Vacant(new) => new.insert(of_tail(pass, tail)?),
        })
    }

    /// Takes the engines back that were lent to a morning.
    pub(super) fn with_engines(mut self, engines: Vec<EngineView>) -> Self {
        self.engines = engines;
        self
    }

    /// Drops what the files of a batch may have changed.
    pub(super) fn forget(&mut self, batch: &Batch) {
        let path = |change: &Change| match change {
            Change::Put(row, _) => Some(row.path.clone()),
            Change::Remove(path) => Some(path.clone()),
            // The same content, seen at another time.
            Change::Touch(_) => None,
        };
        let paths: Vec<String> = batch.changes.iter().filter_map(path).collect();
        let changed: HashSet<&str> = paths.iter().map(|path| scan::tail(path)).collect();
        self.tails.retain(|tail, _| !changed.contains(tail.as_str()));
        let same = |group: &Vec<String>| !group.iter().any(|tail| changed.contains(tail.as_str()));
        self.groups.retain(|group, _| same(group));
        self.learned.retain(|group, _| same(group));
    }

    /// Learns what the fleet knows of kinds of service. A verdict given when it knew something else is dropped.
    pub(super) fn learn(
        &mut self,
        groups: &[Vec<String>],
        now: Instant,
        fleet: impl Fn(&[String]) -> Result<Fleet, StoreError>,
    ) -> Result<(), StoreError> {
        // An entry dated ahead has become one of the past by the next month.
        if self.learned_by != month(now) {
            self.learned_by = month(now);
            self.learned.clear();
        }
        let mut known = HashMap::with_capacity(groups.len());
        for group in groups {
            let learned = match self.learned.remove(group) {
                Some(learned) => learned,
                None => fleet(group)?.engines.iter().map(services::learn).collect(),
            };
            known.insert(group.clone(), learned);
        }
        self.learned = known;
        // In order, so that sums are the same to the last bit.
        let pool = services::pool(groups.iter().filter_map(|group| self.learned.get(group)).flatten(), now);
        if self.pool != pool {
            self.lapse();
            self.pool = pool;
        }
        Ok(())
    }

    /// What all other groups know of kinds of service.
    pub(super) fn services(&self, group: &[String]) -> Arc<Services> {
        self.pool.without(self.learned.get(group).map_or(&[], Vec::as_slice)).into()
    }

    /// Drops what was judged of other groups, under other rules, with other closings, or at another time.
    pub(super) fn keep(&mut self, groups: &[Vec<String>], rules: &Rules, closings: &[Closing], now: Instant) {
        let same = |r: &Rules| Arc::ptr_eq(&r.config, &rules.config) && Arc::ptr_eq(&r.models, &rules.models);
        let same = self.rules.as_ref().is_some_and(same);
        if !same {
            self.learned.clear();
        }
        if !same || self.closings != closings {
            self.lapse();
            self.rules = Some(rules.clone());
            self.closings = closings.to_vec();
        }
        let groups: HashSet<&Vec<String>> = groups.iter().collect();
        self.groups
            .retain(|group, verdict| groups.contains(group) && verdict.as_of <= now && now - verdict.as_of < STANDS);
    }

    /// The engines of the groups that stand.
    pub(super) fn lend_engines(&mut self) -> Vec<EngineView> {
        let mut engines = std::mem::take(&mut self.engines);
        engines.retain(|engine| self.groups.values().any(|verdict| verdict.serials.contains(&engine.serial)));
        engines
    }
}

fn of_tail(pass: &Pass<'_>, tail: &str) -> Result<OfTail, StoreError> {
    let (mut serials, mut rejections) = (BTreeSet::new(), Vec::new());
    for (_, records) in pass.records_of::<FileRecords>(tail)? {
        let listed = records.aircraft.iter().flat_map(|a| &a.engines).map(|e| &e.serial);
        serials.extend(listed.chain(records.entries.iter().filter_map(|e| e.serial.as_ref())).cloned());
        rejections.extend(records.rejections);
    }
    Ok(OfTail { serials, rejections })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::engine::Models;

    /// Whether the verdict on one group stands after `change` to what it was given for.
    fn stands(change: impl FnOnce(&mut Vec<Vec<String>>, &mut Rules, &mut Vec<Closing>, &mut Instant)) -> bool {
        let mut groups = vec![vec!["N0417H".to_owned(), "N0418H".to_owned()]];
        let config = Config::usual("fleet".into(), "models".into(), "state".into(), chrono_tz::UTC);
        let mut rules = Rules { config: Arc::new(config), models: Arc::new(Models::new()) };
        let mut now: Instant = "2026-03-01T08:00:00Z".parse().unwrap();
        let mut closings = vec![Closing { key: "oil-rate-rise|S-1|3".to_owned(), at: now }];
        let (mut verdicts, rest) = (Verdicts::default(), Rest::default());
        verdicts.keep(&groups, &rules, &closings, now);
        let verdict = Verdict { as_of: now, findings: Vec::new(), met: Vec::new(), serials: HashSet::new(), rest };
        verdicts.groups.insert(groups[0].clone(), verdict);
        change(&mut groups, &mut rules, &mut closings, &mut now);
        verdicts.keep(&groups, &rules, &closings, now);
        verdicts.groups.len() == 1
    }

    #[test]
    fn a_verdict_stands_while_what_it_rests_on_does() {
        assert!(stands(|_, _, _, _| {}));
        assert!(stands(|_, _, _, now| *now += STANDS - TimeDelta::milliseconds(1)));
        assert!(!stands(|_, _, _, now| *now += STANDS), "the calendar");
        assert!(!stands(|_, _, _, now| *now -= TimeDelta::milliseconds(1)), "a clock that went back");
        assert!(!stands(|groups, _, _, _| groups[0].truncate(1)), "an engine no longer shared");
        assert!(!stands(|_, rules, _, _| rules.config = Arc::new((*rules.config).clone())), "a reload");
        assert!(!stands(|_, rules, _, _| rules.models = Arc::new(Models::new())), "the models alone");
        assert!(!stands(|_, _, closings, _| closings.clear()), "opened again");
        assert!(!stands(|_, _, closings, now| closings[0].at = *now - TimeDelta::hours(1)), "closed at another moment");
    }
}
