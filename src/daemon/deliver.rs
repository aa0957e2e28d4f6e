//! Hands waiting letters over and notes what came of it.

use std::collections::VecDeque;

use tracing::{info, warn};

use crate::records::Instant;
use crate::shell::mail::Delivery;
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
    unrecorded: VecDeque<(Attempt, Instant)>,
}

impl Handing {
    /// The server has answered for a letter.
    pub fn answered(&mut self, attempt: Attempt, now: Instant) {
        match &attempt.refused {
            None => info!(letter = attempt.id, "letter delivered"),
            Some(why) => {
                warn!(letter = attempt.id, %why, next_try = %attempt.next_try, "letter kept, to be tried again");
            }
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
