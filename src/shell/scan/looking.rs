//! One look at the fleet folder: listed once, read batch by batch.

use std::collections::{HashSet, VecDeque};
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Instant as Tick;

use super::read::{self, Outcome};
use super::{Batch, Change, Look, TailSeen, hands, list};
use crate::records::monitor::Reducer;
use crate::shell::store::Known;

/// Changed files taken into one batch, and about how many records of theirs: some ten megabytes.
const BATCH_FILES: usize = 5_000;
const BATCH_RECORDS: usize = 20_000;

/// A changed file and its reader.
type ToRead = (Arc<read::Tail>, list::Found);

/// The fleet folder as it was found, and what of it is still to be read: to list a hundred thousand files takes longer
/// than to read a batch.
#[derive(Debug)]
pub struct Looking {
    /// What is known of the next batch.
    next: Batch,
    /// Logs first: what they say matters most when there is much to read.
    logs: VecDeque<ToRead>,
    monitors: VecDeque<ToRead>,
}

impl Looking {
    /// Lists the fleet folder.
    pub fn begin(look: &Look, known: &Known) -> Self {
        let mut looking = Self { next: Batch::default(), logs: VecDeque::new(), monitors: VecDeque::new() };
        match list::tails(&look.folder) {
            Ok((tails, strange)) => {
                looking.next.problems = strange;
                looking.list(look, known, &tails);
            }
            Err(error) => looking.next.unreachable = Some(format!("{}: {error}", look.folder.display())),
        }
        looking
    }

    fn list(&mut self, look: &Look, known: &Known, tails: &[String]) {
        let batch = &mut self.next;
        let mut seen = vec![false; known.len()];
        look.progress.expect(tails.len());
        let (mut doubtful, mut unseen) = (HashSet::new(), Vec::new());
        for tail in tails {
            let reader = Arc::new(read::Tail::open(look, tail, known, batch));
            let listing = list::files(&look.folder, tail, reader.aircraft());
            batch.tails.push(TailSeen { name: tail.clone(), has_aircraft_file: reader.has_file() });
            batch.problems.extend(listing.odd);
            unseen.extend(listing.unseen);
            if reader.in_doubt() {
                doubtful.insert(tail.as_str());
            }
            for file in listing.files {
                let at = known.find(&file.path);
                if let Some(seen) = at.and_then(|at| seen.get_mut(at)) {
                    *seen = true;
                }
                let stat = (file.size, file.mtime_ns, file.inode);
                if at.is_some_and(|at| known.unchanged(at, stat, reader.version(&file.role))) {
                    batch.unchanged += 1;
                } else if !look.settle.is_zero() && list::younger(&file, look.settle) {
                    batch.waiting += 1;
                } else if matches!(file.role, list::Role::Monitor(_)) {
                    self.monitors.push_back((reader.clone(), file));
                } else {
                    self.logs.push_back((reader.clone(), file));
                }
            }
            look.progress.step();
        }
        look.progress.expect(self.logs.len() + self.monitors.len());
        let kept = |path: &str| {
            (doubtful.contains(list::tail(path)) && look.folder.join(path).symlink_metadata().is_ok())
                || unseen.iter().any(|other| list::is_in(path, other))
        };
        remove_gone(known, &seen, kept, batch);
    }

    /// Reads a batch, the folder itself as [`Self::begin`] found it. There is more to read if it says so.
    pub fn batch(&mut self, look: &Look, known: &Known) -> Batch {
        let outcomes = self.read(look, known);
        let (mut taken, mut records) = (0, 0);
        let batch = &mut self.next;
        for outcome in outcomes {
            // What one thread alone would have taken: a batch is the same however many there are.
            if full(batch.changes.len(), records) {
                break;
            }
            taken += 1;
            match outcome {
                Outcome::Read(change) => {
                    batch.read += 1;
                    records += change.records();
                    batch.changes.push(change);
                }
                Outcome::Waiting => batch.waiting += 1,
                Outcome::Problem(problem) => batch.problems.push(problem),
                Outcome::Nothing => {}
            }
        }
        let logs = taken.min(self.logs.len());
        self.logs.drain(..logs);
        self.monitors.drain(..taken - logs);
        batch.left = (self.logs.len() + self.monitors.len()) as u32;
        let following = Batch {
            tails: batch.tails.clone(),
            unchanged: batch.unchanged + batch.read,
            waiting: batch.waiting,
            problems: batch.problems.clone(),
            ..Batch::default()
        };
        std::mem::replace(batch, following)
    }

    /// What came of the files to read, as far as it goes; a few more than a batch takes.
    fn read(&mut self, look: &Look, known: &Known) -> Vec<Outcome> {
        let (changes, records) = (AtomicUsize::new(self.next.changes.len()), AtomicUsize::new(0));
        let (started, done) = (Tick::now(), AtomicUsize::new(0));
        let count = |n: &AtomicUsize| n.load(Ordering::Relaxed);
        // However slow the folder is, each batch takes one further.
        let late = || count(&done) > 0 && started.elapsed() >= look.time;
        let enough = || full(count(&changes), count(&records)) || late();
        let read = |reducer: &mut Reducer, (reader, file): &ToRead| {
            let outcome = reader.read(file, known.row(&file.path).as_ref(), reducer);
            if let Outcome::Read(change) = &outcome {
                changes.fetch_add(1, Ordering::Relaxed);
                records.fetch_add(change.records(), Ordering::Relaxed);
            }
            done.fetch_add(1, Ordering::Relaxed);
            look.progress.step();
            outcome
        };
        // Logs one by one: a workbook's child may grow large.
        let (mut reducer, logs) = (Reducer::default(), self.logs.iter());
        let mut outcomes: Vec<_> = logs.map_while(|log| (!enough()).then(|| read(&mut reducer, log))).collect();
        outcomes.extend(hands::each(hands::threads(), self.monitors.make_contiguous(), enough, read));
        outcomes
    }
}

/// So much makes a batch.
fn full(changes: usize, records: usize) -> bool {
    changes >= BATCH_FILES || records >= BATCH_RECORDS
}

/// Files that are gone from a folder that is there. A folder that vanished keeps its records: an
/// unmounted share looks like an empty folder, and silence must not look like health. So does a file (`kept`) that is
/// there, but that an aircraft.toml with a slip no longer names, or that cannot be looked at.
fn remove_gone(known: &Known, seen: &[bool], kept: impl Fn(&str) -> bool, batch: &mut Batch) {
    let there: HashSet<&str> = batch.tails.iter().filter(|t| t.has_aircraft_file).map(|t| &*t.name).collect();
    let gone = known
        .paths()
        .zip(seen)
        .filter(|(_, seen)| !**seen)
        .map(|(path, _)| path)
        .filter(|path| !path.ends_with("/aircraft.toml") && there.contains(list::tail(path)) && !kept(path));
    batch.changes.extend(gone.map(|path| Change::Remove(path.to_owned())).collect::<Vec<_>>());
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::fmt::Write as _;
    use std::fs;

    use super::super::Progress;
    use super::*;
    use crate::config::load_partly;

    /// A log of 20,000 rows fills a batch; the recordings come in the next one, without another look at the folder.
    #[test]
    fn what_one_batch_does_not_hold_comes_in_the_next() {
        let home = tempfile::tempdir().unwrap();
        let tail = home.path().join("fleet/N0417H");
        fs::create_dir_all(tail.join("monitor")).unwrap();
        let engine = "[[engine]]\nserial = \"S-1\"\nmodel = \"K6-250\"\nhours_at_start = 1000.0\noil = \"AD 50\"\n";
        fs::write(tail.join("aircraft.toml"), format!("tail = \"N0417H\"\nmeter = \"tach\"\n{engine}")).unwrap();
        let mut log = "date,hours,entry\n".to_owned();
        (0..BATCH_RECORDS).for_each(|i| writeln!(log, "2026-03-01,{},flight", 1000 + i / 10).unwrap());
        fs::write(tail.join("logbook.csv"), log).unwrap();
        for name in ["a", "b"] {
            fs::write(tail.join(format!("monitor/{name}.csv")), "time,rpm\n2026-03-01T10:00:00Z,0\n").unwrap();
        }
        let text = "[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\ntime_zone = \"UTC\"\n";
        let config = load_partly(text, "cowlwatch.toml", home.path()).0.unwrap();
        let look = Look::at_once(Arc::new(config), Arc::default(), Progress::default());
        let known = Known::default();
        let mut looking = Looking::begin(&look, &known);
        let paths = |batch: &Batch| -> Vec<String> {
            let put = |change: &Change| match change {
                Change::Put(row, _) => row.path.clone(),
                other => format!("{other:?}"),
            };
            batch.changes.iter().map(put).collect()
        };
        let first = looking.batch(&look, &known);
        assert_eq!(paths(&first), ["N0417H/aircraft.toml", "N0417H/logbook.csv"]);
        assert_eq!((first.left, first.read, first.unchanged), (2, 2, 0));
        fs::remove_file(tail.join("logbook.csv")).unwrap();
        let second = looking.batch(&look, &known);
        assert_eq!(paths(&second), ["N0417H/monitor/a.csv", "N0417H/monitor/b.csv"]);
        assert_eq!((second.left, second.read, second.unchanged, second.tails.len()), (0, 2, 2, 1));
        assert_eq!(look.progress.now(), (4, 4));

        // Where the folder is so slow that no time is left, each batch takes one further all the same: one a thread.
        let look = Look { time: std::time::Duration::ZERO, ..look };
        let mut looking = Looking::begin(&look, &known);
        let left = [(); 2].map(|()| looking.batch(&look, &known).left);
        assert!(left[0] < 2 && left[1] == 0, "{left:?}");
    }
}
