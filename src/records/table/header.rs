//! Which row is the header, which column is which, and which rows are no data.
//!
//! Sheets carry titles above the header, a row of units below it, the header again on every printed
//! page and a total at the end. A person sees at once that these are no entries; so must we.

use std::collections::BTreeSet;

use super::{Cell, Row, Sheet, trim};

/// How many rows are looked at for the header.
const LOOK_AT_ROWS: usize = 60;

/// A header cell.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Name {
    /// As written, on one line.
    pub written: String,
    /// Lower case, everything but letters and digits one `_`.
    pub key: String,
    /// The same without what stands in brackets.
    pub bare: String,
    /// Unit in brackets or in the units row, lower case.
    pub unit: Option<String>,
}

impl Name {
    fn new(cell: &Cell) -> Self {
        let written = one_line(&cell.to_string());
        let open = written.find(['(', '[']);
        let bare = key(&written[..open.unwrap_or(written.len())]);
        let inside = open.map(|at| written[at + 1..].trim_end_matches([')', ']']));
        let unit = inside.and_then(unit_word);
        Self { key: key(&written), bare, unit, written }
    }
}

/// Blanks and line breaks of every kind as one blank, as a person reads a wrapped header.
fn one_line(text: &str) -> String {
    let words: Vec<&str> =
        text.split(|c: char| c.is_whitespace() || c.is_control()).filter(|w| !w.is_empty()).collect();
    words.join(" ")
}

/// Lower case, runs of anything but letters and digits become one `_`; none at the ends.
pub fn key(text: &str) -> String {
    let mut key = String::with_capacity(text.len());
    for c in trim(text).chars().flat_map(char::to_lowercase) {
        if c.is_alphanumeric() {
            key.push(c);
        } else if !key.is_empty() && !key.ends_with('_') {
            key.push('_');
        }
    }
    key.truncate(key.trim_end_matches('_').len());
    key
}

/// A header found in a sheet.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Header {
    /// Line it stands on.
    pub line: u32,
    pub names: Vec<Name>,
    /// Index into the sheet's rows of the first row of data.
    pub first_row: usize,
}

impl Header {
    /// The row that has most of the `wanted` keys, among the first ones after `skip_lines`; at least `least`.
    pub fn find(sheet: &Sheet, wanted: &dyn Fn(&str) -> bool, least: usize) -> Option<Self> {
        let score = |row: &Row| {
            let found: BTreeSet<String> = row
                .cells
                .iter()
                .filter(|cell| cell.as_text().is_some())
                .map(Name::new)
                .filter_map(|name| [name.key, name.bare].into_iter().find(|key| wanted(key)))
                .collect();
            found.len()
        };
        let mut best: Option<(usize, usize)> = None;
        let rows = sheet.rows.iter().enumerate().filter(|(_, row)| row.line > sheet.skip_lines).take(LOOK_AT_ROWS);
        for (index, row) in rows {
            let score = score(row);
            if score >= least && best.is_none_or(|(_, most)| score > most) {
                best = Some((index, score));
            }
        }
        best.map(|(index, _)| Self::at(sheet, index))
    }

    /// The header at `index` of the sheet's rows, with the units row that may follow.
    pub fn at(sheet: &Sheet, index: usize) -> Self {
        let Some(row) = sheet.rows.get(index) else { return Self::default() };
        let mut names: Vec<Name> = row.cells.iter().map(Name::new).collect();
        let mut first_row = index + 1;
        if let Some(units) = sheet.rows.get(first_row).filter(|row| is_units(row)) {
            for (name, cell) in names.iter_mut().zip(&units.cells) {
                name.unit = cell.as_text().and_then(unit_word).or(name.unit.take());
            }
            first_row += 1;
        }
        Self { line: row.line, names, first_row }
    }

    /// Column by name: as written, else by key, else by key without brackets. The first of several.
    pub fn column(&self, name: &str) -> Option<usize> {
        let wanted = key(name);
        let written = one_line(name);
        let at = |test: &dyn Fn(&Name) -> bool| self.names.iter().position(test);
        at(&|n| !n.written.is_empty() && n.written == written)
            .or_else(|| at(&|n| !wanted.is_empty() && n.key == wanted))
            .or_else(|| at(&|n| !wanted.is_empty() && n.bare == wanted))
    }

    /// The names as a person would list them.
    pub fn list(&self) -> String {
        let names: Vec<&str> = self.names.iter().map(|n| n.written.as_str()).filter(|n| !n.is_empty()).collect();
        let list = names.join(", ");
        match list.char_indices().nth(300) {
            Some((end, _)) => format!("{}…", &list[..end]),
            None => list,
        }
    }

    /// True for the header printed again further down.
    pub fn repeats(&self, row: &Row) -> bool {
        let mut same = 0;
        for (index, cell) in row.cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty()) {
            let Some(text) = cell.as_text() else { return false };
            if self.names.get(index).is_none_or(|name| name.key != key(text)) {
                return false;
            }
            same += 1;
        }
        same >= 2
    }
}

/// True for a row of totals: no date, and a cell that says so.
pub fn is_total(row: &Row, date_column: usize) -> bool {
    let total = |cell: &Cell| {
        cell.as_text().is_some_and(|text| {
            let key = key(text);
            ["total", "totals", "subtotal", "sum", "grand_total", "page_total", "carried_forward", "brought_forward"]
                .iter()
                .any(|word| key == *word || (key.starts_with(word) && key[word.len()..].starts_with('_')))
        })
    };
    let date = row.cell(date_column);
    (date.is_empty() || total(date)) && row.cells.iter().any(total)
}

/// True if every cell with content is a unit, and at least one is that of a quantity.
fn is_units(row: &Row) -> bool {
    let mut sure = false;
    for cell in row.cells.iter().filter(|cell| !cell.is_empty()) {
        let Some(unit) = cell.as_text().and_then(unit_word) else { return false };
        sure |= !matches!(unit.as_str(), "text" | "local" | "date");
    }
    sure
}

/// The plain word for a unit or a kind of content, if `text` is one.
fn unit_word(text: &str) -> Option<String> {
    let word = trim(text).trim_matches(['(', ')', '[', ']', '.']).trim().to_lowercase();
    let plain = match word.as_str() {
        "h" | "hr" | "hrs" | "hour" | "hours" | "decimal hours" | "0.0" => "h",
        "qt" | "qts" | "quart" | "quarts" | "us qt" => "qt",
        "l" | "lt" | "ltr" | "ltrs" | "litre" | "litres" | "liter" | "liters" => "l",
        "gal" | "us gal" => "gal",
        "min" | "mins" | "minutes" => "min",
        "text" | "word" | "words" | "-" | "–" => "text",
        "local" | "utc" | "hh:mm" | "h:mm" | "hhmm" => "local",
        "date" | "yyyy-mm-dd" | "mm/dd/yyyy" | "dd/mm/yyyy" | "dd.mm.yyyy" | "m/d/y" | "d/m/y" => "date",
        _ => return None,
    };
    Some(plain.to_owned())
}
