//! Files nobody has described yet, looked at: for `layout`, and for what `check` proposes.

use std::fmt::Write;
use std::fs::{self, File};
use std::io::{self, Read};
use std::path::{Path, PathBuf};

use chrono_tz::Tz;

use super::{Stop, exit};
use crate::records::aircraft::{Aircraft, parse};
use crate::records::layout::{Layouts, Shape};
use crate::records::propose::{self, Looked, Proposal, Table, TextShape, propose};
use crate::records::table::{Content, Sheet, content};
use crate::records::{LogEntry, Rejection, logbook};
use crate::shell::workbook;

/// Of a text file this much is looked at: a day's recording, or twenty years of a log.
const LOOK_AT: u64 = 8 * 1024 * 1024;
/// Sheets of one folder that are looked at, and folders below it searched for a recording.
const SHEETS: usize = 12;
const DEPTH: usize = 4;

/// Proposes how a file is laid out; also the shape in which it was cut.
pub fn propose_for(file: &Path, sheet: Option<&str>, aircraft: Option<&Aircraft>) -> Result<(Proposal, Shape), Stop> {
    let shown = file.display().to_string();
    let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    let unreadable = |e: io::Error| Stop::new(exit::CANNOT_READ, format!("{shown}: cannot be read ({e})"));
    if !fs::metadata(file).map_err(unreadable)?.is_file() {
        return Err(Stop::new(exit::USAGE, format!("{shown} is no file, expected a logbook sheet or a recording")));
    }
    let start = beginning(file).map_err(unreadable)?;
    let shape = Shape { sheet: sheet.map(str::to_owned), ..Shape::default() };
    let (rows, text) = match content(&start) {
        Content::Text => (Sheet::from_text(&start, &shape), TextShape::of(&start)),
        _ => {
            let book = File::open(file).and_then(|file| workbook::read_apart(file, &shape)).map_err(unreadable)?;
            (book, TextShape::default())
        }
    };
    let proposal = propose(&rows, &name, &text, aircraft)
        .map_err(|fault| Stop::new(exit::DATA, fault.reject(&shown.as_str().into()).to_string()))?
        .of_sheet(sheet);
    Ok((proposal, shape))
}

/// What is looked at of a file, in whole lines.
fn beginning(file: &Path) -> io::Result<Vec<u8>> {
    let mut start = Vec::new();
    File::open(file)?.take(LOOK_AT).read_to_end(&mut start)?;
    if start.len() as u64 == LOOK_AT {
        // The last line may be cut.
        let end = start.iter().rposition(|b| *b == b'\n').unwrap_or(start.len());
        start.truncate(end);
    }
    Ok(start)
}

/// An aircraft that holds the proposal and the engines it speaks of.
pub fn described(proposal: &Proposal, aircraft: Option<&Aircraft>) -> (Option<Aircraft>, Vec<Rejection>) {
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
    parse(&(text + &proposal.toml()), "TRIED/aircraft.toml", &Layouts::default())
}

/// A logbook read as the aircraft's first layout says.
pub fn entries(file: &Path, shape: &Shape, aircraft: &Aircraft) -> io::Result<(Vec<LogEntry>, Vec<Rejection>)> {
    let layout = aircraft.logbooks.first();
    let shape = Shape { sheet: shape.sheet.clone(), ..logbook::shape(layout) };
    let start = beginning(file)?;
    let sheet = match content(&start) {
        Content::Text => Sheet::from_text(&start, &shape),
        _ => workbook::read_apart(File::open(file)?, &shape)?,
    };
    let name = file.file_name().map(|n| n.to_string_lossy().into_owned()).unwrap_or_default();
    Ok(logbook::read(&sheet, &name, layout, aircraft, Tz::UTC))
}

/// An aircraft.toml for a tail's folder that has none; `None` where no file in it can be made out.
pub fn aircraft_file(folder: &Path, models: &[&str]) -> Option<String> {
    let tail = folder.file_name()?.to_string_lossy().into_owned();
    let mut files = sheets(folder);
    files.truncate(SHEETS);
    files.extend(recording(&folder.join("monitor"), DEPTH));
    let looked: Vec<Looked> = files.iter().filter_map(|file| look(folder, file)).collect();
    (!looked.is_empty()).then(|| propose::aircraft(&tail, &looked, models))
}

fn look(folder: &Path, file: &Path) -> Option<Looked> {
    let (proposal, shape) = propose_for(file, None, None).ok()?;
    let (mut read, mut rejected) = (Vec::new(), 0);
    if proposal.table != Table::Monitor
        && let (Some(aircraft), _) = described(&proposal, None)
        && let Ok((entries, rejections)) = entries(file, &shape, &aircraft)
    {
        (read, rejected) = (entries, rejections.len());
    }
    let name = file.strip_prefix(folder).unwrap_or(file).display().to_string();
    let mut proposal = proposal;
    if proposal.table == Table::Monitor {
        proposal.files = "monitor/**/*.csv".to_owned();
    }
    Some(Looked { file: name, proposal, entries: read, rejected })
}

/// Spreadsheets right in the folder, in order of name.
fn sheets(folder: &Path) -> Vec<PathBuf> {
    let is_sheet = |path: &PathBuf| {
        let extension = path.extension().map(|e| e.to_string_lossy().to_lowercase());
        path.is_file() && extension.is_some_and(|e| matches!(e.as_str(), "csv" | "xlsx" | "ods" | "xls"))
    };
    in_order(folder).into_iter().filter(is_sheet).collect()
}

/// The first recording below a folder.
fn recording(folder: &Path, depth: usize) -> Option<PathBuf> {
    let inside = in_order(folder);
    let csv = |path: &&PathBuf| path.is_file() && path.extension().is_some_and(|e| e.eq_ignore_ascii_case("csv"));
    let here = inside.iter().find(csv).cloned();
    let deeper = || inside.iter().filter(|path| depth > 0 && path.is_dir()).find_map(|p| recording(p, depth - 1));
    here.or_else(deeper)
}

/// What is in a folder, without links and hidden files; nothing where it cannot be read.
fn in_order(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let plain = entries.filter(|e| e.file_type().is_ok_and(|t| !t.is_symlink()));
    let visible = plain.filter(|e| !e.file_name().to_string_lossy().starts_with(['.', '~']));
    let mut paths: Vec<PathBuf> = visible.map(|e| e.path()).collect();
    paths.sort();
    paths
}
