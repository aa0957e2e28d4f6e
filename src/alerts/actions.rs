//! Logbook `action` entries: acknowledging, muting and closing an alert from the log itself.
//!
//! The log is read anew on every pass, so an entry is carried out once, recognised by what it says
//! and not by its line (rows move). An entry that is taken back takes its closing back with it.

use std::sync::Arc;

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::{Alert, PROGRAM, Pass, Refused, Why};
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
    pub at: Instant,
    /// In a person's words: `an answer to alert 12, which is about N0417H`.
    pub why: String,
    pub expected: &'static str,
}

const A_NUMBER: &str = "the number of an alert of this aircraft that was raised by then";
const AN_END: &str = "an end such as \"mute until 2026-03-09\", a year ahead at most";

impl Deed {
    /// `acknowledged until 2026-03-09 …`, `mute until 2026-03-09`; anything else is work done, and closes. `None`: an
    /// end that is no date, or a mute without one.
    pub fn read(text: &str) -> Option<Self> {
        let lower = text.to_lowercase();
        let mut words = lower.split(|c: char| c.is_whitespace() || ",;:".contains(c)).filter(|word| !word.is_empty());
        let first = words.next().unwrap_or("");
        let end = words.next().filter(|word| *word == "until").and_then(|_| words.next());
        let date = end.and_then(|end| NaiveDate::parse_from_str(end, "%Y-%m-%d").ok());
        match (first, end, date) {
            // "until 9 March" means a day; "until the parts are here" is no end.
            ("acknowledge" | "acknowledged", Some(end), None) if end.starts_with(|c: char| c.is_ascii_digit()) => None,
            ("acknowledge" | "acknowledged", _, until) => Some(Self::Acknowledge { until }),
            ("mute" | "muted", _, until) => until.map(|until| Self::Mute { until }),
            _ => Some(Self::Close),
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
            None => Err((format!("an answer to alert {}, which does not exist", action.number), A_NUMBER)),
            Some(alert) => carry_out_one(alert, action, pass),
        };
        if let Err((why, expected)) = result {
            unplaced.push(Unplaced { source: action.source.clone(), at: action.at, why, expected });
        }
    }
    unplaced
}

fn carry_out_one(alert: &mut Alert, action: &Action, pass: &Pass<'_>) -> Result<(), (String, &'static str)> {
    let mark = action.mark();
    if alert.memory.actions.contains(&mark) {
        return Ok(());
    }
    if alert.tail() != &action.tail {
        return Err((format!("an answer to alert {}, which is about {}", alert.number, alert.tail()), A_NUMBER));
    }
    let day = |at: Instant| at.with_timezone(&pass.zone).date_naive();
    if day(action.at) < day(alert.finding.raised) {
        let raised = day(alert.finding.raised);
        return Err((format!("an answer to alert {}, which was raised later, on {raised}", alert.number), A_NUMBER));
    }
    let text = action.text.as_deref().unwrap_or("");
    let by = action.who();
    let refused = |e: Refused| (format!("\"{text}\" for alert {}: {e}", action.number), AN_END);
    // A closed alert has nothing left to do; the entry is remembered all the same.
    if alert.is_live() {
        let Some(deed) = Deed::read(text) else {
            return Err((format!("\"{text}\" for alert {}", action.number), AN_END));
        };
        match deed {
            Deed::Acknowledge { until } => {
                let until = until.map(|d| end_of(d, pass.zone));
                if until.is_none_or(|u| u > pass.now) {
                    alert.acknowledge(&by, text, until, pass.now).map_err(refused)?;
                }
            }
            Deed::Mute { until } => {
                let until = end_of(until, pass.zone);
                if until > pass.now {
                    alert.mute(&by, text, until, pass.now).map_err(refused)?;
                }
            }
            Deed::Close => {
                let why = if text.trim().is_empty() { "work done" } else { text };
                alert.close(&by, why, action.at).map_err(refused)?;
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
