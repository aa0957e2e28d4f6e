//! `replay`: the history as if the service had been running.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use clap::Args;

use super::{Cli, Stop, View, exit, load, output, scan};
use crate::daemon::pass::{self, Rules};
use crate::judge::Level;
use crate::judge::compare::compare;
use crate::records::Instant;
use crate::report::{compare as told, json, status};
use crate::shell::store::Store;

#[derive(Debug, Args)]
pub struct Options {
    /// Only alerts raised from this date or time on.
    #[arg(long, value_name = "TIME")]
    pub from: Option<String>,
    /// Up to this date or time; later records are unseen.
    #[arg(long, value_name = "TIME")]
    pub to: Option<String>,
    /// Beside today's thresholds, those of this file: a whole configuration, or only the tables that differ.
    #[arg(long, value_name = "FILE")]
    pub with: Option<PathBuf>,
    /// Write the comparison as a page to this file.
    #[arg(long, value_name = "FILE", requires = "with")]
    pub html: Option<PathBuf>,
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
    if let Some(file) = &options.with {
        return beside(&mut store, &rules, file, options, (from, now));
    }
    let alerts: Vec<_> = done.alerts.iter().filter(|a| from.is_none_or(|f| a.finding.raised >= f)).cloned().collect();
    match options.view.json {
        true => output::json(&json::scan(now, zone, scan::counts(&done), done.engines(), &alerts))?,
        false => output::print(&status::alerts(&alerts, now, zone))?,
    }
    Ok(scan::failing(&alerts, options.view.fail_on.map(Level::from)))
}

/// Judges the same records under the thresholds of `file` and tells the difference.
fn beside(
    store: &mut Store,
    rules: &Rules,
    file: &Path,
    options: &Options,
    (from, to): (Option<Instant>, Instant),
) -> Result<u8, Stop> {
    let name = file.display().to_string();
    let text = std::fs::read_to_string(file).map_err(|e| Stop::new(exit::CANNOT_READ, format!("{name}: {e}")))?;
    let config = rules.config.with_thresholds(&text, &name).map_err(|problems| load::refused(&problems))?;
    let other = Rules { config: Arc::new(config), models: rules.models.clone() };
    let (today, first) = pass::findings(store, rules, to)?;
    let (others, _) = pass::findings(store, &other, to)?;
    let from = from.or(first).unwrap_or(to);
    let comparison = compare(&today, &others).since(from);
    let head = told::Head { other: &name, from, to, zone: rules.config.settings.fleet.time_zone };
    if let Some(page) = &options.html {
        std::fs::write(page, told::page(&comparison, &head))
            .map_err(|e| Stop::new(exit::CANNOT_WRITE, format!("{}: {e}", page.display())))?;
    }
    match options.view.json {
        true => output::json(&told::object(&comparison, &head))?,
        false => output::print(&told::text(&comparison, &head))?,
    }
    Ok(0)
}
