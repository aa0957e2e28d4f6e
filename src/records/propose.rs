//! Proposes a `[[logbook]]` or `[[monitor]]` table for a file nobody has described yet.
//!
//! Guessing silently how a sheet is meant would be worse than not reading it; so the daemon never
//! guesses, and this does it out loud: each line says how sure it is and why, what could not be
//! placed is listed, and a person looks at it before pasting it into aircraft.toml. The words it
//! knows for columns are those of the trade, not those of any make.

mod aircraft;
mod logbook;
mod monitor;
mod profile;

use std::fmt::Write;

use super::aircraft::Aircraft;
use super::table::{Fault, Row, Sheet, header};
pub use aircraft::{Looked, aircraft};
use profile::Profile;

/// How well a meaning is supported.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Certainty {
    /// The name or the values alone.
    Likely,
    /// The name and the values agree.
    Sure,
}

impl Certainty {
    fn word(self) -> &'static str {
        match self {
            Self::Likely => "likely",
            Self::Sure => "sure",
        }
    }
}

/// A column that was given a meaning.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Placed {
    /// `hours`, `oil.left.added`, `left.cht1_f`.
    pub ours: String,
    /// The column's name in the file.
    pub column: String,
    /// The unit to be named, where it is not ours.
    pub unit: Option<String>,
    pub certainty: Certainty,
    /// `rises from 1483.5 to 1491.6`.
    pub why: String,
}

/// Which table is proposed.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Table {
    /// One row per entry or per flight.
    Logbook {
        per_flight: bool,
    },
    Monitor,
}

/// A proposed layout.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Proposal {
    pub table: Table,
    /// Glob for files like this one.
    pub files: String,
    /// `skip_lines`, `delimiter` … as TOML lines.
    pub shape: Vec<String>,
    /// Columns that give date and time, and their format where it is certain.
    pub when: Vec<String>,
    pub format: Option<String>,
    pub when_why: String,
    pub placed: Vec<Placed>,
    /// (our column, the sheet's word, our word).
    pub words: Vec<(String, String, String)>,
    /// Engines that a column of the sheet names, where the aircraft is not known.
    pub engines: Vec<String>,
    /// Columns without a meaning, each with some of its values.
    pub unplaced: Vec<(String, String)>,
    /// What a person has to decide.
    pub questions: Vec<String>,
}

/// How the file's text was cut, for the lines that say so.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct TextShape {
    pub delimiter: Option<char>,
    pub encoding: Option<String>,
}

impl TextShape {
    /// What `sniff` finds in `start`; of a workbook nothing.
    pub fn of(start: &[u8]) -> Self {
        let dialect = super::table::sniff(start, &super::layout::Shape::default());
        Self { delimiter: Some(dialect.delimiter), encoding: Some(dialect.encoding.name().to_lowercase()) }
    }
}

/// Looks at header and values of `sheet` (of a long recording its first rows are enough).
/// `aircraft` gives the engines' positions, where it is known whose file this is.
///
/// # Errors
/// Nothing that could be a header with rows below it.
pub fn propose(
    sheet: &Sheet,
    file_name: &str,
    text: &TextShape,
    aircraft: Option<&Aircraft>,
) -> Result<Proposal, Fault> {
    let Some(at) = find_header(sheet) else {
        return Err(sheet.faults.first().cloned().unwrap_or_else(|| Fault {
            line: 0,
            found: "no row that could be a header with rows of values below it".to_owned(),
            expected: "a sheet with one row per flight, per entry or per sample".to_owned(),
        }));
    };
    let head = header::Header::of_one_row(sheet, at);
    let (units, first_row) = monitor::units_row(sheet, at).unwrap_or((None, head.first_row));
    let is_total = |row: &Row| (0..row.cells.len()).any(|column| header::is_total(row, column));
    let rows = |head: &header::Header, first_row: usize| -> Vec<&Row> {
        let is_row = |row: &&Row| !head.repeats(row) && !is_total(row);
        sheet.rows.iter().skip(first_row).filter(is_row).take(5_000).collect()
    };
    let profiles = |head: &header::Header, rows: &[&Row]| -> Vec<Profile> {
        let names = head.names.iter().enumerate().filter(|(_, name)| !name.written.is_empty());
        names.map(|(column, name)| Profile::new(name.clone(), column, rows, sheet)).collect()
    };
    let columns = profiles(&head, &rows(&head, first_row));
    let (mut proposal, top) = if monitor::is_recording(&columns) {
        (monitor::propose(&columns, units, aircraft), head.top)
    } else {
        // Only logs are read by headers of two rows.
        let head = header::Header::at(sheet, at);
        let rows = rows(&head, head.first_row);
        (logbook::propose(&profiles(&head, &rows), &rows, sheet, aircraft), head.top)
    };
    proposal.files = glob(file_name);
    proposal.shape = shape_lines(sheet, text, top);
    Ok(proposal)
}

/// The row with most words above a row of values.
fn find_header(sheet: &Sheet) -> Option<usize> {
    let words = |row: &Row| row.cells.iter().filter(|c| c.as_text().is_some_and(|t| !profile::is_value(t))).count();
    let values = |row: &Row| row.cells.iter().filter(|c| !c.is_empty()).count() - words(row);
    let mut best: Option<(usize, usize)> = None;
    for (index, row) in sheet.rows.iter().enumerate().take(60) {
        let below = sheet.rows.iter().skip(index + 1).take(4).map(values).max().unwrap_or(0);
        let score = words(row);
        if score >= 2 && below >= 2 && values(row) * 2 <= score && best.is_none_or(|(_, most)| score > most) {
            best = Some((index, score));
        }
    }
    best.map(|(index, _)| index)
}

/// `flight log 2026.xlsx` → `flight log *.xlsx`: what changes from file to file is a number.
fn glob(file_name: &str) -> String {
    let (stem, extension) = file_name.rsplit_once('.').unwrap_or((file_name, ""));
    let mut glob = String::new();
    for c in stem.chars() {
        let c = if matches!(c, '*' | '?' | '[' | ']' | '{' | '}' | '\\') { '?' } else { c };
        match c {
            '0'..='9' if glob.ends_with('*') => {}
            '0'..='9' => glob.push('*'),
            '-' | '_' if glob.ends_with('*') => {}
            c => glob.push(c),
        }
    }
    if extension.is_empty() { glob } else { format!("{glob}.{extension}") }
}

fn shape_lines(sheet: &Sheet, text: &TextShape, header_line: u32) -> Vec<String> {
    let mut lines = Vec::new();
    if header_line > 1 && sheet.rows.first().is_some_and(|first| first.line < header_line) {
        lines.push(format!("skip_lines = {}", header_line - 1));
    }
    if let Some(delimiter) = text.delimiter.filter(|d| *d != ',') {
        lines.push(format!("delimiter = {}", quoted(&delimiter.to_string())));
    }
    if sheet.from_text && sheet.decimal == Some(',') {
        lines.push("decimal = \",\"".to_owned());
    }
    if let Some(encoding) = text.encoding.as_deref().filter(|e| *e != "utf-8") {
        lines.push(format!("encoding = {}", quoted(encoding)));
    }
    lines
}

/// A TOML string.
fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for c in text.chars() {
        match c {
            '"' => quoted.push_str("\\\""),
            '\\' => quoted.push_str("\\\\"),
            '\t' => quoted.push_str("\\t"),
            c if c.is_control() => quoted.push(' '),
            c => quoted.push(c),
        }
    }
    quoted.push('"');
    quoted
}

/// A TOML key, bare where it can be.
fn key(text: &str) -> String {
    let bare = !text.is_empty() && text.bytes().all(|b| b.is_ascii_alphanumeric() || b == b'_' || b == b'-');
    if bare { text.to_owned() } else { quoted(text) }
}

impl Proposal {
    /// Says which sheet of a workbook is meant.
    pub fn of_sheet(mut self, sheet: Option<&str>) -> Self {
        self.shape.extend(sheet.map(|name| format!("sheet = {}", quoted(name))));
        self
    }

    /// Engine positions the table speaks of.
    pub fn positions(&self) -> Vec<String> {
        let position = |p: &Placed| match p.ours.split('.').collect::<Vec<_>>()[..] {
            ["oil", position, _] | [position, _] if !position.is_empty() => Some(position.to_owned()),
            _ => None,
        };
        let mut positions: Vec<String> = self.placed.iter().filter_map(position).chain(self.engines.clone()).collect();
        positions.sort();
        positions.dedup();
        positions
    }

    /// The table as TOML to paste into aircraft.toml; reasons, questions and what could not be placed
    /// stand in it as comments.
    pub fn toml(&self) -> String {
        let (name, when) = match self.table {
            Table::Logbook { .. } => ("logbook", "date"),
            Table::Monitor => ("monitor", "time"),
        };
        let mut lines: Vec<(String, String)> = vec![
            (format!("[[{name}]]"), String::new()),
            (format!("files = {}", quoted(&self.files)), "the files laid out like this one".to_owned()),
        ];
        lines.extend(self.shape.iter().map(|line| (line.clone(), String::new())));
        if self.table == (Table::Logbook { per_flight: true }) {
            lines.push(("per = \"flight\"".to_owned(), "one row per flight".to_owned()));
        }
        if !self.when.is_empty() {
            let columns: Vec<String> = self.when.iter().map(|c| quoted(c)).collect();
            let format = self.format.as_ref().map_or(String::new(), |f| format!(", format = {}", quoted(f)));
            lines.push((format!("{when} = {{ columns = [{}]{format} }}", columns.join(", ")), self.when_why.clone()));
        }
        let (oil, columns): (Vec<&Placed>, Vec<&Placed>) = self.placed.iter().partition(|p| p.ours.starts_with("oil."));
        if !columns.is_empty() {
            lines.push((format!("[{name}.columns]"), String::new()));
            lines.extend(columns.into_iter().map(|p| (column_line(p), reason(p))));
        }
        for (position, placed) in by_position(&oil) {
            lines.push((format!("[{name}.oil.{}]", key(position)), String::new()));
            for p in &placed {
                let what = p.ours.rsplit('.').next().unwrap_or("added");
                lines.push((format!("{what} = {}", quoted(&p.column)), reason(p)));
            }
            if let Some(unit) = placed.iter().find_map(|p| p.unit.as_ref()) {
                lines.push((format!("unit = {}", quoted(unit)), String::new()));
            }
        }
        self.words_lines(name, &mut lines);
        let width = lines.iter().filter(|l| !l.1.is_empty()).map(|l| l.0.chars().count()).max().unwrap_or(0).min(60);
        let mut text = String::new();
        for (line, comment) in lines {
            let pad = width.saturating_sub(line.chars().count());
            let comment =
                if comment.is_empty() { comment } else { format!("{}  # {}", " ".repeat(pad), one_line(&comment)) };
            text += &format!("{line}{comment}\n");
        }
        text + &self.remarks()
    }

    fn words_lines(&self, name: &str, lines: &mut Vec<(String, String)>) {
        let mut columns: Vec<&str> = self.words.iter().map(|(column, _, _)| column.as_str()).collect();
        columns.dedup();
        for column in columns {
            lines.push((format!("[{name}.words.{}]", key(column)), String::new()));
            for (_, theirs, ours) in self.words.iter().filter(|(of, _, _)| of == column) {
                lines.push((format!("{} = {}", key(theirs), quoted(ours)), "likely: by the word".to_owned()));
            }
        }
    }

    /// Questions and what could not be placed, as comments.
    fn remarks(&self) -> String {
        let mut text = String::new();
        for question in &self.questions {
            // Writing to a string does not fail.
            let _ = writeln!(text, "# check: {}", one_line(question));
        }
        for (column, values) in &self.unplaced {
            let _ = writeln!(text, "# not placed: {} ({})", quoted(column), one_line(values));
        }
        text
    }
}

fn column_line(placed: &Placed) -> String {
    let ours = key(&placed.ours);
    match &placed.unit {
        Some(unit) => format!("{ours} = {{ column = {}, unit = {} }}", quoted(&placed.column), quoted(unit)),
        None => format!("{ours} = {}", quoted(&placed.column)),
    }
}

fn reason(placed: &Placed) -> String {
    format!("{}: {}", placed.certainty.word(), placed.why)
}

/// A comment ends with its line, and TOML allows no control characters in it.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}

/// Oil columns grouped by position, in the order met.
fn by_position<'a>(oil: &[&'a Placed]) -> Vec<(&'a str, Vec<&'a Placed>)> {
    let mut groups: Vec<(&str, Vec<&Placed>)> = Vec::new();
    for placed in oil {
        let position = placed.ours.split('.').nth(1).unwrap_or("");
        match groups.iter_mut().find(|(known, _)| *known == position) {
            Some((_, group)) => group.push(placed),
            None => groups.push((position, vec![placed])),
        }
    }
    groups
}
