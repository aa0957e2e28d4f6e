//! One pass: records in, findings judged, alerts reconciled, letters written, committed together.
//!
//! The same code serves the service, `scan`, `status` and `replay`; only the store (real or a
//! scratch copy) and the moment differ.

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use chrono::NaiveDate;
use tracing::{debug, error, info, warn};

use super::pictures;
use crate::alerts::{self, Action, Alert, Audience, Bundle, Decision, Outcome};
use crate::config::Config;
use crate::engine::{self, AircraftHistory, Fleet, Models, What};
use crate::judge::otherwise::Otherwise;
use crate::judge::{self, Closing, EngineView, Finding, Judgement, Kind, RatePoint, RulesFor, gaps};
use crate::records::{Instant, Rejection, Source, TailRecords};
use crate::report::{self, Freshness, Letter, Morning};
use crate::shell::mail::{self, Recipients};
use crate::shell::scan::{Batch, Change, FileRecords, Progress};
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
    /// All alerts, by number.
    pub alerts: Vec<Alert>,
    /// Those that are live, and those that changed in this pass.
    pub shown: Vec<Alert>,
    /// What digest and page are made of; `None`: files were left for the next batch, and nothing was judged.
    pub morning: Option<Morning>,
    pub letters: u32,
}

impl Done {
    pub fn engines(&self) -> &[EngineView] {
        self.morning.as_ref().map_or(&[], |m| &m.engines)
    }

    pub fn aircraft(&self) -> &[Freshness] {
        self.morning.as_ref().map_or(&[], |m| &m.aircraft)
    }

    /// Rows and files that could not be read and are not mended.
    pub fn rejections(&self) -> &[Rejection] {
        self.morning.as_ref().map_or(&[], |m| &m.rejections)
    }
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
    apply(&pass, &batch)?;
    let first = pass.is_first()?;
    // The first summary is of the whole fleet, also where its folder is still being filled.
    let filling = first && batch.waiting > 0 && now - pass.began(now)? < chrono::TimeDelta::minutes(FILLING_MIN);
    if batch.left > 0 || filling {
        let alerts = pass.alerts()?;
        pass.commit()?;
        return Ok(Done { as_of: now, counts, alerts, shown: Vec::new(), morning: None, letters: 0 });
    }
    let seen = Seen::load(&pass, &batch)?;
    counts.rejected = seen.rejected_files();
    counts.rows_rejected = seen.rejections.iter().filter(|r| !r.whole_file).count() as u32;

    let remembered = pass.alerts()?;
    let mut judged = Judged::of(&pass, &seen.groups, rules, &alerts::closings(&remembered), now, &Progress::default())?;
    judged.findings.extend(seen.findings(rules, now));
    keep_raised(&mut judged.findings, &remembered);
    let outcome = alerts::reconcile(
        remembered,
        std::mem::take(&mut judged.findings),
        &judged.actions,
        &alerts::Pass { now, zone, first, morning: digest != DigestWish::No, policy: &rules.config.settings.alerts },
    );
    pass.put_alerts(outcome.changed())?;

    let some = !judged.engines.is_empty();
    let mut morning = morning(&pass, rules, judged, &outcome, seen, now)?;
    morning.first = first;
    let mut writing = Writing { pass: &pass, rules, now, letters: 0 };
    for bundle in alerts::bundles(&outcome) {
        writing.single(&bundle, &outcome, &morning)?;
    }
    let digest = writing.digest(digest, &mut morning)?;
    if first && some {
        if digest.is_none() {
            writing.summary(&morning)?;
        }
        pass.mark_summarised(now)?;
    }
    let letters = writing.letters;
    pass.commit()?;
    // Only what is committed has happened, and stands in the journal.
    log_decisions(&outcome);
    if let Some(Written { date, sequence, subject }) = digest {
        info!(%date, sequence, %subject, "digest written");
    }
    let shown = outcome.alerts.iter().filter(|a| a.is_live() || outcome.changed.contains(&a.number)).cloned().collect();
    Ok(Done { as_of: now, counts, alerts: outcome.alerts, shown, morning: Some(morning), letters })
}

/// Takes in what a look gave without judging it, for comparisons that judge by themselves.
///
/// # Errors
/// What the state said; nothing of the batch is then known.
pub fn take_in(store: &mut Store, batch: &Batch) -> Result<(), store::StoreError> {
    let pass = store.begin()?;
    apply(&pass, batch)?;
    pass.commit()
}

/// What the judges say under some rules, without anything remembered.
#[derive(Debug)]
pub struct Replayed {
    pub findings: Vec<Finding>,
    pub engines: Vec<EngineView>,
    /// Moment of the first record.
    pub first_record: Option<Instant>,
}

/// Judges what the store holds, remembering nothing: for comparisons.
///
/// # Errors
/// What the state said.
pub fn replayed(
    store: &mut Store,
    rules: &Rules,
    now: Instant,
    progress: &Progress,
) -> Result<Replayed, store::StoreError> {
    let pass = store.begin()?;
    let groups = Seen::load(&pass, &Batch::default())?.groups;
    let judged = Judged::of(&pass, &groups, rules, &[], now, progress)?;
    Ok(Replayed { findings: judged.findings, engines: judged.engines, first_record: judged.first_record })
}

/// Questions about the units of readings, each with its line.
///
/// # Errors
/// What the state said.
pub fn doubts(store: &mut Store, rules: &Rules, now: Instant) -> Result<Vec<(Source, String)>, store::StoreError> {
    let pass = store.begin()?;
    let mut asked = Vec::new();
    for group in Seen::load(&pass, &Batch::default())?.groups {
        let fleet = fleet_of(&pass, &group, rules, now)?;
        asked.extend(fleet.engines.iter().filter_map(judge::doubts::dipstick));
    }
    Ok(asked)
}

/// What would have to be so for a finding not to have come; see [`judge::otherwise`].
///
/// # Errors
/// What the state said.
pub fn otherwise(
    store: &mut Store,
    rules: &Rules,
    closings: &[Closing],
    finding: &Finding,
    now: Instant,
) -> Result<Option<Otherwise>, store::StoreError> {
    let pass = store.begin()?;
    let groups = Seen::load(&pass, &Batch::default())?.groups;
    let Some(group) = groups.into_iter().find(|group| group.iter().any(|tail| **tail == *finding.tail)) else {
        return Ok(None);
    };
    let fleet = fleet_of(&pass, &group, rules, now)?;
    let zone = rules.config.settings.fleet.time_zone;
    Ok(Some(judge::otherwise::otherwise(&fleet, &*rules.config, zone, closings, finding, now)))
}

/// Pictures of runs kept for each tail: those of some weeks.
const STRIPS_KEPT: u32 = 120;

fn apply(pass: &Pass<'_>, batch: &Batch) -> Result<(), store::StoreError> {
    let mut recorded = BTreeSet::new();
    for change in &batch.changes {
        if let Change::Put(row, records) = change
            && !records.strips.is_empty()
        {
            recorded.insert(row.tail.as_str());
        }
        match change {
            Change::Put(row, records) => {
                for rejection in &records.rejections {
                    warn!(at = %rejection.source, found = %rejection.found, expected = %rejection.expected, "not read");
                }
                let file = pass.put_file(row, records)?;
                pass.put_strips(file, &records.strips)?;
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
    recorded.into_iter().try_for_each(|tail| pass.thin_strips(tail, STRIPS_KEPT))
}

/// What the state and the last look say about files and folders.
struct Seen {
    /// Tails that share engines, and so must be judged together.
    groups: Vec<Vec<String>>,
    rejections: Vec<Rejection>,
    /// Modification time of files with rejections.
    changed: HashMap<String, Instant>,
    /// Every tail with records.
    known: usize,
    missing: BTreeSet<String>,
    unreachable: Option<String>,
}

impl Seen {
    fn load(pass: &Pass<'_>, batch: &Batch) -> Result<Self, store::StoreError> {
        let (mut groups, mut rejections, mut missing) = (Groups::default(), Vec::new(), BTreeSet::new());
        let tails = pass.tails()?;
        let known = tails.len();
        for tail in tails {
            let mut serials = BTreeSet::new();
            for (_, records) in pass.records_of::<FileRecords>(&tail)? {
                let listed = records.aircraft.iter().flat_map(|a| &a.engines).map(|e| &e.serial);
                serials.extend(listed.chain(records.entries.iter().filter_map(|e| e.serial.as_ref())).cloned());
                rejections.extend(records.rejections);
            }
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

    fn rejected_files(&self) -> u32 {
        let whole = self.rejections.iter().filter(|r| r.whole_file);
        whole.map(|r| &r.source.file).collect::<BTreeSet<_>>().len() as u32
    }

    fn findings(&self, rules: &Rules, now: Instant) -> Vec<Finding> {
        let mut found = gaps::rejected(&self.rejections, |file| self.changed.get(file).copied(), now);
        found.extend(gaps::missing(&self.missing, self.known, self.unreachable.as_deref(), now));
        found.into_iter().map(|f| judge::levelled(f.clone(), &rules.config.rules(&f.tail, "", ""))).collect()
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

/// What the judges say of the whole fleet. One group of tails at a time is in memory.
#[derive(Default)]
struct Judged {
    findings: Vec<Finding>,
    engines: Vec<EngineView>,
    aircraft: Vec<AircraftHistory>,
    actions: Vec<Action>,
    first_record: Option<Instant>,
}

impl Judged {
    fn of(
        pass: &Pass<'_>,
        groups: &[Vec<String>],
        rules: &Rules,
        closings: &[Closing],
        now: Instant,
        progress: &Progress,
    ) -> Result<Self, store::StoreError> {
        let zone = rules.config.settings.fleet.time_zone;
        let mut judged = Self::default();
        progress.expect(groups.len());
        for group in groups {
            let fleet = fleet_of(pass, group, rules, now)?;
            let Judgement { findings, mut engines } = judge::judge(&fleet, &*rules.config, zone, closings, now);
            engines.iter_mut().for_each(|engine| thin(&mut engine.points));
            judged.findings.extend(findings);
            judged.engines.extend(engines);
            judged.actions.extend(actions(&fleet));
            let first = fleet.engines.iter().filter_map(|e| e.events.first()).map(|e| e.at).min();
            judged.first_record = [judged.first_record, first].into_iter().flatten().min();
            judged.aircraft.extend(fleet.aircraft);
            progress.step();
        }
        judged.findings.sort_by(|a, b| a.raised.cmp(&b.raised).then_with(|| a.key().cmp(&b.key())));
        judged.engines.sort_by(|a, b| (&a.tail, &a.position, &a.serial).cmp(&(&b.tail, &b.position, &b.serial)));
        judged.aircraft.sort_by(|a, b| a.tail.cmp(&b.tail));
        judged.actions.sort_by_key(|a| a.at);
        Ok(judged)
    }
}

/// The engines of one group of tails.
fn fleet_of(pass: &Pass<'_>, group: &[String], rules: &Rules, now: Instant) -> Result<Fleet, store::StoreError> {
    let mut tails = Vec::new();
    for tail in group {
        tails.extend(records_of(pass, tail)?);
    }
    let tolerance = rules.config.rules("", "", "").records.hours_tolerance;
    Ok(engine::build(&tails, &rules.models, rules.config.settings.fleet.time_zone, now, tolerance))
}

/// Points kept of an engine's life: as many as a picture is wide.
const POINTS: usize = 1_000;

/// Keeps every how manieth point so that there are at most [`POINTS`], and the last; oil added in between stays.
fn thin(points: &mut Vec<RatePoint>) {
    let every = points.len().div_ceil(POINTS);
    if every > 1 {
        let (mut added, mut left) = (0.0, points.len());
        points.retain_mut(|point| {
            left -= 1;
            added += point.added_qt;
            let kept = left % every == 0;
            if kept {
                point.added_qt = std::mem::take(&mut added);
            }
            kept
        });
    }
    points.shrink_to_fit();
}

/// Everything one tail's files say; nothing where there never was an aircraft.toml.
fn records_of(pass: &Pass<'_>, tail: &str) -> Result<Option<TailRecords>, store::StoreError> {
    let mut aircraft = None;
    let (mut entries, mut runs) = (Vec::new(), Vec::new());
    for (_, records) in pass.records_of::<FileRecords>(tail)? {
        aircraft = records.aircraft.or(aircraft);
        entries.extend(records.entries);
        runs.extend(records.runs);
    }
    Ok(aircraft.map(|aircraft| TailRecords { aircraft, entries, runs: crate::records::monitor::join(runs) }))
}

/// Some findings have no record to date them by: they are as old as the alert that remembers them.
fn keep_raised(findings: &mut [Finding], remembered: &[Alert]) {
    let undated = |kind| matches!(kind, Kind::AircraftMissing | Kind::FileRejected | Kind::RecordsConflict);
    let live: HashMap<&str, Instant> = remembered
        .iter()
        .filter(|a| undated(a.kind()) && a.is_live())
        .map(|a| (a.key.as_str(), a.finding.raised))
        .collect();
    for finding in findings.iter_mut().filter(|f| undated(f.kind)) {
        if let Some(&raised) = live.get(finding.key().as_str()) {
            finding.raised = finding.raised.min(raised);
        }
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
    // Silence is a decision too. What changed (acknowledged, muted, closed) is told once, the rest on request.
    for decision in &outcome.decisions {
        let Decision::Silent { number, because } = decision else { continue };
        if outcome.changed.contains(number) {
            info!(alert = number, reason = ?because, "alert is silent");
        } else {
            debug!(alert = number, reason = ?because, "alert is silent");
        }
    }
    for unplaced in &outcome.unplaced {
        warn!(at = %unplaced.source, why = %unplaced.why, "action entry not carried out");
    }
}

fn morning(
    pass: &Pass<'_>,
    rules: &Rules,
    judged: Judged,
    outcome: &Outcome,
    seen: Seen,
    now: Instant,
) -> Result<Morning, store::StoreError> {
    let last = pass.last_digest()?;
    // The first summary is what the first digest after it is compared with.
    let previous = match &last {
        Some(digest) => Some(digest.made),
        None => pass.summarised()?,
    };
    let since = |a: &Alert| match (&a.closed, previous) {
        (Some(closed), Some(previous)) => closed.at > previous && a.told.is_some(),
        _ => false,
    };
    let silent: BTreeSet<&str> = outcome
        .alerts
        .iter()
        .filter(|a| a.kind() == Kind::DataSilent && a.finding.settled.is_none() && !a.memory.gone)
        .map(|a| &**a.tail())
        .collect();
    let freshness = |a: &AircraftHistory| Freshness {
        tail: a.tail.clone(),
        last_record: a.last_log.max(a.last_recording),
        silent: silent.contains(&*a.tail),
        missing: seen.missing.contains(&*a.tail),
    };
    let pictures = pictures::pictures(pass, &judged.engines, &outcome.alerts, now)?;
    Ok(Morning {
        operator: rules.config.settings.fleet.operator.clone(),
        zone: rules.config.settings.fleet.time_zone,
        as_of: now,
        sequence: last.map_or(0, |d| d.sequence) + 1,
        previous,
        alerts: outcome.alerts.iter().filter(|a| a.is_live() || since(a)).cloned().collect(),
        aircraft: judged.aircraft.iter().map(freshness).collect(),
        engines: judged.engines,
        rejections: seen.rejections,
        pictures,
        undelivered: pass.outbox()?.undelivered,
        first: false,
    })
}

/// Longest wait for files still being written before the first summary is made without them, minutes.
const FILLING_MIN: i64 = 10;
/// Days for which the text of a delivered letter is kept.
const KEPT_DAYS: i64 = 90;

/// The digest of a pass.
struct Written {
    date: NaiveDate,
    sequence: u32,
    subject: String,
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

    fn digest(&mut self, wish: DigestWish, morning: &mut Morning) -> Result<Option<Written>, store::StoreError> {
        let DigestWish::For(date) = wish else { return Ok(None) };
        let Some(sequence) = self.pass.record_digest(date, self.now)? else { return Ok(None) };
        morning.sequence = sequence;
        let letter = report::digest::digest(morning);
        self.post("digest", &format!("digest-{date}"), &letter, Recipients::Digest)?;
        self.pass.tidy_letters(self.now - chrono::TimeDelta::days(KEPT_DAYS))?;
        Ok(Some(Written { date, sequence, subject: letter.subject }))
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
