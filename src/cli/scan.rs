//! `scan`: one round, then exit.

use std::time::Instant as Tick;

use clap::Args;

use super::{Cli, Stop, View, exit, load, output};
use crate::alerts::Alert;
use crate::config::schedule::Schedule;
use crate::daemon::pass::{self, DigestWish, Done, Rules};
use crate::daemon::{deliver_now, publish, refresh};
use crate::judge::Level;
use crate::records::Instant;
use crate::report::{json, status};
use crate::shell::log;
use crate::shell::mail::Delivery;
use crate::shell::scan::{Batch, Look, Looking, Progress};
use crate::shell::store::{Known, Store};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch scan --dry-run
      what a round would find; nothing is stored or sent
  cowlwatch scan --json
  cowlwatch scan --as-of 2026-03-01T06:30 --fail-on warning")]
pub struct Options {
    #[command(flatten)]
    pub view: View,
    /// Deliver and store nothing.
    #[arg(long)]
    pub dry_run: bool,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    log::start("warn");
    let rules = load::rules(&cli.config)?;
    let settings = &rules.config.settings;
    let zone = settings.fleet.time_zone;
    let now = load::as_of(options.view.as_of.as_deref(), zone)?;
    let started = Tick::now();
    let mut store = match options.dry_run {
        true => Store::scratch(Some(&settings.fleet.state))?,
        false => Store::open(&settings.fleet.state)?,
    };
    let done = round(&mut store, &rules, now, true)?;
    if !options.dry_run {
        // Page and metrics first, in case the mail server keeps us waiting; then once more what it took.
        let state = &settings.fleet.state;
        let published = publish(state, &store, &done, true, (Some(now), started.elapsed().as_secs_f64()), now);
        hand_over(&mut store, &rules, now)?;
        if let Err(error) = published.and_then(|mut figures| refresh(state, &store, &mut figures, now)) {
            eprintln!("cowlwatch: {error}");
        }
    }
    let live = store.live_alerts()?;
    print(&store, &done, &live, &rules, options.view.json)?;
    Ok(failing(&live, options.view.fail_on.map(Level::from)))
}

/// Looks at everything there is and judges it.
pub fn round(store: &mut Store, rules: &Rules, now: Instant, digests: bool) -> Result<Done, Stop> {
    watched(store, rules, now, digests, &Progress::default())
}

/// The same for who watches how far it has come.
pub fn watched(
    store: &mut Store,
    rules: &Rules,
    now: Instant,
    digests: bool,
    progress: &Progress,
) -> Result<Done, Stop> {
    let mut verdicts = pass::drop_unreadable(store)?;
    let (mut read, mut first, mut batches) = (0, true, Batches::new(rules, progress));
    loop {
        let batch = batches.next(store)?;
        let digest = if digests && batch.left == 0 { digest_due(store, rules, now)? } else { DigestWish::No };
        let mut done = pass::run(store, rules, batch, now, digest, verdicts)?;
        if done.morning.is_some() {
            if !first {
                // Files of earlier batches of this round count as read in it.
                done.counts.unchanged = done.counts.unchanged.saturating_sub(read);
                done.counts.read += read;
            }
            return Ok(done);
        }
        read += done.counts.read;
        first = false;
        verdicts = done.into_verdicts();
    }
}

/// Looks at everything there is without judging it.
pub fn take_in(store: &mut Store, rules: &Rules, progress: &Progress) -> Result<(), Stop> {
    let mut batches = Batches::new(rules, progress);
    loop {
        let batch = batches.next(store)?;
        pass::take_in(store, &batch)?;
        if batch.left == 0 {
            return Ok(());
        }
    }
}

/// Batch after batch of one look at the fleet folder; then of another.
struct Batches {
    look: Look,
    going: Option<(Looking, Known)>,
}

impl Batches {
    fn new(rules: &Rules, progress: &Progress) -> Self {
        let look = Look::at_once(rules.config.clone(), rules.models.clone(), progress.clone());
        Self { look, going: None }
    }

    fn next(&mut self, store: &Store) -> Result<Batch, Stop> {
        let (mut looking, known) = match self.going.take() {
            Some(going) => going,
            None => {
                let known = store.known()?;
                (Looking::begin(&self.look, &known), known)
            }
        };
        let batch = looking.batch(&self.look, &known);
        match &batch.unreachable {
            Some(why) if known.is_empty() => {
                return Err(Stop::new(exit::CANNOT_READ, format!("the fleet folder cannot be read: {why}")));
            }
            _ => {}
        }
        // What is judged after the last one needs the room.
        self.going = (batch.left > 0).then_some((looking, known));
        Ok(batch)
    }
}

fn digest_due(store: &Store, rules: &Rules, now: Instant) -> Result<DigestWish, Stop> {
    let settings = &rules.config.settings;
    let schedule: Schedule =
        settings.digest.schedule.parse().map_err(|e| Stop::new(exit::CONFIGURATION, format!("{e}")))?;
    let last = store.last_digest()?.map(|d| d.date);
    let due = schedule.due(settings.fleet.time_zone, last, |d| store.digest_made(d).unwrap_or(true), now);
    Ok(due.map_or(DigestWish::No, DigestWish::For))
}

/// Delivers what waits; a letter that is refused stays for the next time and is said on standard error.
pub fn hand_over(store: &mut Store, rules: &Rules, now: Instant) -> Result<(), Stop> {
    let settings = &rules.config.settings;
    let delivery = Delivery::new(settings.mail.as_ref(), &settings.fleet.state)
        .map_err(|e| Stop::new(exit::CONFIGURATION, e.to_string()))?;
    runtime()?.block_on(deliver_now(store, &delivery, now))?;
    let waiting = store.outbox()?.undelivered;
    if waiting.letters > 0 {
        let why = waiting.last_error.unwrap_or_default();
        eprintln!("cowlwatch: {} letters wait to be delivered; {why}", waiting.letters);
    }
    Ok(())
}

pub fn runtime() -> Result<tokio::runtime::Runtime, Stop> {
    tokio::runtime::Builder::new_current_thread()
        .enable_all()
        .build()
        .map_err(|e| Stop::new(exit::UNAVAILABLE, format!("cannot start: {e}")))
}

fn print(store: &Store, done: &Done, live: &[Alert], rules: &Rules, as_json: bool) -> Result<(), Stop> {
    let zone = rules.config.settings.fleet.time_zone;
    if as_json {
        let mut alerts = store.alerts()?;
        alerts.retain(|a| a.is_live() || done.changed.contains(&a.number));
        return output::json(&json::scan(done.as_of, zone, counts(done), done.engines(), &alerts));
    }
    let c = done.counts;
    output::line(&format!(
        "Files: {} read, {} unchanged, {} waiting, {} rejected; {} rows rejected. Letters written: {}.",
        c.read, c.unchanged, c.waiting, c.rejected, c.rows_rejected, done.letters
    ))?;
    for rejection in done.rejections().iter().take(20) {
        output::line(&format!("  {rejection}"))?;
    }
    if done.rejections().len() > 20 {
        output::line(&format!("  … and {} more: cowlwatch check", done.rejections().len() - 20))?;
    }
    output::print(&status::alerts(live, done.as_of, zone))
}

pub fn counts(done: &Done) -> json::FileCounts {
    let c = done.counts;
    json::FileCounts {
        read: u64::from(c.read),
        unchanged: u64::from(c.unchanged),
        waiting: u64::from(c.waiting),
        rejected: u64::from(c.rejected),
        rows_rejected: u64::from(c.rows_rejected),
    }
}

/// The exit code for `--fail-on`.
pub fn failing(alerts: &[Alert], fail_on: Option<Level>) -> u8 {
    match (status::highest(alerts), fail_on) {
        (Some(highest), Some(least)) if highest >= least => exit::ALERTS,
        _ => 0,
    }
}
