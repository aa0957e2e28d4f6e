//! `layout`: looks at a file nobody has described and proposes the table that describes it.

use std::fs::File;
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use clap::Args;

use super::{Stop, exit, looked, output};
use crate::records::aircraft::{Aircraft, parse};
use crate::records::layout::{Layouts, Shape};
use crate::records::monitor::{RecordedEngine, ReduceContext, reduce};
use crate::records::propose::{Proposal, Table};
use crate::records::{LogEntry, Rejection};

/// Records and complaints shown by `--try`.
const SHOWN: usize = 12;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch layout '/srv/fleet/N0417H/flight log 2026.xlsx' --try
      the table that describes the sheet, and its first records read so
  cowlwatch layout /srv/fleet/N0417H/monitor/2026-03-01.csv >> layout.toml")]
pub struct Options {
    /// A logbook sheet (.csv, .xlsx, .ods) or a recording.
    pub file: PathBuf,
    /// Sheet of a workbook; the first one with content if left out.
    #[arg(long, value_name = "NAME")]
    pub sheet: Option<String>,
    /// Also read the file as proposed and show the first records.
    #[arg(long = "try")]
    pub try_it: bool,
}

pub fn run(options: &Options) -> Result<u8, Stop> {
    let shown = options.file.display().to_string();
    let unreadable = |e: std::io::Error| Stop::new(exit::CANNOT_READ, format!("{shown}: cannot be read ({e})"));
    let aircraft = aircraft_of(&options.file);
    let (proposal, shape) = looked::propose_for(&options.file, options.sheet.as_deref(), aircraft.as_ref())?;
    let whose = aircraft.as_ref().map_or(String::new(), |a| format!(" of {}", a.tail));
    output::print(&format!(
        "# Proposed for {shown}. Look at every line, then put it into the aircraft.toml{whose}.\n{}",
        proposal.toml()
    ))?;
    if options.try_it {
        output::print(&tried(&options.file, &shape, &proposal, aircraft.as_ref()).map_err(unreadable)?)?;
    }
    Ok(0)
}

/// The aircraft in whose folder the file lies, for its engines' positions.
fn aircraft_of(file: &Path) -> Option<Aircraft> {
    let full = file.canonicalize().ok()?;
    let folder = full.ancestors().skip(1).take(4).find(|folder| folder.join("aircraft.toml").is_file())?;
    let text = std::fs::read_to_string(folder.join("aircraft.toml")).ok()?;
    let name = format!("{}/aircraft.toml", folder.file_name()?.to_string_lossy());
    parse(&text, &name, &Layouts::default()).0
}

/// The file as read with the proposal, as comments.
fn tried(
    file: &Path,
    shape: &Shape,
    proposal: &Proposal,
    aircraft: Option<&Aircraft>,
) -> Result<String, std::io::Error> {
    let (aircraft, problems) = looked::described(proposal, aircraft);
    let Some(aircraft) = aircraft.filter(|_| problems.is_empty()) else {
        return Ok(lines("not tried", problems.iter().map(ToString::to_string).collect()));
    };
    if proposal.table == Table::Monitor {
        return monitor(file, &aircraft);
    }
    let (entries, rejections) = looked::entries(file, shape, &aircraft)?;
    let head = format!("read so: {} entries, {} rows rejected", entries.len(), rejections.len());
    Ok(lines(&head, entries.iter().map(entry).collect()) + &complaints(&rejections))
}

fn monitor(file: &Path, aircraft: &Aircraft) -> Result<String, std::io::Error> {
    let engines = aircraft.engines.iter().map(|e| RecordedEngine::new(e.position.clone(), None)).collect();
    let context = ReduceContext::new(Tz::UTC, engines);
    let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let (runs, rejections) = reduce(File::open(file)?, &name, aircraft.monitors.first(), &context);
    let run = |run: &crate::records::RunSummary| {
        format!(
            "line {}: {}{} to {}, {:.0} min running, {} flights, highest cylinder head {}",
            run.line,
            run.engine.as_ref().map_or(String::new(), |e| format!("{e} ")),
            run.start.format("%Y-%m-%d %H:%M"),
            run.end.format("%H:%M"),
            run.running_s / 60.0,
            run.flights,
            run.cht_f.map_or("not recorded".to_owned(), |p| format!("{:.0} °F", p.value)),
        )
    };
    let head = format!("read so: {} engine runs, {} rows rejected", runs.len(), rejections.len());
    Ok(lines(&head, runs.iter().map(run).collect()) + &complaints(&rejections))
}

fn entry(entry: &LogEntry) -> String {
    let mut text = format!("line {}: {}", entry.source.line, entry.stamp.date);
    let mut add = |part: Option<String>| part.into_iter().for_each(|p| text += &format!(" {p}"));
    add(entry.stamp.time.map(|t| t.format("%H:%M").to_string()));
    add(entry.engine.as_ref().map(ToString::to_string));
    add(Some(entry.kind.word().to_owned()));
    add(entry.hours.map(|h| format!("at {:.1} h", h.get())));
    add(entry.flight_hours.map(|h| format!("of {:.2} h", h.get())));
    add(entry.level.map(|q| format!("dipstick {:.2} qt", q.get())));
    add(entry.quantity.map(|q| format!("added {:.2} qt", q.get())));
    add(entry.oil.as_ref().map(ToString::to_string));
    add(entry.service.as_ref().map(ToString::to_string));
    text
}

fn complaints(rejections: &[Rejection]) -> String {
    if rejections.is_empty() {
        return String::new();
    }
    lines("rejected", rejections.iter().map(ToString::to_string).collect())
}

/// A head and the first of `all`, as comments.
fn lines(head: &str, all: Vec<String>) -> String {
    let mut text = format!("#\n# {head}\n");
    for line in all.iter().take(SHOWN) {
        let line: String = line.chars().map(|c| if c.is_control() { ' ' } else { c }).collect();
        text += &format!("#   {line}\n");
    }
    if all.len() > SHOWN {
        text += &format!("#   … and {} more\n", all.len() - SHOWN);
    }
    text
}
