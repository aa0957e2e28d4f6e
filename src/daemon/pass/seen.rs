//! What the state and the last look say about files and folders: who is there, what could not be read, who shares engines.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use super::Rules;
use super::verdicts::Verdicts;
use crate::judge::{self, Finding, RulesFor as _, gaps};
use crate::records::{Instant, Rejection, Source};
use crate::shell::scan::{self, Batch};
use crate::shell::store::{self, Pass};

/// What the state and the last look say about files and folders.
pub(super) struct Seen {
    /// Tails that share engines, and so must be judged together.
    pub(super) groups: Vec<Vec<String>>,
    pub(super) rejections: Vec<Rejection>,
    /// Modification time of files with rejections.
    pub(super) changed: HashMap<String, Instant>,
    /// Every tail with records.
    pub(super) known: usize,
    pub(super) missing: BTreeSet<String>,
    pub(super) unreachable: Option<String>,
}

impl Seen {
    pub(super) fn load(pass: &Pass<'_>, batch: &Batch, verdicts: &mut Verdicts) -> Result<Self, store::StoreError> {
        let (mut groups, mut rejections, mut missing) = (Groups::default(), Vec::new(), BTreeSet::new());
        let tails = pass.tails()?;
        let known = tails.len();
        for tail in tails {
            let known = verdicts.see(pass, &tail)?;
            rejections.extend(known.rejections.iter().cloned());
            let serials = known.serials.clone();
            rejections.extend(pass.unread(&tail)?.map(unread));
            if !batch.tails.iter().any(|t| t.name == tail && t.has_aircraft_file) {
                missing.insert(tail.clone());
            }
            groups.add(tail, serials);
        }
        let without = batch.tails.iter().filter(|t| !t.has_aircraft_file && !missing.contains(&t.name));
        rejections.extend(without.map(|tail| Rejection {
            source: Source { file: tail.name.as_str().into(), line: 0 },
            found: "a folder without aircraft.toml".to_owned(),
            expected: "aircraft.toml, saying which engines sit where".to_owned(),
            whole_file: true,
        }));
        rejections.extend(batch.problems.iter().cloned());
        let mut changed = HashMap::new();
        for file in rejections.iter().map(|r| &*r.source.file).collect::<BTreeSet<&str>>() {
            if let Some(ns) = pass.changed(file)? {
                changed.insert(file.to_owned(), Instant::from_timestamp_nanos(ns));
            }
        }
        Ok(Self {
            groups: groups.into_lists(),
            rejections,
            changed,
            known,
            missing,
            unreachable: batch.unreachable.clone(),
        })
    }

    pub(super) fn rejected_files(&self) -> u32 {
        let whole = self.rejections.iter().filter(|r| r.whole_file);
        whole.map(|r| &r.source.file).collect::<BTreeSet<_>>().len() as u32
    }

    /// Tails with a file that is set aside whole; a recording more or less is no news.
    pub(super) fn spoilt(&self) -> BTreeSet<String> {
        let whole = self.rejections.iter().filter(|r| r.whole_file && self.changed.contains_key(&*r.source.file));
        let files = whole.map(|r| &*r.source.file).filter(|file| !file.contains("/monitor/"));
        files.map(|file| scan::tail(file).to_owned()).collect()
    }

    pub(super) fn findings(&self, rules: &Rules, now: Instant) -> Vec<Finding> {
        let mut found = gaps::rejected(&self.rejections, |file| self.changed.get(file).copied(), now);
        found.extend(gaps::missing(&self.missing, self.known, self.unreachable.as_deref(), now));
        found.into_iter().map(|f| judge::levelled(f.clone(), &rules.config.rules(&f.tail, "", ""))).collect()
    }
}

/// Of files whose records another version of this program stored, and that are not there to be read again.
fn unread((first, files): (String, u32)) -> Rejection {
    Rejection {
        source: Source { file: first.into(), line: 0 },
        found: format!(
            "records of {files} files stored by another version of this program, which this one cannot read"
        ),
        expected: "the files, to be read again".to_owned(),
        whole_file: true,
    }
}

/// Tails joined by the serials they name.
#[derive(Default)]
struct Groups(Vec<(Vec<String>, BTreeSet<Arc<str>>)>);

impl Groups {
    fn add(&mut self, tail: String, serials: BTreeSet<Arc<str>>) {
        let (mut joined, apart): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.0).into_iter().partition(|(_, known)| !known.is_disjoint(&serials));
        joined.push((vec![tail], serials));
        self.0 = apart;
        let (tails, serials): (Vec<_>, Vec<_>) = joined.into_iter().unzip();
        self.0.push((tails.into_iter().flatten().collect(), serials.into_iter().flatten().collect()));
    }

    fn into_lists(self) -> Vec<Vec<String>> {
        self.0.into_iter().map(|(tails, _)| tails).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tails_that_share_a_serial_are_judged_together() {
        let serials = |list: &[&str]| list.iter().map(|s| Arc::from(*s)).collect::<BTreeSet<Arc<str>>>();
        let mut groups = Groups::default();
        for (tail, list) in [("A", &["1"][..]), ("B", &["2", "3"]), ("C", &["4"]), ("D", &["1", "3"])] {
            groups.add(tail.to_owned(), serials(list));
        }
        let mut lists = groups.into_lists();
        lists.iter_mut().for_each(|l| l.sort());
        lists.sort();
        assert_eq!(lists, [vec!["A", "B", "D"], vec!["C"]]);
    }
}
