//! Hands waiting letters over and notes what came of it.

use tracing::{info, warn};

use crate::records::Instant;
use crate::shell::mail::Delivery;
use crate::shell::store::{Attempt, Store, StoreError};

/// Letters handed over in one go.
pub(super) const AT_ONCE: u32 = 20;

/// Notes an attempt in the state and in the journal.
pub(super) fn note(store: &mut Store, attempt: &Attempt, now: Instant) -> Result<(), StoreError> {
    store.record_attempt(attempt, now)?;
    match &attempt.refused {
        None => info!(letter = attempt.id, "letter delivered"),
        Some(why) => warn!(letter = attempt.id, %why, next_try = %attempt.next_try, "letter kept, to be tried again"),
    }
    Ok(())
}

/// Delivers everything due now, for `scan`. Letters that are refused stay in the outbox.
///
/// # Errors
/// What the state said.
pub async fn deliver_now(store: &mut Store, delivery: &Delivery, now: Instant) -> Result<(), StoreError> {
    loop {
        let letters = store.due_letters(now, AT_ONCE)?;
        if letters.is_empty() {
            return Ok(());
        }
        let mut attempts = Vec::new();
        let count = letters.len();
        delivery.deliver(letters, now, |attempt| attempts.push(attempt)).await;
        let through = attempts.iter().filter(|a| a.refused.is_none()).count();
        for attempt in &attempts {
            note(store, attempt, now)?;
        }
        if attempts.len() < count || through == 0 {
            return Ok(());
        }
    }
}
