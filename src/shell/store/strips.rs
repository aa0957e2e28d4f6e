//! Pictures of recorded runs, of the latest ones only: older ones are read again from the recording.

use rusqlite::{Connection, OptionalExtension, params};
use tracing::warn;

use super::files::{decode, read_again};
use super::{Pass, Result, Store, StoreError, millis};
use crate::records::Instant;
use crate::records::monitor::Strip;

/// A strip with the file it comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct StripRow {
    /// Relative to the fleet folder.
    pub path: String,
    pub strip: Strip,
}

const FROM: &str = "SELECT id, path, strip FROM strips JOIN files ON file = id WHERE tail = ?1 AND engine = ?2";

/// Those of an engine's position that begin in the period, in order of time. One in another shape than this program's
/// is left out, and its recording read again at the next look.
fn strips(connection: &Connection, tail: &str, engine: &str, from: Instant, to: Instant) -> Result<Vec<StripRow>> {
    let sql = format!("{FROM} AND start BETWEEN ?3 AND ?4 ORDER BY start, path");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(params![tail, engine, millis(from), millis(to)])?;
    let (mut found, mut other) = (Vec::new(), Vec::new());
    while let Some(row) = rows.next()? {
        let path: String = row.get(1)?;
        let content = row.get_ref(2)?.as_blob().map_err(rusqlite::Error::from)?;
        match decode(content) {
            Ok(strip) => found.push(StripRow { path, strip }),
            Err(why) => other.push((row.get(0)?, path, why)),
        }
    }
    if let Some((_, first, why)) = other.first() {
        warn!(tail, pictures = other.len(), %first, %why, "stored pictures are of another version; to be read again");
    }
    for (id, ..) in other {
        connection.prepare_cached("DELETE FROM strips WHERE file = ?1")?.execute([id])?;
        read_again(connection, id)?;
    }
    Ok(found)
}

impl Store {
    /// Strips of the engine at a position (empty: the only one) of a tail that begin in the period.
    pub fn strips(&self, tail: &str, engine: &str, from: Instant, to: Instant) -> Result<Vec<StripRow>> {
        strips(&self.connection, tail, engine, from, to)
    }
}

impl Pass<'_> {
    /// As [`Store::strips`], this pass's changes included.
    pub fn strips(&self, tail: &str, engine: &str, from: Instant, to: Instant) -> Result<Vec<StripRow>> {
        strips(&self.transaction, tail, engine, from, to)
    }

    /// When the newest strip at a position that began by `to` began.
    pub fn newest_strip(&self, tail: &str, engine: &str, to: Instant) -> Result<Option<Instant>> {
        let sql =
            "SELECT max(start) FROM strips JOIN files ON file = id WHERE tail = ?1 AND engine = ?2 AND start <= ?3";
        let newest: Option<Option<i64>> = self
            .transaction
            .prepare_cached(sql)?
            .query_row(params![tail, engine, millis(to)], |row| row.get(0))
            .optional()?;
        Ok(newest.flatten().map(super::instant))
    }

    /// Keeps a file's strips in place of those it had.
    pub fn put_strips(&self, file: i64, strips: &[Strip]) -> Result<()> {
        self.transaction.prepare_cached("DELETE FROM strips WHERE file = ?1")?.execute([file])?;
        let sql = "INSERT OR REPLACE INTO strips (file, engine, start, strip) VALUES (?1, ?2, ?3, ?4)";
        for strip in strips {
            let content = postcard::to_stdvec(strip)
                .map_err(|e| StoreError::Content { what: format!("a picture of file {file}"), why: e.to_string() })?;
            let engine = strip.engine.as_deref().unwrap_or_default();
            self.transaction.prepare_cached(sql)?.execute(params![file, engine, millis(strip.start), content])?;
        }
        Ok(())
    }

    /// Drops all but a tail's newest strips.
    pub fn thin_strips(&self, tail: &str, keep: u32) -> Result<()> {
        let sql = "DELETE FROM strips WHERE (file, engine, start) IN (SELECT file, engine, start FROM strips \
                   JOIN files ON file = id WHERE tail = ?1 ORDER BY start DESC LIMIT -1 OFFSET ?2)";
        self.transaction.prepare_cached(sql)?.execute(params![tail, keep])?;
        Ok(())
    }
}
