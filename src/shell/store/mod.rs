//! The state: what must survive a power cut. All SQL of the program is here.
//!
//! Files read and what they say (so that nothing is read twice), alerts, letters to send, digests
//! made. One pass is one transaction ([`Pass`]): records, alert changes and letters are committed
//! together or not at all. SQLite in WAL mode with `synchronous=FULL`; one writer, IMMEDIATE
//! transactions. A state that is not ours, damaged or newer is refused and never overwritten.

mod backup;
mod error;
mod files;
mod known;
mod letters;
mod memory;
mod open;
mod schema;
mod strips;
mod upgrade;

use std::path::PathBuf;

use chrono::{DateTime, Utc};
use rusqlite::{Connection, Transaction, TransactionBehavior};

pub use error::StoreError;
pub use files::{FileRow, decode};
pub use known::Known;
pub use letters::{Attempt, NewLetter, Outbox, Row, Taken, Waiting};
pub use memory::DigestRow;
pub use strips::StripRow;

use crate::records::Instant;
use crate::shell::lock::Lock;

/// Name of the database in the state folder.
pub const FILE: &str = "cowlwatch.sqlite";

pub type Result<T> = std::result::Result<T, StoreError>;

/// The opened state.
#[derive(Debug)]
pub struct Store {
    connection: Connection,
    path: PathBuf,
    /// Makes Message-IDs of this state unlike those of any other.
    id: String,
    _lock: Option<Lock>,
}

/// A transaction on the state; dropped without [`Pass::commit`], it has not happened.
#[derive(Debug)]
pub struct Pass<'a> {
    transaction: Transaction<'a>,
    id: &'a str,
}

impl Store {
    /// Begins a pass; waits up to some seconds for another writer.
    pub fn begin(&mut self) -> Result<Pass<'_>> {
        let transaction = self.connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
        Ok(Pass { transaction, id: &self.id })
    }

    /// Where the database is.
    pub fn path(&self) -> &std::path::Path {
        &self.path
    }

    /// A number that changes when another process (a person's `acknowledge`) has written.
    pub fn foreign_writes(&self) -> Result<i64> {
        Ok(self.connection.query_row("PRAGMA data_version", [], |row| row.get(0))?)
    }
}

impl Pass<'_> {
    /// Makes everything since [`Store::begin`] permanent.
    pub fn commit(self) -> Result<()> {
        Ok(self.transaction.commit()?)
    }
}

/// Milliseconds since 1970, as stored.
fn millis(at: Instant) -> i64 {
    at.timestamp_millis()
}

/// A stored moment; one beyond chrono's range cannot have been written by us.
fn instant(millis: i64) -> Instant {
    DateTime::<Utc>::from_timestamp_millis(millis).unwrap_or_default()
}

#[cfg(test)]
mod tests;
#[cfg(test)]
mod upgrade_tests;
