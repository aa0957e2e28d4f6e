//! Opening the state with suspicion: SQLite itself opens garbage and empty files without a word.

use std::fs;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags, params};

use super::schema::{APPLICATION_ID, MIGRATIONS, VERSION};
use super::{FILE, Result, Store, StoreError};
use crate::shell::lock::Lock;

/// How long to wait for another writer.
const BUSY: Duration = Duration::from_secs(10);
/// Larger databases are not checked page by page at every start (0.2 s per 100 MB and more).
const CHECK_UP_TO_BYTES: u64 = 256 << 20;

impl Store {
    /// Opens the state for the service or a scan, makes it if there is none, and keeps others off
    /// it as long as it lives.
    pub fn open(folder: &Path) -> Result<Self> {
        fs::create_dir_all(folder).map_err(|source| StoreError::Io { path: folder.to_owned(), source })?;
        refuse_network(folder)?;
        let lock = Lock::take(folder)?;
        let path = folder.join(FILE);
        if absent(&path)? {
            make(&path)?;
        }
        let mut store = Self::connect(path)?;
        store.upgrade(&MIGRATIONS)?;
        store._lock = Some(lock);
        Ok(store)
    }

    /// Opens an existing state beside a running service, to read it or for one small change
    /// (`acknowledge`); SQLite keeps the writers apart.
    pub fn open_beside(folder: &Path) -> Result<Self> {
        let path = folder.join(FILE);
        if absent(&path)? {
            return Err(StoreError::Missing { path });
        }
        let store = Self::connect(path)?;
        store.refuse_older(VERSION)?;
        Ok(store)
    }

    /// A copy in memory of the state, or an empty one: whatever is done to it leaves no trace (`--dry-run`, `replay`).
    pub fn scratch(folder: Option<&Path>) -> Result<Self> {
        let mut connection = Connection::open_in_memory()?;
        let path = folder.map(|f| f.join(FILE));
        match &path {
            Some(path) if !absent(path)? => {
                check_header(path)?;
                let source = Connection::open_with_flags(path, OpenFlags::SQLITE_OPEN_READ_ONLY)?;
                source.busy_timeout(BUSY)?;
                let backup = rusqlite::backup::Backup::new(&source, &mut connection)?;
                backup.run_to_completion(1000, Duration::from_millis(5), None)?;
            }
            _ => create_tables(&connection)?,
        }
        let mut store = Self::finish(connection, path.unwrap_or_else(|| PathBuf::from(":memory:")))?;
        store.migrate(&MIGRATIONS)?;
        Ok(store)
    }

    fn connect(path: PathBuf) -> Result<Self> {
        check_header(&path)?;
        let connection =
            Connection::open_with_flags(&path, OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX)?;
        connection.busy_timeout(BUSY)?;
        // A folder that cannot be written keeps the mode it has; the first write then says so.
        connection.query_row("PRAGMA journal_mode=WAL", [], |_| Ok(()))?;
        Self::finish(connection, path)
    }

    fn finish(connection: Connection, path: PathBuf) -> Result<Self> {
        connection.pragma_update(None, "synchronous", "FULL")?;
        connection.pragma_update(None, "foreign_keys", true)?;
        // KB. Records are read once a pass: what is kept of the file beyond its indexes only takes memory.
        connection.pragma_update(None, "cache_size", -4000)?;
        connection.pragma_update(None, "journal_size_limit", 16 << 20)?;
        connection.pragma_update(None, "trusted_schema", false)?;
        check(&connection, &path)?;
        let id = connection.query_row("SELECT value FROM meta WHERE name = 'id'", [], |row| row.get(0))?;
        Ok(Self { connection, path, id, _lock: None })
    }
}

fn absent(path: &Path) -> Result<bool> {
    match fs::symlink_metadata(path) {
        Ok(_) => Ok(false),
        Err(e) if e.kind() == std::io::ErrorKind::NotFound => {
            let wal = path.with_file_name(format!("{FILE}-wal"));
            if wal.exists() {
                let what = format!("{} is there, the database itself is not", wal.display());
                return Err(StoreError::Damaged { path: path.to_owned(), what });
            }
            Ok(true)
        }
        Err(source) => Err(StoreError::Io { path: path.to_owned(), source }),
    }
}

/// Looks at the file before SQLite does, which would happily make a database of an empty one.
fn check_header(path: &Path) -> Result<()> {
    let io = |source| StoreError::Io { path: path.to_owned(), source };
    let not_ours = |what: &str| StoreError::NotOurs { path: path.to_owned(), what: what.to_owned() };
    let meta = fs::metadata(path).map_err(io)?;
    if !meta.is_file() {
        return Err(not_ours("not a file"));
    }
    let mut head = Vec::new();
    fs::File::open(path).map_err(io)?.take(100).read_to_end(&mut head).map_err(io)?;
    if head.is_empty() {
        return Err(not_ours("the file is empty"));
    }
    if head.len() < 100 || !head.starts_with(b"SQLite format 3\0") {
        return Err(not_ours("not an SQLite database"));
    }
    // SQLite database header, offset 68: application_id, big-endian (sqlite.org/fileformat2.html).
    if head[68..72] != APPLICATION_ID.to_be_bytes() {
        return Err(not_ours("another program's SQLite database"));
    }
    Ok(())
}

fn check(connection: &Connection, path: &Path) -> Result<()> {
    let damaged = |what: String| StoreError::Damaged { path: path.to_owned(), what };
    let at = |error: rusqlite::Error| match StoreError::from(error) {
        StoreError::Damaged { what, .. } => damaged(what),
        other => other,
    };
    let found: i64 = connection.query_row("PRAGMA user_version", [], |row| row.get(0)).map_err(at)?;
    if found > VERSION {
        return Err(StoreError::Newer { path: path.to_owned(), found, known: VERSION });
    }
    if found < 1 {
        return Err(damaged("it has no tables".to_owned()));
    }
    let small = fs::metadata(path).map_or(true, |m| m.len() <= CHECK_UP_TO_BYTES);
    if small {
        let verdict: String = connection.query_row("PRAGMA quick_check(1)", [], |row| row.get(0)).map_err(at)?;
        if verdict != "ok" {
            return Err(damaged(verdict));
        }
    }
    let initialised = "SELECT count(*) FROM meta WHERE name = 'initialised' AND value = 'yes'";
    match connection.query_row(initialised, [], |row| row.get::<_, i64>(0)) {
        Ok(1) => Ok(()),
        Ok(_) => Err(damaged("it was never completed".to_owned())),
        Err(e) => Err(match at(e) {
            StoreError::Sql(e) => damaged(e.to_string()),
            other => other,
        }),
    }
}

/// Makes a new state aside and moves it into place whole: a kill in between leaves no half-made one.
fn make(path: &Path) -> Result<()> {
    let io = |source| StoreError::Io { path: path.to_owned(), source };
    let new = path.with_extension("new");
    match fs::remove_file(&new) {
        Err(e) if e.kind() != std::io::ErrorKind::NotFound => return Err(io(e)),
        _ => {}
    }
    let connection = Connection::open(&new)?;
    create_tables(&connection)?;
    connection.close().map_err(|(_, e)| e)?;
    fs::File::open(&new).and_then(|f| f.sync_all()).map_err(io)?;
    fs::rename(&new, path).map_err(io)?;
    if let Some(folder) = path.parent() {
        fs::File::open(folder).and_then(|f| f.sync_all()).map_err(io)?;
    }
    Ok(())
}

fn create_tables(connection: &Connection) -> Result<()> {
    connection.pragma_update(None, "application_id", APPLICATION_ID)?;
    connection.execute_batch("BEGIN IMMEDIATE")?;
    for step in MIGRATIONS {
        connection.execute_batch(step)?;
    }
    connection.pragma_update(None, "user_version", VERSION)?;
    connection.execute("INSERT INTO meta VALUES ('id', lower(hex(randomblob(8)))), ('initialised', 'yes')", [])?;
    connection.execute_batch("COMMIT")?;
    Ok(())
}

/// File systems on which SQLite's locks or its shared memory do not hold between machines.
const NETWORK: [&str; 19] = [
    "nfs",
    "nfs4",
    "cifs",
    "smb2",
    "smb3",
    "smbfs",
    "afs",
    "ceph",
    "lustre",
    "beegfs",
    "ocfs2",
    "gfs2",
    "ncpfs",
    "coda",
    "davfs",
    "fuse.sshfs",
    "fuse.glusterfs",
    "fuse.rclone",
    "fuse.s3fs",
];

fn refuse_network(folder: &Path) -> Result<()> {
    let real = fs::canonicalize(folder).map_err(|source| StoreError::Io { path: folder.to_owned(), source })?;
    // Without /proc we cannot tell, and do not refuse.
    let Ok(mounts) = fs::read_to_string("/proc/self/mountinfo") else { return Ok(()) };
    match file_system(&mounts, &real).filter(|kind| NETWORK.contains(&kind.as_str())) {
        Some(kind) => Err(StoreError::NetworkFileSystem { folder: folder.to_owned(), kind }),
        None => Ok(()),
    }
}

/// The file system `path` is on, from the text of `/proc/self/mountinfo` (proc(5)): the last mount
/// whose point is the longest that `path` starts with.
pub(super) fn file_system(mounts: &str, path: &Path) -> Option<String> {
    let mut best: Option<(usize, String)> = None;
    for line in mounts.lines() {
        let (left, right) = line.split_once(" - ")?;
        let point = unescape(left.split(' ').nth(4)?);
        let kind = right.split(' ').next()?;
        let length = point.len();
        if path.starts_with(&point) && best.as_ref().is_none_or(|(l, _)| length >= *l) {
            best = Some((length, kind.to_owned()));
        }
    }
    best.map(|(_, kind)| kind)
}

/// Blanks, tabs, newlines and backslashes stand as octal in mountinfo.
fn unescape(point: &str) -> String {
    point.replace("\\040", " ").replace("\\011", "\t").replace("\\012", "\n").replace("\\134", "\\")
}

impl Store {
    /// Reads a value kept by name.
    pub fn meta(&self, name: &str) -> Result<Option<String>> {
        super::memory::meta(&self.connection, name)
    }

    /// Keeps a value by name, outside a pass.
    pub fn set_meta(&self, name: &str, value: &str) -> Result<()> {
        self.connection.execute("INSERT OR REPLACE INTO meta VALUES (?1, ?2)", params![name, value])?;
        Ok(())
    }
}
