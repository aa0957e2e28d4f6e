//! What people do about an alert. Each operation answers with a reason where it cannot be done.

use chrono::Duration;
use thiserror::Error;

use super::{Acknowledged, Alert, Closed, State, Told};
use crate::records::Instant;

/// Longest mute, days: silence without an end in sight is how warnings get lost.
pub const LONGEST_MUTE_DAYS: i64 = 366;

/// Why an operation was not done.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
pub enum Refused {
    #[error("alert {0} is closed already")]
    Closed(u32),
    #[error("say who you are")]
    NoName,
    #[error("the end, {0}, is not in the future")]
    EndPassed(Instant),
    #[error("a mute lasts {LONGEST_MUTE_DAYS} days at most")]
    TooLong,
    #[error("say why it is closed")]
    NoReason,
}

impl Alert {
    /// Somebody has it in hand: quiet until `until`, or until it grows or its level rises.
    pub fn acknowledge(&mut self, by: &str, note: &str, until: Option<Instant>, now: Instant) -> Result<(), Refused> {
        let by = self.allowed(by)?;
        if let Some(end) = until.filter(|u| *u <= now) {
            return Err(Refused::EndPassed(end));
        }
        self.answered(now);
        self.state = State::Acknowledged;
        self.muted_until = None;
        self.acknowledged = Some(Acknowledged { at: now, by: by.clone(), note: note.trim().to_owned(), until });
        self.note(now, &by, said("acknowledged", note, until));
        Ok(())
    }

    /// Nothing is said of it until `until`, unless it becomes a warning.
    pub fn mute(&mut self, by: &str, note: &str, until: Instant, now: Instant) -> Result<(), Refused> {
        let by = self.allowed(by)?;
        if until <= now {
            return Err(Refused::EndPassed(until));
        }
        if until - now > Duration::days(LONGEST_MUTE_DAYS) {
            return Err(Refused::TooLong);
        }
        self.answered(now);
        self.state = State::Muted;
        self.muted_until = Some(until);
        self.note(now, &by, said("muted", note, Some(until)));
        Ok(())
    }

    /// A person is done with it. It opens again only if it grows or its level rises.
    pub fn close(&mut self, by: &str, why: &str, now: Instant) -> Result<(), Refused> {
        let by = self.allowed(by)?;
        let why = why.trim();
        if why.is_empty() {
            return Err(Refused::NoReason);
        }
        self.answered(now);
        self.state = State::Closed;
        self.muted_until = None;
        self.closed = Some(Closed { at: now, by: Some(by.clone()), why: why.to_owned() });
        self.note(now, &by, said("closed", why, None));
        Ok(())
    }

    fn allowed(&self, by: &str) -> Result<String, Refused> {
        if self.state == State::Closed {
            return Err(Refused::Closed(self.number));
        }
        let by = by.trim();
        if by.is_empty() { Err(Refused::NoName) } else { Ok(by.to_owned()) }
    }

    /// What the person saw is what growth is measured on from now on.
    fn answered(&mut self, now: Instant) {
        self.told = Some(Told {
            at: now,
            size: self.finding.size,
            level: self.finding.level,
            reminders: 0,
            changed_again: self.changed_again(),
            carried: true,
        });
        self.memory.owed = None;
        self.memory.unanswered_since = None;
        self.memory.escalated = None;
    }
}

fn said(what: &str, note: &str, until: Option<Instant>) -> String {
    let mut line = what.to_owned();
    if let Some(until) = until {
        line.push_str(&format!(" until {}", until.format("%Y-%m-%d %H:%MZ")));
    }
    if !note.trim().is_empty() {
        line.push_str(": ");
        line.push_str(note.trim());
    }
    line
}
