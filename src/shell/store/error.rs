//! What can be wrong with the state, in words that name the way back.

use std::path::PathBuf;

use rusqlite::ErrorCode;
use thiserror::Error;

use crate::shell::lock::LockError;

/// Why the state could not be opened, read or written.
#[derive(Debug, Error)]
pub enum StoreError {
    #[error("{path}: {source}")]
    Io { path: PathBuf, source: std::io::Error },
    #[error(transparent)]
    Lock(#[from] LockError),
    #[error(
        "{path}: not a cowlwatch state ({what}). Nothing was changed. Move it away; then put the newest \
         `cowlwatch backup` in its place, or start anew without it"
    )]
    NotOurs { path: PathBuf, what: String },
    #[error(
        "{path}: the state is damaged ({what}). Nothing was changed. Move it and its -wal and -shm away; then put \
         the newest `cowlwatch backup` in its place, or start anew without it"
    )]
    Damaged { path: PathBuf, what: String },
    #[error(
        "{path}: written by a newer cowlwatch (state version {found}, this program knows {known}). Install that \
         version again, or put a backup made by this one in its place"
    )]
    Newer { path: PathBuf, found: i64, known: i64 },
    #[error(
        "{path}: written by an older cowlwatch (state version {found}, this program's is {known}). Start the \
         service, or run `cowlwatch scan`, which brings it up to date"
    )]
    Older { path: PathBuf, found: i64, known: i64 },
    #[error(
        "{folder}: the state is on a network file system ({kind}), where SQLite loses data. Set [fleet] state to a \
         folder on a local disk"
    )]
    NetworkFileSystem { folder: PathBuf, kind: String },
    #[error("{path}: no state there yet; run `cowlwatch scan` or `cowlwatch watch` first")]
    Missing { path: PathBuf },
    #[error("{path}: exists already; a backup never overwrites")]
    Exists { path: PathBuf },
    #[error("the state is in use by another program; try again")]
    Busy,
    #[error("the disk with the state is full")]
    Full,
    #[error("the state cannot be written (read-only)")]
    ReadOnly,
    #[error(
        "the disk with the state refuses ({0}): it may have failed, or the system has made it read-only; see dmesg"
    )]
    Disk(rusqlite::Error),
    #[error("the state: {0}")]
    Sql(rusqlite::Error),
    #[error("the state: {what} cannot be read: {why}")]
    Content { what: String, why: String },
    #[error("the letter cannot be made: {0}")]
    Letter(String),
}

impl StoreError {
    /// The exit code of a command that ends with it (sysexits.h: 73 cannot create, 74 input or output, 75 try later).
    pub fn exit_code(&self) -> u8 {
        match self {
            Self::Lock(LockError::Held { .. }) | Self::Busy => 75,
            Self::Lock(LockError::Io { .. }) | Self::Full | Self::ReadOnly | Self::Exists { .. } => 73,
            Self::Io { source, .. } if source.kind() == std::io::ErrorKind::PermissionDenied => 73,
            _ => 74,
        }
    }

    /// True where waiting may help: the service stays up and tries again.
    pub fn may_pass(&self) -> bool {
        matches!(self, Self::Busy | Self::Full | Self::ReadOnly | Self::Disk(_))
    }
}

impl From<rusqlite::Error> for StoreError {
    fn from(error: rusqlite::Error) -> Self {
        match error.sqlite_error_code() {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => Self::Busy,
            Some(ErrorCode::DiskFull) => Self::Full,
            Some(ErrorCode::ReadOnly) => Self::ReadOnly,
            Some(ErrorCode::SystemIoFailure) => Self::Disk(error),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                Self::Damaged { path: PathBuf::from(super::FILE), what: error.to_string() }
            }
            _ => Self::Sql(error),
        }
    }
}
