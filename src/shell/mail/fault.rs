//! Why a letter did not go, and how long to wait before it is tried again.

use std::path::PathBuf;

use chrono::Duration;
use thiserror::Error;

/// What in the configuration of mail cannot work.
#[derive(Debug, Error)]
pub enum MailError {
    #[error("{path}: {source}")]
    File { path: PathBuf, source: std::io::Error },
    #[error("{path}: mode {mode:04o}, so others can read the password; expected 0600 (chmod 600)")]
    Readable { path: PathBuf, mode: u32 },
    #[error("{path}: expected the password alone on one line")]
    Password { path: PathBuf },
    #[error("[mail] username is set, password_file is not, and there is no systemd credential smtp-password")]
    NoPassword,
    #[error("{path}: {why}, expected the certificate of an authority in PEM")]
    Authority { path: PathBuf, why: String },
    #[error("TLS: {0}")]
    Tls(String),
}

/// Why an attempt failed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Fault {
    /// For the journal, the page and the digest: `logging in: 535 …`.
    pub what: String,
    /// The server's answer, if it gave one.
    pub code: Option<u16>,
    /// The server says trying again is no use. We do, more slowly: somebody may have to mend something first.
    pub permanent: bool,
    /// The line is dead: nothing further can be said on it.
    pub dead: bool,
}

impl Fault {
    /// On our side.
    pub(super) fn here(what: String) -> Self {
        Self { what, code: None, permanent: true, dead: false }
    }

    pub(super) fn dead(what: String) -> Self {
        Self { what, code: None, permanent: false, dead: true }
    }

    /// Of two recipients. It is tried again as soon as the more hopeful one allows.
    pub(super) fn and(self, other: Self) -> Self {
        Self {
            what: format!("{}; {}", self.what, other.what),
            code: self.code.or(other.code),
            permanent: self.permanent && other.permanent,
            dead: self.dead || other.dead,
        }
    }

    pub(super) fn from_server(step: &str, error: &lettre::transport::smtp::Error) -> Self {
        let code = error.status().map(u16::from);
        Self {
            what: super::message::plain(&format!("{step}: {error}")),
            code,
            permanent: error.is_permanent() || error.is_client() || error.is_tls(),
            dead: code.is_none() || code == Some(421),
        }
    }
}

/// Longest wait between attempts, seconds.
const LONGEST_S: i64 = 1800;

/// Longest wait between attempts.
pub fn longest_wait() -> Duration {
    Duration::seconds(LONGEST_S)
}

/// Wait before the next attempt, after `attempts` that failed: from half a minute, doubling, to half
/// an hour. After a permanent refusal from five minutes: a wrong password tried every minute locks accounts.
pub fn wait(attempts: u32, permanent: bool) -> Duration {
    const FIRST_S: i64 = 30;
    const FIRST_PERMANENT_S: i64 = 300;
    let first = if permanent { FIRST_PERMANENT_S } else { FIRST_S };
    let factor = 1_i64 << attempts.saturating_sub(1).min(16);
    Duration::seconds((first * factor).min(LONGEST_S))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_grow_and_end_at_half_an_hour() {
        let seconds = |permanent| (1..=8).map(|n| wait(n, permanent).num_seconds()).collect::<Vec<_>>();
        assert_eq!(seconds(false), [30, 60, 120, 240, 480, 960, 1800, 1800]);
        assert_eq!(seconds(true), [300, 600, 1200, 1800, 1800, 1800, 1800, 1800]);
        assert_eq!(wait(u32::MAX, true).num_seconds(), 1800);
    }
}
