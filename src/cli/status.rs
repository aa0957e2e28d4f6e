//! `status`: the fleet in one table, or one aircraft or engine in detail.

use clap::Args;

use super::{Cli, Stop, View, exit, load, output, scan};
use crate::judge::Level;
use crate::report::{json, status};
use crate::shell::store::Store;

#[derive(Debug, Args)]
pub struct Options {
    /// Tail number or engine serial.
    pub which: Option<String>,
    #[command(flatten)]
    pub view: View,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    let settings = &rules.config.settings;
    let zone = settings.fleet.time_zone;
    let now = load::as_of(options.view.as_of.as_deref(), zone)?;
    let mut store = Store::scratch(Some(&settings.fleet.state).filter(|s| s.exists()).map(|s| s.as_path()))?;
    let done = scan::round(&mut store, &rules, now, false)?;
    let live: Vec<_> = done.alerts.iter().filter(|a| a.is_live()).cloned().collect();
    match &options.which {
        None if options.view.json => output::json(&json::engines(&done.engines))?,
        None => output::print(&status::fleet(&done.engines, &live, &done.aircraft, now, zone))?,
        Some(which) => {
            let chosen: Vec<_> = done
                .engines
                .iter()
                .filter(|e| e.tail.eq_ignore_ascii_case(which) || e.serial.eq_ignore_ascii_case(which))
                .collect();
            if chosen.is_empty() {
                let known: Vec<_> = done.engines.iter().map(|e| format!("{} {}", e.tail, e.serial)).collect();
                let message = format!("no aircraft or engine \"{which}\"; there are: {}", known.join(", "));
                return Err(Stop::new(exit::USAGE, message));
            }
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
