//! Looking at the fleet folder, and what follows from what was seen: a pass, the page, the metrics.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;
use std::time::{Duration, Instant as Tick};

use chrono::{NaiveDate, Utc};
use tracing::{error, info, warn};

use super::{Event, HUNG, SETTLE, Service};
use crate::daemon::pass::{self, DigestWish, Rules};
use crate::daemon::publish::{publish, refresh};
use crate::records::{Instant, Rejection};
use crate::shell::scan::{self, Batch, Look, Looking};
use crate::shell::store::{Known, StoreError};

/// Reading stops after this long and goes on in the next batch.
const READ_FOR: Duration = Duration::from_secs(15);
/// A thread the system refused is asked for again after this long.
const AGAIN: Duration = Duration::from_secs(5);
/// With nothing new, what the calendar brings (a change falling due, a silence) is looked for this often.
const JUDGE_EVERY: Duration = Duration::from_secs(600);

/// What a look saw besides files: one of these changing is news too.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Folders {
    tails: Vec<(String, bool)>,
    problems: Vec<Rejection>,
    unreachable: bool,
}

impl Folders {
    fn of(batch: &Batch) -> Self {
        Self {
            tails: batch.tails.iter().map(|t| (t.name.clone(), t.has_aircraft_file)).collect(),
            problems: batch.problems.clone(),
            unreachable: batch.unreachable.is_some(),
        }
    }
}

/// A look under way, batch after batch: to list very many files takes longer than to read a batch of them.
pub(in crate::daemon) struct Going {
    look: Look,
    known: Known,
    /// `None` until the folder is listed.
    looking: Option<Looking>,
}

impl Going {
    /// Reads the next batch, and gives itself back if that was not the last.
    fn batch(mut self: Box<Self>) -> (Batch, Option<Box<Self>>) {
        let mut looking = self.looking.take().unwrap_or_else(|| Looking::begin(&self.look, &self.known));
        let batch = looking.batch(&self.look, &self.known);
        self.looking = Some(looking);
        let more = batch.left > 0;
        (batch, more.then_some(self))
    }

    /// It looks where and as these rules say.
    fn under(&self, rules: &Rules) -> bool {
        Arc::ptr_eq(&self.look.config, &rules.config) && Arc::ptr_eq(&self.look.models, &rules.models)
    }
}

impl Service {
    /// Starts a look if it is time and none is under way.
    pub(super) fn look(&mut self) -> Result<(), StoreError> {
        if let Some(since) = self.looking_since {
            if since.elapsed() > HUNG {
                self.unanswered(format!("no answer for {} s", HUNG.as_secs()))?;
            }
            return Ok(());
        }
        if Tick::now() < self.next_look && self.digest_due(Utc::now()).is_none() {
            return Ok(());
        }
        let going = match self.going.take().filter(|going| going.under(&self.rules)) {
            Some(going) => going,
            None => Box::new(self.begin()?),
        };
        let events = self.events.clone();
        let (hand, handed) = std::sync::mpsc::channel::<Box<Going>>();
        // A thread of its own, not of the runtime's: one that hangs on a dead share must not delay the end. It is handed
        // the look once it runs, so that a look under way outlives a refused thread.
        let thread = std::thread::Builder::new().name("look".to_owned()).stack_size(self.look_stack).spawn(move || {
            let Ok(going) = handed.recv() else { return };
            // A fault of ours in some reader must not look like a share that hangs for ever.
            let looked = catch_unwind(AssertUnwindSafe(|| going.batch()));
            let failed = |_| Batch {
                unreachable: Some(
                    "reading it failed by a fault of this program, named in the journal above".to_owned(),
                ),
                ..Batch::default()
            };
            let (batch, going) = looked.unwrap_or_else(|fault| (failed(fault), None));
            let _ = events.blocking_send(Event::Looked(batch, going));
        });
        match thread {
            Ok(_) => {
                self.looking_since = Some(Tick::now());
                self.refused_since = None;
                // It waits for it.
                let _ = hand.send(going);
                Ok(())
            }
            Err(error) => {
                self.going = Some(going);
                self.refused(&error)
            }
        }
    }

    /// The system gives no thread to look with: tried again soon, and told as a folder that does not answer if it lasts.
    fn refused(&mut self, error: &std::io::Error) -> Result<(), StoreError> {
        let now = Tick::now();
        self.next_look = now + AGAIN;
        if self.refused_since.is_none() {
            warn!(%error, "no thread to look at the fleet folder; tried again");
        }
        if self.refused_since.get_or_insert(now).elapsed() > HUNG {
            self.unanswered(format!("no thread to look at it for {} s: {error}", HUNG.as_secs()))?;
        }
        Ok(())
    }

    /// The digest goes all the same, and says so: silence must not look like health. So does what the calendar and
    /// people bring.
    fn unanswered(&mut self, why: String) -> Result<(), StoreError> {
        let due = Tick::now() >= self.next_judgement || self.judge_again || self.digest_due(Utc::now()).is_some();
        if !self.hung || due {
            warn!(%why, "the fleet folder does not answer");
            self.judge(Batch { unreachable: Some(why), ..Batch::default() }, HUNG)?;
            self.hung = true;
        }
        Ok(())
    }

    /// A look from the beginning.
    fn begin(&mut self) -> Result<Going, StoreError> {
        let known = self.store.known()?;
        let look = Look {
            folder: self.rules.config.settings.fleet.folder.clone(),
            config: self.rules.config.clone(),
            models: self.rules.models.clone(),
            settle: SETTLE,
            time: READ_FOR,
            progress: scan::Progress::default(),
        };
        // What changes from here on may be missed by it.
        self.stirred = false;
        Ok(Going { look, known, looking: None })
    }

    pub(super) fn looked(&mut self, batch: Batch, going: Option<Box<Going>>) -> Result<(), StoreError> {
        let looking = self.looking_since.take().map_or(Duration::ZERO, |s| s.elapsed());
        if std::mem::take(&mut self.hung) {
            info!("the fleet folder answers again");
            // Alerts and page say that it does not.
            self.judge_again = true;
        }
        let every = Duration::from_secs(u64::from(self.rules.config.settings.fleet.scan_every_s));
        self.next_look = Tick::now() + every;
        if batch.left > 0 {
            self.next_look = Tick::now();
        } else if batch.waiting > 0 || self.stirred {
            self.next_look = Tick::now() + SETTLE;
        }
        if let Some(why) = &batch.unreachable {
            warn!(%why, "the fleet folder cannot be read");
        }
        let folders = Folders::of(&batch);
        // With nothing new the answer only changes with the calendar: judge now and then.
        let same_folders = self.folders.as_ref() == Some(&folders);
        let nothing_new = batch.changes.is_empty() && same_folders && self.digest_due(Utc::now()).is_none();
        if nothing_new && !self.judge_again && Tick::now() < self.next_judgement {
            let now = Utc::now();
            if let Some(figures) = self.figures.as_mut().filter(|_| batch.unreachable.is_none()) {
                figures.last_scan = Some(now);
                figures.scan_s = looking.as_secs_f64();
            }
            self.refresh(now);
            self.going = going;
            return Ok(());
        }
        if !same_folders {
            self.verdicts.lapse();
        }
        self.judge(batch, looking)?;
        self.folders = Some(folders);
        // Only what is kept by now need not be read again.
        self.going = going;
        Ok(())
    }

    /// One pass over what was seen, then page and metrics.
    pub(super) fn judge(&mut self, batch: Batch, looking: Duration) -> Result<(), StoreError> {
        let started = Tick::now();
        let now = Utc::now();
        let last_scan = match batch.unreachable {
            None => Some(now),
            Some(_) => self.figures.as_ref().and_then(|figures| figures.last_scan),
        };
        let wish = self.digest_due(now).map_or(DigestWish::No, DigestWish::For);
        // What is new concerns some aircraft; the calendar concerns all, and is looked at as often as without news.
        let whole = started >= self.next_judgement || wish != DigestWish::No;
        if whole {
            self.verdicts.lapse();
        }
        let verdicts = std::mem::take(&mut self.verdicts);
        let done = pass::run(&mut self.store, &self.rules, batch, now, wish, verdicts)?;
        self.written()?;
        self.judge_again = false;
        if whole {
            self.next_judgement = Tick::now() + JUDGE_EVERY;
        }
        self.foreign = self.store.foreign_writes()?;
        if done.morning.is_none() {
            self.next_judgement = Tick::now();
        }
        if let Some(morning) = &done.morning {
            self.undelivered = morning.undelivered.clone();
            let took = (looking + started.elapsed()).as_secs_f64();
            info!(
                read = done.counts.read,
                unchanged = done.counts.unchanged,
                waiting = done.counts.waiting,
                letters = done.letters,
                took_s = took,
                "pass"
            );
            match publish(&self.state, &self.store, &done, whole, (last_scan, took), now) {
                Ok(figures) => self.figures = Some(figures),
                Err(error) => error!(%error, "page or metrics not written"),
            }
        }
        self.verdicts = done.into_verdicts();
        Ok(())
    }

    pub(super) fn digest_due(&self, now: Instant) -> Option<NaiveDate> {
        let zone = self.rules.config.settings.fleet.time_zone;
        let last = self.store.last_digest().ok()?.map(|d| d.date);
        self.schedule.due(zone, last, |date| self.store.digest_made(date).unwrap_or(true), now)
    }

    /// Writes the metrics of the last pass anew with the outbox as it is.
    pub(super) fn refresh(&mut self, now: Instant) {
        if let Some(figures) = &mut self.figures
            && let Err(error) = refresh(&self.state, &self.store, figures, now)
        {
            error!(%error, "metrics not written");
        }
    }
}
