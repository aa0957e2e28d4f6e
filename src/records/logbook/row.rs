//! One row of a sheet, cell by cell, in our terms.

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::sync::Arc;

use super::amount::{self, LONGEST_FLIGHT_H, MOST_ADDED_QT, MOST_LEVEL_QT, Unit};
use super::columns::{Column, Columns, known_position, positions};
use super::when::Dates;
use super::{Bad, bad};
use crate::records::aircraft::Aircraft;
use crate::records::table::{Cell, Header, Row, header};
use crate::records::{EntryKind, Inspection, LogEntry, Oil, Source, Stamp};
use crate::units::{Hours, Quarts};

/// Longest text kept of a remark, characters.
const MAX_TEXT: usize = 2_000;

/// Everything rows of one sheet have in common.
#[derive(Debug)]
pub struct Reading<'a> {
    pub file: Arc<str>,
    pub aircraft: &'a Aircraft,
    pub header: &'a Header,
    pub columns: &'a Columns,
    pub dates: Dates<'a>,
    pub decimal: Option<char>,
    /// Column → the sheet's word (as [`header::key`]) → our word.
    pub words: BTreeMap<Column, BTreeMap<String, String>>,
    /// Position all rows are about.
    pub engine: Option<Arc<str>>,
}

/// Which engines a row is about.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Engines {
    Blank,
    /// "both" or "all".
    All,
    One(Arc<str>),
}

/// A row being read.
#[derive(Clone, Copy, Debug)]
pub struct RowReader<'a> {
    pub reading: &'a Reading<'a>,
    pub row: &'a Row,
}

impl<'a> RowReader<'a> {
    /// The cell of `column`, the layout's words for it replaced by ours.
    pub fn cell(&self, column: Column) -> Cow<'a, Cell> {
        let cell = self.reading.columns.at(column).map_or(&Cell::Empty, |at| self.row.cell(at));
        self.worded(column, cell)
    }

    /// `cell` with the layout's words for `column` replaced by ours.
    pub fn worded(&self, column: Column, cell: &'a Cell) -> Cow<'a, Cell> {
        let words = self.reading.words.get(&column).filter(|_| !cell.is_empty());
        match words.and_then(|words| words.get(&word_key(&cell.to_string()))) {
            Some(ours) => Cow::Owned(Cell::text(ours)),
            None => Cow::Borrowed(cell),
        }
    }

    /// The column's name as the sheet writes it.
    pub fn name(&self, column: Column) -> &str {
        let at = self.reading.columns.at(column);
        at.and_then(|at| self.reading.header.names.get(at)).map_or(column.word(), |n| &n.written)
    }

    fn unit(&self, column: Option<usize>) -> Unit {
        let names = &self.reading.header.names;
        let in_header = column.and_then(|at| names.get(at)).and_then(|n| n.unit.as_deref()).and_then(Unit::of);
        in_header.unwrap_or(self.house_unit())
    }

    /// Unit of a quantity where neither cell nor column names one.
    pub fn house_unit(&self) -> Unit {
        if self.reading.aircraft.oil_in_litres { Unit::Litres } else { Unit::Quarts }
    }

    /// # Errors
    /// No date, or none that can be read.
    pub fn stamp(&self) -> Result<Stamp, Bad> {
        let cells: Vec<&Cell> = self.reading.columns.date.iter().map(|at| self.row.cell(*at)).collect();
        if let Some(stamp) = self.reading.dates.stamp(&cells) {
            return Ok(stamp);
        }
        let name = |at: usize| self.reading.header.names.get(at).map_or("date", |n| n.written.as_str());
        let dates = &self.reading.columns.date;
        if let (None, &[first, time]) = (self.reading.dates.format, &dates[..])
            && self.reading.dates.stamp(&cells[..1]).is_some()
            && first != time
        {
            return Err(wrong(name(time), self.row.cell(time), "a time of day, such as 14:05"));
        }
        let expected = match self.reading.dates.format {
            Some(format) => format!("a date written as \"{format}\""),
            None => "a date, such as 2026-03-01".to_owned(),
        };
        let texts: Vec<String> = cells.iter().filter(|c| !c.is_empty()).map(ToString::to_string).collect();
        Err(wrong(dates.first().map_or("date", |at| name(*at)), &texts.join(" "), expected))
    }

    /// # Errors
    /// A position the aircraft does not have.
    pub fn engines(&self) -> Result<Engines, Bad> {
        let cell = self.cell(Column::Engine);
        let text = cell.to_string();
        if cell.is_empty() {
            return Ok(self.reading.engine.clone().map_or(Engines::Blank, Engines::One));
        }
        if let Some(position) = known_position(&text, self.reading.aircraft) {
            return Ok(Engines::One(position));
        }
        if matches!(header::key(&text).as_str(), "both" | "all" | "both_engines" | "all_engines") {
            return Ok(Engines::All);
        }
        Err(wrong(self.name(Column::Engine), &text, positions(self.reading.aircraft)))
    }

    /// # Errors
    /// Empty or unknown.
    pub fn kind(&self) -> Result<EntryKind, Bad> {
        let text = self.cell(Column::Entry).to_string();
        let word = header::key(&text).replace('_', "-");
        if let Some(kind) = EntryKind::ALL.into_iter().find(|kind| kind.word() == word) {
            return Ok(kind);
        }
        let near = |kind: &EntryKind| (strsim::jaro_winkler(kind.word(), &word) * 1000.0) as u32;
        let nearest = EntryKind::ALL.into_iter().max_by_key(near).filter(|kind| near(kind) > 850);
        let expected = match nearest {
            Some(kind) => format!("{} perhaps, or another word for an entry", kind.word()),
            None => {
                let all: Vec<&str> = EntryKind::ALL.iter().map(|kind| kind.word()).collect();
                format!("one of {}", all.join(", "))
            }
        };
        Err(wrong(self.name(Column::Entry), &text, expected))
    }

    /// # Errors
    /// Not a meter reading.
    pub fn hours(&self) -> Result<Option<Hours>, Bad> {
        self.optional(Column::Hours, |cell| {
            amount::hours(cell, self.reading.decimal).ok_or("the meter's reading, such as 1482.3")
        })
    }

    /// # Errors
    /// Not a length of time, or longer than a day.
    pub fn flight_hours(&self) -> Result<Option<Hours>, Bad> {
        let expected = "the length in hours, such as 1.4 or 1:24";
        self.optional(Column::FlightHours, |cell| {
            amount::hours(cell, self.reading.decimal).filter(|h| h.get() <= LONGEST_FLIGHT_H).ok_or(expected)
        })
    }

    /// # Errors
    /// Not a quantity, or not one that is poured in at one time.
    pub fn quantity(&self, kind: EntryKind) -> Result<Option<Quarts>, Bad> {
        let most = if kind == EntryKind::OilChanged { MOST_LEVEL_QT } else { MOST_ADDED_QT };
        let at = self.reading.columns.at(Column::Quantity);
        self.added(self.name(Column::Quantity), &self.cell(Column::Quantity), self.unit(at), most)
    }

    /// # Errors
    /// Not a dipstick reading.
    pub fn level(&self) -> Result<Option<Quarts>, Bad> {
        let at = self.reading.columns.at(Column::Level);
        self.dipstick(self.name(Column::Level), &self.cell(Column::Level), self.unit(at))
    }

    /// Oil poured in, of any column.
    ///
    /// # Errors
    /// See [`Self::quantity`].
    pub fn added(&self, name: &str, cell: &Cell, unit: Unit, most: f64) -> Result<Option<Quarts>, Bad> {
        if is_nothing(cell) {
            return Ok(None);
        }
        match amount::quantity(cell, self.reading.decimal, unit) {
            Some(quarts) if quarts.get() <= most + 0.01 => Ok(Some(quarts)),
            Some(_) => Err(wrong(name, cell, format!("at most {most} qt at one time"))),
            None => Err(wrong(name, cell, "oil poured in, such as 1, 0.5 or 1 l".to_owned() + letter_hint(cell))),
        }
    }

    /// A dipstick reading, of any column.
    ///
    /// # Errors
    /// Not a dipstick reading.
    pub fn dipstick(&self, name: &str, cell: &Cell, unit: Unit) -> Result<Option<Quarts>, Bad> {
        if is_nothing(cell) {
            return Ok(None);
        }
        match amount::quantity(cell, self.reading.decimal, unit) {
            Some(quarts) if quarts.get() <= MOST_LEVEL_QT => Ok(Some(quarts)),
            Some(_) => Err(wrong(name, cell, format!("a dipstick reading of at most {MOST_LEVEL_QT} qt"))),
            None => Err(wrong(name, cell, "a dipstick reading, such as 8.5".to_owned() + letter_hint(cell))),
        }
    }

    /// # Errors
    /// No oil of a known kind.
    pub fn oil(&self) -> Result<Option<Oil>, Bad> {
        self.oil_in(self.name(Column::Oil), &self.cell(Column::Oil))
    }

    /// # Errors
    /// No oil of a known kind.
    pub fn oil_in(&self, name: &str, cell: &Cell) -> Result<Option<Oil>, Bad> {
        if is_nothing(cell) {
            return Ok(None);
        }
        let text = cell.to_string();
        Oil::parse(&text)
            .map(Some)
            .ok_or_else(|| wrong(name, &text, "kind and grade, such as AD 50, AD 20W-50 or mineral 50"))
    }

    /// # Errors
    /// A word for the result that is not known.
    pub fn result(&self) -> Result<Option<Inspection>, Bad> {
        self.optional(Column::Result, |cell| {
            let word = header::key(&cell.to_string());
            [("clean", Inspection::Clean), ("trace", Inspection::Trace), ("metal", Inspection::Metal)]
                .into_iter()
                .find(|(known, _)| *known == word)
                .map(|(_, result)| result)
                .ok_or("clean, trace or metal")
        })
    }

    /// # Errors
    /// Not the number of an alert.
    pub fn alert(&self) -> Result<Option<u32>, Bad> {
        self.optional(Column::Result, |cell| {
            let text = cell.to_string().to_lowercase();
            let digits = text.trim_start_matches("alert").trim_start_matches([' ', '#', ':']);
            digits
                .trim_end_matches(".0")
                .parse::<u32>()
                .map_err(|_| "the number of the alert that was worked on, such as 7")
        })
    }

    /// Text of a column, trimmed; none if empty.
    pub fn text(&self, column: Column) -> Option<Arc<str>> {
        let cell = self.cell(column);
        if cell.is_empty() {
            return None;
        }
        let text = cell.to_string();
        Some(match text.char_indices().nth(MAX_TEXT) {
            Some((end, _)) => text[..end].into(),
            None => text.into(),
        })
    }

    fn optional<T>(
        &self,
        column: Column,
        read: impl FnOnce(&Cell) -> Result<T, &'static str>,
    ) -> Result<Option<T>, Bad> {
        let cell = self.cell(column);
        if is_nothing(&cell) {
            return Ok(None);
        }
        read(&cell).map(Some).map_err(|expected| wrong(self.name(column), &cell, expected))
    }

    /// An entry of this row with nothing but its kind.
    pub fn entry(&self, stamp: Stamp, kind: EntryKind, engine: Option<Arc<str>>) -> LogEntry {
        LogEntry {
            source: Source { file: self.reading.file.clone(), line: self.row.line },
            stamp,
            engine,
            kind,
            hours: None,
            quantity: None,
            level: None,
            oil: None,
            flight_hours: None,
            service: None,
            result: None,
            serial: None,
            alert: None,
            remarks: None,
        }
    }
}

/// A word as layouts compare it: blanks trimmed, case free, signs kept.
pub fn word_key(text: &str) -> String {
    crate::records::table::trim(text).to_lowercase()
}

/// Empty, or one of the ways to write "none" into a cell.
pub fn is_nothing(cell: &Cell) -> bool {
    match cell {
        Cell::Empty => true,
        Cell::Text(text) => matches!(
            text.to_lowercase().as_str(),
            "-" | "--" | "---" | "\u{2013}" | "\u{2014}" | "/" | "nil" | "none" | "n/a" | "na"
        ),
        Cell::Number(_) | Cell::Moment(_) | Cell::Span(_) => false,
    }
}

/// `level "1O qt"`, or `level is empty`.
pub fn wrong(name: &str, value: &(impl Display + ?Sized), expected: impl Into<String>) -> Bad {
    let text: String = value.to_string().chars().filter(|c| !c.is_control()).collect();
    if text.is_empty() {
        return bad(format!("{name} is empty"), expected.into());
    }
    let short = match text.char_indices().nth(60) {
        Some((end, _)) => format!("{}…", &text[..end]),
        None => text,
    };
    bad(format!("{name} \"{short}\""), expected.into())
}

/// For a letter among digits, what is wrong with it.
fn letter_hint(cell: &Cell) -> &'static str {
    let text = cell.to_string();
    let letter =
        text.trim().bytes().take_while(|b| b.is_ascii_digit() || matches!(b, b'.' | b',' | b'O' | b'o' | b'I'));
    let start: Vec<u8> = letter.collect();
    let digits = start.iter().any(u8::is_ascii_digit);
    if digits && start.iter().any(|b| matches!(b, b'O' | b'o')) {
        " (there is a letter O in it, not a zero)"
    } else if digits && start.contains(&b'I') {
        " (there is a letter I in it, not a one)"
    } else {
        ""
    }
}
