//! `status`: the fleet in one table, or one aircraft or engine in detail.

use clap::Args;

use super::seen::Seen;
use super::{Cli, Stop, View, exit, output, scan};
use crate::judge::{EngineView, Level};
use crate::report::{json, status};

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch status
      the fleet in one table
  cowlwatch status N0417H
  cowlwatch status H-2207 --as-of 2026-03-01 --json")]
pub struct Options {
    /// Tail number or engine serial.
    pub which: Option<String>,
    #[command(flatten)]
    pub view: View,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    let seen = Seen::of(cli, options.view.as_of.as_deref())?;
    let (done, zone, now) = (&seen.done, seen.zone, seen.now);
    let live = seen.live();
    match &options.which {
        None if options.view.json => output::json(&json::engines(done.engines()))?,
        None => output::print(&status::fleet(done.engines(), &live, done.aircraft(), now, zone))?,
        Some(which) => {
            let chosen = chosen(done.engines(), which)?;
            if options.view.json {
                let owned: Vec<_> = chosen.into_iter().cloned().collect();
                output::json(&json::engines(&owned))?;
            } else {
                output::print(&status::detail(&chosen, &live, now, zone))?;
            }
        }
    }
    Ok(scan::failing(&live, options.view.fail_on.map(Level::from)))
}

/// The engines of a tail, or the engine with a serial; else what there is.
pub fn chosen<'a>(engines: &'a [EngineView], which: &str) -> Result<Vec<&'a EngineView>, Stop> {
    let is = |name: &str| name.eq_ignore_ascii_case(which);
    let chosen: Vec<_> = engines.iter().filter(|e| is(&e.tail) || is(&e.serial)).collect();
    if chosen.is_empty() {
        let known: Vec<_> = engines.iter().map(|e| format!("{} {}", e.tail, e.serial)).collect();
        let message = format!("no aircraft or engine \"{which}\"; there are: {}", known.join(", "));
        return Err(Stop::new(exit::USAGE, message));
    }
    Ok(chosen)
}
