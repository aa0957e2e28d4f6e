//! The loop of the service.

use std::collections::HashMap;
use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant as Tick};

use chrono::{NaiveDate, Utc};
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use tracing::{error, info, warn};

use super::deliver::{self, AT_ONCE};
use super::pass::{self, DigestWish, Rules};
use super::publish::publish;
use crate::config::schedule::Schedule;
use crate::engine::{Model, Models};
use crate::records::{Instant, Rejection, Source};
use crate::report::letters;
use crate::shell::mail::{self, Delivery, Post, Recipients};
use crate::shell::scan::{self, Batch, Look};
use crate::shell::store::{Attempt, FileRow, Store, StoreError};

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
enum Event {
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
    delivering: bool,
    foreign: i64,
    /// Folders as the last judgement saw them.
    folders: Option<Folders>,
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
        delivering: false,
        foreign,
        folders: None,
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
            error!(%error, "the state cannot be written; trying again");
            service.next_look = Tick::now() + Duration::from_secs(5);
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

struct Signals;

impl Signals {
    fn listen(events: mpsc::Sender<Event>) -> std::io::Result<tokio::task::JoinHandle<()>> {
        let mut terminate = signal(SignalKind::terminate())?;
        let mut interrupt = signal(SignalKind::interrupt())?;
        let mut hangup = signal(SignalKind::hangup())?;
        Ok(tokio::spawn(async move {
            loop {
                let event = tokio::select! {
                    _ = terminate.recv() => Event::Stop,
                    _ = interrupt.recv() => Event::Stop,
                    _ = hangup.recv() => Event::Reload,
                };
                if events.send(event).await.is_err() {
                    return;
                }
            }
        }))
    }
}

/// File system events only make the next look come sooner; a share sends none, and that is no fault.
fn stir(folder: &std::path::Path, events: mpsc::Sender<Event>) -> Option<notify::RecommendedWatcher> {
    use notify::Watcher;
    let told = move |event: notify::Result<notify::Event>| {
        if event.is_ok_and(|e| !e.kind.is_access()) {
            // A full channel already holds a reason to look.
            let _ = events.try_send(Event::Stirred);
        }
    };
    let config = notify::Config::default().with_follow_symlinks(false);
    let mut watcher = notify::RecommendedWatcher::new(told, config).ok()?;
    match watcher.watch(folder, notify::RecursiveMode::Recursive) {
        Ok(()) => Some(watcher),
        Err(error) => {
            warn!(%error, "no file system events; the periodic scan goes on");
            None
        }
    }
}

impl Service {
    fn handle(&mut self, event: Event) -> Result<(), StoreError> {
        match event {
            Event::Tick => {}
            Event::Stirred => self.next_look = self.next_look.min(Tick::now() + SETTLE),
            Event::Looked(batch) => self.looked(batch)?,
            Event::Attempted(attempt) => deliver::note(&mut self.store, &attempt, Utc::now())?,
            Event::Delivered => self.delivering = false,
            Event::Reload => self.reloaded(),
            Event::Stop => {}
        }
        self.notice_foreign_writes()?;
        self.look()?;
        self.deliver()
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
            let newly = !std::mem::replace(&mut self.hung, true);
            if newly || self.digest_due(Utc::now()).is_some() {
                let why = format!("no answer for {} s", HUNG.as_secs());
                warn!(%why, "the fleet folder does not answer");
                return self.judge(Batch { unreachable: Some(why), ..Batch::default() }, HUNG);
            }
            return Ok(());
        }
        if Tick::now() < self.next_look && self.digest_due(Utc::now()).is_none() {
            return Ok(());
        }
        let known: HashMap<String, FileRow> =
            self.store.known_files()?.into_iter().map(|row| (row.path.clone(), row)).collect();
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
        self.next_judgement = Tick::now() + JUDGE_EVERY;
        self.foreign = self.store.foreign_writes()?;
        if done.morning.is_some() {
            let took = (looking + started.elapsed()).as_secs_f64();
            info!(
                read = done.counts.read,
                unchanged = done.counts.unchanged,
                waiting = done.counts.waiting,
                letters = done.letters,
                took_s = took,
                "pass"
            );
            if let Err(error) = publish(&self.state, &self.store, &done, took, now) {
                error!(%error, "page or metrics not written");
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
        if self.delivering {
            return Ok(());
        }
        let now = Utc::now();
        let letters = self.store.due_letters(now, AT_ONCE)?;
        if letters.is_empty() {
            return Ok(());
        }
        self.delivering = true;
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
                        self.tell_changes(&rules);
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
        if let Err(error) = self.mail_refusal(&why) {
            error!(%error, "the refusal could not be put into the outbox");
        }
    }

    /// Logs each setting that holds another value than before.
    fn tell_changes(&self, rules: &Rules) {
        let mut changes = rules.config.changes_since(&self.rules.config);
        let (mine, before) = (&rules.models, &self.rules.models);
        let names = mine.keys().chain(before.keys().filter(|name| !mine.contains_key(*name)));
        // The line a model stands on is no news.
        let content = |models: &Models, name: &str| {
            models.get(name).map(|model| Model { source: Source { file: "".into(), line: 0 }, ..(**model).clone() })
        };
        let models = names.filter(|name| content(mine, name) != content(before, name));
        changes.extend(models.map(|name| format!("engine model {name}: described otherwise")));
        for change in &changes {
            info!(%change, "configuration changed");
        }
        if changes.is_empty() {
            info!("configuration unchanged");
        }
        if rules.config.settings.fleet.state != self.rules.config.settings.fleet.state {
            warn!("fleet.state takes effect when the service is started anew");
        }
    }

    /// Tells by mail, as the old configuration has it, that the new one was refused.
    fn mail_refusal(&mut self, why: &str) -> Result<(), StoreError> {
        let settings = &self.rules.config.settings;
        let (fleet, mail) = (&settings.fleet, settings.mail.as_ref());
        let now = Utc::now();
        let lines: Vec<String> = why.lines().map(str::to_owned).collect();
        let what = "configuration refused; the old one stays in force";
        let letter = letters::notice(what, &lines, fleet.operator.as_deref(), now, fleet.time_zone);
        let to = mail::recipients(Recipients::Program, mail, &settings.alerts);
        let post = Post { kind: "notice", slug: "configuration-refused", made: now, from: mail::sender(mail), to: &to };
        let pass = self.store.begin()?;
        mail::post(&pass, &letter, post)?;
        pass.commit()
    }

    /// Lets letters under way finish, notes them, and ends.
    async fn stop(&mut self, inbox: &mut mpsc::Receiver<Event>) -> Ended {
        let _ = sd_notify::notify(false, &[sd_notify::NotifyState::Stopping]);
        info!("stopping");
        let end = tokio::time::Instant::now() + LAST_LETTERS;
        while self.delivering {
            match tokio::time::timeout_at(end, inbox.recv()).await {
                Ok(Some(Event::Attempted(attempt))) => {
                    if let Err(error) = deliver::note(&mut self.store, &attempt, Utc::now()) {
                        return Ended::State(error);
                    }
                }
                Ok(Some(Event::Delivered)) => self.delivering = false,
                Ok(Some(_)) => {}
                Ok(None) | Err(_) => break,
            }
        }
        Ended::Told
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::config::Config;
    use crate::engine::Models;
    use crate::judge::Kind;
    use crate::shell::scan::FileRecords;

    /// A service whose look at the fleet folder has been under way for `looking`.
    fn service(folder: &std::path::Path, looking: Duration) -> (Service, mpsc::Receiver<Event>) {
        let state = folder.join("state");
        let mut config = Config::usual(folder.join("fleet"), folder.join("m"), state.clone(), chrono_tz::UTC);
        config.settings.digest.schedule = "0 0 * * *".to_owned();
        let mut store = Store::open(&state).unwrap();
        let pass = store.begin().unwrap();
        let (path, tail) = ("N0417H/logbook.csv".to_owned(), "N0417H".to_owned());
        let row = FileRow { path, tail, size: 1, mtime_ns: 1, inode: 1, hash: [0; 32], reader: 0 };
        pass.put_file(&row, &FileRecords::default()).unwrap();
        pass.commit().unwrap();
        let (events, inbox) = mpsc::channel(8);
        let service = Service {
            schedule: config.settings.digest.schedule.parse().unwrap(),
            rules: Rules { config: Arc::new(config), models: Arc::new(Models::new()) },
            delivery: Arc::new(Delivery::Folder(state.join("outbox"))),
            store,
            state,
            events,
            reload: Box::new(|| Err(String::new())),
            looking_since: Tick::now().checked_sub(looking),
            hung: false,
            next_look: Tick::now(),
            next_judgement: Tick::now(),
            delivering: false,
            foreign: 0,
            folders: None,
        };
        (service, inbox)
    }

    #[test]
    fn a_share_that_hangs_does_not_silence_the_digest() {
        let folder = tempfile::tempdir().unwrap();
        let (mut service, _inbox) = service(folder.path(), HUNG + Duration::from_secs(1));
        service.look().unwrap();
        let today = Utc::now().date_naive();
        assert!(service.hung && service.store.digest_made(today).unwrap());
        let alerts = service.store.alerts().unwrap();
        let missing: Vec<_> = alerts.iter().filter(|a| a.kind() == Kind::AircraftMissing).collect();
        assert_eq!(missing.len(), 1);
        assert_eq!(&**missing[0].tail(), "fleet");
        // Still hung: nothing more is said of it.
        service.look().unwrap();
        assert_eq!(service.store.alerts().unwrap(), alerts);
    }

    #[test]
    fn a_look_under_way_is_waited_for() {
        let folder = tempfile::tempdir().unwrap();
        let (mut service, _inbox) = service(folder.path(), Duration::from_secs(1));
        service.look().unwrap();
        assert!(!service.hung && service.store.alerts().unwrap().is_empty());
    }
}
