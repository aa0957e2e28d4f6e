//! Files that have been read, and what they say.

use rusqlite::{Connection, OptionalExtension, Row, params};
use serde::Serialize;
use serde::de::DeserializeOwned;
use tracing::warn;

use super::{Known, Pass, Result, Store, StoreError};

/// A file as last read. A file whose size, time and inode are these is not opened again.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct FileRow {
    /// Relative to the fleet folder, `/` between parts.
    pub path: String,
    /// The tail folder it is in.
    pub tail: String,
    pub size: u64,
    pub mtime_ns: i64,
    pub inode: u64,
    /// BLAKE3 of the content.
    pub hash: [u8; 32],
    /// Version of the reader (and of the layout) that made the records.
    pub reader: u64,
}

const COLUMNS: &str = "path, tail, size, mtime, inode, hash, reader";

fn row(row: &Row<'_>) -> rusqlite::Result<FileRow> {
    // Sizes, inodes and versions are u64 kept in SQLite's i64, bit for bit.
    Ok(FileRow {
        path: row.get(0)?,
        tail: row.get(1)?,
        size: row.get::<_, i64>(2)?.cast_unsigned(),
        mtime_ns: row.get(3)?,
        inode: row.get::<_, i64>(4)?.cast_unsigned(),
        hash: row.get(5)?,
        reader: row.get::<_, i64>(6)?.cast_unsigned(),
    })
}

fn known(connection: &Connection) -> Result<Known> {
    let mut statement = connection.prepare_cached(&format!("SELECT {COLUMNS} FROM files ORDER BY path"))?;
    let mut known = Known::default();
    for row in statement.query_map([], row)? {
        known.push(&row?);
    }
    Ok(known)
}

fn tails(connection: &Connection) -> Result<Vec<String>> {
    let mut statement = connection.prepare_cached("SELECT DISTINCT tail FROM files ORDER BY tail")?;
    let rows = statement.query_map([], |row| row.get(0))?;
    Ok(rows.collect::<rusqlite::Result<_>>()?)
}

/// Records in another shape than this program's (those of a folder that was away at an upgrade, say) must not stop
/// the judging of a fleet: they are dropped, and their file stays known as one to be read again.
fn records_of<T: DeserializeOwned>(connection: &Connection, tail: &str) -> Result<Vec<(String, T)>> {
    let sql = "SELECT id, path, records FROM files JOIN contents ON file = id WHERE tail = ?1 ORDER BY path";
    let mut statement = connection.prepare_cached(sql)?;
    let mut rows = statement.query([tail])?;
    let (mut records, mut other) = (Vec::new(), Vec::new());
    while let Some(row) = rows.next()? {
        let path: String = row.get(1)?;
        let content = row.get_ref(2)?.as_blob().map_err(rusqlite::Error::from)?;
        match decode(content) {
            Ok(value) => records.push((path, value)),
            Err(why) => other.push((row.get(0)?, path, why)),
        }
    }
    if let Some((_, first, why)) = other.first() {
        warn!(tail, files = other.len(), %first, %why, "stored records are of another version; dropped, to be read again");
    }
    for (id, ..) in other {
        connection.prepare_cached("DELETE FROM contents WHERE file = ?1")?.execute([id])?;
        read_again(connection, id)?;
    }
    Ok(records)
}

/// No reader has this version, so the next look takes the file for changed.
pub(super) fn read_again(connection: &Connection, id: i64) -> Result<()> {
    connection.prepare_cached("UPDATE files SET reader = 0 WHERE id = ?1")?.execute([id])?;
    Ok(())
}

/// What was stored back to values. Bytes left over are of another shape too: postcard does not describe itself.
pub fn decode<T: DeserializeOwned>(content: &[u8]) -> std::result::Result<T, String> {
    match postcard::take_from_bytes(content) {
        Ok((value, [])) => Ok(value),
        Ok((_, left)) => Err(format!("{} bytes too many", left.len())),
        Err(error) => Err(error.to_string()),
    }
}

impl Store {
    /// All files read so far.
    pub fn known(&self) -> Result<Known> {
        known(&self.connection)
    }

    /// Tails with files.
    pub fn tails(&self) -> Result<Vec<String>> {
        tails(&self.connection)
    }

    /// What the files of one tail say, in order of path: at most one tail's records are in memory.
    pub fn records_of<T: DeserializeOwned>(&self, tail: &str) -> Result<Vec<(String, T)>> {
        records_of(&self.connection, tail)
    }
}

impl Pass<'_> {
    /// When a file last changed, nanoseconds since 1970.
    pub fn changed(&self, path: &str) -> Result<Option<i64>> {
        let mut statement = self.transaction.prepare_cached("SELECT mtime FROM files WHERE path = ?1")?;
        Ok(statement.query_row([path], |row| row.get(0)).optional()?)
    }

    pub fn tails(&self) -> Result<Vec<String>> {
        tails(&self.transaction)
    }

    /// The first of a tail's files that are known, but whose records were dropped, and how many there are.
    pub fn unread(&self, tail: &str) -> Result<Option<(String, u32)>> {
        let sql = "SELECT min(path), count(*) FROM files WHERE tail = ?1 AND id NOT IN (SELECT file FROM contents)";
        let mut statement = self.transaction.prepare_cached(sql)?;
        let (first, count): (Option<String>, u32) =
            statement.query_row([tail], |row| Ok((row.get(0)?, row.get(1)?)))?;
        Ok(first.map(|first| (first, count)))
    }

    /// What the files of one tail say, this pass's changes included.
    pub fn records_of<T: DeserializeOwned>(&self, tail: &str) -> Result<Vec<(String, T)>> {
        records_of(&self.transaction, tail)
    }

    /// What one file says, where that is known and of this program's shape.
    pub fn records_in<T: DeserializeOwned>(&self, path: &str) -> Result<Option<T>> {
        let sql = "SELECT records FROM files JOIN contents ON file = id WHERE path = ?1";
        let content: Option<Vec<u8>> =
            self.transaction.prepare_cached(sql)?.query_row([path], |row| row.get(0)).optional()?;
        Ok(content.and_then(|content| decode(&content).ok()))
    }

    /// Keeps a file and what it says, in place of what it said before; gives its number.
    pub fn put_file(&self, file: &FileRow, records: &impl Serialize) -> Result<i64> {
        let content = postcard::to_stdvec(records)
            .map_err(|e| StoreError::Content { what: format!("records of {}", file.path), why: e.to_string() })?;
        let id = self.put_row(file)?;
        let sql = "INSERT INTO contents VALUES (?1, ?2) ON CONFLICT (file) DO UPDATE SET records = excluded.records";
        self.transaction.prepare_cached(sql)?.execute(params![id, content])?;
        Ok(id)
    }

    /// Keeps a file's new size, time and inode where its content is what it was; false if the file is not known.
    pub fn touch_file(&self, file: &FileRow) -> Result<bool> {
        let known: Option<i64> = self
            .transaction
            .prepare_cached("SELECT id FROM files WHERE path = ?1")?
            .query_row([&file.path], |row| row.get(0))
            .optional()?;
        if known.is_some() {
            self.put_row(file)?;
        }
        Ok(known.is_some())
    }

    fn put_row(&self, file: &FileRow) -> Result<i64> {
        let sql = format!(
            "INSERT INTO files ({COLUMNS}) VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7) ON CONFLICT (path) DO UPDATE SET \
             tail = excluded.tail, size = excluded.size, mtime = excluded.mtime, inode = excluded.inode, \
             hash = excluded.hash, reader = excluded.reader RETURNING id"
        );
        let id = self.transaction.prepare_cached(&sql)?.query_row(
            params![
                file.path,
                file.tail,
                file.size.cast_signed(),
                file.mtime_ns,
                file.inode.cast_signed(),
                file.hash,
                file.reader.cast_signed()
            ],
            |row| row.get(0),
        )?;
        Ok(id)
    }

    /// Forgets a file and what it said.
    pub fn remove_file(&self, path: &str) -> Result<()> {
        self.transaction.prepare_cached("DELETE FROM files WHERE path = ?1")?.execute([path])?;
        Ok(())
    }
}
