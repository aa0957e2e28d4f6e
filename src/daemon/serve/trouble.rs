//! A state that cannot be written for a while: said once, waited for, and told of afterwards.

use std::time::{Duration, Instant as Tick};

use chrono::{TimeDelta, Utc};
use tracing::{error, info};

use super::Service;
use crate::daemon::notice;
use crate::records::Instant;
use crate::shell::store::StoreError;

/// A state that cannot be written is tried again this often.
const AGAIN: Duration = Duration::from_secs(5);
/// While it lasts, the journal says so this often.
const STILL: Duration = Duration::from_secs(600);
/// A time without a writable state at least this long is told by mail afterwards, minutes.
const TOLD_AFTER_MIN: i64 = 10;

/// The state cannot be written: full, read-only, or locked by another.
pub(super) struct Trouble {
    pub(super) since: Instant,
    pub(super) what: String,
    /// When the journal said so last.
    pub(super) said: Tick,
    /// Nothing is tried before.
    pub(super) until: Tick,
}

impl Service {
    /// The state could not be written: say so, and let a moment pass.
    pub(super) fn hold(&mut self, error: &StoreError) {
        let now = Tick::now();
        let what = error.to_string();
        let news = self.trouble.as_ref().is_none_or(|t| t.what != what || t.said.elapsed() >= STILL);
        if news {
            error!(state = %self.state.display(), %error, "the state cannot be written; nothing is judged or sent until it can; trying again");
            self.manager.status(&format!("waiting: {what}"));
        }
        let said = self.trouble.as_ref().filter(|_| !news).map_or(now, |t| t.said);
        let since = self.trouble.as_ref().map_or_else(Utc::now, |t| t.since);
        self.trouble = Some(Trouble { since, what, said, until: now + AGAIN });
        self.next_look = now + AGAIN;
        self.next_judgement = now;
    }

    /// A pass has gone through, so the state can be written.
    pub(super) fn written(&mut self) -> Result<(), StoreError> {
        let Some(trouble) = &self.trouble else { return Ok(()) };
        let now = Utc::now();
        if now - trouble.since >= TimeDelta::minutes(TOLD_AFTER_MIN) {
            notice::written_again(&mut self.store, &self.rules, trouble.since, &trouble.what, now)?;
        }
        info!(since = %trouble.since, was = %trouble.what, "the state can be written again");
        self.manager.status("watching");
        self.trouble = None;
        Ok(())
    }
}
