//! The loop of the service.

mod looking;
mod trouble;

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant as Tick};

use chrono::Utc;
use tokio::sync::mpsc;
use tracing::{error, info, warn};

use super::deliver::{AT_ONCE, Handing};
use super::notice;
use super::pass::{self, Rules, Verdicts};
use super::signals::{listen, stir};
use crate::config::schedule::Schedule;
use crate::report::Undelivered;
use crate::report::metrics::Figures;
use crate::shell::mail::Delivery;
use crate::shell::manager::Manager;
use crate::shell::scan::Batch;
use crate::shell::store::{Attempt, Store, StoreError};
use looking::{Folders, Going};
use trouble::Trouble;

/// The clock is looked at this often, whatever it does in between.
const TICK: Duration = Duration::from_millis(500);
/// A file must have been still for this long before it is read.
const SETTLE: Duration = Duration::from_millis(700);
/// A look that takes longer means that the share does not answer.
const HUNG: Duration = Duration::from_secs(60);
/// Stack of the thread that looks, bytes: what the standard library gives.
const LOOK_STACK: usize = 2 * 1024 * 1024;
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
    Looked(Batch, Option<Box<Going>>),
    Attempted(Attempt),
    /// Handing letters over has ended, or broken off.
    Delivered {
        broke_off: bool,
    },
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
    /// Since when the system has given no thread to look with.
    refused_since: Option<Tick>,
    /// Stack of the thread that looks, bytes.
    look_stack: usize,
    hung: bool,
    next_look: Tick,
    /// What is still to be read of a look whose files were more than a batch holds.
    going: Option<Box<Going>>,
    /// Something changed since the look under way began.
    stirred: bool,
    /// When everything is judged next, whether or not anything is new.
    next_judgement: Tick,
    /// Something beside files is new.
    judge_again: bool,
    verdicts: Verdicts,
    /// Looks out for changes in the fleet folder until it is dropped.
    watcher: std::sync::mpsc::Sender<()>,
    handing: Handing,
    manager: Manager,
    foreign: i64,
    /// Folders as the last judgement saw them.
    folders: Option<Folders>,
    trouble: Option<Trouble>,
    /// What the metrics said last.
    figures: Option<Figures>,
    /// The outbox as page and digest showed it last.
    undelivered: Undelivered,
}

/// Runs until SIGTERM or SIGINT.
pub async fn serve(rules: Rules, mut store: Store, state: PathBuf, delivery: Delivery, reload: Reload) -> Ended {
    let schedule: Schedule = match rules.config.settings.digest.schedule.parse() {
        Ok(schedule) => schedule,
        Err(error) => return Ended::Io(std::io::Error::other(format!("{error}"))),
    };
    let (events, mut inbox) = mpsc::channel(64);
    // A state that cannot be written now is told of by the first pass.
    let verdicts = match pass::drop_unreadable(&mut store) {
        Err(error) if !error.may_pass() => return Ended::State(error),
        dropped => dropped.unwrap_or_default(),
    };
    let folder = rules.config.settings.fleet.folder.clone();
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
        refused_since: None,
        look_stack: LOOK_STACK,
        hung: false,
        next_look: Tick::now(),
        going: None,
        stirred: false,
        next_judgement: Tick::now(),
        judge_again: false,
        verdicts,
        watcher: stir(folder.clone(), events.clone()),
        handing: Handing::default(),
        manager: Manager::of_environment(),
        foreign,
        folders: None,
        trouble: None,
        figures: None,
        undelivered: Undelivered::default(),
    };
    let signals = match listen(events.clone()) {
        Ok(signals) => signals,
        Err(error) => return Ended::Io(error),
    };
    service.manager.alive();
    info!(folder = %folder.display(), "watching");
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
        service.manager.alive();
    };
    signals.abort();
    ended
}

impl Service {
    fn handle(&mut self, event: Event) -> Result<(), StoreError> {
        let held = self.trouble.as_ref().is_some_and(|t| Tick::now() < t.until);
        match event {
            Event::Tick | Event::Stop => {}
            Event::Stirred => {
                self.next_look = self.next_look.min(Tick::now() + SETTLE);
                self.stirred = true;
            }
            // What cannot be kept now is read again then.
            Event::Looked(..) if held => self.looking_since = None,
            Event::Looked(batch, going) => self.looked(batch, going)?,
            Event::Attempted(attempt) => self.handing.answered(attempt, Utc::now()),
            Event::Delivered { broke_off } => self.handing.ended(broke_off, Utc::now()),
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

    fn judge_soon(&mut self) {
        self.judge_again = true;
        self.next_look = Tick::now();
        self.stirred = true;
    }

    /// Letters went out or were refused: metrics at once, and the page too if it now says something else.
    fn outbox_changed(&mut self) -> Result<(), StoreError> {
        self.refresh(Utc::now());
        if self.store.outbox()?.undelivered != self.undelivered {
            self.judge_soon();
        }
        Ok(())
    }

    /// A person acknowledged something beside us: judge again soon.
    fn notice_foreign_writes(&mut self) -> Result<(), StoreError> {
        let now = self.store.foreign_writes()?;
        if now != self.foreign {
            self.foreign = now;
            self.judge_soon();
        }
        Ok(())
    }

    /// Starts handing over letters if some are due and none are under way.
    fn deliver(&mut self) -> Result<(), StoreError> {
        // While the state cannot be written, what the server takes could not be noted, and would go again.
        let now = Utc::now();
        if !self.handing.may_begin(now) || self.trouble.is_some() {
            return Ok(());
        }
        let letters = self.store.due_letters(now, AT_ONCE)?;
        if letters.is_empty() {
            return Ok(());
        }
        self.handing.under_way = true;
        let (delivery, events) = (self.delivery.clone(), self.events.clone());
        tokio::spawn(async move {
            let (attempts, mut made) = mpsc::unbounded_channel();
            // A task of its own, so that a fault in it does not leave letters "under way" for ever.
            let work = tokio::spawn(async move {
                let report = move |attempt| {
                    let _ = attempts.send(attempt);
                };
                delivery.deliver(letters, now, report).await;
            });
            while let Some(attempt) = made.recv().await {
                if events.send(Event::Attempted(attempt)).await.is_err() {
                    return;
                }
            }
            let broke_off = work.await.is_err();
            let _ = events.send(Event::Delivered { broke_off }).await;
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
                        let folder = &settings.fleet.folder;
                        if *folder != self.rules.config.settings.fleet.folder {
                            self.watcher = stir(folder.clone(), self.events.clone());
                            info!(folder = %folder.display(), "watching");
                        }
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
            self.judge_soon();
            info!("configuration read anew");
            // What was in the way of letters may be mended.
            self.handing.release();
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
        self.manager.stopping();
        info!("stopping");
        let end = tokio::time::Instant::now() + LAST_LETTERS;
        while self.handing.under_way {
            match tokio::time::timeout_at(end, inbox.recv()).await {
                Ok(Some(Event::Attempted(attempt))) => self.handing.answered(attempt, Utc::now()),
                Ok(Some(Event::Delivered { broke_off })) => self.handing.ended(broke_off, Utc::now()),
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
