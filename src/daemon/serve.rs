//! The loop of the service.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant as Tick};

use chrono::{NaiveDate, TimeDelta, Utc};
use tokio::sync::mpsc;
use tracing::{error, info, warn};

use super::deliver::{AT_ONCE, Handing};
use super::notice;
use super::pass::{self, DigestWish, Rules};
use super::publish::{publish, refresh};
use super::signals::{Signals, stir};
use crate::config::schedule::Schedule;
use crate::records::{Instant, Rejection};
use crate::report::Undelivered;
use crate::report::metrics::Figures;
use crate::shell::mail::Delivery;
use crate::shell::scan::{self, Batch, Look};
use crate::shell::store::{Attempt, Store, StoreError};

/// The clock is looked at this often, whatever it does in between.
const TICK: Duration = Duration::from_millis(500);
/// A file must have been still for this long before it is read.
const SETTLE: Duration = Duration::from_millis(700);
/// Reading stops after this long and goes on in the next batch.
const READ_FOR: Duration = Duration::from_secs(15);
/// A look that takes longer means that the share does not answer.
const HUNG: Duration = Duration::from_secs(60);
/// With nothing new, what the calendar brings (a change falling due, a silence) is looked for this often.
const JUDGE_EVERY: Duration = Duration::from_secs(600);
/// A state that cannot be written is tried again this often.
const AGAIN: Duration = Duration::from_secs(5);
/// While it lasts, the journal says so this often.
const STILL: Duration = Duration::from_secs(600);
/// A time without a writable state at least this long is told by mail afterwards, minutes.
const TOLD_AFTER_MIN: i64 = 10;
/// Time letters under way get to finish when told to stop.
const LAST_LETTERS: Duration = Duration::from_secs(5);

/// Why the service ended.
#[derive(Debug)]
pub enum Ended {
    Told,
    State(StoreError),
    Io(std::io::Error),
}

/// Everything that can happen.
pub(super) enum Event {
    Tick,
    /// The file system says something changed: look sooner.
    Stirred,
    Looked(Batch),
    Attempted(Attempt),
    Delivered,
    Reload,
    Stop,
}

/// Reads the configuration anew for SIGHUP; the error is what to log and mail.
pub type Reload = Box<dyn FnMut() -> Result<Rules, String>>;

struct Service {
    rules: Rules,
    store: Store,
    state: PathBuf,
    schedule: Schedule,
    delivery: Arc<Delivery>,
    events: mpsc::Sender<Event>,
    reload: Reload,
    looking_since: Option<Tick>,
    hung: bool,
    next_look: Tick,
    next_judgement: Tick,
    handing: Handing,
    foreign: i64,
    /// Folders as the last judgement saw them.
    folders: Option<Folders>,
    trouble: Option<Trouble>,
    /// What the metrics said last.
    figures: Option<Figures>,
    /// The outbox as page and digest showed it last.
    undelivered: Undelivered,
}

/// The state cannot be written: full, read-only, or locked by another.
struct Trouble {
    since: Instant,
    what: String,
    /// When the journal said so last.
    said: Tick,
    /// Nothing is tried before.
    until: Tick,
}

/// Runs until SIGTERM or SIGINT.
pub async fn serve(rules: Rules, store: Store, state: PathBuf, delivery: Delivery, reload: Reload) -> Ended {
    let schedule: Schedule = match rules.config.settings.digest.schedule.parse() {
        Ok(schedule) => schedule,
        Err(error) => return Ended::Io(std::io::Error::other(format!("{error}"))),
    };
    let (events, mut inbox) = mpsc::channel(64);
    let foreign = store.foreign_writes().unwrap_or(0);
    let mut service = Service {
        rules,
        store,
        state,
        schedule,
        delivery: Arc::new(delivery),
        events: events.clone(),
        reload,
        looking_since: None,
        hung: false,
        next_look: Tick::now(),
        next_judgement: Tick::now(),
        handing: Handing::default(),
        foreign,
        folders: None,
        trouble: None,
        figures: None,
        undelivered: Undelivered::default(),
    };
    let signals = match Signals::listen(events.clone()) {
        Ok(signals) => signals,
        Err(error) => return Ended::Io(error),
    };
    let watcher = stir(&service.rules.config.settings.fleet.folder, events);
    let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Ready]);
    info!(folder = %service.rules.config.settings.fleet.folder.display(), "watching");
    let ended = loop {
        let event = tokio::select! {
            event = inbox.recv() => event.unwrap_or(Event::Stop),
            () = tokio::time::sleep(TICK) => Event::Tick,
        };
        if matches!(event, Event::Stop) {
            break service.stop(&mut inbox).await;
        }
        if let Err(error) = service.handle(event) {
            if !error.may_pass() {
                break Ended::State(error);
            }
            service.hold(&error);
        }
        let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Watchdog]);
    };
    drop(watcher);
    signals.abort();
    ended
}

/// What a look saw besides files: one of these changing is news too.
#[derive(Debug, PartialEq, Eq)]
struct Folders {
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

impl Service {
    fn handle(&mut self, event: Event) -> Result<(), StoreError> {
        let held = self.trouble.as_ref().is_some_and(|t| Tick::now() < t.until);
        match event {
            Event::Tick | Event::Stop => {}
            Event::Stirred => self.next_look = self.next_look.min(Tick::now() + SETTLE),
            // What cannot be kept now is read again then.
            Event::Looked(_) if held => self.looking_since = None,
            Event::Looked(batch) => self.looked(batch)?,
            Event::Attempted(attempt) => self.handing.answered(attempt, Utc::now()),
            Event::Delivered => self.handing.under_way = false,
            Event::Reload => self.reloaded(),
        }
        if held {
            return Ok(());
        }
        if self.handing.record(&mut self.store)? > 0 {
            self.outbox_changed()?;
        }
        self.notice_foreign_writes()?;
        self.look()?;
        self.deliver()
    }

    /// The state could not be written: say so, and let a moment pass.
    fn hold(&mut self, error: &StoreError) {
        let now = Tick::now();
        let what = error.to_string();
        let news = self.trouble.as_ref().is_none_or(|t| t.what != what || t.said.elapsed() >= STILL);
        if news {
            error!(%error, "the state cannot be written; nothing is judged or sent until it can; trying again");
            let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Status(&format!("waiting: {what}"))]);
        }
        let said = self.trouble.as_ref().filter(|_| !news).map_or(now, |t| t.said);
        let since = self.trouble.as_ref().map_or_else(Utc::now, |t| t.since);
        self.trouble = Some(Trouble { since, what, said, until: now + AGAIN });
        self.next_look = now + AGAIN;
        self.next_judgement = now;
    }

    /// A pass has gone through, so the state can be written.
    fn written(&mut self) -> Result<(), StoreError> {
        let Some(trouble) = self.trouble.take() else { return Ok(()) };
        let now = Utc::now();
        info!(since = %trouble.since, was = %trouble.what, "the state can be written again");
        let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Status("watching")]);
        if now - trouble.since < TimeDelta::minutes(TOLD_AFTER_MIN) {
            return Ok(());
        }
        notice::written_again(&mut self.store, &self.rules, trouble.since, &trouble.what, now)
    }

    /// Letters went out or were refused: metrics at once, and the page too if it now says something else.
    fn outbox_changed(&mut self) -> Result<(), StoreError> {
        self.refresh(Utc::now());
        if self.store.outbox()?.undelivered != self.undelivered {
            self.next_judgement = Tick::now();
            self.next_look = Tick::now();
        }
        Ok(())
    }

    /// Writes the metrics of the last pass anew with the outbox as it is.
    fn refresh(&mut self, now: Instant) {
        if let Some(figures) = &mut self.figures
            && let Err(error) = refresh(&self.state, &self.store, figures, now)
        {
            error!(%error, "metrics not written");
        }
    }

    /// A person acknowledged something beside us: judge again soon.
    fn notice_foreign_writes(&mut self) -> Result<(), StoreError> {
        let now = self.store.foreign_writes()?;
        if now != self.foreign {
            self.foreign = now;
            self.next_judgement = Tick::now();
            self.next_look = Tick::now();
        }
        Ok(())
    }

    /// Starts a look if it is time and none is under way.
    fn look(&mut self) -> Result<(), StoreError> {
        if let Some(since) = self.looking_since {
            if since.elapsed() <= HUNG {
                return Ok(());
            }
            // The digest goes all the same, and says so: silence must not look like health.
            if !self.hung || self.digest_due(Utc::now()).is_some() {
                let why = format!("no answer for {} s", HUNG.as_secs());
                warn!(%why, "the fleet folder does not answer");
                self.judge(Batch { unreachable: Some(why), ..Batch::default() }, HUNG)?;
                self.hung = true;
            }
            return Ok(());
        }
        if Tick::now() < self.next_look && self.digest_due(Utc::now()).is_none() {
            return Ok(());
        }
        let known = self.store.known()?;
        let look = Look {
            folder: self.rules.config.settings.fleet.folder.clone(),
            config: self.rules.config.clone(),
            models: self.rules.models.clone(),
            settle: SETTLE,
            time: READ_FOR,
            progress: scan::Progress::default(),
        };
        let events = self.events.clone();
        self.looking_since = Some(Tick::now());
        // A thread of its own, not of the runtime's: one that hangs on a dead share must not delay the end.
        std::thread::spawn(move || {
            let batch = scan::look(&look, &known);
            let _ = events.blocking_send(Event::Looked(batch));
        });
        Ok(())
    }

    fn looked(&mut self, batch: Batch) -> Result<(), StoreError> {
        let looking = self.looking_since.take().map_or(Duration::ZERO, |s| s.elapsed());
        if std::mem::take(&mut self.hung) {
            info!("the fleet folder answers again");
        }
        let every = Duration::from_secs(u64::from(self.rules.config.settings.fleet.scan_every_s));
        self.next_look = Tick::now() + every;
        if batch.left > 0 {
            self.next_look = Tick::now();
        } else if batch.waiting > 0 {
            self.next_look = Tick::now() + SETTLE;
        }
        if let Some(why) = &batch.unreachable {
            warn!(%why, "the fleet folder cannot be read");
        }
        let folders = Folders::of(&batch);
        // With nothing new the answer only changes with the calendar: judge now and then.
        let nothing_new = batch.changes.is_empty()
            && self.folders.as_ref() == Some(&folders)
            && self.digest_due(Utc::now()).is_none();
        if nothing_new && Tick::now() < self.next_judgement {
            let now = Utc::now();
            if let Some(figures) = &mut self.figures {
                figures.last_scan = Some(now);
                figures.scan_s = looking.as_secs_f64();
            }
            self.refresh(now);
            return Ok(());
        }
        self.judge(batch, looking)?;
        self.folders = Some(folders);
        Ok(())
    }

    /// One pass over what was seen, then page and metrics.
    fn judge(&mut self, batch: Batch, looking: Duration) -> Result<(), StoreError> {
        let started = Tick::now();
        let now = Utc::now();
        let wish = self.digest_due(now).map_or(DigestWish::No, DigestWish::For);
        let done = pass::run(&mut self.store, &self.rules, batch, now, wish)?;
        self.written()?;
        self.next_judgement = Tick::now() + JUDGE_EVERY;
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
            match publish(&self.state, &self.store, &done, took, now) {
                Ok(figures) => self.figures = Some(figures),
                Err(error) => error!(%error, "page or metrics not written"),
            }
        }
        Ok(())
    }

    fn digest_due(&self, now: Instant) -> Option<NaiveDate> {
        let zone = self.rules.config.settings.fleet.time_zone;
        let last = self.store.last_digest().ok()?.map(|d| d.date);
        self.schedule.due(zone, last, |date| self.store.digest_made(date).unwrap_or(true), now)
    }

    /// Starts handing over letters if some are due and none are under way.
    fn deliver(&mut self) -> Result<(), StoreError> {
        // While the state cannot be written, what the server takes could not be noted, and would go again.
        if self.handing.under_way || self.trouble.is_some() {
            return Ok(());
        }
        let now = Utc::now();
        let letters = self.store.due_letters(now, AT_ONCE)?;
        if letters.is_empty() {
            return Ok(());
        }
        self.handing.under_way = true;
        let (delivery, events) = (self.delivery.clone(), self.events.clone());
        tokio::spawn(async move {
            let (attempts, mut made) = mpsc::unbounded_channel();
            let work = delivery.deliver(letters, now, move |attempt| {
                let _ = attempts.send(attempt);
            });
            let forward = async {
                while let Some(attempt) = made.recv().await {
                    if events.send(Event::Attempted(attempt)).await.is_err() {
                        return;
                    }
                }
            };
            tokio::join!(work, forward);
            let _ = events.send(Event::Delivered).await;
        });
        Ok(())
    }

    fn reloaded(&mut self) {
        let refused = match (self.reload)() {
            Err(why) => Some(why),
            Ok(rules) => {
                let settings = &rules.config.settings;
                match (settings.digest.schedule.parse(), Delivery::new(settings.mail.as_ref(), &self.state)) {
                    (Ok(schedule), Ok(delivery)) => {
                        notice::changes(&rules, &self.rules);
                        self.schedule = schedule;
                        self.delivery = Arc::new(delivery);
                        self.rules = rules;
                        None
                    }
                    (Err(why), _) => Some(why.to_string()),
                    (_, Err(why)) => Some(why.to_string()),
                }
            }
        };
        let Some(why) = refused else {
            self.next_judgement = Tick::now();
            self.next_look = Tick::now();
            info!("configuration read anew");
            // What was in the way of letters may be mended.
            if let Err(error) = self.store.retry_letters(Utc::now()) {
                warn!(%error, "letters are tried again at their own time");
            }
            return;
        };
        error!(error = %why, "configuration refused; the old one stays");
        if let Err(error) = notice::refused(&mut self.store, &self.rules, &why, Utc::now()) {
            error!(%error, "the refusal could not be put into the outbox");
        }
    }

    /// Lets letters under way finish, notes them, and ends.
    async fn stop(&mut self, inbox: &mut mpsc::Receiver<Event>) -> Ended {
        let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Stopping]);
        info!("stopping");
        let end = tokio::time::Instant::now() + LAST_LETTERS;
        while self.handing.under_way {
            match tokio::time::timeout_at(end, inbox.recv()).await {
                Ok(Some(Event::Attempted(attempt))) => self.handing.answered(attempt, Utc::now()),
                Ok(Some(Event::Delivered)) => self.handing.under_way = false,
                Ok(Some(_)) => {}
                Ok(None) | Err(_) => break,
            }
        }
        if let Err(error) = self.handing.record(&mut self.store) {
            return Ended::State(error);
        }
        Ended::Told
    }
}

#[cfg(test)]
mod tests;
