//! `demo`: the main job on the demo fleet, a season of mornings, with letters into a folder.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{Days, NaiveDate, NaiveTime};
use clap::Args;

use super::{Stop, exit, load, output, scan};
use crate::daemon::publish;
use crate::records::local::at_or_after;
use crate::report::digest;
use crate::shell::store::Store;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch demo
  cowlwatch demo --from 2026-07-01 --to 2026-08-10
      another season of the demo fleet")]
pub struct Options {
    /// The demo fleet's folder.
    #[arg(long, default_value = "demo-fleet", value_name = "FOLDER")]
    pub fleet: PathBuf,
    /// Where state, letters and pages go; what an earlier demo left there is replaced.
    #[arg(long, default_value = "cowlwatch-demo", value_name = "FOLDER")]
    pub out: PathBuf,
    /// First morning.
    #[arg(long, default_value = "2026-02-01", value_name = "DATE")]
    pub from: NaiveDate,
    /// Last morning, whose digest is printed.
    #[arg(long, default_value = "2026-03-12", value_name = "DATE")]
    pub to: NaiveDate,
}

pub fn run(options: &Options) -> Result<u8, Stop> {
    let mut rules = load::rules(&options.fleet.join("cowlwatch.toml"))?;
    clear(&options.out)?;
    let mut config = (*rules.config).clone();
    config.settings.fleet.state = options.out.clone();
    config.settings.mail = None;
    rules.config = Arc::new(config);
    let zone = rules.config.settings.fleet.time_zone;
    let six = NaiveTime::from_hms_opt(6, 0, 0).unwrap_or_default();
    let mut store = Store::open(&options.out)?;
    let mut date = options.from;
    let mut last = None;
    output::line(&format!("Mornings {} to {} of the demo fleet:\n", options.from, options.to))?;
    while date <= options.to {
        let now = at_or_after(date.and_time(six), zone);
        let done = scan::round(&mut store, &rules, now, true)?;
        scan::hand_over(&mut store, &rules, now)?;
        if let Some(morning) = &done.morning {
            output::line(&digest::digest(morning).subject)?;
        }
        last = Some((done, now));
        match date.checked_add_days(Days::new(1)) {
            Some(next) => date = next,
            None => break,
        }
    }
    let Some((done, now)) = last else { return Ok(0) };
    publish(&options.out, &store, &done, true, (Some(now), 0.0), now)?;
    if let Some(morning) = &done.morning {
        let letter = digest::digest(morning);
        output::line(&format!("\n{}\n\n{}", "=".repeat(78), letter.text))?;
        let html = options.out.join("digest.html");
        std::fs::write(&html, letter.standalone_html())
            .map_err(|e| Stop::new(exit::CANNOT_WRITE, format!("{}: {e}", html.display())))?;
    }
    let out = options.out.display();
    output::line(&format!(
        "{}\nLetters as .eml:      {out}/outbox\nThis digest as HTML:  {out}/digest.html\nPages and charts:     {out}/page/index.html",
        "=".repeat(78)
    ))?;
    Ok(0)
}

/// Removes what an earlier demo left, and nothing else: a folder without our state is not touched.
fn clear(out: &Path) -> Result<(), Stop> {
    if !out.exists() {
        return Ok(());
    }
    if !out.join(crate::shell::store::FILE).exists() {
        let message =
            format!("{} is there and was not made by the demo; name another folder with --out", out.display());
        return Err(Stop::new(exit::CANNOT_WRITE, message));
    }
    std::fs::remove_dir_all(out).map_err(|e| Stop::new(exit::CANNOT_WRITE, format!("{}: {e}", out.display())))
}
