//! `replay`: the history as if the service had been running.

use clap::Args;

use super::{Cli, Stop, View, load, output, scan};
use crate::judge::Level;
use crate::report::{json, status};
use crate::shell::store::Store;

#[derive(Debug, Args)]
pub struct Options {
    /// Only alerts raised from this date or time on.
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Up to this date or time; later records are unseen.
    #[arg(long, value_name = "TIME")]
    pub to: Option<String>,
    #[command(flatten)]
    pub view: View,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    let settings = &rules.config.settings;
    let zone = settings.fleet.time_zone;
    let to = options.to.as_deref().or(options.view.as_of.as_deref());
    let now = load::as_of(to, zone)?;
    let from = options.from.as_deref().map(|t| load::moment_from(t, zone)).transpose()?;
    // What people did about alerts is not part of a replay: it starts from the files alone.
    let mut store = Store::scratch(None)?;
    let done = scan::round(&mut store, &rules, now, false)?;
    let alerts: Vec<_> = done.alerts.iter().filter(|a| from.is_none_or(|f| a.finding.raised >= f)).cloned().collect();
    match options.view.json {
        true => output::json(&json::scan(now, zone, scan::counts(&done), &done.engines, &alerts))?,
        false => output::print(&status::alerts(&alerts, now, zone))?,
    }
    Ok(scan::failing(&alerts, options.view.fail_on.map(Level::from)))
}
