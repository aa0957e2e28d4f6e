//! One pass: records in, findings judged, alerts reconciled, letters written, committed together.
//!
//! The same code serves the service, `scan`, `status` and `replay`; only the store (real or a
//! scratch copy) and the moment differ.

mod judged;
mod letters;
mod seen;
mod verdicts;

use std::collections::{BTreeSet, HashMap};
use std::sync::Arc;

use chrono::{NaiveDate, SubsecRound as _};
use tracing::{debug, info, warn};

pub use judged::{Replayed, doubts, otherwise, replayed};

use crate::alerts::{self, Alert, Asleep, Decision, Outcome};
use crate::config::Config;
use crate::engine::Models;
use crate::judge::{EngineView, Finding, Kind};
use crate::records::{Instant, Rejection};
use crate::report::{Freshness, Morning};
use crate::shell::scan::{Batch, Change, FileRecords, Progress};
use crate::shell::store::{self, Pass, Store};
use judged::Judged;
use letters::{Writing, Written};
use seen::Seen;
pub use verdicts::Verdicts;

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
    /// Numbers of the alerts that changed.
    pub changed: BTreeSet<u32>,
    /// What digest and page are made of; `None`: files were left for the next batch, and nothing was judged.
    pub morning: Option<Morning>,
    pub letters: u32,
    /// Tails judged anew, and those with an alert that changed.
    pub touched: BTreeSet<String>,
    verdicts: Verdicts,
}

impl Done {
    /// What the next pass need not judge again.
    pub fn into_verdicts(self) -> Verdicts {
        match self.morning {
            Some(morning) => self.verdicts.with_engines(morning.engines),
            None => self.verdicts,
        }
    }

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

/// Longest wait for files still being written before the first summary is made without them, minutes.
const FILLING_MIN: i64 = 10;

/// Runs one pass and commits it. Groups whose verdict of an earlier pass stands are not judged again; all are for a
/// digest.
///
/// # Errors
/// What the state said; nothing of the pass has then happened.
pub fn run(
    store: &mut Store,
    rules: &Rules,
    mut batch: Batch,
    now: Instant,
    digest: DigestWish,
    mut verdicts: Verdicts,
) -> Result<Done, store::StoreError> {
    let zone = rules.config.settings.fleet.time_zone;
    // As fine as the state keeps it: what closed with a digest is not after that digest.
    let now = now.trunc_subsecs(3);
    let pass = store.begin()?;
    let mut counts =
        Counts { read: batch.read, unchanged: batch.unchanged, waiting: batch.waiting, ..Counts::default() };
    verdicts.forget(&batch);
    if digest != DigestWish::No {
        verdicts.lapse();
    }
    apply(&pass, &batch)?;
    // What was read is in the state: it need not be in memory twice while the fleet is judged.
    batch.changes = Vec::new();
    let first = pass.is_first()?;
    // The first summary is of the whole fleet, also where its folder is still being filled.
    let filling = first && batch.waiting > 0 && now - pass.began(now)? < chrono::TimeDelta::minutes(FILLING_MIN);
    if batch.left > 0 || filling {
        pass.commit()?;
        return Ok(Done {
            counts,
            as_of: now,
            changed: BTreeSet::new(),
            morning: None,
            letters: 0,
            touched: BTreeSet::new(),
            verdicts,
        });
    }
    let seen = Seen::load(&pass, &batch, &mut verdicts)?;
    counts.rejected = seen.rejected_files();
    counts.rows_rejected = seen.rejections.iter().filter(|r| !r.whole_file).count() as u32;

    let previous = previous(&pass, now)?;
    let mut remembered = pass.awake(previous)?;
    let mut asleep = Asleep::new(pass.asleep(previous)?, pass.last_alert()?);
    let closings = alerts::closings(&remembered);
    let mut judged =
        Judged::of(&pass, &seen.groups, rules, (&closings, now), &mut asleep, &mut verdicts, &Progress::default())?;
    let mut of_files = seen.findings(rules, now);
    asleep.meet(&mut of_files);
    judged.findings.extend(of_files);
    let (woken, rest) = asleep.wake(&judged.actions);
    for number in woken {
        remembered.extend(pass.alert(number)?);
    }
    keep_raised(&mut judged.findings, &remembered);
    let deciding =
        alerts::Pass { now, zone, first, morning: digest != DigestWish::No, policy: &rules.config.settings.alerts };
    let findings = std::mem::take(&mut judged.findings);
    let mut touched = std::mem::take(&mut judged.anew);
    let mut keep = |outcome: &Outcome| {
        touched.extend(outcome.changed().map(|a| a.tail().to_string()));
        pass.put_alerts(outcome.changed())
    };
    let outcome = if rest.last == 0 {
        alerts::first_sight(findings, &judged.actions, &deciding, keep)?
    } else {
        let outcome = alerts::reconcile(remembered, findings, &judged.actions, &rest, &deciding);
        keep(&outcome)?;
        outcome
    };
    let some = !judged.engines.is_empty();
    let mut morning = letters::morning(&pass, rules, judged, &outcome, seen, previous, (first, now))?;
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
    Ok(Done { as_of: now, counts, changed: outcome.changed, morning: Some(morning), letters, touched, verdicts })
}

/// When the digest before this moment was made. The first summary is what the first digest after it is compared with. A
/// later one than now was made by a clock that was ahead.
fn previous(pass: &Pass<'_>, now: Instant) -> Result<Option<Instant>, store::StoreError> {
    Ok(match pass.digest_made_by(now)? {
        Some(made) => Some(made),
        None => pass.summarised()?.filter(|at| *at <= now),
    })
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

/// Drops stored records of another shape than this program's before the first look, which then reads their files
/// again, so that nothing is judged without them. Gives what the first pass need not read once more.
///
/// # Errors
/// What the state said.
pub fn drop_unreadable(store: &mut Store) -> Result<Verdicts, store::StoreError> {
    let pass = store.begin()?;
    let mut verdicts = Verdicts::default();
    for tail in pass.tails()? {
        verdicts.see(&pass, &tail)?;
    }
    pass.commit()?;
    Ok(verdicts)
}

/// Pictures of runs kept for each tail: those of some weeks.
const STRIPS_KEPT: u32 = 120;

fn apply(pass: &Pass<'_>, batch: &Batch) -> Result<(), store::StoreError> {
    let mut recorded = BTreeSet::new();
    for change in &batch.changes {
        match change {
            Change::Put(row, records) => {
                for rejection in &records.rejections {
                    warn!(at = %rejection.source, found = %rejection.found, expected = %rejection.expected, "not read");
                }
                if records.says_nothing()
                    && let Some(before) = pass.records_in::<FileRecords>(&row.path)?
                    && let Some(spoilt) = before.spoilt(records, &row.path)
                {
                    pass.put_file(row, &spoilt)?;
                    continue;
                }
                let file = pass.put_file(row, records)?;
                pass.put_strips(file, &records.strips)?;
                if !records.strips.is_empty() {
                    recorded.insert(row.tail.as_str());
                }
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

/// Some findings have no record to date them by: they are as old as the alert that remembers them.
fn keep_raised(findings: &mut [Finding], remembered: &[Alert]) {
    let undated = |kind| matches!(kind, Kind::AircraftMissing | Kind::FileRejected | Kind::RecordsConflict);
    // Also where a person closed it, or its date would move on with every pass.
    let stands = |a: &Alert| a.is_live() || (!a.memory.gone && a.closed.as_ref().is_some_and(|c| c.by.is_some()));
    let dated: HashMap<&str, Instant> = remembered
        .iter()
        .filter(|a| undated(a.kind()) && stands(a))
        .map(|a| (a.key.as_str(), a.finding.raised))
        .collect();
    for finding in findings.iter_mut().filter(|f| undated(f.kind)) {
        if let Some(&raised) = dated.get(finding.key().as_str()) {
            finding.raised = finding.raised.min(raised);
        }
    }
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
        warn!(at = %unplaced.source, why = %unplaced.why, expected = unplaced.expected, "action entry not carried out");
    }
}
