//! Which row is the header, which column is which, and which rows are no data.
//!
//! Sheets carry titles above the header, a row of units below it, the header again on every printed
//! page and a total at the end. A person sees at once that these are no entries; so must we.

use std::collections::{BTreeMap, BTreeSet};

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
    /// The key of the cell alone, where `written` begins with what stands over it and its neighbours.
    pub own: Option<String>,
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
        Self { key: key(&written), bare, own: None, unit, written }
    }

    /// As it reads with what stands over it: `Left engine` over `Dip` is `Left engine Dip`.
    fn under(self, group: &Cell) -> Self {
        let group = Self::new(group);
        let written = format!("{} {}", group.written, self.written);
        let bare = [group.bare, self.bare].join("_");
        Self { key: key(&written), bare, own: Some(self.key), unit: self.unit.or(group.unit), written }
    }

    /// The name of a column that has none in the row below: its own there is only a unit.
    fn above(self, cell: &Cell) -> Self {
        let name = Self::new(cell);
        Self { unit: self.unit.or(name.unit), ..name }
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
    /// The first line that belongs to it.
    pub top: u32,
    pub names: Vec<Name>,
    /// Its rows as they are printed, by key.
    printed: Vec<Vec<String>>,
    /// Index into the sheet's rows of the first row of data.
    pub first_row: usize,
}

impl Header {
    /// The row that has most of the `wanted` keys, among the first ones after `skip_lines`; at least `least`.
    pub fn find(sheet: &Sheet, wanted: &dyn Fn(&str) -> bool, least: usize) -> Option<Self> {
        let score = |header: &Self| {
            let names = header.names.iter().filter(|name| !name.written.is_empty());
            let found: BTreeSet<&String> = names
                .filter_map(|name| [&name.key, &name.bare].into_iter().chain(&name.own).find(|key| wanted(key)))
                .collect();
            found.len()
        };
        let mut best: Option<(Self, usize)> = None;
        let rows = sheet.rows.iter().enumerate().filter(|(_, row)| row.line > sheet.skip_lines).take(LOOK_AT_ROWS);
        for (index, row) in rows {
            if row.cells.iter().all(|cell| cell.as_text().is_none()) {
                continue;
            }
            let header = Self::at(sheet, index);
            let score = score(&header);
            // A title above the header is not its first row.
            let after = |best: &Self| best.line + 1 == header.line && best.printed.len() > header.printed.len();
            let same = |best: &Self, most| score == most && after(best);
            if score >= least && best.as_ref().is_none_or(|(best, most)| score > *most || same(best, *most)) {
                best = Some((header, score));
            }
        }
        best.map(|(header, _)| header)
    }

    /// The header at `index` of the sheet's rows, with the units row that may follow, and with a second row of names
    /// below it, or of what stands over several of them above it.
    pub fn at(sheet: &Sheet, index: usize) -> Self {
        let mut header = Self::of_one_row(sheet, index);
        let Some(row) = sheet.rows.get(index) else { return header };
        let beside = |at: Option<usize>| {
            let other = sheet.rows.get(at?)?;
            (other.line.abs_diff(row.line) == 1 && other.line > sheet.skip_lines && is_words(other)).then_some(other)
        };
        if beside(Some(index + 1)).is_some_and(|below| divides(row, below)) {
            let units = Self::of_one_row(sheet, index + 1);
            let mut names = units.names;
            names.resize_with(names.len().max(row.cells.len()), Name::default);
            for (at, name) in names.iter_mut().enumerate() {
                let own = std::mem::take(name);
                *name = match group(row, at) {
                    _ if own.written.is_empty() => own.above(row.cell(at)),
                    Some(group) => own.under(group),
                    None => own,
                };
            }
            let printed = [header.printed, units.printed].concat();
            return Self { names, printed, first_row: units.first_row, ..header };
        }
        if let Some(above) = beside(index.checked_sub(1)) {
            header.put_under(above);
        }
        header
    }

    /// Names that stand there several times are told apart by what stands over them.
    fn put_under(&mut self, above: &Row) {
        let mut by_name: BTreeMap<&str, Vec<Option<&Cell>>> = BTreeMap::new();
        for (at, name) in self.names.iter().enumerate().filter(|(_, name)| !name.key.is_empty()) {
            by_name.entry(&name.key).or_default().push(group(above, at));
        }
        let told_apart = |groups: &[Option<&Cell>]| {
            let different: BTreeSet<String> = groups.iter().flatten().map(|cell| key(&cell.to_string())).collect();
            groups.len() > 1 && different.len() == groups.len()
        };
        let apart: BTreeSet<String> =
            by_name.into_iter().filter(|(_, groups)| told_apart(groups)).map(|(name, _)| name.to_owned()).collect();
        if apart.is_empty() {
            return;
        }
        self.names.resize_with(self.names.len().max(above.cells.len()), Name::default);
        for (at, name) in self.names.iter_mut().enumerate() {
            let own = std::mem::take(name);
            *name = match group(above, at) {
                _ if own.written.is_empty() => own.above(above.cell(at)),
                Some(group) if apart.contains(&own.key) => own.under(group),
                _ => own,
            };
        }
        self.top = above.line;
        self.printed.insert(0, keys(above));
    }

    /// The header at `index` of the sheet's rows, with the units row that may follow.
    pub fn of_one_row(sheet: &Sheet, index: usize) -> Self {
        let Some(row) = sheet.rows.get(index) else { return Self::default() };
        let mut names: Vec<Name> = row.cells.iter().map(Name::new).collect();
        let mut first_row = index + 1;
        if let Some(units) = sheet.rows.get(first_row).filter(|row| is_units(row)) {
            for (name, cell) in names.iter_mut().zip(&units.cells) {
                name.unit = cell.as_text().and_then(unit_word).or(name.unit.take());
            }
            first_row += 1;
        }
        Self { line: row.line, top: row.line, names, printed: vec![keys(row)], first_row }
    }

    /// Column by name: as written, else by key, else by key without brackets, else without what stands over it. The
    /// first of several.
    pub fn column(&self, name: &str) -> Option<usize> {
        let wanted = key(name);
        let written = one_line(name);
        let at = |test: &dyn Fn(&Name) -> bool| self.names.iter().position(test);
        at(&|n| !n.written.is_empty() && n.written == written)
            .or_else(|| at(&|n| !wanted.is_empty() && n.key == wanted))
            .or_else(|| at(&|n| !wanted.is_empty() && n.bare == wanted))
            .or_else(|| at(&|n| !wanted.is_empty() && n.own.as_ref() == Some(&wanted)))
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
        let is_text = |cell: &Cell| cell.is_empty() || cell.as_text().is_some();
        let again = |printed: &Vec<String>| {
            let cells = row.cells.iter().enumerate().filter(|(_, cell)| !cell.is_empty());
            cells.clone().count() >= 2 && cells.clone().all(|(at, c)| printed.get(at) == Some(&key(&c.to_string())))
        };
        row.cells.iter().all(is_text) && self.printed.iter().any(again)
    }
}

fn keys(row: &Row) -> Vec<String> {
    row.cells.iter().map(|cell| key(&cell.to_string())).collect()
}

/// What stands over column `at`: the cell there, or the nearest one to its left, as merged cells are saved.
fn group(row: &Row, at: usize) -> Option<&Cell> {
    row.cells.get(..row.cells.len().min(at + 1))?.iter().rfind(|cell| !cell.is_empty())
}

/// True for words alone, `Engine 1` among them: rows of data have a date or a number.
fn is_words(row: &Row) -> bool {
    let digits = |text: &str| text.chars().filter(|c| c.is_numeric()).count();
    let numbered = |text: &str| digits(text) == 1 && text.trim_start().starts_with(char::is_alphabetic);
    let words = |cell: &Cell| cell.as_text().is_some_and(|text| digits(text) == 0 || numbered(text));
    row.cells.iter().all(|cell| cell.is_empty() || words(cell))
}

/// True if `below` names the columns that stand under one cell of `row`: under its empty cells and the one before them,
/// nowhere else.
fn divides(row: &Row, below: &Row) -> bool {
    let is_empty = |at: usize| row.cell(at).is_empty();
    let named = || (0..below.cells.len()).filter(|at| !below.cell(*at).is_empty());
    let begins = |at: usize| is_empty(at + 1) && !below.cell(at + 1).is_empty();
    named().any(|at| is_empty(at) && group(row, at).is_some())
        && named().all(|at| if is_empty(at) { group(row, at).is_some() } else { begins(at) })
        && !is_units(below)
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
