PRAGMA application_id=1668770935;
PRAGMA user_version=3;
CREATE TABLE meta (
    name  TEXT PRIMARY KEY,
    value TEXT NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO meta VALUES ('id', '00112233aabbccdd');
INSERT INTO meta VALUES ('initialised', 'yes');
INSERT INTO meta VALUES ('summarised', '1772431200000');
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
INSERT INTO files VALUES (1, 'N0417H/logbook.csv', 'N0417H', -1, -5, -2, x'0707070707070707070707070707070707070707070707070707070707070707', 3);
CREATE INDEX files_by_tail ON files (tail);
CREATE TABLE contents (
    file    INTEGER PRIMARY KEY REFERENCES files (id) ON DELETE CASCADE,
    records BLOB NOT NULL
) STRICT;
INSERT INTO contents VALUES (1, x'01124e30343137482f6c6f67626f6f6b2e637376070d6c6576656c2022314f207174220861206e756d62657200');
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
, rests INTEGER, gone INTEGER NOT NULL DEFAULT 0) STRICT;
INSERT INTO alerts VALUES (1, 'oil-rate-rise|H-2207|rise 1', 'oil-rate-rise', 'caution', 'open', 'N0417H', 'left', 'H-2207', 1772366400000, 1772431200000, NULL, '{"number":1,"key":"oil-rate-rise|H-2207|rise 1","finding":{"kind":"oil-rate-rise","level":"caution","tail":"N0417H","position":"left","serial":"H-2207","subject":"rise 1","raised":"2026-03-01T12:00:00Z","hours":1254.1,"settled":null,"size":0.30000000000000004,"evidence":[["from_qt_per_h",0.125],["since","2026-02-25"],["lines",[{"file":"N0417H/logbook.csv","line":7}]]]},"state":"open","first_seen":"2026-03-02T06:00:00Z","closed":null,"acknowledged":null,"muted_until":null,"told":null,"history":[{"at":"2026-03-02T06:00:00Z","by":"cowlwatch","what":"raised"}],"memory":{"gone":false,"owed":null,"unanswered_since":null,"escalated":null,"last_single":null,"actions":[],"closed_by_action":null}}', NULL, 0);
INSERT INTO alerts VALUES (2, 'oil-rate-rise|H-2207|rise 2', 'oil-rate-rise', 'caution', 'closed', 'N0417H', 'left', 'H-2207', 1772366400000, 1772431200000, 1772528400000, '{"number":2,"key":"oil-rate-rise|H-2207|rise 2","finding":{"kind":"oil-rate-rise","level":"caution","tail":"N0417H","position":"left","serial":"H-2207","subject":"rise 2","raised":"2026-03-01T12:00:00Z","hours":1254.1,"settled":null,"size":0.30000000000000004,"evidence":[["from_qt_per_h",0.125],["since","2026-02-25"],["lines",[{"file":"N0417H/logbook.csv","line":7}]]]},"state":"closed","first_seen":"2026-03-02T06:00:00Z","closed":{"at":"2026-03-03T09:00:00Z","by":"Dana","why":"gasket replaced"},"acknowledged":null,"muted_until":null,"told":{"at":"2026-03-03T09:00:00Z","size":0.30000000000000004,"level":"caution","reminders":0,"changed_again":null,"carried":true},"history":[{"at":"2026-03-02T06:00:00Z","by":"cowlwatch","what":"raised"},{"at":"2026-03-03T09:00:00Z","by":"Dana","what":"closed: gasket replaced"}],"memory":{"gone":false,"owed":null,"unanswered_since":null,"escalated":null,"last_single":null,"actions":[],"closed_by_action":null}}', NULL, 0);
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
INSERT INTO letters VALUES (1, '<1.00112233aabbccdd@cowlwatch>', 'alert', 'n0417h', 1772431200000, 'cowlwatch@example.org', '[]', '["a@example.org"]', x'6c65747465722031', 1, 1772434800000, NULL, 1772434800000);
INSERT INTO letters VALUES (2, '<2.00112233aabbccdd@cowlwatch>', 'alert', 'n0417h', 1772431200000, 'cowlwatch@example.org', '["a@example.org"]', '[]', x'6c65747465722032', 0, 1772431200000, NULL, NULL);
CREATE INDEX letters_waiting ON letters (next_try) WHERE sent IS NULL;
CREATE TABLE digests (
    date     TEXT PRIMARY KEY,
    sequence INTEGER NOT NULL UNIQUE,
    made     INTEGER NOT NULL
) STRICT, WITHOUT ROWID;
INSERT INTO digests VALUES ('2026-03-02', 1, 1772431200000);
CREATE TABLE strips (
    file   INTEGER NOT NULL REFERENCES files (id) ON DELETE CASCADE,
    engine TEXT NOT NULL,             -- position; empty: the only engine
    start  INTEGER NOT NULL,
    strip  BLOB NOT NULL,
    PRIMARY KEY (file, engine, start)
) STRICT, WITHOUT ROWID;
INSERT INTO strips VALUES (1, '', 1772427600000, x'000014323032362d30332d30325430353a30303a30305a14313937302d30312d30315430303a30303a30305a0000030000000000000000000000000000');
CREATE INDEX alerts_at_rest ON alerts (rests, number, key, gone);
