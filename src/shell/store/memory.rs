//! What is remembered beside the files: alerts, digests made, and single values by name.

use chrono::NaiveDate;
use rusqlite::{Connection, OptionalExtension, params};

use super::{Pass, Result, Store, StoreError, instant, millis};
use crate::alerts::{Alert, Sleeper};
use crate::records::Instant;

/// A digest that was made.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct DigestRow {
    /// Local date it is for; each date has one at most.
    pub date: NaiveDate,
    /// Counted from 1 without gaps.
    pub sequence: u32,
    pub made: Instant,
}

pub(super) fn meta(connection: &Connection, name: &str) -> Result<Option<String>> {
    let mut statement = connection.prepare_cached("SELECT value FROM meta WHERE name = ?1")?;
    Ok(statement.query_row([name], |row| row.get(0)).optional()?)
}

fn alerts(connection: &Connection) -> Result<Vec<Alert>> {
    listed(connection, "SELECT number, body FROM alerts ORDER BY number", [])
}

/// The alerts a query gives, number and body.
fn listed(connection: &Connection, sql: &str, parameters: impl rusqlite::Params) -> Result<Vec<Alert>> {
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query(parameters)?;
    let mut alerts = Vec::new();
    while let Some(row) = rows.next()? {
        let number: u32 = row.get(0)?;
        let body = row.get_ref(1)?.as_str().map_err(rusqlite::Error::from)?;
        alerts.push(read_alert(number, body)?);
    }
    Ok(alerts)
}

/// `rests` in the table: alerts that rest before this may sleep.
fn rests_by(before: Option<Instant>) -> i64 {
    before.map_or(i64::MIN, millis)
}

fn read_alert(number: u32, body: &str) -> Result<Alert> {
    serde_json::from_str(body).map_err(|e| StoreError::Content { what: format!("alert {number}"), why: e.to_string() })
}

fn last_digest(connection: &Connection) -> Result<Option<DigestRow>> {
    let sql = "SELECT date, sequence, made FROM digests ORDER BY sequence DESC LIMIT 1";
    let mut statement = connection.prepare_cached(sql)?;
    let row: Option<(String, u32, i64)> =
        statement.query_row([], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?))).optional()?;
    row.map(|(date, sequence, made)| {
        let date = date.parse().map_err(|e: chrono::ParseError| StoreError::Content {
            what: format!("digest {sequence}"),
            why: e.to_string(),
        })?;
        Ok(DigestRow { date, sequence, made: instant(made) })
    })
    .transpose()
}

fn digest_made(connection: &Connection, date: NaiveDate) -> Result<bool> {
    let mut statement = connection.prepare_cached("SELECT 1 FROM digests WHERE date = ?1")?;
    Ok(statement.exists([date.to_string()])?)
}

impl Store {
    pub fn alerts(&self) -> Result<Vec<Alert>> {
        alerts(&self.connection)
    }

    /// Alerts that are not closed, by number.
    pub fn live_alerts(&self) -> Result<Vec<Alert>> {
        let sql = "SELECT number, body FROM alerts WHERE state <> 'closed' ORDER BY number";
        listed(&self.connection, sql, [])
    }

    /// The digest made last.
    pub fn last_digest(&self) -> Result<Option<DigestRow>> {
        last_digest(&self.connection)
    }

    /// Whether the digest of a date has been made.
    pub fn digest_made(&self, date: NaiveDate) -> Result<bool> {
        digest_made(&self.connection, date)
    }
}

impl Pass<'_> {
    /// All alerts, by number.
    pub fn alerts(&self) -> Result<Vec<Alert>> {
        alerts(&self.transaction)
    }

    /// The alerts that do not sleep, by number: nothing that rests at or before the moment given is among them. The
    /// others are [`Pass::asleep`].
    pub fn awake(&self, before: Option<Instant>) -> Result<Vec<Alert>> {
        let sql = "SELECT number, body FROM alerts WHERE rests IS NULL OR rests > ?1 ORDER BY number";
        listed(&self.transaction, sql, [rests_by(before)])
    }

    /// The alerts that have rested since before or at the moment given.
    pub fn asleep(&self, before: Option<Instant>) -> Result<Vec<Sleeper>> {
        let sql = "SELECT number, key, gone FROM alerts WHERE rests <= ?1";
        let mut statement = self.transaction.prepare_cached(sql)?;
        let sleeper =
            |row: &rusqlite::Row<'_>| Ok(Sleeper { number: row.get(0)?, key: row.get(1)?, gone: row.get(2)? });
        let rows = statement.query_map([rests_by(before)], sleeper)?;
        Ok(rows.collect::<rusqlite::Result<_>>()?)
    }

    /// One alert.
    pub fn alert(&self, number: u32) -> Result<Option<Alert>> {
        let found = listed(&self.transaction, "SELECT number, body FROM alerts WHERE number = ?1", [number])?;
        Ok(found.into_iter().next())
    }

    /// The highest number an alert has; 0 without any.
    pub fn last_alert(&self) -> Result<u32> {
        let sql = "SELECT coalesce(max(number), 0) FROM alerts";
        Ok(self.transaction.prepare_cached(sql)?.query_row([], |row| row.get(0))?)
    }

    /// Stores alerts, new and changed.
    pub fn put_alerts<'a>(&self, alerts: impl IntoIterator<Item = &'a Alert>) -> Result<()> {
        let sql = "INSERT INTO alerts VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8, ?9, ?10, ?11, ?12, ?13, ?14) \
                   ON CONFLICT (number) DO UPDATE SET key = excluded.key, kind = excluded.kind, level = excluded.level, \
                   state = excluded.state, tail = excluded.tail, position = excluded.position, serial = excluded.serial, \
                   raised = excluded.raised, first_seen = excluded.first_seen, closed = excluded.closed, body = excluded.body, \
                   rests = excluded.rests, gone = excluded.gone";
        let mut statement = self.transaction.prepare_cached(sql)?;
        for alert in alerts {
            let body = serde_json::to_string(alert)
                .map_err(|e| StoreError::Content { what: format!("alert {}", alert.number), why: e.to_string() })?;
            let finding = &alert.finding;
            statement.execute(params![
                alert.number,
                alert.key,
                finding.kind.word(),
                finding.level.word(),
                alert.state.word(),
                &*finding.tail,
                finding.position.as_deref(),
                finding.serial.as_deref(),
                millis(finding.raised),
                millis(alert.first_seen),
                alert.closed.as_ref().map(|c| millis(c.at)),
                body,
                alert.rests().map(millis),
                alert.memory.gone
            ])?;
        }
        Ok(())
    }

    /// Takes the digest of a date: its sequence number, or `None` if that date has had one.
    pub fn record_digest(&self, date: NaiveDate, now: Instant) -> Result<Option<u32>> {
        let sql = "INSERT INTO digests SELECT ?1, coalesce(max(sequence), 0) + 1, ?2 FROM digests WHERE true \
                   ON CONFLICT (date) DO NOTHING RETURNING sequence";
        let mut statement = self.transaction.prepare_cached(sql)?;
        Ok(statement.query_row(params![date.to_string(), millis(now)], |row| row.get(0)).optional()?)
    }

    pub fn last_digest(&self) -> Result<Option<DigestRow>> {
        last_digest(&self.transaction)
    }

    /// When the newest digest that was made by `now` was made.
    pub fn digest_made_by(&self, now: Instant) -> Result<Option<Instant>> {
        let sql = "SELECT max(made) FROM digests WHERE made <= ?1";
        let made: Option<i64> = self.transaction.prepare_cached(sql)?.query_row([millis(now)], |row| row.get(0))?;
        Ok(made.map(instant))
    }

    pub fn digest_made(&self, date: NaiveDate) -> Result<bool> {
        digest_made(&self.transaction, date)
    }

    /// Reads a value kept by name.
    pub fn meta(&self, name: &str) -> Result<Option<String>> {
        meta(&self.transaction, name)
    }

    /// Keeps a value by name.
    pub fn set_meta(&self, name: &str, value: &str) -> Result<()> {
        let mut statement = self.transaction.prepare_cached("INSERT OR REPLACE INTO meta VALUES (?1, ?2)")?;
        statement.execute(params![name, value])?;
        Ok(())
    }

    /// True until a pass over the fleet has been committed with [`Pass::mark_summarised`].
    pub fn is_first(&self) -> Result<bool> {
        Ok(self.meta("summarised")?.is_none())
    }

    /// The moment of the first pass over this state; `now`, if this is it.
    pub fn began(&self, now: Instant) -> Result<Instant> {
        match self.meta("began")?.and_then(|at| at.parse().ok()) {
            Some(at) => Ok(instant(at)),
            None => self.set_meta("began", &millis(now).to_string()).map(|()| now),
        }
    }

    /// The fleet's past has had its one summary.
    pub fn mark_summarised(&self, now: Instant) -> Result<()> {
        self.set_meta("summarised", &millis(now).to_string())
    }

    /// When the fleet's past had its one summary, if that is known.
    pub fn summarised(&self) -> Result<Option<Instant>> {
        Ok(self.meta("summarised")?.and_then(|at| at.parse().ok()).map(instant))
    }
}
