//! A consistent copy of the state, also while the service writes.

use std::fs;
use std::io::{self, ErrorKind};
use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use rusqlite::backup::Backup;
use rustix::fs::{CWD, RenameFlags, renameat_with};

use super::{Result, Store, StoreError};

impl Store {
    /// Copies the state to `to`, checks the copy, and only then gives it its name. Never overwrites.
    pub fn backup(&self, to: &Path) -> Result<()> {
        let io = |source| StoreError::Io { path: to.to_owned(), source };
        if fs::symlink_metadata(to).is_ok() {
            return Err(StoreError::Exists { path: to.to_owned() });
        }
        let mut name = to.file_name().map_or_else(Default::default, std::ffi::OsStr::to_os_string);
        name.push(format!(".{}.part", std::process::id()));
        let part = to.with_file_name(name);
        let done = self.copy(&part).and_then(|()| {
            fs::File::open(&part).and_then(|f| f.sync_all()).map_err(io)?;
            name_it(&part, to).map_err(io)
        });
        let removed = fs::remove_file(&part);
        done?;
        removed.or_else(|e| if e.kind() == ErrorKind::NotFound { Ok(()) } else { Err(e) }).map_err(io)?;
        match to.parent().filter(|p| !p.as_os_str().is_empty()) {
            Some(folder) => fs::File::open(folder).and_then(|f| f.sync_all()).map_err(io),
            None => Ok(()),
        }
    }

    fn copy(&self, part: &Path) -> Result<()> {
        // SQLite says only "unable to open"; the file system says why.
        fs::File::create_new(part).map_err(|source| StoreError::Io { path: part.to_owned(), source })?;
        let mut copy = Connection::open(part)?;
        Backup::new(&self.connection, &mut copy)?.run_to_completion(2000, Duration::from_millis(1), None)?;
        // The copy is one file: no WAL beside it.
        copy.query_row("PRAGMA journal_mode=DELETE", [], |_| Ok(()))?;
        let verdict: String = copy.query_row("PRAGMA integrity_check(1)", [], |row| row.get(0))?;
        if verdict != "ok" {
            return Err(StoreError::Damaged { path: part.to_owned(), what: verdict });
        }
        Ok(())
    }
}

/// Gives the copy its name, which nothing may have yet. A file may be linked but once on FAT and exFAT, and so on most
/// USB sticks; there it is moved, which network file systems in turn may not do without overwriting.
fn name_it(part: &Path, to: &Path) -> io::Result<()> {
    match fs::hard_link(part, to) {
        Err(e) if e.kind() != ErrorKind::AlreadyExists => {
            renameat_with(CWD, part, CWD, to, RenameFlags::NOREPLACE).map_err(|_| e)
        }
        linked => linked,
    }
}
