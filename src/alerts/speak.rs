//! Whether an alert speaks in this pass, why, and how. Every decision is a value with its reason.

use chrono::{DateTime, Duration, NaiveTime};
use chrono_tz::Tz;
use serde::{Deserialize, Serialize};

use super::{Alert, PROGRAM, Pass, State, Told};
use crate::judge::Level;
use crate::records::Instant;
use crate::records::local::at_or_after;

/// Days within which an alert that closed and came back, no larger than told, stays quiet: a value
/// that hovers about its limit would otherwise open and close with every flight.
const QUIET_REOPENING_DAYS: i64 = 7;
/// Hours by which mornings may differ: a digest some seconds later, a day of daylight saving.
const MORNING_SLACK_HOURS: i64 = 3;
/// Hours within which a warning that came back, no larger than told, sends no further mail of its own.
const QUIET_SINGLE_HOURS: i64 = 24;

/// Why an alert speaks.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Why {
    Raised,
    /// By at least the configured share over what was told.
    Grew {
        from: f64,
        to: f64,
    },
    /// On top of the change it is about the records show a further one.
    ChangedAgain,
    LevelRose {
        from: Level,
        to: Level,
    },
    LevelFell {
        from: Level,
        to: Level,
    },
    AcknowledgementRanOut,
    MuteRanOut,
    Reopened,
    /// Nobody acknowledged a warning in time.
    Escalated,
    /// The n-th since something new was said.
    Reminder {
        nth: u32,
    },
    Closed,
}

impl Why {
    /// There is more of it than was told: what a person did about it does not cover that.
    pub(super) fn is_more(self) -> bool {
        matches!(self, Self::Grew { .. } | Self::ChangedAgain | Self::LevelRose { .. })
    }
}

/// By which way an alert speaks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum How {
    /// In a letter of its own aircraft, now.
    AtOnce,
    /// In a letter to those a warning is escalated to, now.
    Escalation,
    /// In the next digest.
    Digest,
    /// In the one summary of a first pass.
    Summary,
}

/// An alert speaks.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Say {
    pub number: u32,
    pub why: Why,
    pub how: How,
}

/// Why an alert does not speak.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Silence {
    /// Settled by the records before the program saw it.
    SettledOnFirstSight,
    /// Told, nothing new, and the next reminder is not due until then.
    Told {
        next: Instant,
    },
    Acknowledged {
        until: Option<Instant>,
    },
    Muted {
        until: Instant,
    },
    /// Came back soon after closing, no larger than told.
    CameBackUnchanged,
    /// Waits for the end of the quiet hours.
    QuietHours {
        until: Instant,
    },
    Closed,
    /// A person closed it and it has not grown since.
    ClosedByPerson,
}

/// What was decided about one alert.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Decision {
    Say(Say),
    Silent { number: u32, because: Silence },
}

/// What happened to the alert in this pass before it came to speaking.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Step {
    /// New, and settled already.
    SettledOnFirstSight,
    ClosedNow,
    Other,
}

pub(super) fn decide(alert: &mut Alert, step: Step, pass: &Pass<'_>) -> Decision {
    let number = alert.number;
    let silent = |because| Decision::Silent { number, because };
    match step {
        Step::SettledOnFirstSight => return silent(Silence::SettledOnFirstSight),
        Step::ClosedNow if alert.told.is_some() => {
            return Decision::Say(Say { number, why: Why::Closed, how: How::Digest });
        }
        Step::ClosedNow => return silent(Silence::Closed),
        Step::Other => {}
    }
    if let Some(told) = alert.told.as_mut().filter(|t| pass.morning && !t.carried) {
        (told.at, told.carried) = (pass.now, true);
    }
    run_out(alert, pass);
    let growth = growth(alert, pass);
    let wakes = match alert.state {
        State::Closed => {
            let person = alert.closed.as_ref().is_some_and(|c| c.by.is_some());
            return silent(if person { Silence::ClosedByPerson } else { Silence::Closed });
        }
        State::Acknowledged => growth.is_some_and(Why::is_more),
        State::Muted => matches!(growth, Some(Why::LevelRose { to: Level::Warning, .. })),
        State::Open => true,
    };
    if !wakes {
        return silent(match (alert.state, alert.muted_until) {
            (State::Muted, Some(until)) => Silence::Muted { until },
            _ => Silence::Acknowledged { until: alert.acknowledged.as_ref().and_then(|a| a.until) },
        });
    }
    if alert.state != State::Open {
        alert.state = State::Open;
        alert.muted_until = None;
        alert.note(pass.now, PROGRAM, "open again: it has grown");
    }
    speak(alert, growth, pass)
}

/// An acknowledgement or a mute that has come to its end opens the alert again.
fn run_out(alert: &mut Alert, pass: &Pass<'_>) {
    let (until, owed, what) = match alert.state {
        State::Acknowledged => (
            alert.acknowledged.as_ref().and_then(|a| a.until),
            Why::AcknowledgementRanOut,
            "the acknowledgement ran out",
        ),
        State::Muted => (alert.muted_until, Why::MuteRanOut, "the mute ran out"),
        State::Open | State::Closed => return,
    };
    if until.is_some_and(|u| u <= pass.now) {
        alert.state = State::Open;
        alert.muted_until = None;
        alert.memory.owed = Some(owed);
        alert.note(pass.now, PROGRAM, what);
    }
}

/// What is new about an alert against what was told.
pub(super) fn growth(alert: &Alert, pass: &Pass<'_>) -> Option<Why> {
    let told = alert.told.as_ref()?;
    let (size, level) = (alert.finding.size, alert.level());
    if level > told.level {
        Some(Why::LevelRose { from: told.level, to: level })
    } else if size > told.size && size >= told.size * (1.0 + pass.policy.grows_by) {
        Some(Why::Grew { from: told.size, to: size })
    } else if alert.changed_again() > told.changed_again && size * (1.0 + pass.policy.grows_by) >= told.size {
        // A false alarm left open must not swallow the real change after it, whatever size was told of the
        // first. One that has shrunk by more than the same share is a change back, and no news of this kind.
        Some(Why::ChangedAgain)
    } else if level < told.level {
        Some(Why::LevelFell { from: told.level, to: level })
    } else {
        None
    }
}

fn speak(alert: &mut Alert, growth: Option<Why>, pass: &Pass<'_>) -> Decision {
    let number = alert.number;
    let silent = |because| Decision::Silent { number, because };
    let back = match &alert.told {
        Some(told) => alert.memory.owed == Some(Why::Reopened) && back_unchanged(alert.level(), told, pass.now),
        None => false,
    };
    if back {
        alert.memory.owed = None;
    }
    let why = match (&alert.told, alert.memory.owed, growth) {
        (None, _, _) => Why::Raised,
        (Some(_), _, Some(why)) if why.is_more() => why,
        (Some(_), Some(owed), _) => owed,
        (Some(_), None, Some(why)) => why,
        (Some(_), None, None) if escalates(alert, pass) => Why::Escalated,
        (Some(told), None, None) => {
            let next = next_reminder(told, pass);
            // What is over, or is only for information, is said once.
            let once = alert.kind().happens_once() || alert.level() == Level::Advisory;
            if once || !pass.morning || next > pass.now + Duration::hours(MORNING_SLACK_HOURS) {
                return silent(if back { Silence::CameBackUnchanged } else { Silence::Told { next } });
            }
            Why::Reminder { nth: told.reminders + 1 }
        }
    };
    match how(alert, why, pass) {
        Ok(how) => {
            told(alert, why, how, pass);
            Decision::Say(Say { number, why, how })
        }
        Err(because) => {
            if !(why.is_more() || matches!(why, Why::Raised | Why::Escalated)) {
                alert.memory.owed = Some(why);
            }
            silent(because)
        }
    }
}

fn back_unchanged(level: Level, told: &Told, now: Instant) -> bool {
    let quiet = match level {
        Level::Warning => Duration::hours(QUIET_SINGLE_HOURS),
        _ => Duration::days(QUIET_REOPENING_DAYS),
    };
    now - told.at < quiet
}

fn escalates(alert: &Alert, pass: &Pass<'_>) -> bool {
    let wait = hours(pass.policy.escalate_after_h);
    alert.level() == Level::Warning
        && !alert.kind().about_records()
        && !pass.policy.escalate_to.is_empty()
        && alert.memory.escalated.is_none()
        && alert.memory.unanswered_since.is_some_and(|since| pass.now - since >= wait)
}

fn next_reminder(told: &Told, pass: &Pass<'_>) -> Instant {
    let steps = &pass.policy.remind_after_days;
    let step = steps.get(told.reminders as usize).or(steps.last());
    // Without steps nothing is repeated: a hundred years is never.
    told.at + step.map_or(Duration::days(36_500), |days| hours(days * 24.0))
}

fn hours(h: f64) -> Duration {
    Duration::seconds((h.clamp(0.0, 1e6) * 3600.0) as i64)
}

/// Warnings about engines go at once, everything else waits for the morning.
fn how(alert: &Alert, why: Why, pass: &Pass<'_>) -> Result<How, Silence> {
    if pass.first {
        return Ok(How::Summary);
    }
    let waits = matches!(why, Why::Reminder { .. } | Why::LevelFell { .. } | Why::Closed)
        || alert.kind().about_records()
        || alert.level() < Level::Warning;
    if waits {
        return Ok(How::Digest);
    }
    // A level that goes up and down with every flight is told in the mornings after the first mail.
    let repeats = !matches!(why, Why::Raised | Why::Grew { .. } | Why::ChangedAgain | Why::Escalated);
    let lately = |at: Instant| pass.now - at < Duration::hours(QUIET_SINGLE_HOURS);
    if repeats && alert.memory.last_single.is_some_and(lately) {
        return Ok(How::Digest);
    }
    if let Some(until) = quiet_until(pass).filter(|_| !pass.policy.warnings_pass) {
        return Err(Silence::QuietHours { until });
    }
    Ok(if why == Why::Escalated { How::Escalation } else { How::AtOnce })
}

/// The end of the quiet hours, if it is quiet now. They may span midnight.
fn quiet_until(pass: &Pass<'_>) -> Option<Instant> {
    let (from, to) = pass.policy.quiet?;
    let local: DateTime<Tz> = pass.now.with_timezone(&pass.zone);
    let (date, time): (_, NaiveTime) = (local.date_naive(), local.time());
    let end = if from <= to {
        (time >= from && time < to).then_some(date)
    } else if time >= from {
        date.succ_opt()
    } else {
        (time < to).then_some(date)
    }?;
    Some(at_or_after(end.and_time(to), pass.zone))
}

/// Remembers what was said.
fn told(alert: &mut Alert, why: Why, how: How, pass: &Pass<'_>) {
    let now = pass.now;
    let warning = alert.level() == Level::Warning;
    if why == Why::Escalated {
        alert.memory.escalated = Some(now);
        // Those it went to have been reminded, too.
        if let Some(told) = &mut alert.told {
            told.at = now;
        }
        alert.note(now, PROGRAM, "escalated: nobody has acknowledged it");
        return;
    }
    let reminders = match why {
        Why::Reminder { nth } => nth,
        _ => 0,
    };
    // A reminder says nothing new, so growth is still measured on what was told before it.
    let size = match (&alert.told, why) {
        (Some(told), Why::Reminder { .. } | Why::LevelFell { .. }) => told.size,
        _ => alert.finding.size,
    };
    let changed_again = alert.changed_again();
    let carried = pass.morning || how == How::Summary;
    alert.told = Some(Told { at: now, size, level: alert.level(), reminders, changed_again, carried });
    alert.memory.owed = None;
    if how == How::AtOnce {
        alert.memory.last_single = Some(now);
    }
    if warning && alert.memory.unanswered_since.is_none() {
        alert.memory.unanswered_since = Some(now);
    }
    if !warning {
        alert.memory.unanswered_since = None;
        alert.memory.escalated = None;
    }
    alert.note(now, PROGRAM, line(why, how));
}

fn line(why: Why, how: How) -> String {
    let why = match why {
        Why::Raised => "told".to_owned(),
        Why::ChangedAgain => "told: changed again".to_owned(),
        // Sizes are shares of limits and the like; without their names only their ratio says something.
        Why::Grew { from, to } if from > 0.0 => format!("told: grew by {:.0} %", (to / from - 1.0) * 100.0),
        Why::Grew { .. } => "told: grew".to_owned(),
        Why::LevelRose { from, to } => format!("told: from {} to {}", from.word(), to.word()),
        Why::LevelFell { from, to } => format!("told: down from {} to {}", from.word(), to.word()),
        Why::AcknowledgementRanOut => "told: the acknowledgement ran out".to_owned(),
        Why::MuteRanOut => "told: the mute ran out".to_owned(),
        Why::Reopened => "told: it is back".to_owned(),
        Why::Escalated => "escalated".to_owned(),
        Why::Reminder { nth } => format!("reminder {nth}"),
        Why::Closed => "told: closed".to_owned(),
    };
    let how = match how {
        How::AtOnce => "by a mail of its own",
        How::Escalation => "to those it is escalated to",
        How::Digest => "in the digest",
        How::Summary => "in the first summary",
    };
    format!("{why}, {how}")
}
