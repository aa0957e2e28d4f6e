//! Letters to send: written in the pass that decided them, kept until the server has taken them for
//! every recipient, and never dropped.

use rusqlite::{Connection, OptionalExtension, params};
use serde::Serialize;
use serde::de::DeserializeOwned;

use super::{Pass, Result, Store, StoreError, instant, millis};
use crate::records::Instant;
use crate::report::Undelivered;

/// A letter to be made and sent.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewLetter {
    /// `alert`, `digest`, `summary`, `test` …
    pub kind: String,
    /// For the file name: `digest-2026-03-01`.
    pub slug: String,
    pub made: Instant,
    /// Envelope sender and recipients, bare addresses.
    pub from: String,
    pub to: Vec<String>,
}

/// The row a letter has got: what its Message-ID is made of.
#[derive(Clone, Copy, Debug)]
pub struct Row<'a> {
    pub id: u32,
    /// Unlike any other state's.
    pub state: &'a str,
}

/// A letter that waits.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Waiting {
    pub id: u32,
    pub message_id: String,
    pub kind: String,
    pub slug: String,
    pub made: Instant,
    pub from: String,
    /// Recipients the server has not taken yet.
    pub to: Vec<String>,
    /// RFC 5322.
    pub message: Vec<u8>,
    /// Attempts so far.
    pub attempts: u32,
}

/// What came of one attempt.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Attempt {
    pub id: u32,
    /// Recipients the server has taken it for.
    pub taken: Vec<String>,
    /// Why it did not take it for the rest, as the server worded it.
    pub refused: Option<String>,
    /// When to try again for the rest.
    pub next_try: Instant,
    /// The server would not have us at all and says that trying again is no use, as with a wrong password.
    pub turned_away: bool,
}

/// Whether a letter is through.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Taken {
    ForAll,
    /// For so many recipients it still waits.
    Waits(u32),
}

/// The outbox in figures.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Outbox {
    pub undelivered: Undelivered,
    pub last_sent: Option<Instant>,
    pub sent: u64,
}

/// No letter waits longer than this between attempts, so a later `next_try` comes from a clock that jumped.
const LONGEST_WAIT_MS: i64 = 3600 * 1000;

fn to_json(value: &impl Serialize) -> Result<String> {
    serde_json::to_string(value).map_err(|e| StoreError::Content { what: "recipients".to_owned(), why: e.to_string() })
}

fn from_json<T: DeserializeOwned>(text: &str) -> Result<T> {
    serde_json::from_str(text).map_err(|e| StoreError::Content { what: "recipients".to_owned(), why: e.to_string() })
}

fn outbox(connection: &Connection) -> Result<Outbox> {
    let sql = "SELECT count(*) FILTER (WHERE sent IS NULL), min(made) FILTER (WHERE sent IS NULL), max(sent), \
               count(sent) FROM letters";
    let (letters, oldest, last, sent): (u32, Option<i64>, Option<i64>, i64) = connection
        .prepare_cached(sql)?
        .query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?)))?;
    let sql =
        "SELECT last_error FROM letters WHERE sent IS NULL AND last_error IS NOT NULL ORDER BY next_try DESC LIMIT 1";
    let last_error: Option<String> = connection.prepare_cached(sql)?.query_row([], |row| row.get(0)).optional()?;
    Ok(Outbox {
        undelivered: Undelivered { letters, oldest: oldest.map(instant), last_error },
        last_sent: last.map(instant),
        sent: sent.cast_unsigned(),
    })
}

impl Pass<'_> {
    /// Puts a letter into the outbox and returns its number. `build` makes the message (RFC 5322) and its
    /// Message-ID from the row, so both stay the same however often it is sent.
    ///
    /// # Errors
    /// What `build` says is wrong; without recipients the letter is refused.
    pub fn enqueue(
        &self,
        letter: &NewLetter,
        build: impl FnOnce(Row<'_>) -> std::result::Result<(String, Vec<u8>), String>,
    ) -> Result<u32> {
        if letter.to.is_empty() {
            return Err(StoreError::Letter(format!("nobody is to get \"{}\"", letter.slug)));
        }
        let sql = "INSERT INTO letters (message_id, kind, slug, made, sender, waiting, accepted, next_try) \
                   VALUES (lower(hex(randomblob(16))), ?1, ?2, ?3, ?4, ?5, '[]', ?3) RETURNING id";
        let id: u32 = self.transaction.prepare_cached(sql)?.query_row(
            params![letter.kind, letter.slug, millis(letter.made), letter.from, to_json(&letter.to)?],
            |row| row.get(0),
        )?;
        let (message_id, message) = match build(Row { id, state: self.id }) {
            Ok(built) => built,
            Err(why) => {
                // The pass may go on without this letter: no half-made row stays behind.
                self.transaction.execute("DELETE FROM letters WHERE id = ?1", [id])?;
                return Err(StoreError::Letter(why));
            }
        };
        let sql = "UPDATE letters SET message_id = ?2, message = ?3 WHERE id = ?1";
        self.transaction.prepare_cached(sql)?.execute(params![id, message_id, message])?;
        Ok(id)
    }

    pub fn outbox(&self) -> Result<Outbox> {
        outbox(&self.transaction)
    }

    /// Lets go of the text of letters delivered before `before`; the rows stay.
    pub fn tidy_letters(&self, before: Instant) -> Result<()> {
        let sql = "UPDATE letters SET message = NULL WHERE sent < ?1 AND message IS NOT NULL";
        self.transaction.prepare_cached(sql)?.execute([millis(before)])?;
        Ok(())
    }
}

impl Store {
    /// Letters whose time to be tried has come, oldest first.
    pub fn due_letters(&self, now: Instant, at_most: u32) -> Result<Vec<Waiting>> {
        let sql = "SELECT id, message_id, kind, slug, made, sender, waiting, message, attempts FROM letters \
                   WHERE sent IS NULL AND (next_try <= ?1 OR next_try > ?1 + ?2) ORDER BY id LIMIT ?3";
        let mut statement = self.connection.prepare_cached(sql)?;
        let mut rows = statement.query(params![millis(now), LONGEST_WAIT_MS, at_most])?;
        let mut letters = Vec::new();
        while let Some(row) = rows.next()? {
            letters.push(Waiting {
                id: row.get(0)?,
                message_id: row.get(1)?,
                kind: row.get(2)?,
                slug: row.get(3)?,
                made: instant(row.get(4)?),
                from: row.get(5)?,
                to: from_json(&row.get::<_, String>(6)?)?,
                message: row.get(7)?,
                attempts: row.get(8)?,
            });
        }
        Ok(letters)
    }

    /// Makes every waiting letter due at once: the configuration, and so perhaps what was in the way, has changed.
    pub fn retry_letters(&mut self, now: Instant) -> Result<()> {
        let pass = self.begin()?;
        pass.transaction.execute("UPDATE letters SET next_try = ?1 WHERE sent IS NULL", [millis(now)])?;
        pass.commit()
    }

    /// Writes down what came of an attempt: called after the server has answered, never before.
    pub fn record_attempt(&mut self, attempt: &Attempt, now: Instant) -> Result<Taken> {
        let pass = self.begin()?;
        let sql = "SELECT waiting, accepted FROM letters WHERE id = ?1";
        let (waiting, accepted): (String, String) =
            pass.transaction.prepare_cached(sql)?.query_row([attempt.id], |row| Ok((row.get(0)?, row.get(1)?)))?;
        let mut waiting: Vec<String> = from_json(&waiting)?;
        let mut accepted: Vec<String> = from_json(&accepted)?;
        waiting.retain(|to| !attempt.taken.contains(to));
        accepted.extend(attempt.taken.iter().cloned());
        let through = waiting.is_empty();
        let sql = "UPDATE letters SET waiting = ?2, accepted = ?3, attempts = attempts + 1, next_try = ?4, \
                   last_error = ?5, sent = ?6 WHERE id = ?1 AND sent IS NULL";
        pass.transaction.prepare_cached(sql)?.execute(params![
            attempt.id,
            to_json(&waiting)?,
            to_json(&accepted)?,
            millis(attempt.next_try),
            attempt.refused,
            through.then_some(millis(now))
        ])?;
        pass.commit()?;
        Ok(if through { Taken::ForAll } else { Taken::Waits(u32::try_from(waiting.len()).unwrap_or(u32::MAX)) })
    }

    pub fn outbox(&self) -> Result<Outbox> {
        outbox(&self.connection)
    }
}
