//! The tables, and how an older state becomes a newer one.

/// `PRAGMA application_id`: "cwlw" in ASCII, so that `file` and we can tell our database from others.
pub(super) const APPLICATION_ID: i32 = 0x6377_6c77;

/// Steps from one version of the tables to the next; `PRAGMA user_version` counts them. A step that has been
/// released is never changed: a new one is added at the end, and a state of the version before it is kept as a
/// fixture (`upgrade_tests.rs`).
pub(super) const MIGRATIONS: [&str; 3] = [
    r"
CREATE TABLE meta (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;

-- One row per file of the fleet folder that has been read. Times in nanoseconds.
CREATE TABLE files (
    id     INTEGER PRIMARY KEY,
    path   TEXT NOT NULL UNIQUE,      -- relative to the fleet folder
    tail   TEXT NOT NULL,
    size   INTEGER NOT NULL,
    mtime  INTEGER NOT NULL,
    inode  INTEGER NOT NULL,
    hash   BLOB NOT NULL,
    reader INTEGER NOT NULL           -- version of the reader that made the records
) STRICT;
CREATE INDEX files_by_tail ON files (tail);

-- What the file says (postcard); apart, so that listing files does not drag their records along.
CREATE TABLE contents (
    file    INTEGER PRIMARY KEY REFERENCES files (id) ON DELETE CASCADE,
    records BLOB NOT NULL
) STRICT;

-- Times from here on in milliseconds since 1970, UTC.
CREATE TABLE alerts (
    number     INTEGER PRIMARY KEY,
    key        TEXT NOT NULL UNIQUE,
    kind       TEXT NOT NULL,
    level      TEXT NOT NULL,
    state      TEXT NOT NULL,
    tail       TEXT NOT NULL,
    position   TEXT,
    serial     TEXT,
    raised     INTEGER NOT NULL,
    first_seen INTEGER NOT NULL,
    closed     INTEGER,
    body       TEXT NOT NULL          -- the whole alert, JSON
) STRICT;

CREATE TABLE letters (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    message_id TEXT NOT NULL UNIQUE,
    kind       TEXT NOT NULL,
    slug       TEXT NOT NULL,
    made       INTEGER NOT NULL,
    sender     TEXT NOT NULL,
    waiting    TEXT NOT NULL,         -- recipients the server has not taken yet, JSON
    accepted   TEXT NOT NULL,         -- recipients it has taken, JSON
    message    BLOB,                  -- RFC 5322; NULL once delivered and old
    attempts   INTEGER NOT NULL DEFAULT 0,
    next_try   INTEGER NOT NULL,
    last_error TEXT,
    sent       INTEGER
) STRICT;
CREATE INDEX letters_waiting ON letters (next_try) WHERE sent IS NULL;

CREATE TABLE digests (
    date     TEXT PRIMARY KEY,
    sequence INTEGER NOT NULL UNIQUE,
    made     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
",
    r"
-- Recorded runs thinned to what a picture shows (postcard), of the latest runs of each tail.
CREATE TABLE strips (
    file   INTEGER NOT NULL REFERENCES files (id) ON DELETE CASCADE,
    engine TEXT NOT NULL,             -- position; empty: the only engine
    start  INTEGER NOT NULL,
    strip  BLOB NOT NULL,
    PRIMARY KEY (file, engine, start)
) STRICT, WITHOUT ROWID;
-- What recordings say is written otherwise from here on: they are read anew.
DELETE FROM files WHERE path LIKE '%/monitor/%';
",
    r"
-- Alerts that may sleep (`alerts::asleep`): the newest moment that is remembered of them. NULL: never asleep.
ALTER TABLE alerts ADD COLUMN rests INTEGER;
ALTER TABLE alerts ADD COLUMN gone INTEGER NOT NULL DEFAULT 0;    -- the last pass no longer had its finding
CREATE INDEX alerts_at_rest ON alerts (rests, number, key, gone);
UPDATE alerts SET gone = coalesce(json_extract(body, '$.memory.gone'), 0);
-- The next whole second after the newest moment: a little late does no harm.
UPDATE alerts SET rests = 1000 * (1 + max(
    unixepoch(coalesce(json_extract(body, '$.memory.ended'), json_extract(body, '$.closed.at'))),
    coalesce(unixepoch(json_extract(body, '$.told.at')), 0),
    coalesce(unixepoch(json_extract(body, '$.memory.last_single')), 0)))
WHERE state = 'closed' AND json_extract(body, '$.closed.by') IS NULL
    AND (json_extract(body, '$.finding.settled') IS NOT NULL OR gone)
    AND (json_extract(body, '$.told') IS NULL OR coalesce(json_extract(body, '$.told.carried'), 1))
    AND coalesce(json_extract(body, '$.memory.owed'), json_extract(body, '$.memory.unanswered_since'),
        json_extract(body, '$.memory.escalated'), json_extract(body, '$.memory.closed_by_action')) IS NULL;
",
];

/// The version of a state this program writes.
pub(super) const VERSION: i64 = MIGRATIONS.len() as i64;
