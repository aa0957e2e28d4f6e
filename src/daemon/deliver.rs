//! Hands waiting letters over and notes what came of it.

use std::collections::VecDeque;

use chrono::TimeDelta;
use tracing::{error, info, warn};

use crate::records::Instant;
use crate::shell::mail::{Delivery, longest_wait};
use crate::shell::store::{Attempt, Store, StoreError};

/// Letters handed over in one go.
pub(super) const AT_ONCE: u32 = 20;

/// Letters under way, and answers of the mail server that are not in the state yet.
///
/// A full disk may keep an answer from being written down. It is held here until it can be, and no letter
/// goes out meanwhile: otherwise one the server has taken would go again with every try.
#[derive(Debug, Default)]
pub(super) struct Handing {
    pub under_way: bool,
    /// Nothing is handed over before: one letter's own time would not keep twenty others, each with a time of its
    /// own, from trying a wrong password every minute or two, which locks accounts.
    held_until: Option<Instant>,
    unrecorded: VecDeque<(Attempt, Instant)>,
}

/// How long letters are held after handing them over has broken off by a fault of the program, minutes.
const BROKE_OFF_MIN: i64 = 5;

impl Handing {
    /// Letters may be handed over now.
    pub fn may_begin(&self, now: Instant) -> bool {
        // A clock that was years ahead and set right since must not hold letters for years.
        let held = |until: Instant| until > now && until - now <= longest_wait();
        !self.under_way && !self.held_until.is_some_and(held)
    }

    /// What was in the way may be mended: nothing is held any more.
    pub fn release(&mut self) {
        self.held_until = None;
    }

    /// Letters are no longer under way; `broke_off`: by a fault of the program.
    pub fn ended(&mut self, broke_off: bool, now: Instant) {
        self.under_way = false;
        if broke_off {
            error!("handing letters over broke off by a fault of the program; they are kept and tried again");
            self.held_until = Some(now + TimeDelta::minutes(BROKE_OFF_MIN));
        }
    }

    /// The server has answered for a letter.
    pub fn answered(&mut self, attempt: Attempt, now: Instant) {
        match &attempt.refused {
            None => info!(letter = attempt.id, "letter delivered"),
            Some(why) => {
                warn!(letter = attempt.id, %why, next_try = %attempt.next_try, "letter kept, to be tried again");
            }
        }
        if attempt.turned_away {
            self.held_until = self.held_until.max(Some(attempt.next_try));
        } else if !attempt.taken.is_empty() {
            self.held_until = None;
        }
        self.unrecorded.push_back((attempt, now));
    }

    /// Writes the answers down, each once. Gives how many.
    ///
    /// # Errors
    /// What the state said; what is not written is kept for the next call.
    pub fn record(&mut self, store: &mut Store) -> Result<usize, StoreError> {
        let mut written = 0;
        while let Some((attempt, at)) = self.unrecorded.front() {
            store.record_attempt(attempt, *at)?;
            self.unrecorded.pop_front();
            written += 1;
        }
        Ok(written)
    }
}

/// Delivers everything due now, for `scan`. Letters that are refused stay in the outbox.
///
/// # Errors
/// What the state said.
pub async fn deliver_now(store: &mut Store, delivery: &Delivery, now: Instant) -> Result<(), StoreError> {
    let mut handing = Handing::default();
    loop {
        let letters = store.due_letters(now, AT_ONCE)?;
        if letters.is_empty() {
            return Ok(());
        }
        let (mut answers, mut through) = (0, 0);
        let count = letters.len();
        let report = |attempt: Attempt| {
            answers += 1;
            through += usize::from(attempt.refused.is_none());
            handing.answered(attempt, now);
        };
        delivery.deliver(letters, now, report).await;
        handing.record(store)?;
        if answers < count || through == 0 {
            return Ok(());
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn at(minute: i64) -> Instant {
        chrono::DateTime::from_timestamp(1_772_000_000 + 60 * minute, 0).unwrap()
    }

    fn attempt(taken: &[&str], next_try: Instant, turned_away: bool) -> Attempt {
        let taken: Vec<String> = taken.iter().map(|t| (*t).to_owned()).collect();
        let refused = taken.is_empty().then(|| "535 wrong".to_owned());
        Attempt { id: 1, taken, refused, next_try, turned_away }
    }

    /// A wrong password: letters that come later do not try it again before its time.
    #[test]
    fn a_server_that_turns_us_away_is_left_alone_until_the_next_try() {
        let mut handing = Handing::default();
        handing.answered(attempt(&[], at(5), true), at(0));
        handing.answered(attempt(&[], at(20), true), at(0));
        assert!(!handing.may_begin(at(19)));
        assert!(handing.may_begin(at(20)));
        handing.release();
        assert!(handing.may_begin(at(1)));
        // One address the server does not know holds up nothing.
        handing.answered(attempt(&[], at(5), false), at(1));
        assert!(handing.may_begin(at(1)));
        // Set by a clock that was a year ahead.
        handing.answered(attempt(&[], at(525_600), true), at(2));
        assert!(handing.may_begin(at(3)));
    }

    #[test]
    fn a_delivery_that_breaks_off_is_begun_again_a_little_later() {
        let mut handing = Handing { under_way: true, ..Handing::default() };
        assert!(!handing.may_begin(at(0)));
        handing.ended(true, at(0));
        assert!(!handing.may_begin(at(4)) && handing.may_begin(at(5)));
        handing.answered(attempt(&["a@example.org"], at(9), false), at(6));
        assert!(handing.may_begin(at(6)));
    }
}
