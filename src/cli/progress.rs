//! A bar for work that takes long: on a terminal only, never in a pipe or a log.

use std::io::{IsTerminal, stderr, stdout};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::thread::JoinHandle;
use std::time::Duration;

use indicatif::{ProgressBar, ProgressStyle};

use crate::shell::scan::Progress;

/// How often the bar looks at the work.
const EVERY: Duration = Duration::from_millis(100);
/// Nothing is shown of work that ends sooner.
const PATIENCE: u32 = 5;

/// A bar that follows a piece of work until dropped.
pub struct Watched {
    pub progress: Progress,
    drawing: Option<(Sender<()>, JoinHandle<()>)>,
}

impl Watched {
    /// `doing`: `reading`, `judging today's thresholds`.
    pub fn new(doing: &'static str) -> Self {
        let progress = Progress::default();
        let seen = progress.clone();
        let terminal = stderr().is_terminal() && stdout().is_terminal();
        let draw = || {
            let (stop, stopped) = channel::<()>();
            let thread = std::thread::Builder::new().spawn(move || {
                let mut bar = None;
                let mut waited = 0;
                while let Err(RecvTimeoutError::Timeout) = stopped.recv_timeout(EVERY) {
                    waited += 1;
                    let (done, of) = seen.now();
                    if waited >= PATIENCE {
                        let bar: &mut ProgressBar = bar.get_or_insert_with(|| started(doing, of));
                        bar.set_length(of as u64);
                        bar.set_position(done as u64);
                    }
                }
                if let Some(bar) = bar {
                    bar.finish_and_clear();
                }
            });
            // Without a thread there is no bar; the work goes on.
            thread.ok().map(|thread| (stop, thread))
        };
        let drawing = if terminal { draw() } else { None };
        Self { progress, drawing }
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        if let Some((stop, thread)) = self.drawing.take() {
            drop(stop);
            // The bar is only looked at: should it have failed, the work has not.
            let _ = thread.join();
        }
    }
}

fn started(doing: &'static str, of: usize) -> ProgressBar {
    let bar = ProgressBar::new(of as u64);
    if let Ok(style) = ProgressStyle::with_template("{msg} {wide_bar} {pos}/{len} {eta}") {
        bar.set_style(style);
    }
    bar.set_message(doing);
    bar
}
