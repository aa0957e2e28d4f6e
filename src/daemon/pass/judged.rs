//! What the judges say of what the store holds, group by group of tails that share engines.

use std::cmp::Ordering;
use std::collections::BTreeSet;
use std::sync::Arc;

use super::Rules;
use super::seen::Seen;
use super::verdicts::{Rest, Verdict, Verdicts};
use crate::alerts::{Action, Asleep};
use crate::engine::services::Services;
use crate::engine::{self, AircraftHistory, Fleet, What};
use crate::judge::otherwise::Otherwise;
use crate::judge::{self, Closing, EngineView, Finding, Judgement, RatePoint, RulesFor as _};
use crate::records::{Instant, Source, TailRecords};
use crate::shell::scan::{Batch, FileRecords, Progress};
use crate::shell::store::{self, Pass, Store};

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
    let groups = Seen::load(&pass, &Batch::default(), &mut Verdicts::default())?.groups;
    let (mut asleep, mut verdicts) = Default::default();
    let judged = Judged::of(&pass, &groups, rules, (&[], now), &mut asleep, &mut verdicts, progress)?;
    Ok(Replayed { findings: judged.findings, engines: judged.engines, first_record: judged.first_record })
}

/// Questions about what no single row shows, each with its line.
///
/// # Errors
/// What the state said.
pub fn doubts(store: &mut Store, rules: &Rules, now: Instant) -> Result<Vec<(Source, String)>, store::StoreError> {
    let pass = store.begin()?;
    let mut asked = Vec::new();
    for group in Seen::load(&pass, &Batch::default(), &mut Verdicts::default())?.groups {
        let fleet = fleet_of(&pass, &group, rules, now)?;
        asked.extend(fleet.engines.iter().flat_map(judge::doubts::all));
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
    let mut verdicts = Verdicts::default();
    let groups = Seen::load(&pass, &Batch::default(), &mut verdicts)?.groups;
    verdicts.learn(&groups, now, |group| fleet_of(&pass, group, rules, now))?;
    let Some(group) = groups.into_iter().find(|group| group.iter().any(|tail| **tail == *finding.tail)) else {
        return Ok(None);
    };
    let fleet = Fleet { services: verdicts.services(&group), ..fleet_of(&pass, &group, rules, now)? };
    let zone = rules.config.settings.fleet.time_zone;
    Ok(Some(judge::otherwise::otherwise(&fleet, &*rules.config, zone, closings, finding, now)))
}

/// What the judges say of the whole fleet, but for the settled past of alerts that sleep. One group of tails at a time
/// is in memory.
#[derive(Default)]
pub(super) struct Judged {
    pub(super) findings: Vec<Finding>,
    pub(super) engines: Vec<EngineView>,
    /// Each aircraft and its last record.
    pub(super) aircraft: Vec<(Arc<str>, Option<Instant>)>,
    pub(super) actions: Vec<Action>,
    pub(super) first_record: Option<Instant>,
    /// Tails judged anew; of the others their verdict still stood.
    pub(super) anew: BTreeSet<String>,
}

impl Judged {
    pub(super) fn of(
        pass: &Pass<'_>,
        groups: &[Vec<String>],
        rules: &Rules,
        (closings, now): (&[Closing], Instant),
        asleep: &mut Asleep,
        verdicts: &mut Verdicts,
        progress: &Progress,
    ) -> Result<Self, store::StoreError> {
        verdicts.keep(groups, rules, closings, now);
        verdicts.learn(groups, now, |group| fleet_of(pass, group, rules, now))?;
        verdicts.groups.retain(|_, verdict| asleep.meet_again(&verdict.met));
        let mut judged = Self { engines: verdicts.lend_engines(), ..Self::default() };
        // Of a first pass the whole past would be kept.
        let keep = !pass.is_first()?;
        progress.expect(groups.len());
        for group in groups {
            if let Some(verdict) = verdicts.groups.get(group) {
                let mut findings = verdict.findings.clone();
                asleep.meet(&mut findings);
                judged.add(findings, verdict.rest.clone());
            } else {
                let (verdict, engines) =
                    judge_group(pass, group, (rules, verdicts.services(group)), (closings, now), asleep)?;
                // Folders and tails: one may be written in small letters.
                judged.anew.extend(group.iter().cloned());
                judged.anew.extend(verdict.rest.aircraft.iter().map(|(tail, _)| tail.to_string()));
                judged.engines.extend(engines);
                if keep {
                    judged.add(verdict.findings.clone(), verdict.rest.clone());
                    verdicts.groups.insert(group.clone(), verdict);
                } else {
                    judged.add(verdict.findings, verdict.rest);
                }
            }
            progress.step();
        }
        // Each key made once: there may be very many.
        judged.findings.sort_by_cached_key(|finding| (finding.raised, finding.key()));
        judged.engines.sort_by(|a, b| (&a.tail, &a.position, &a.serial).cmp(&(&b.tail, &b.position, &b.serial)));
        judged.aircraft.sort_by(|a, b| a.0.cmp(&b.0));
        judged.actions.sort_by_key(|a| a.at);
        Ok(judged)
    }

    fn add(&mut self, findings: Vec<Finding>, rest: Rest) {
        self.findings.extend(findings);
        self.aircraft.extend(rest.aircraft);
        self.actions.extend(rest.actions);
        self.first_record = [self.first_record, rest.first_record].into_iter().flatten().min();
    }
}

/// What the judges say of one group, and its engines.
fn judge_group(
    pass: &Pass<'_>,
    group: &[String],
    (rules, services): (&Rules, Arc<Services>),
    (closings, now): (&[Closing], Instant),
    asleep: &mut Asleep,
) -> Result<(Verdict, Vec<EngineView>), store::StoreError> {
    let fleet = Fleet { services, ..fleet_of(pass, group, rules, now)? };
    let zone = rules.config.settings.fleet.time_zone;
    let Judgement { mut findings, mut engines } = judge::judge(&fleet, &*rules.config, zone, closings, now);
    engines.iter_mut().for_each(|engine| thin(&mut engine.points));
    findings.sort_by(in_order);
    let met = asleep.meet(&mut findings);
    // They are kept, and on a first pass there are very many.
    findings.iter_mut().for_each(|finding| finding.evidence.0.shrink_to_fit());
    findings.shrink_to_fit();
    let last = |a: &AircraftHistory| (a.tail.clone(), a.last_log.max(a.last_recording));
    let rest = Rest {
        aircraft: fleet.aircraft.iter().map(last).collect(),
        actions: actions(&fleet),
        first_record: fleet.engines.iter().filter_map(|e| e.events.first()).map(|e| e.at).min(),
    };
    let serials = engines.iter().map(|e| e.serial.clone()).collect();
    Ok((Verdict { as_of: now, findings, met, serials, rest }, engines))
}

/// By moment, then by identity.
fn in_order(a: &Finding, b: &Finding) -> Ordering {
    a.raised.cmp(&b.raised).then_with(|| a.key().cmp(&b.key()))
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
