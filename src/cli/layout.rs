//! `layout`: looks at a file nobody has described and proposes the table that describes it.

use std::fmt::Write;
use std::fs::File;
use std::io::Read;
use std::path::{Path, PathBuf};

use chrono_tz::Tz;
use clap::Args;

use super::{Stop, exit, output};
use crate::records::aircraft::{Aircraft, parse};
use crate::records::layout::{Layouts, Shape};
use crate::records::monitor::{RecordedEngine, ReduceContext, reduce};
use crate::records::propose::{Proposal, Table, TextShape, propose};
use crate::records::table::{Content, Sheet, content};
use crate::records::{LogEntry, Rejection, logbook};
use crate::shell::workbook;

/// Of a text file this much is looked at: a day's recording, or twenty years of a log.
const LOOK_AT: u64 = 8 * 1024 * 1024;
/// Records and complaints shown by `--try`.
const SHOWN: usize = 12;

#[derive(Debug, Args)]
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
    let name = options.file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let unreadable = |e: std::io::Error| Stop::new(exit::CANNOT_READ, format!("{shown}: cannot be read ({e})"));
    if !std::fs::metadata(&options.file).map_err(unreadable)?.is_file() {
        return Err(Stop::new(exit::USAGE, format!("{shown} is no file, expected a logbook sheet or a recording")));
    }
    let mut start = Vec::new();
    File::open(&options.file).map_err(unreadable)?.take(LOOK_AT).read_to_end(&mut start).map_err(unreadable)?;
    if start.len() as u64 == LOOK_AT {
        // The last line may be cut.
        let end = start.iter().rposition(|b| *b == b'\n').unwrap_or(start.len());
        start.truncate(end);
    }
    let aircraft = aircraft_of(&options.file);
    let shape = Shape { sheet: options.sheet.clone(), ..Shape::default() };
    let (sheet, text) = match content(&start) {
        Content::Text => (Sheet::from_text(&start, &shape), TextShape::of(&start)),
        _ => (workbook::read_apart(File::open(&options.file).map_err(unreadable)?, &shape), TextShape::default()),
    };
    let proposal = propose(&sheet, &name, &text, aircraft.as_ref())
        .map_err(|fault| Stop::new(exit::DATA, fault.reject(&shown.as_str().into()).to_string()))?
        .of_sheet(options.sheet.as_deref());
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
    let text = described(proposal, aircraft);
    let (aircraft, problems) = parse(&text, "TRIED/aircraft.toml", &Layouts::default());
    let Some(aircraft) = aircraft.filter(|_| problems.is_empty()) else {
        return Ok(lines("not tried", problems.iter().map(ToString::to_string).collect()));
    };
    if proposal.table == Table::Monitor {
        return monitor(file, &aircraft);
    }
    let layout = aircraft.logbooks.first();
    let shape = Shape { sheet: shape.sheet.clone(), ..logbook::shape(layout) };
    let mut start = Vec::new();
    File::open(file)?.take(LOOK_AT).read_to_end(&mut start)?;
    let sheet = match content(&start) {
        Content::Text => Sheet::from_text(&start, &shape),
        _ => workbook::read_apart(File::open(file)?, &shape),
    };
    let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let (entries, rejections) = logbook::read(&sheet, &name, layout, &aircraft, Tz::UTC);
    let head = format!("read so: {} entries, {} rows rejected", entries.len(), rejections.len());
    Ok(lines(&head, entries.iter().map(entry).collect()) + &complaints(&rejections))
}

/// An aircraft.toml that holds the proposal and the engines it speaks of.
fn described(proposal: &Proposal, aircraft: Option<&Aircraft>) -> String {
    let known: Vec<String> = match aircraft {
        Some(aircraft) => aircraft.engines.iter().filter_map(|e| e.position.as_deref().map(str::to_owned)).collect(),
        None => proposal.positions(),
    };
    let mut text = "tail = \"TRIED\"\nmeter = \"tach\"\n".to_owned();
    if aircraft.is_some_and(|a| a.oil_in_litres) {
        text += "oil_unit = \"l\"\n";
    }
    if known.is_empty() {
        text += "[[engine]]\nserial = \"A\"\nmodel = \"A\"\n";
    }
    for (number, position) in known.iter().enumerate() {
        // Writing to a string does not fail.
        let _ = writeln!(text, "[[engine]]\nposition = {position:?}\nserial = \"{number}\"\nmodel = \"A\"");
    }
    text + &proposal.toml()
}

fn monitor(file: &Path, aircraft: &Aircraft) -> Result<String, std::io::Error> {
    let engines =
        aircraft.engines.iter().map(|e| RecordedEngine { position: e.position.clone(), model: None }).collect();
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
