//! One program per state folder: an exclusive lock on `<state>/lock`, with the holder's process number in it.
//!
//! The kernel drops the lock when the process dies, however it dies, so a stale file never stands in the way.

use std::fs::{File, OpenOptions};
use std::io::{Read, Seek, Write};
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

use rustix::fs::{FlockOperation, flock};
use thiserror::Error;

/// Why the state could not be taken.
#[derive(Debug, Error)]
pub enum LockError {
    #[error("another cowlwatch, process {pid}, runs on the state in {folder}; stop it first or try later")]
    Held { folder: PathBuf, pid: String },
    #[error("{path}: cannot lock the state: {source}")]
    Io { path: PathBuf, source: std::io::Error },
}

/// Held as long as it lives.
#[derive(Debug)]
pub struct Lock {
    _file: File,
}

impl Lock {
    /// Takes the lock of a state folder.
    pub fn take(folder: &Path) -> Result<Self, LockError> {
        let path = folder.join("lock");
        let io = |source| LockError::Io { path: path.clone(), source };
        let mut file = OpenOptions::new()
            .read(true)
            .write(true)
            .create(true)
            .truncate(false)
            .mode(0o644)
            .open(&path)
            .map_err(io)?;
        match flock(&file, FlockOperation::NonBlockingLockExclusive) {
            Ok(()) => {}
            Err(rustix::io::Errno::WOULDBLOCK) => {
                let mut pid = String::new();
                // The number is a courtesy: without it the message still says what is wrong.
                if file.read_to_string(&mut pid).is_err() || pid.trim().is_empty() {
                    pid = "unknown".to_owned();
                }
                return Err(LockError::Held { folder: folder.to_owned(), pid: pid.trim().to_owned() });
            }
            Err(errno) => return Err(io(errno.into())),
        }
        // A full disk must not keep the service from starting: the lock holds without its number.
        let written =
            file.set_len(0).and_then(|()| file.rewind()).and_then(|()| writeln!(file, "{}", std::process::id()));
        drop(written);
        Ok(Self { _file: file })
    }
}
