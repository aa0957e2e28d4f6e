//! `replay`: the history as if the service had been running.

use std::path::PathBuf;
use std::sync::Arc;

use clap::Args;

use super::progress::Watched;
use super::{Cli, Stop, View, exit, load, output, scan};
use crate::config::set;
use crate::daemon::pass::{self, Rules};
use crate::judge::Level;
use crate::judge::compare::compare;
use crate::records::Instant;
use crate::report::{compare as told, json, status};
use crate::shell::store::Store;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch replay --from 2026-01-01
      which alerts would have come since then
  cowlwatch replay --set consumption.smallest_change=2
      the history under today's thresholds and with one changed, side by side
  cowlwatch replay --with other.toml --html other.html
      the same with the thresholds of a file, and as a page with charts
  cowlwatch replay --set tail.N0417H.ground.in_service_min=35 --set levels.cooling-fast=caution")]
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
    /// Beside today's thresholds, the same with this one changed; may be given several times, and with --with.
    #[arg(long, value_name = "KEY=VALUE")]
    pub set: Vec<String>,
    /// Write the comparison as a page to this file; needs --with or --set.
    #[arg(long, value_name = "FILE")]
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
    let other = Other::of(&rules, options)?;
    if options.html.is_some() && other.is_none() {
        let message = "--html shows a comparison, expected --with FILE or --set KEY=VALUE beside it";
        return Err(Stop::new(exit::USAGE, message));
    }
    // What people did about alerts is not part of a replay: it starts from the files alone.
    let mut store = Store::scratch(None)?;
    if let Some(other) = other {
        scan::take_in(&mut store, &rules, &Watched::new("reading").progress)?;
        return beside(&mut store, &rules, &other, options, (from, now));
    }
    let done = scan::watched(&mut store, &rules, now, false, &Watched::new("reading").progress)?;
    let mut alerts = store.alerts()?;
    alerts.retain(|a| from.is_none_or(|f| a.finding.raised >= f));
    match options.view.json {
        true => output::json(&json::scan(now, zone, scan::counts(&done), done.engines(), &alerts))?,
        false => output::print(&status::alerts(&alerts, now, zone))?,
    }
    Ok(scan::failing(&alerts, options.view.fail_on.map(Level::from)))
}

/// The rules to compare with, and what they are called.
struct Other {
    rules: Rules,
    name: String,
}

impl Other {
    /// `None` where neither `--with` nor `--set` asks for a comparison.
    fn of(rules: &Rules, options: &Options) -> Result<Option<Self>, Stop> {
        if options.with.is_none() && options.set.is_empty() {
            return Ok(None);
        }
        let (mut changes, mut names, mut wrong) = (Vec::new(), Vec::new(), Vec::new());
        if let Some(file) = &options.with {
            let name = file.display().to_string();
            let text = std::fs::read_to_string(file);
            changes.push((text.map_err(|e| Stop::new(exit::CANNOT_READ, format!("{name}: {e}")))?, name.clone()));
            names.push(name);
        }
        for written in &options.set {
            match set::line(written) {
                Ok(change) => changes.push(change),
                Err(rejection) => wrong.push(rejection),
            }
            names.push(written.clone());
        }
        let changes: Vec<(&str, &str)> = changes.iter().map(|(text, name)| (text.as_str(), name.as_str())).collect();
        let config = rules.config.with_changes(&changes).map_err(|problems| wrong.extend(problems));
        match config {
            Ok(config) if wrong.is_empty() => {
                let rules = Rules { config: Arc::new(config), models: rules.models.clone() };
                Ok(Some(Self { rules, name: names.join(", ") }))
            }
            _ => Err(load::refused(&wrong.into_iter().map(set::without_line).collect::<Vec<_>>())),
        }
    }
}

/// Judges the same records under both and tells the difference.
fn beside(
    store: &mut Store,
    rules: &Rules,
    other: &Other,
    options: &Options,
    (from, to): (Option<Instant>, Instant),
) -> Result<u8, Stop> {
    let today = pass::replayed(store, rules, to, &Watched::new("judging by today's thresholds").progress)?;
    let others = pass::replayed(store, &other.rules, to, &Watched::new("judging by the others").progress)?;
    let from = from.or(today.first_record).unwrap_or(to);
    let comparison = compare(&today.findings, &others.findings).since(from).expecting(
        &today.engines,
        (&*rules.config, &*other.rules.config),
        from,
    );
    let head = told::Head { other: &other.name, from, to, zone: rules.config.settings.fleet.time_zone };
    if let Some(page) = &options.html {
        std::fs::write(page, told::page(&comparison, &head, (&today.engines, &others.engines)))
            .map_err(|e| Stop::new(exit::CANNOT_WRITE, format!("{}: {e}", page.display())))?;
    }
    match options.view.json {
        true => output::json(&told::object(&comparison, &head))?,
        false => output::print(&told::text(&comparison, &head))?,
    }
    Ok(0)
}
