//! One pass: records in, findings judged, alerts reconciled, letters written, committed together.
//!
//! The same code serves the service, `scan`, `status` and `replay`; only the store (real or a
//! scratch copy) and the moment differ.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::NaiveDate;
use tracing::{error, info, warn};

use crate::alerts::{self, Action, Alert, Audience, Bundle, Outcome};
use crate::config::Config;
use crate::engine::{self, Fleet, Models, What};
use crate::judge::{self, EngineView, Evidence, Finding, Judgement, Kind, RulesFor};
use crate::records::{Instant, Rejection, Source, TailRecords};
use crate::report::{self, Freshness, Letter, Morning, Undelivered};
use crate::shell::mail::{self, Recipients};
use crate::shell::scan::{Batch, Change, FileRecords};
use crate::shell::store::{self, Pass, Store};

/// What the program runs under.
#[derive(Clone, Debug)]
pub struct Rules {
    pub config: Arc<Config>,
    pub models: Arc<Models>,
}

/// Files of a pass, counted. Rejected ones are all that are not mended yet.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Counts {
    pub read: u32,
    pub unchanged: u32,
    pub waiting: u32,
    pub rejected: u32,
    pub rows_rejected: u32,
}

/// What a pass found and did.
#[derive(Debug)]
pub struct Done {
    pub as_of: Instant,
    pub counts: Counts,
    pub engines: Vec<EngineView>,
    /// All alerts, by number.
    pub alerts: Vec<Alert>,
    /// Those that are live, and those that changed in this pass.
    pub shown: Vec<Alert>,
    pub aircraft: Vec<Freshness>,
    pub rejections: Vec<Rejection>,
    /// What digest and page are made of; none where nothing was judged.
    pub morning: Option<Morning>,
    pub digest: Option<NaiveDate>,
    pub letters: u32,
    pub undelivered: Undelivered,
    /// True when files were left for the next batch: nothing was judged.
    pub unfinished: bool,
}

/// Whether a digest is made in this pass.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum DigestWish {
    No,
    /// For this date, unless it has had one.
    For(NaiveDate),
}

/// Runs one pass and commits it.
///
/// # Errors
/// What the state said; nothing of the pass has then happened.
pub fn run(
    store: &mut Store,
    rules: &Rules,
    batch: Batch,
    now: Instant,
    digest: DigestWish,
) -> Result<Done, store::StoreError> {
    let zone = rules.config.settings.fleet.time_zone;
    let pass = store.begin()?;
    let mut counts =
        Counts { read: batch.read, unchanged: batch.unchanged, waiting: batch.waiting, ..Counts::default() };
    let unfinished = batch.left > 0;
    apply(&pass, &batch)?;
    if unfinished {
        let alerts = pass.alerts()?;
        pass.commit()?;
        return Ok(nothing_judged(now, counts, alerts));
    }
    let seen = Seen::load(&pass, &batch, rules)?;
    counts.rejected = seen.rejected_files();
    counts.rows_rejected = seen.rejections.iter().filter(|r| !r.whole_file).count() as u32;

    let remembered = pass.alerts()?;
    let fleet = seen.fleet(rules, now);
    let mut judgement = judge::judge(&fleet, &*rules.config, zone, &alerts::closings(&remembered), now);
    judgement.findings.extend(seen.findings(rules, now));
    let first = pass.is_first()?;
    let outcome = alerts::reconcile(
        remembered,
        judgement.findings.clone(),
        &actions(&fleet),
        &alerts::Pass { now, zone, first, policy: &rules.config.settings.alerts },
    );
    log_decisions(&outcome);
    pass.put_alerts(outcome.changed())?;

    let mut writing = Writing { pass: &pass, rules, now, letters: 0 };
    let morning = morning(&pass, rules, &judgement, &outcome, &seen, &fleet, now, first)?;
    for bundle in alerts::bundles(&outcome) {
        writing.single(&bundle, &outcome, &morning)?;
    }
    let digest = writing.digest(digest, morning.clone())?;
    if first && !judgement.engines.is_empty() {
        if digest.is_none() {
            writing.summary(&morning)?;
        }
        pass.mark_summarised()?;
    }
    let letters = writing.letters;
    let undelivered = pass.outbox()?.undelivered;
    pass.commit()?;
    let shown = outcome.alerts.iter().filter(|a| a.is_live() || outcome.changed.contains(&a.number)).cloned().collect();
    Ok(Done {
        as_of: now,
        counts,
        engines: judgement.engines,
        alerts: outcome.alerts,
        shown,
        aircraft: morning.aircraft.clone(),
        rejections: seen.rejections,
        morning: Some(morning),
        digest,
        letters,
        undelivered,
        unfinished: false,
    })
}

/// Judges what the store holds under other rules, without remembering anything: for comparisons.
/// Also gives the moment of the first record.
///
/// # Errors
/// What the state said.
pub fn findings(
    store: &mut Store,
    rules: &Rules,
    now: Instant,
) -> Result<(Vec<Finding>, Option<Instant>), store::StoreError> {
    let pass = store.begin()?;
    let fleet = Seen::load(&pass, &Batch::default(), rules)?.fleet(rules, now);
    let zone = rules.config.settings.fleet.time_zone;
    let first = fleet.engines.iter().filter_map(|engine| engine.events.first()).map(|event| event.at).min();
    Ok((judge::judge(&fleet, &*rules.config, zone, &[], now).findings, first))
}

fn nothing_judged(now: Instant, counts: Counts, alerts: Vec<Alert>) -> Done {
    Done {
        as_of: now,
        counts,
        engines: Vec::new(),
        shown: Vec::new(),
        alerts,
        aircraft: Vec::new(),
        rejections: Vec::new(),
        morning: None,
        digest: None,
        letters: 0,
        undelivered: Undelivered::default(),
        unfinished: true,
    }
}

fn apply(pass: &Pass<'_>, batch: &Batch) -> Result<(), store::StoreError> {
    for change in &batch.changes {
        match change {
            Change::Put(row, records) => {
                for rejection in &records.rejections {
                    warn!(at = %rejection.source, found = %rejection.found, expected = %rejection.expected, "not read");
                }
                pass.put_file(row, records)?;
            }
            Change::Touch(row) => {
                pass.touch_file(row)?;
            }
            Change::Remove(path) => {
                info!(file = %path, "file is gone; its records go with it");
                pass.remove_file(path)?;
            }
        }
    }
    Ok(())
}

/// What the state and the last look say about the fleet.
struct Seen {
    tails: Vec<TailRecords>,
    rejections: Vec<Rejection>,
    /// Modification time of files with rejections.
    changed: Vec<(String, Instant)>,
    missing: BTreeSet<String>,
    unreachable: bool,
}

impl Seen {
    fn load(pass: &Pass<'_>, batch: &Batch, _rules: &Rules) -> Result<Self, store::StoreError> {
        let mut seen = Self {
            tails: Vec::new(),
            rejections: Vec::new(),
            changed: Vec::new(),
            missing: BTreeSet::new(),
            unreachable: batch.unreachable.is_some(),
        };
        for tail in pass.tails()? {
            let mut aircraft = None;
            let (mut entries, mut runs) = (Vec::new(), Vec::new());
            for (_, records) in pass.records_of::<FileRecords>(&tail)? {
                aircraft = records.aircraft.or(aircraft);
                entries.extend(records.entries);
                runs.extend(records.runs);
                seen.rejections.extend(records.rejections);
            }
            let there = batch.tails.iter().any(|t| t.name == tail && t.has_aircraft_file);
            if !there {
                seen.missing.insert(tail);
            }
            if let Some(aircraft) = aircraft {
                runs = crate::records::monitor::join(runs);
                seen.tails.push(TailRecords { aircraft, entries, runs });
            }
        }
        for tail in batch.tails.iter().filter(|t| !t.has_aircraft_file && !seen.missing.contains(&t.name)) {
            seen.rejections.push(Rejection {
                source: Source { file: tail.name.as_str().into(), line: 0 },
                found: "a folder without aircraft.toml".to_owned(),
                expected: "aircraft.toml, saying which engines sit where".to_owned(),
                whole_file: true,
            });
        }
        seen.rejections.extend(batch.problems.iter().cloned());
        for row in pass.known_files()? {
            if seen.rejections.iter().any(|r| *r.source.file == *row.path) {
                let at = Instant::from_timestamp_nanos(row.mtime_ns);
                seen.changed.push((row.path, at));
            }
        }
        Ok(seen)
    }

    fn rejected_files(&self) -> u32 {
        let whole = self.rejections.iter().filter(|r| r.whole_file);
        whole.map(|r| &r.source.file).collect::<BTreeSet<_>>().len() as u32
    }

    fn fleet(&self, rules: &Rules, now: Instant) -> Fleet {
        let tolerance = rules.config.rules("", "", "").records.hours_tolerance;
        engine::build(&self.tails, &rules.models, rules.config.settings.fleet.time_zone, now, tolerance)
    }

    /// Findings about files and folders, one for each however many rows it concerns.
    fn findings(&self, rules: &Rules, now: Instant) -> Vec<Finding> {
        let mut found: Vec<Finding> = Vec::new();
        let files: BTreeSet<&Arc<str>> = self.rejections.iter().map(|r| &r.source.file).collect();
        for file in files {
            let about: Vec<&Rejection> = self.rejections.iter().filter(|r| &r.source.file == file).collect();
            let changed = self.changed.iter().find(|(path, _)| **path == **file).map_or(now, |(_, at)| *at);
            let tail = file.split('/').next().unwrap_or("");
            let mut finding = file_finding(Kind::FileRejected, tail, file, changed.min(now));
            finding.size = about.len() as f64;
            finding.evidence = Evidence::default()
                .with("found", about[0].found.clone())
                .with("expected", about[0].expected.clone())
                .with("rows", about.len() as f64)
                .with("whole_file", about.iter().any(|r| r.whole_file))
                .with("lines", about.iter().map(|r| r.source.clone()).take(12).collect::<Vec<_>>());
            found.push(finding);
        }
        for tail in &self.missing {
            let mut finding = file_finding(Kind::AircraftMissing, tail, "folder", now);
            let what = if self.unreachable {
                "the fleet folder does not answer"
            } else {
                "its folder or aircraft.toml is gone"
            };
            finding.evidence = Evidence::default()
                .with("found", what)
                .with("expected", "the folder as before; what is known of the aircraft is kept");
            found.push(finding);
        }
        for finding in &mut found {
            let rules = rules.config.rules(&finding.tail, "", "");
            if let Some(&level) = rules.levels.get(&finding.kind) {
                finding.level = level;
            }
        }
        found
    }
}

fn file_finding(kind: Kind, tail: &str, subject: &str, raised: Instant) -> Finding {
    Finding {
        kind,
        level: kind.usual_level(),
        tail: tail.into(),
        position: None,
        serial: None,
        subject: subject.to_owned(),
        raised,
        hours: None,
        settled: None,
        size: 1.0,
        evidence: Evidence::default(),
    }
}

/// The logbook's `action` entries that name an alert, each once.
fn actions(fleet: &Fleet) -> Vec<Action> {
    let mut seen = BTreeSet::new();
    let mut list = Vec::new();
    for event in fleet.engines.iter().flat_map(|e| &e.events) {
        if let What::Action { alert: Some(number), text } = &event.what
            && seen.insert((event.source.clone(), *number))
        {
            list.push(Action {
                number: *number,
                tail: event.tail.clone(),
                at: event.at,
                text: text.clone(),
                source: event.source.clone(),
            });
        }
    }
    list.sort_by_key(|a| a.at);
    list
}

fn log_decisions(outcome: &Outcome) {
    for say in outcome.says() {
        if let Some(alert) = outcome.alert(say.number) {
            info!(
                alert = alert.number,
                kind = %alert.kind(),
                level = alert.level().word(),
                tail = %alert.tail(),
                serial = alert.finding.serial.as_deref().unwrap_or("-"),
                reason = ?say.why,
                by = ?say.how,
                "alert speaks"
            );
        }
    }
    for unplaced in &outcome.unplaced {
        warn!(at = %unplaced.source, why = %unplaced.why, "action entry not carried out");
    }
}

#[expect(clippy::too_many_arguments, reason = "everything a digest is made of, gathered once")]
fn morning(
    pass: &Pass<'_>,
    rules: &Rules,
    judgement: &Judgement,
    outcome: &Outcome,
    seen: &Seen,
    fleet: &Fleet,
    now: Instant,
    first: bool,
) -> Result<Morning, store::StoreError> {
    let last = pass.last_digest()?;
    let previous = last.as_ref().map(|d| d.made);
    let outbox = pass.outbox()?;
    let since = |a: &Alert| match (&a.closed, previous) {
        (Some(closed), Some(previous)) => closed.at > previous && a.told.is_some(),
        _ => false,
    };
    let alerts = outcome.alerts.iter().filter(|a| a.is_live() || since(a)).cloned().collect();
    let aircraft = fleet
        .aircraft
        .iter()
        .map(|a| Freshness {
            tail: a.tail.clone(),
            last_record: a.last_log.max(a.last_recording),
            silent: judgement
                .findings
                .iter()
                .any(|f| f.kind == Kind::DataSilent && f.tail == a.tail && f.settled.is_none()),
            missing: seen.missing.contains(&*a.tail),
        })
        .collect();
    Ok(Morning {
        operator: rules.config.settings.fleet.operator.clone(),
        zone: rules.config.settings.fleet.time_zone,
        as_of: now,
        sequence: last.map_or(0, |d| d.sequence) + 1,
        previous,
        alerts,
        engines: judgement.engines.clone(),
        aircraft,
        rejections: seen.rejections.clone(),
        undelivered: outbox.undelivered,
        first,
    })
}

/// Letters of a pass, written into its transaction.
struct Writing<'a> {
    pass: &'a Pass<'a>,
    rules: &'a Rules,
    now: Instant,
    letters: u32,
}

impl Writing<'_> {
    fn single(&mut self, bundle: &Bundle, outcome: &Outcome, morning: &Morning) -> Result<(), store::StoreError> {
        let alerts: Vec<&Alert> = bundle.says.iter().filter_map(|s| outcome.alert(s.number)).collect();
        let letter = report::letters::single(&alerts, bundle.audience == Audience::Escalation, morning);
        let slug = format!("{}-{}", bundle.level.word(), bundle.tail);
        self.post("alert", &slug, &letter, Recipients::Alerts(bundle))
    }

    /// The one summary of a first pass.
    fn summary(&mut self, morning: &Morning) -> Result<(), store::StoreError> {
        let letter = report::digest::digest(morning);
        self.post("summary", "first-look", &letter, Recipients::Digest)
    }

    fn digest(&mut self, wish: DigestWish, mut morning: Morning) -> Result<Option<NaiveDate>, store::StoreError> {
        let DigestWish::For(date) = wish else { return Ok(None) };
        let Some(sequence) = self.pass.record_digest(date, self.now)? else { return Ok(None) };
        morning.sequence = sequence;
        let letter = report::digest::digest(&morning);
        self.post("digest", &format!("digest-{date}"), &letter, Recipients::Digest)?;
        info!(%date, sequence, subject = %letter.subject, "digest written");
        Ok(Some(date))
    }

    fn post(&mut self, kind: &str, slug: &str, letter: &Letter, to: Recipients<'_>) -> Result<(), store::StoreError> {
        let settings = &self.rules.config.settings;
        let mail = settings.mail.as_ref();
        let (from, to) = (mail::sender(mail), mail::recipients(to, mail, &settings.alerts));
        if to.is_empty() {
            warn!(letter = slug, "nobody is to get this letter");
            return Ok(());
        }
        let post = mail::Post { kind, slug, made: self.now, from, to: &to };
        let posted = match mail::post(self.pass, letter, post) {
            // One letter that cannot be made must not stop the judging of a fleet; its alerts stay open and listed.
            Err(store::StoreError::Letter(why)) => {
                error!(letter = slug, %why, "letter not written");
                return Ok(());
            }
            posted => posted?,
        };
        for why in posted.left_out {
            warn!(letter = slug, %why, "recipient left out");
        }
        self.letters += 1;
        Ok(())
    }
}
