//! What reaches the loop from outside: signals, and the file system's word that something changed.

use std::path::{Path, PathBuf};

use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc;
use tracing::warn;

use super::serve::Event;

/// Takes the signals that end the service or have it read its configuration anew.
pub(super) fn listen(events: mpsc::Sender<Event>) -> std::io::Result<tokio::task::JoinHandle<()>> {
    let mut terminate = signal(SignalKind::terminate())?;
    let mut interrupt = signal(SignalKind::interrupt())?;
    let mut hangup = signal(SignalKind::hangup())?;
    Ok(tokio::spawn(async move {
        loop {
            let event = tokio::select! {
                _ = terminate.recv() => Event::Stop,
                _ = interrupt.recv() => Event::Stop,
                _ = hangup.recv() => Event::Reload,
            };
            if events.send(event).await.is_err() {
                return;
            }
        }
    }))
}

/// File system events only make the next look come sooner; a share sends none, and that is no fault. Listens as long as
/// what it gives lives, in a thread of its own: a share that hangs must not hold up the start.
pub(super) fn stir(folder: PathBuf, events: mpsc::Sender<Event>) -> std::sync::mpsc::Sender<()> {
    let (alive, ended) = std::sync::mpsc::channel();
    let thread = std::thread::Builder::new().name("stir".to_owned()).spawn(move || {
        let watcher = watch(&folder, events);
        // Nothing is ever sent: this waits for the sender to be dropped.
        let _ = ended.recv();
        drop(watcher);
    });
    if let Err(error) = thread {
        warn!(%error, "no file system events; the periodic scan goes on");
    }
    alive
}

fn watch(folder: &Path, events: mpsc::Sender<Event>) -> Option<notify::RecommendedWatcher> {
    use notify::Watcher;
    let told = move |event: notify::Result<notify::Event>| {
        if event.is_ok_and(|e| !e.kind.is_access()) {
            // A full channel already holds a reason to look.
            let _ = events.try_send(Event::Stirred);
        }
    };
    let config = notify::Config::default().with_follow_symlinks(false);
    let mut watcher = notify::RecommendedWatcher::new(told, config).ok()?;
    match watcher.watch(folder, notify::RecursiveMode::Recursive) {
        Ok(()) => Some(watcher),
        Err(error) => {
            warn!(%error, "no file system events; the periodic scan goes on");
            None
        }
    }
}
