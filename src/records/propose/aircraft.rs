//! Proposes an aircraft.toml for a folder that has logbooks and recordings but says nothing of its engines.
//!
//! What the files show is filled in with how sure it is; what only a person can know stands there empty, so that
//! a file saved without an answer is refused by name instead of being guessed at.

use std::collections::BTreeMap;
use std::fmt::Write;

use super::{Proposal, Table, quoted};
use crate::records::{EntryKind, LogEntry};

/// One file of the folder, looked at.
#[derive(Clone, Debug)]
pub struct Looked {
    pub file: String,
    pub proposal: Proposal,
    /// What a logbook says when read as proposed.
    pub entries: Vec<LogEntry>,
    pub rejected: usize,
}

impl Looked {
    /// In the standard layout: no table is needed to read it.
    fn standard(&self) -> bool {
        let p = &self.proposal;
        let ours = p.placed.iter().all(|placed| placed.ours == placed.column);
        let when = p.when.iter().all(|column| column == "date" || column == "time");
        ours && when && p.words.is_empty() && p.shape.is_empty() && p.table != (Table::Logbook { per_flight: true })
    }
}

/// The file as TOML. `models`: the names of the engine models file.
pub fn aircraft(tail: &str, looked: &[Looked], models: &[&str]) -> String {
    let mut text = String::new();
    let mut line = |toml: &str, why: &str| {
        // Writing to a string does not fail.
        let _ = match why {
            "" => writeln!(text, "{toml}"),
            why => writeln!(text, "{toml:<34}# {why}"),
        };
    };
    line(&format!("tail = {}", quoted(tail)), "sure: the folder's name");
    let (meter, why) = meter(looked);
    line(&format!("meter = {}", quoted(meter)), &why);
    if let Some(file) = in_litres(looked) {
        line("oil_unit = \"l\"", &format!("likely: {file} gives litres"));
    }
    let positions = positions(looked);
    for position in if positions.is_empty() { vec![String::new()] } else { positions } {
        line("", "");
        line("[[engine]]", "as installed when the records begin");
        if !position.is_empty() {
            line(&format!("position = {}", quoted(&position)), "likely: the sheet names it");
        }
        match serial(looked, &position) {
            Some((serial, from)) => line(&format!("serial = {}", quoted(&serial)), &format!("likely: {from}")),
            None => line("serial = \"\"", "open: the engine's serial number"),
        }
        match models {
            // The sample's only model is not the operator's.
            [only] => line("model = \"\"", &format!("open: {only} is the only one in the engine models file")),
            [] => line("model = \"\"", "open: the engine models file has none yet"),
            several => line("model = \"\"", &format!("open: one of {}", several.join(", "))),
        }
        line("#hours_at_start = 0.0", "open: engine hours since new when the records begin");
        line("#since = \"overhaul\"", "open: new, overhaul, rebuilt or top-overhaul: what it is since");
        line("#hours_since = 0.0", "open: engine hours since then when the records begin");
        match oil(looked, &position) {
            Some((oil, from)) => line(&format!("oil = {}", quoted(&oil)), &format!("likely: first poured, {from}")),
            None => line("#oil = \"AD 50\"", "open: what is in it"),
        }
        line("#fill_qt = 10.0", "open: dipstick after a refill");
    }
    for file in looked {
        let read = match file.proposal.table {
            Table::Logbook { .. } => format!("{} entries, {} rows rejected", file.entries.len(), file.rejected),
            Table::Monitor => "a recording".to_owned(),
        };
        text.push('\n');
        if file.standard() {
            let _ = writeln!(text, "# sure: {} is in the standard layout and needs no table ({read})", file.file);
        } else {
            let _ = write!(text, "# {}, read so: {read}\n{}", file.file, file.proposal.toml());
        }
    }
    text
}

/// The kind of meter, by the name of the column that holds its readings.
fn meter(looked: &[Looked]) -> (&'static str, String) {
    let columns = looked.iter().flat_map(|l| l.proposal.placed.iter().map(move |p| (l, p)));
    for (file, placed) in columns.filter(|(_, p)| p.ours == "hours") {
        let name = placed.column.to_lowercase();
        for (word, meter) in [("tach", "tach"), ("hobbs", "hobbs"), ("engine", "engine")] {
            if name.contains(word) {
                return (meter, format!("likely: column {} of {}", quoted(&placed.column), file.file));
            }
        }
    }
    ("tach", "open: what the log's hours read, \"tach\", \"hobbs\" or \"engine\"".to_owned())
}

/// The first file whose oil is in litres.
fn in_litres(looked: &[Looked]) -> Option<&str> {
    let litres = |p: &super::Placed| p.unit.as_deref() == Some("l") && p.ours.starts_with("oil.");
    looked.iter().find(|l| l.proposal.placed.iter().any(litres)).map(|l| l.file.as_str())
}

/// Every position a file speaks of.
fn positions(looked: &[Looked]) -> Vec<String> {
    let mut positions: Vec<String> = looked.iter().flat_map(|l| l.proposal.positions()).collect();
    let named = looked.iter().flat_map(|l| &l.entries).filter_map(|e| e.engine.as_deref().map(str::to_owned));
    positions.extend(named);
    positions.retain(|p| !p.is_empty());
    positions.sort();
    positions.dedup();
    positions
}

fn at(entry: &LogEntry, position: &str) -> bool {
    entry.engine.as_deref().unwrap_or("") == position
}

/// The serial that sat at a position when the records begin, with the line that says so: the first engine change
/// names the one taken out, or the one put in where there was none.
fn serial(looked: &[Looked], position: &str) -> Option<(String, String)> {
    let entries = looked.iter().flat_map(|l| &l.entries);
    let changes = entries.filter(|e| matches!(e.kind, EntryKind::Installed | EntryKind::Removed) && at(e, position));
    let first =
        changes.filter(|e| e.serial.is_some()).min_by_key(|e| (e.stamp.date, e.kind == EntryKind::Installed))?;
    Some((first.serial.as_ref()?.to_string(), format!("{} in {}", first.kind.word(), first.source)))
}

/// The oil first poured at a position, with the line that says so.
fn oil(looked: &[Looked], position: &str) -> Option<(String, String)> {
    let entries = looked.iter().flat_map(|l| &l.entries);
    let by_time: BTreeMap<_, &LogEntry> =
        entries.filter(|e| at(e, position) && e.oil.is_some()).map(|e| ((e.stamp.date, e.source.line), e)).collect();
    let first = by_time.values().next()?;
    Some((first.oil.as_ref()?.to_string(), first.source.to_string()))
}

#[cfg(test)]
mod tests;
