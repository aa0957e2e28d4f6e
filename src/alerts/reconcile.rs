//! Findings of this pass against the alerts remembered.
//!
//! Order matters and is this: findings meet the alerts of the same key; what is left over on both
//! sides is paired where a corrected record has only changed its identity; alerts whose record is
//! gone close; new findings get numbers, once, in order of `raised`; the logbook's `action` entries
//! are carried out; then each alert decides whether it speaks.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet};

use chrono::Duration;
use chrono_tz::Tz;

use super::actions::{self, Action, Unplaced};
use super::speak::{self, Decision, Say, Step, Why};
use super::{Alert, Closed, PROGRAM, Rest, State};
use crate::config::meant::Alerts;
use crate::judge::Finding;
use crate::records::Instant;

/// Why an alert closed whose finding is no longer there.
pub const WITHDRAWN: &str = "the record it rested on was withdrawn";

/// The pass in which alerts are reconciled.
#[derive(Clone, Copy, Debug)]
pub struct Pass<'a> {
    pub now: Instant,
    pub zone: Tz,
    /// The first pass over a fleet: its past is one summary, not a flood.
    pub first: bool,
    /// This pass makes a digest. Reminders are decided here and nowhere else, so that "a day later" is the
    /// next morning's digest and not whatever minute of the day after the hours are full.
    pub morning: bool,
    pub policy: &'a Alerts,
}

/// What a pass did to the alerts.
#[derive(Clone, Debug, Default)]
pub struct Outcome {
    /// The alerts that were looked at (all but sleeping ones), by number.
    pub alerts: Vec<Alert>,
    /// Numbers of those to be stored.
    pub changed: BTreeSet<u32>,
    /// One for each alert, in order of number.
    pub decisions: Vec<Decision>,
    /// `action` entries that could not be carried out.
    pub unplaced: Vec<Unplaced>,
}

impl Outcome {
    pub fn alert(&self, number: u32) -> Option<&Alert> {
        self.alerts.binary_search_by_key(&number, |a| a.number).ok().and_then(|i| self.alerts.get(i))
    }

    pub fn says(&self) -> impl Iterator<Item = &Say> {
        self.decisions.iter().filter_map(|d| match d {
            Decision::Say(say) => Some(say),
            Decision::Silent { .. } => None,
        })
    }

    /// The alerts to be stored.
    pub fn changed(&self) -> impl Iterator<Item = &Alert> {
        self.alerts.iter().filter(|a| self.changed.contains(&a.number))
    }
}

/// Compares what is remembered with what the records show now, and decides what is said.
///
/// `actions` are the logbook entries about alerts, of all aircraft, up to now. `rest` stands for the alerts that sleep,
/// and are neither in `remembered` nor changed by any of `findings` or `actions`.
pub fn reconcile(
    remembered: Vec<Alert>,
    findings: Vec<Finding>,
    actions: &[Action],
    rest: &Rest,
    pass: &Pass<'_>,
) -> Outcome {
    let mut alerts = remembered;
    alerts.sort_by_key(|a| a.number);
    let before = alerts.clone();
    let mut steps: BTreeMap<u32, Step> = BTreeMap::new();
    alerts.iter_mut().for_each(|alert| alert.not_ahead_of(pass.now));

    let (mut new, seen) = meet(&mut alerts, findings, pass, &mut steps);
    let vanished: Vec<usize> = alerts
        .iter()
        .enumerate()
        .filter(|(_, a)| !a.memory.gone && !seen.contains(&a.number) && !rest.met.contains(&a.number))
        .map(|(i, _)| i)
        .collect();
    let moved = transfer(&mut alerts, &mut new, &vanished, pass, &mut steps);
    for index in vanished.into_iter().filter(|i| !moved.contains(i)) {
        withdraw(&mut alerts[index], pass.now, &mut steps);
    }
    raise(&mut alerts, new, rest.last, pass, &mut steps);
    let unplaced = actions::carry_out(&mut alerts, actions, pass);
    for alert in &mut alerts {
        let was_live = before.binary_search_by_key(&alert.number, |b| b.number).map_or(true, |i| before[i].is_live());
        match (was_live, alert.is_live()) {
            (true, false) => alert.memory.ended = Some(pass.now),
            (_, true) => alert.memory.ended = None,
            (false, false) => {}
        }
    }

    let decisions = alerts
        .iter_mut()
        .map(|alert| {
            let step = steps.get(&alert.number).copied().unwrap_or(Step::Other);
            speak::decide(alert, step, pass)
        })
        .collect();
    let changed = alerts
        .iter()
        .filter(|a| before.binary_search_by_key(&a.number, |b| b.number).map(|i| &before[i]) != Ok(a))
        .map(|a| a.number)
        .collect();
    Outcome { alerts, changed, decisions, unplaced }
}

/// Findings that have an alert update it; returns the others and the numbers that were met.
fn meet(
    alerts: &mut [Alert],
    mut findings: Vec<Finding>,
    pass: &Pass<'_>,
    steps: &mut BTreeMap<u32, Step>,
) -> (Vec<Finding>, HashSet<u32>) {
    let by_key: HashMap<String, usize> = alerts.iter().enumerate().map(|(i, a)| (a.key.clone(), i)).collect();
    let mut keys = HashSet::new();
    let mut seen = HashSet::new();
    // In place: on a first pass nearly all are new, and very many.
    findings.retain(|finding| {
        let key = finding.key();
        let index = by_key.get(&key).copied();
        // Two findings of one key are one: the first stands.
        if !keys.insert(key) {
            return false;
        }
        let Some(index) = index else { return true };
        seen.insert(alerts[index].number);
        update(&mut alerts[index], finding.clone(), pass, steps);
        false
    });
    (findings, seen)
}

/// An alert meets its finding as it is now.
fn update(alert: &mut Alert, finding: Finding, pass: &Pass<'_>, steps: &mut BTreeMap<u32, Step>) {
    alert.memory.gone = false;
    let settled = finding.settled.clone();
    match (&alert.closed, settled) {
        (None, Some(settled)) => {
            alert.finding = finding;
            alert.shut(Closed { at: settled.at, by: None, why: settled.why }, pass.now);
            steps.insert(alert.number, Step::ClosedNow);
        }
        (None, None) => alert.finding = finding,
        (Some(_), Some(_)) => {}
        (Some(closed), None) if closed.by.is_none() => {
            alert.finding = finding;
            alert.reopen(pass.now, PROGRAM, "open again: the records show it once more");
            alert.memory.owed = Some(Why::Reopened);
        }
        (Some(_), None) => {
            // A person closed it: only growth over what that person saw opens it again.
            alert.finding = finding;
            if speak::growth(alert, pass).is_some_and(Why::is_more) {
                alert.reopen(pass.now, PROGRAM, "open again: it has grown since it was closed");
                alert.memory.owed = Some(Why::Reopened);
            }
        }
    }
}

/// A corrected record gives its finding a new identity: the alert goes with it, number and all.
/// A finding about something later than the alert's first sight is new, not corrected.
fn transfer(
    alerts: &mut [Alert],
    new: &mut Vec<Finding>,
    vanished: &[usize],
    pass: &Pass<'_>,
    steps: &mut BTreeMap<u32, Step>,
) -> HashSet<usize> {
    let mut moved = HashSet::new();
    new.sort_by_key(|f| f.raised);
    new.retain(|finding| {
        let heir = vanished
            .iter()
            .copied()
            .filter(|i| !moved.contains(i))
            .filter(|&i| same_matter(&alerts[i], finding) && finding.raised <= alerts[i].first_seen)
            .min_by_key(|&i| {
                let apart: Duration = (alerts[i].finding.raised - finding.raised).abs();
                (!alerts[i].is_live(), apart, alerts[i].number)
            });
        let Some(index) = heir else { return true };
        moved.insert(index);
        let alert = &mut alerts[index];
        alert.key = finding.key();
        alert.note(pass.now, PROGRAM, "the record it rests on was corrected");
        update(alert, finding.clone(), pass, steps);
        false
    });
    moved
}

fn same_matter(alert: &Alert, finding: &Finding) -> bool {
    let old = &alert.finding;
    old.kind == finding.kind && old.serial == finding.serial && (old.serial.is_some() || old.tail == finding.tail)
}

fn withdraw(alert: &mut Alert, now: Instant, steps: &mut BTreeMap<u32, Step>) {
    alert.memory.gone = true;
    if alert.is_live() {
        alert.shut(Closed { at: now, by: None, why: WITHDRAWN.to_owned() }, now);
        steps.insert(alert.number, Step::ClosedNow);
    }
}

/// New findings become alerts, numbered in order of `raised` (then of identity, so that a replay
/// over the same records gives the same numbers).
fn raise(alerts: &mut Vec<Alert>, mut new: Vec<Finding>, last: u32, pass: &Pass<'_>, steps: &mut BTreeMap<u32, Step>) {
    new.sort_by_cached_key(|f| (f.raised, f.key()));
    alerts.reserve_exact(new.len());
    let mut number = alerts.last().map_or(0, |a| a.number).max(last);
    for finding in new {
        number += 1;
        let settled = finding.settled.clone();
        let mut alert = Alert::new(number, finding, pass.now);
        if let Some(settled) = settled {
            alert.shut(Closed { at: settled.at, by: None, why: settled.why }, pass.now);
            steps.insert(number, Step::SettledOnFirstSight);
        }
        alerts.push(alert);
    }
}

impl Alert {
    /// What a clock that was ahead has written counts as of now: reminders would wait for years otherwise.
    fn not_ahead_of(&mut self, now: Instant) {
        let told = self.told.as_mut().map(|told| &mut told.at);
        let memory = &mut self.memory;
        let moments = [&mut memory.unanswered_since, &mut memory.escalated, &mut memory.last_single, &mut memory.ended];
        for at in moments.into_iter().filter_map(Option::as_mut).chain(told) {
            *at = (*at).min(now);
        }
    }

    fn shut(&mut self, closed: Closed, now: Instant) {
        self.note(now, PROGRAM, format!("closed: {}", closed.why));
        self.state = State::Closed;
        self.closed = Some(closed);
        self.muted_until = None;
        self.memory.owed = None;
        self.memory.unanswered_since = None;
        self.memory.escalated = None;
    }

    pub(super) fn reopen(&mut self, now: Instant, by: &str, why: &str) {
        self.note(now, by, why);
        self.state = State::Open;
        self.closed = None;
        self.acknowledged = None;
        self.memory.closed_by_action = None;
    }
}
