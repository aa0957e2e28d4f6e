//! Page and metrics: files other programs and people read, replaced whole.

use std::fs;
use std::io::{self, Write};
use std::path::Path;

use super::pass::Done;
use crate::records::Instant;
use crate::report::metrics::{self, Figures};
use crate::report::{Undelivered, page};
use crate::shell::store::{Store, StoreError};

/// Writes a file beside its place and moves it there, so that no reader ever sees half of it.
fn replace(path: &Path, bytes: &[u8]) -> io::Result<()> {
    if fs::read(path).is_ok_and(|old| old == bytes) {
        return Ok(());
    }
    let mut part = path.as_os_str().to_owned();
    part.push(".part");
    let mut file = fs::File::create(&part)?;
    file.write_all(bytes)?;
    drop(file);
    fs::rename(&part, path)
}

/// Writes `<state>/page/` and `<state>/cowlwatch.prom`, with when the fleet folder was seen last and how long the pass
/// took, seconds; without `all`, only of engines the pass touched. Gives the figures, so that [`refresh`] can keep them
/// true between passes.
///
/// # Errors
/// The first file that could not be written; the state itself is not concerned.
pub fn publish(
    state: &Path,
    store: &Store,
    done: &Done,
    all: bool,
    (last_scan, took_s): (Option<Instant>, f64),
    now: Instant,
) -> Result<Figures, StoreError> {
    if let Some(morning) = &done.morning {
        let folder = state.join("page");
        fs::create_dir_all(&folder).map_err(io(&folder))?;
        for (name, bytes) in page::pages(morning, |tail| all || done.touched.contains(tail)) {
            let path = folder.join(name);
            if let Some(parent) = path.parent() {
                fs::create_dir_all(parent).map_err(io(parent))?;
            }
            replace(&path, &bytes).map_err(io(&path))?;
        }
    }
    let mut figures = Figures {
        version: env!("CARGO_PKG_VERSION"),
        last_scan,
        scan_s: took_s,
        files_known: u64::from(done.counts.read + done.counts.unchanged),
        files_read: u64::from(done.counts.read),
        files_waiting: u64::from(done.counts.waiting),
        files_rejected: u64::from(done.counts.rejected),
        rows_rejected: u64::from(done.counts.rows_rejected),
        alerts: metrics::AlertCounts::of(done.morning.as_ref().map_or(&[], |morning| &morning.alerts)),
        engines: metrics::EngineFigures::of(done.engines()),
        undelivered: Undelivered::default(),
        last_mail: None,
        letters_sent: 0,
        digest_sequence: 0,
        last_digest: None,
        now,
    };
    refresh(state, store, &mut figures, now)?;
    Ok(figures)
}

/// Writes `<state>/cowlwatch.prom` anew with the outbox and the digest as they are now: between passes mail
/// goes out, or does not, and a collector should see that within the minute.
///
/// # Errors
/// The file could not be written.
pub fn refresh(state: &Path, store: &Store, figures: &mut Figures, now: Instant) -> Result<(), StoreError> {
    let outbox = store.outbox()?;
    let last = store.last_digest()?;
    figures.undelivered = outbox.undelivered;
    figures.last_mail = outbox.last_sent;
    figures.letters_sent = outbox.sent;
    figures.digest_sequence = last.as_ref().map_or(0, |d| d.sequence);
    figures.last_digest = last.map(|d| d.made);
    figures.now = now;
    let path = state.join("cowlwatch.prom");
    replace(&path, metrics::openmetrics(figures).as_bytes()).map_err(io(&path))
}

fn io(path: &Path) -> impl FnOnce(io::Error) -> StoreError {
    let path = path.to_owned();
    move |source| StoreError::Io { path, source }
}
