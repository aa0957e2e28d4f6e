//! Looks at the fleet folder and reads what changed. Nothing in it is ever written, moved or deleted.
//!
//! A known file whose size, time and inode are unchanged is not opened. Everything else is read
//! provisionally: a file that changed while it was read waits for the next round. Names that lead
//! out of the folder, pipes and devices are never opened. No database here: the result is a
//! [`Batch`] of bounded size, applied by whoever asked, so that a share that hangs can hang alone.

pub mod hands;
mod list;
mod looking;
mod open;
mod read;

use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;

pub use list::tail;
pub use looking::Looking;
use serde::{Deserialize, Serialize};

use crate::config::Config;
use crate::engine::Models;
use crate::records::monitor::Strip;
use crate::records::{Aircraft, LogEntry, Rejection, RunSummary, Source};
use crate::shell::store::{FileRow, Known};

/// Raised whenever the same bytes are read differently, so that stored records are made anew.
const READER_VERSION: u32 = 2;
/// A file changed less than this ago may still be being written, whatever it looks like.
const YOUNG: Duration = Duration::from_secs(60);

/// What one file says.
#[derive(Clone, Debug, Default, Serialize, Deserialize)]
pub struct FileRecords {
    pub aircraft: Option<Aircraft>,
    pub entries: Vec<LogEntry>,
    pub runs: Vec<RunSummary>,
    pub rejections: Vec<Rejection>,
    /// Pictures of the runs, kept apart from the rest.
    #[serde(skip)]
    pub strips: Vec<Strip>,
    /// The last row was left out, since it is not fully there yet.
    #[serde(skip)]
    pub unfinished: bool,
}

impl FileRecords {
    /// No record came of it.
    pub fn says_nothing(&self) -> bool {
        self.aircraft.is_none() && self.entries.is_empty() && self.runs.is_empty()
    }

    /// What the file said before counts until what is `now` in it can be read again: otherwise a sheet saved over by
    /// mistake, or a log cut down to its header, would take its warnings with it overnight. `None`: it may well say
    /// nothing now.
    pub fn spoilt(self, now: &Self, path: &str) -> Option<Self> {
        let mut rejections = now.rejections.clone();
        if !rejections.iter().any(|r| r.whole_file) && !self.entries.is_empty() {
            rejections.insert(
                0,
                Rejection {
                    source: Source { file: path.into(), line: 0 },
                    found: format!("no entry left of {}", self.entries.len()),
                    expected: "the log, or no file".to_owned(),
                    whole_file: true,
                },
            );
        }
        rejections
            .iter_mut()
            .find(|r| r.whole_file)?
            .expected
            .push_str("; until it is mended, what it said before counts");
        Some(Self { rejections, ..self })
    }
}

/// A change to what is known of the fleet folder.
#[derive(Debug)]
pub enum Change {
    Put(FileRow, Box<FileRecords>),
    /// Same content, other size, time or inode.
    Touch(FileRow),
    Remove(String),
}

impl Change {
    /// How many records it brings, by the room they take.
    fn records(&self) -> usize {
        match self {
            Self::Put(_, records) => {
                // A picture takes the room of several entries.
                let pictures = 4 * records.strips.len();
                records.entries.len() + records.runs.len() + records.rejections.len() + pictures
            }
            Self::Touch(_) | Self::Remove(_) => 0,
        }
    }
}

/// A tail's folder as seen.
#[derive(Clone, Debug)]
pub struct TailSeen {
    pub name: String,
    pub has_aircraft_file: bool,
}

/// What one look at the fleet folder gave.
#[derive(Debug, Default)]
pub struct Batch {
    pub changes: Vec<Change>,
    pub tails: Vec<TailSeen>,
    /// Files read, known and unchanged, and changing while looked at.
    pub read: u32,
    pub unchanged: u32,
    pub waiting: u32,
    /// Changed files left for the next batch.
    pub left: u32,
    /// Things that could not be looked at (odd files, permission).
    pub problems: Vec<Rejection>,
    /// The fleet folder itself could not be read, and why.
    pub unreachable: Option<String>,
}

/// How far a long piece of work has come, for whoever watches from another thread.
#[derive(Clone, Debug, Default)]
pub struct Progress {
    done: Arc<AtomicUsize>,
    of: Arc<AtomicUsize>,
}

impl Progress {
    /// So many more steps will come.
    pub fn expect(&self, steps: usize) {
        self.of.fetch_add(steps, Ordering::Relaxed);
    }

    /// One more is done.
    pub fn step(&self) {
        self.done.fetch_add(1, Ordering::Relaxed);
    }

    /// Steps done, and steps in all as far as they are known.
    pub fn now(&self) -> (usize, usize) {
        (self.done.load(Ordering::Relaxed), self.of.load(Ordering::Relaxed))
    }
}

/// How to look.
#[derive(Clone, Debug)]
pub struct Look {
    pub folder: PathBuf,
    pub config: Arc<Config>,
    pub models: Arc<Models>,
    /// Files younger than this wait for the next round (the service); zero reads at once (`scan`).
    pub settle: Duration,
    /// Reading stops after this much time and leaves the rest for the next batch.
    pub time: Duration,
    pub progress: Progress,
}

impl Look {
    /// Reads everything there is now, without waiting for files to settle.
    pub fn at_once(config: Arc<Config>, models: Arc<Models>, progress: Progress) -> Self {
        let folder = config.settings.fleet.folder.clone();
        Self { folder, config, models, settle: Duration::ZERO, time: Duration::MAX, progress }
    }
}

/// Looks once and reads one batch. `known` is what the state remembers.
pub fn look(look: &Look, known: &Known) -> Batch {
    Looking::begin(look, known).batch(look, known)
}

/// Reads one recording of a tail again, for its pictures; none if it is not there or not a recording any more.
pub fn strips(look: &Look, tail: &str, path: &str) -> Vec<Strip> {
    let reader = read::Tail::open(look, tail, &Known::default(), &mut Batch::default());
    let listing = list::files(&look.folder, tail, reader.aircraft());
    let file = listing.files.iter().find(|f| f.path == path && matches!(f.role, list::Role::Monitor(_)));
    file.and_then(|f| reader.strips(f).ok()).unwrap_or_default()
}
