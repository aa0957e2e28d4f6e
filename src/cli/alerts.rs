//! `alerts`, `acknowledge`, `mute`, `close`.

use chrono::Utc;
use clap::Args;

use super::seen::Seen;
use super::{Cli, Stop, View, exit, load, output, scan};
use crate::alerts::{Alert, Refused, closings};
use crate::daemon::pass;
use crate::judge::Level;
use crate::records::Instant;
use crate::report::{self, json, status, words};
use crate::shell::store::Store;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch alerts
      those open, the most urgent first
  cowlwatch alerts 7
      alert 7: since when, from which lines, how near to its limit, what would have kept it away
  cowlwatch alerts --all --json
  cowlwatch alerts --fail-on warning
      ends with 1 if a warning is open: for a script")]
pub struct ListOptions {
    /// An alert's number: its evidence and history.
    pub number: Option<u32>,
    /// Closed ones too.
    #[arg(long)]
    pub all: bool,
    #[command(flatten)]
    pub view: View,
}

/// Who says so, and why.
#[derive(Debug, Args)]
pub struct Who {
    /// The alert's number.
    pub number: u32,
    /// Your name.
    #[arg(long)]
    pub by: String,
    /// Why, or what was done.
    #[arg(long, default_value = "")]
    pub note: String,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch acknowledge 7 --by \"R. Doe\" --note \"borescope on Friday\"
  cowlwatch acknowledge 7 --by \"R. Doe\" --until 2026-03-20
      speaks again on that day if it is still open")]
pub struct AcknowledgeOptions {
    #[command(flatten)]
    pub who: Who,
    /// Speak again from this date or time on.
    #[arg(long, value_name = "TIME")]
    pub until: Option<String>,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch mute 7 --until 2026-04-01 --by \"R. Doe\" --note \"dipstick on order\"")]
pub struct MuteOptions {
    #[command(flatten)]
    pub who: Who,
    /// End of the silence; there is always one.
    #[arg(long, value_name = "TIME")]
    pub until: String,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch close 7 --by \"R. Doe\" --note \"return line replaced\"")]
pub struct CloseOptions {
    #[command(flatten)]
    pub who: Who,
}

pub fn list(cli: &Cli, options: &ListOptions) -> Result<u8, Stop> {
    let seen = Seen::of(cli, options.view.as_of.as_deref())?;
    if let Some(number) = options.number {
        return one(seen, number, options.view.json);
    }
    let Seen { alerts, zone, now, .. } = seen;
    let failing = scan::failing(&alerts, options.view.fail_on.map(Level::from));
    let shown: Vec<Alert> = alerts.into_iter().filter(|a| options.all || a.is_live()).collect();
    match options.view.json {
        true => output::json(&json::alerts(&shown, zone))?,
        false => output::print(&status::alerts(&shown, now, zone))?,
    }
    Ok(failing)
}

/// One alert with everything known about it.
fn one(mut seen: Seen, number: u32, as_json: bool) -> Result<u8, Stop> {
    let alert = find(&seen.alerts, number)?.clone();
    let (finding, zone) = (&alert.finding, seen.zone);
    let closings = closings(&seen.alerts);
    let otherwise = pass::otherwise(&mut seen.store, &seen.rules, &closings, finding, seen.now)?;
    let engines = seen.done.engines();
    if as_json {
        let course = report::alert::course(finding, engines);
        output::json(&json::alert_in_full(&alert, course.as_ref(), otherwise.as_ref(), zone))?;
        return Ok(0);
    }
    let engine = words::engine_of(finding, engines);
    let (model, serial) = engine.map_or(("", ""), |e| (&*e.model, &*e.serial));
    let explained = seen.rules.config.explain(&finding.tail, model, serial);
    let otherwise = otherwise.and_then(|o| words::otherwise(&o, finding, &explained, zone));
    output::print(&report::alert::text(&alert, engines, otherwise.as_ref(), zone))?;
    Ok(0)
}

fn find(alerts: &[Alert], number: u32) -> Result<&Alert, Stop> {
    let known = || match (alerts.first(), alerts.last()) {
        (Some(first), Some(last)) => format!("numbers go from {} to {}", first.number, last.number),
        _ => "there are none".to_owned(),
    };
    alerts
        .iter()
        .find(|a| a.number == number)
        .ok_or_else(|| Stop::new(exit::USAGE, format!("no alert has the number {number}; {}", known())))
}

pub fn acknowledge(cli: &Cli, options: &AcknowledgeOptions) -> Result<u8, Stop> {
    change(cli, &options.who, options.until.as_deref(), "acknowledged", |alert, until, now| {
        alert.acknowledge(&options.who.by, &options.who.note, until, now)
    })
}

pub fn mute(cli: &Cli, options: &MuteOptions) -> Result<u8, Stop> {
    change(cli, &options.who, Some(&options.until), "muted", |alert, until, now| {
        alert.mute(&options.who.by, &options.who.note, until.unwrap_or(now), now)
    })
}

pub fn close(cli: &Cli, options: &CloseOptions) -> Result<u8, Stop> {
    change(cli, &options.who, None, "closed", |alert, _, now| alert.close(&options.who.by, &options.who.note, now))
}

fn change(
    cli: &Cli,
    who: &Who,
    until: Option<&str>,
    done: &str,
    deed: impl FnOnce(&mut Alert, Option<Instant>, Instant) -> Result<(), Refused>,
) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    let zone = rules.config.settings.fleet.time_zone;
    let now = Utc::now();
    let until = until.map(|t| load::moment(t, zone)).transpose()?;
    let mut store = Store::open_beside(&rules.config.settings.fleet.state)?;
    let pass = store.begin()?;
    let mut alert = find(&pass.alerts()?, who.number)?.clone();
    deed(&mut alert, until, now).map_err(|e| Stop::new(exit::USAGE, e.to_string()))?;
    pass.put_alerts([&alert])?;
    pass.commit()?;
    output::line(&format!("Alert {} {done} by {}. {}", alert.number, who.by, status::short_line(&alert, zone)))?;
    Ok(0)
}
