//! The journal: structured where systemd's journal listens, plain lines on standard error elsewhere.
//!
//! A failure is logged once, where it is handled, with its figures in fields that name their unit.

use tracing_subscriber::EnvFilter;
use tracing_subscriber::layer::SubscriberExt;
use tracing_subscriber::util::SubscriberInitExt;

/// Starts logging. `RUST_LOG` overrides `level`; a second call is without effect.
///
/// As a service of systemd (`JOURNAL_STREAM` is set) entries go to the journal with their fields; if
/// its socket is not there, or on a terminal, to standard error.
pub fn start(level: &str) {
    let filter = EnvFilter::try_from_default_env().unwrap_or_else(|_| EnvFilter::new(level));
    let registry = tracing_subscriber::registry().with(filter);
    let journal = std::env::var_os("JOURNAL_STREAM").and_then(|_| tracing_journald::layer().ok());
    let started = match journal {
        Some(journal) => registry.with(journal.with_syslog_identifier("cowlwatch".to_owned())).try_init(),
        None => {
            let lines =
                tracing_subscriber::fmt::layer().with_writer(std::io::stderr).with_target(false).with_ansi(false);
            registry.with(lines).try_init()
        }
    };
    // Already started: the first one stands.
    drop(started);
}
