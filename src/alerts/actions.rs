//! Logbook `action` entries: acknowledging, muting and closing an alert from the log itself.
//!
//! The log is read anew on every pass, so an entry is carried out once, recognised by what it says
//! and not by its line (rows move). An entry that is taken back takes its closing back with it.

use std::sync::Arc;

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::{Alert, PROGRAM, Pass, Why};
use crate::records::local::at_or_after;
use crate::records::{Instant, Source};

/// An `action` entry that names an alert.
#[derive(Clone, Debug, PartialEq)]
pub struct Action {
    /// The alert's number.
    pub number: u32,
    pub tail: Arc<str>,
    pub at: Instant,
    pub text: Option<Arc<str>>,
    pub source: Source,
}

/// What an entry asks for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Deed {
    Acknowledge { until: Option<NaiveDate> },
    Mute { until: NaiveDate },
    Close,
}

/// An entry that could not be carried out, for the list of records in doubt.
#[derive(Clone, Debug, PartialEq)]
pub struct Unplaced {
    pub source: Source,
    /// In a person's words: `alert 12 is about N0417H`.
    pub why: String,
}

impl Deed {
    /// `acknowledged until 2026-03-09 …`, `mute until 2026-03-09`; anything else is work done, and closes.
    pub fn read(text: &str) -> Self {
        let lower = text.to_lowercase();
        let mut words = lower.split(|c: char| c.is_whitespace() || c == ',' || c == ';' || c == ':');
        let first = words.next().unwrap_or("");
        let until = match words.next() {
            Some("until") => words.next().and_then(|d| NaiveDate::parse_from_str(d, "%Y-%m-%d").ok()),
            _ => None,
        };
        match (first, until) {
            ("acknowledge" | "acknowledged", until) => Self::Acknowledge { until },
            ("mute" | "muted", Some(until)) => Self::Mute { until },
            _ => Self::Close,
        }
    }
}

impl Action {
    /// What tells this entry from others, wherever its row stands.
    fn mark(&self) -> String {
        format!("{}|{}|{}", self.at.timestamp(), self.tail, self.text.as_deref().unwrap_or(""))
    }

    fn who(&self) -> String {
        format!("the logbook, {}", self.source)
    }
}

/// Carries the entries out on `alerts`; returns those that could not be.
pub(super) fn carry_out(alerts: &mut [Alert], actions: &[Action], pass: &Pass<'_>) -> Vec<Unplaced> {
    take_back(alerts, actions, pass.now);
    let mut unplaced = Vec::new();
    for action in actions.iter().filter(|a| a.at <= pass.now) {
        let result = match alerts.iter_mut().find(|a| a.number == action.number) {
            None => Err(format!("no alert has the number {}", action.number)),
            Some(alert) => carry_out_one(alert, action, pass),
        };
        if let Err(why) = result {
            unplaced.push(Unplaced { source: action.source.clone(), why });
        }
    }
    unplaced
}

fn carry_out_one(alert: &mut Alert, action: &Action, pass: &Pass<'_>) -> Result<(), String> {
    let mark = action.mark();
    if alert.memory.actions.contains(&mark) {
        return Ok(());
    }
    if alert.tail() != &action.tail {
        return Err(format!("alert {} is about {}, not {}", alert.number, alert.tail(), action.tail));
    }
    let day = |at: Instant| at.with_timezone(&pass.zone).date_naive();
    if day(action.at) < day(alert.finding.raised) {
        return Err(format!("alert {} was raised later, on {}", alert.number, day(alert.finding.raised)));
    }
    let text = action.text.as_deref().unwrap_or("");
    let by = action.who();
    // A closed alert has nothing left to do; the entry is remembered all the same.
    if alert.is_live() {
        match Deed::read(text) {
            Deed::Acknowledge { until } => {
                let until = until.map(|d| end_of(d, pass.zone));
                if until.is_none_or(|u| u > pass.now) {
                    alert.acknowledge(&by, text, until, pass.now).map_err(|e| e.to_string())?;
                }
            }
            Deed::Mute { until } => {
                let until = end_of(until, pass.zone);
                if until > pass.now {
                    alert.mute(&by, text, until, pass.now).map_err(|e| e.to_string())?;
                }
            }
            Deed::Close => {
                let why = if text.trim().is_empty() { "work done" } else { text };
                alert.close(&by, why, action.at).map_err(|e| e.to_string())?;
                alert.memory.closed_by_action = Some(mark.clone());
            }
        }
    }
    alert.memory.actions.push(mark);
    Ok(())
}

/// An entry that closed an alert and is no longer in the log opens it again.
fn take_back(alerts: &mut [Alert], actions: &[Action], now: Instant) {
    let marks: std::collections::HashSet<String> = actions.iter().map(Action::mark).collect();
    for alert in alerts.iter_mut() {
        let withdrawn = alert.memory.closed_by_action.as_ref().is_some_and(|m| !marks.contains(m));
        if !withdrawn {
            continue;
        }
        let mark = alert.memory.closed_by_action.take();
        alert.memory.actions.retain(|m| Some(m) != mark.as_ref());
        if alert.is_live() || alert.memory.gone || alert.finding.settled.is_some() {
            continue;
        }
        alert.reopen(now, PROGRAM, "the logbook entry that closed it was withdrawn");
        alert.memory.owed = Some(Why::Reopened);
    }
}

/// The first moment after `date` in the fleet's zone.
fn end_of(date: NaiveDate, zone: Tz) -> Instant {
    let next = date.checked_add_days(Days::new(1)).unwrap_or(date);
    at_or_after(next.and_time(NaiveTime::MIN), zone)
}
