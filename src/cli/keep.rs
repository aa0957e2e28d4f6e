//! `backup`, `export`: what is known, taken elsewhere.

use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use clap::Args;

use super::seen::Seen;
use super::{Cli, Stop, exit, load, output};
use crate::alerts::Alert;
use crate::records::{Inspection, LogEntry, RunSummary};
use crate::report::words::{self, numbers::iso};
use crate::shell::scan::FileRecords;
use crate::shell::store::Store;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch backup /srv/backup/cowlwatch-2026-03-01.sqlite
      also while the service runs; put back as cowlwatch.sqlite in the state folder")]
pub struct BackupOptions {
    /// File to write; it must not exist.
    pub to: PathBuf,
}

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch export /srv/export/2026-03")]
pub struct ExportOptions {
    /// Folder for entries.csv, runs.csv, alerts.csv and alert-history.csv; made if need be.
    pub to: PathBuf,
}

pub fn backup(cli: &Cli, options: &BackupOptions) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    Store::open_beside(&rules.config.settings.fleet.state)?.backup(&options.to)?;
    output::line(&format!("The state as of now is in {}.", options.to.display()))?;
    Ok(0)
}

fn cannot_write(path: &Path) -> impl Fn(&dyn std::fmt::Display) -> Stop + '_ {
    move |error| Stop::new(exit::CANNOT_WRITE, format!("{}: {error}", path.display()))
}

pub fn export(cli: &Cli, options: &ExportOptions) -> Result<u8, Stop> {
    let Seen { store, alerts: all, zone, .. } = Seen::of(cli, None)?;
    std::fs::create_dir_all(&options.to).map_err(|e| cannot_write(&options.to)(&e))?;
    let (entries, runs) = records(&store, &options.to, zone)?;
    alerts(&all, &options.to, zone)?;
    let (alerts, to) = (all.len(), options.to.display());
    output::line(&format!("{entries} entries, {runs} runs and {alerts} alerts are in {to}."))?;
    Ok(0)
}

/// Writes entries.csv and runs.csv; gives how many of each.
fn records(store: &Store, to: &Path, zone: Tz) -> Result<(usize, usize), Stop> {
    let mut counts = (0, 0);
    let mut entries = Sheet::create(to, "entries.csv", &ENTRY_COLUMNS)?;
    let mut runs = Sheet::create(to, "runs.csv", &RUN_COLUMNS)?;
    for tail in store.tails()? {
        for (_, records) in store.records_of::<FileRecords>(&tail)? {
            for entry in &records.entries {
                entries.row(&entry_row(&tail, entry))?;
            }
            for run in &records.runs {
                runs.row(&run_row(&tail, run, zone))?;
            }
            counts = (counts.0 + records.entries.len(), counts.1 + records.runs.len());
        }
    }
    entries.end()?;
    runs.end()?;
    Ok(counts)
}

/// Writes alerts.csv and alert-history.csv.
fn alerts(list: &[Alert], to: &Path, zone: Tz) -> Result<(), Stop> {
    let mut alerts = Sheet::create(to, "alerts.csv", &ALERT_COLUMNS)?;
    let mut history = Sheet::create(to, "alert-history.csv", &["alert", "at", "by", "what"])?;
    for alert in list {
        let f = &alert.finding;
        let text = |t: &Option<std::sync::Arc<str>>| t.as_deref().unwrap_or("").to_owned();
        alerts.row(&[
            alert.number.to_string(),
            f.kind.word().to_owned(),
            f.level.word().to_owned(),
            alert.state.word().to_owned(),
            f.tail.to_string(),
            text(&f.position),
            text(&f.serial),
            iso(f.raised, zone),
            alert.closed.as_ref().map_or(String::new(), |c| iso(c.at, zone)),
            words::headline(f, zone),
        ])?;
        for line in &alert.history {
            history.row(&[alert.number.to_string(), iso(line.at, zone), line.by.clone(), line.what.clone()])?;
        }
    }
    alerts.end()?;
    history.end()
}

struct Sheet {
    path: PathBuf,
    writer: csv::Writer<std::fs::File>,
}

impl Sheet {
    fn create(folder: &Path, name: &str, columns: &[&str]) -> Result<Self, Stop> {
        let path = folder.join(name);
        let writer = csv::Writer::from_path(&path).map_err(|e| cannot_write(&path)(&e))?;
        let mut sheet = Self { path, writer };
        sheet.row(&columns.iter().map(|c| (*c).to_owned()).collect::<Vec<_>>())?;
        Ok(sheet)
    }

    fn row(&mut self, cells: &[String]) -> Result<(), Stop> {
        self.writer.write_record(cells).map_err(|e| cannot_write(&self.path)(&e))
    }

    fn end(&mut self) -> Result<(), Stop> {
        self.writer.flush().map_err(|e| cannot_write(&self.path)(&e))
    }
}

const ENTRY_COLUMNS: [&str; 15] = [
    "tail",
    "date",
    "time",
    "engine",
    "hours",
    "entry",
    "quantity_qt",
    "level_qt",
    "oil",
    "flight_hours",
    "service",
    "result",
    "serial",
    "remarks",
    "source",
];
const RUN_COLUMNS: [&str; 10] =
    ["tail", "engine", "start", "end", "running_min", "ground_min", "air_min", "flights", "told_apart_by", "source"];
const ALERT_COLUMNS: [&str; 10] =
    ["number", "kind", "level", "state", "tail", "position", "serial", "raised", "closed", "headline"];

fn entry_row(tail: &str, e: &LogEntry) -> Vec<String> {
    let text = |t: &Option<std::sync::Arc<str>>| t.as_deref().unwrap_or("").to_owned();
    let number = |n: Option<f64>| n.map_or(String::new(), |n| format!("{}", (n * 1000.0).round() / 1000.0));
    vec![
        tail.to_owned(),
        e.stamp.date.to_string(),
        e.stamp.time.map_or(String::new(), |t| t.format("%H:%M").to_string()),
        text(&e.engine),
        number(e.hours.map(|h| h.get())),
        e.kind.word().to_owned(),
        number(e.quantity.map(|q| q.get())),
        number(e.level.map(|q| q.get())),
        e.oil.as_ref().map_or(String::new(), ToString::to_string),
        number(e.flight_hours.map(|h| h.get())),
        text(&e.service),
        e.alert.map_or_else(|| e.result.map_or("", Inspection::word).to_owned(), |n| n.to_string()),
        text(&e.serial),
        text(&e.remarks),
        e.source.to_string(),
    ]
}

fn run_row(tail: &str, r: &RunSummary, zone: Tz) -> Vec<String> {
    let minutes = |s: f64| format!("{:.1}", s / 60.0);
    vec![
        tail.to_owned(),
        r.engine.as_deref().unwrap_or("").to_owned(),
        iso(r.start, zone),
        iso(r.end, zone),
        minutes(r.running_s),
        minutes(r.ground_s()),
        minutes(r.air_s),
        r.flights.to_string(),
        r.basis.word().to_owned(),
        r.source().to_string(),
    ]
}
