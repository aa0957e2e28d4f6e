//! The sheets of an xlsx or ods workbook.
//!
//! Cell by cell with limits: a workbook of 1.6 kB with one value in the last cell of the sheet makes
//! a reader that fills a rectangle ask for terabytes. What the parts underneath do with memory cannot
//! be limited from here; that is why the shell runs this in a child process.

mod spans;

use std::io::Cursor;

use calamine::{Data, DataRef, ExcelDateTime, Ods, Reader, Xlsx};

use super::{Cell, Fault, MAX_COLUMNS, Row, Sheet, too_much, trim};
use crate::records::layout::Shape;

/// Largest workbook read, bytes.
pub const MAX_WORKBOOK: usize = 32 * 1024 * 1024;
/// Merged areas looked at; each costs at most the rows it covers.
const MERGED: usize = 10_000;

/// Reads one sheet: `shape.sheet` by name, else the first that is not empty. Never fails; what is
/// wrong is in `faults`.
pub fn read(bytes: &[u8], shape: &Shape) -> Sheet {
    let sheet = match super::content(bytes) {
        super::Content::Workbook => open(bytes, shape),
        super::Content::Text if super::dialect::is_binary(bytes) => Err(damaged(&"no archive")),
        super::Content::Text => return Sheet::from_text(bytes, shape),
        super::Content::Locked => Err(whole(
            "an old (.xls) or password-protected workbook",
            "the sheet saved without a password as .xlsx, .ods or .csv",
        )),
        super::Content::Other => Err(whole("no workbook", "a workbook saved as .xlsx or .ods")),
    };
    sheet.unwrap_or_else(|fault| Sheet { faults: vec![fault], ..Sheet::default() })
}

fn whole(found: &str, expected: &str) -> Fault {
    Fault { line: 0, found: found.to_owned(), expected: expected.to_owned() }
}

fn damaged(reason: &dyn std::fmt::Display) -> Fault {
    let reason: String = reason.to_string().chars().filter(|c| !c.is_control()).take(120).collect();
    whole(&format!("a workbook that cannot be read ({reason})"), "a workbook saved whole as .xlsx or .ods")
}

fn open(bytes: &[u8], shape: &Shape) -> Result<Sheet, Fault> {
    match Xlsx::new(Cursor::new(bytes)) {
        Ok(book) => read_xlsx(book, shape),
        Err(calamine::XlsxError::Password) => {
            Err(whole("a password-protected workbook", "the sheet saved without a password"))
        }
        Err(error) => match Ods::new(Cursor::new(bytes)) {
            Ok(book) => read_ods(bytes, book, shape),
            Err(calamine::OdsError::Password) => {
                Err(whole("a password-protected workbook", "the sheet saved without a password"))
            }
            // An OpenDocument archive begins with its type (OASIS OpenDocument 1.3 part 2, 3.3).
            Err(own) if bytes.get(30..120).is_some_and(|start| contains(start, b"opendocument")) => Err(damaged(&own)),
            Err(_) => Err(damaged(&error)),
        },
    }
}

fn contains(bytes: &[u8], part: &[u8]) -> bool {
    bytes.windows(part.len()).any(|window| window == part)
}

/// The named sheet, or all in the workbook's order.
fn wanted(names: Vec<String>, shape: &Shape) -> Result<Vec<String>, Fault> {
    let Some(wanted) = &shape.sheet else { return Ok(names) };
    let same = |name: &&String| trim(name).eq_ignore_ascii_case(trim(wanted));
    match names.iter().find(|name| *name == wanted).or_else(|| names.iter().find(same)) {
        Some(name) => Ok(vec![name.clone()]),
        None => Err(whole(
            &format!("no sheet \"{wanted}\" in the workbook"),
            &format!("one of its sheets: {}", names.join(", ")),
        )),
    }
}

fn read_xlsx(mut book: Xlsx<Cursor<&[u8]>>, shape: &Shape) -> Result<Sheet, Fault> {
    let epoch_1904 = book.has_1904_epoch();
    let mut last = Sheet { epoch_1904, skip_lines: shape.skip_lines, ..Sheet::default() };
    for name in wanted(book.sheet_names(), shape)? {
        // A sheet of charts has no cells.
        let Ok(mut cells) = book.worksheet_cells_reader(&name) else { continue };
        let mut filling = Filling::new(&last);
        loop {
            match cells.next_cell() {
                Ok(Some(cell)) => {
                    let (row, column) = cell.get_position();
                    if filling.put(row, column, xlsx_cell(cell.get_value())).is_err() {
                        break;
                    }
                }
                Ok(None) => break,
                Err(error) => {
                    filling.sheet.faults.push(damaged(&error));
                    break;
                }
            }
        }
        last = filling.done();
        if !last.rows.is_empty() || !last.faults.is_empty() {
            drop(cells);
            let merged = book.merge_cells_by_sheet_name(&name).unwrap_or_default();
            merged.iter().take(MERGED).for_each(|area| merge_down(&mut last, area.start, area.end));
            break;
        }
    }
    Ok(last)
}

/// Writes a date or time that is merged down over several rows into each of them. Only those: an amount that is
/// merged down was poured in once.
fn merge_down(sheet: &mut Sheet, (top, column): (u32, u32), (bottom, _): (u32, u32)) {
    let from = sheet.rows.partition_point(|row| row.line <= top);
    let Some(first) = sheet.rows.get(from).filter(|row| row.line == top + 1) else { return };
    let (column, Some(cell)) = (column as usize, first.cells.get(column as usize).cloned()) else { return };
    if !matches!(cell, Cell::Moment(_) | Cell::Span(_)) {
        return;
    }
    for row in sheet.rows[from + 1..].iter_mut().take_while(|row| row.line <= bottom.saturating_add(1)) {
        if let Some(place) = row.cells.get_mut(column).filter(|place| place.is_empty()) {
            *place = cell.clone();
        }
    }
}

fn read_ods(bytes: &[u8], mut book: Ods<Cursor<&[u8]>>, shape: &Shape) -> Result<Sheet, Fault> {
    let mut last = Sheet { skip_lines: shape.skip_lines, ..Sheet::default() };
    let names = book.sheet_names();
    for name in wanted(names.clone(), shape)? {
        let range = book.worksheet_range(&name).map_err(|error| damaged(&error))?;
        let (top, left) = range.start().unwrap_or((0, 0));
        let mut filling = Filling::new(&last);
        for (row, column, data) in range.used_cells() {
            let (row, column) = (top.saturating_add(row as u32), left.saturating_add(column as u32));
            if filling.put(row, column, ods_cell(data)).is_err() {
                break;
            }
        }
        last = filling.done();
        if !last.rows.is_empty() || !last.faults.is_empty() {
            // What cannot be made out has been read all the same.
            let at = names.iter().position(|n| *n == name).unwrap_or(0);
            let merged = spans::merged_down(bytes, at, MERGED).unwrap_or_default();
            merged.iter().for_each(|area| merge_down(&mut last, area.0, area.1));
            break;
        }
    }
    Ok(last)
}

/// A sheet being put together from cells in reading order.
struct Filling {
    sheet: Sheet,
    row: Row,
    cells: usize,
    wide: bool,
}

impl Filling {
    fn new(like: &Sheet) -> Self {
        let sheet = Sheet { epoch_1904: like.epoch_1904, skip_lines: like.skip_lines, ..Sheet::default() };
        Self { sheet, row: Row::default(), cells: 0, wide: false }
    }

    /// `Err` once the sheet is full. `row` and `column` are 0-based.
    fn put(&mut self, row: u32, column: u32, cell: Cell) -> Result<(), ()> {
        if cell.is_empty() {
            return Ok(());
        }
        let line = row.saturating_add(1);
        if line != self.row.line {
            self.end_row();
            self.row.line = line;
        }
        let column = column as usize;
        if column >= MAX_COLUMNS {
            if !self.wide {
                self.wide = true;
                self.sheet.faults.push(Fault {
                    line,
                    found: format!("content right of column {MAX_COLUMNS}; it was not read"),
                    expected: "a logbook sheet".to_owned(),
                });
            }
            return Ok(());
        }
        if self.row.cells.len() <= column {
            self.cells += column + 1 - self.row.cells.len();
            self.row.cells.resize(column + 1, Cell::Empty);
        }
        if let Some(fault) = too_much(self.sheet.rows.len(), self.cells, line) {
            self.sheet.faults.push(fault);
            self.row.cells.clear();
            return Err(());
        }
        if let Some(place) = self.row.cells.get_mut(column) {
            *place = cell;
        }
        Ok(())
    }

    fn end_row(&mut self) {
        let row = std::mem::take(&mut self.row);
        if !row.cells.is_empty() {
            self.sheet.rows.push(row);
        }
    }

    fn done(mut self) -> Sheet {
        self.end_row();
        let text = |cell: &Cell| cell.as_text().is_some_and(|t| is_number_with(t, ','));
        if self.sheet.rows.iter().take(200).any(|row| row.cells.iter().any(text)) {
            self.sheet.decimal = Some(',');
        }
        self.sheet
    }
}

/// `12,5`: digits, the mark, one or two digits.
fn is_number_with(text: &str, mark: char) -> bool {
    let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
    text.split_once(mark).is_some_and(|(whole, tail)| digits(whole) && digits(tail) && tail.len() < 3)
}

fn xlsx_cell(data: &DataRef<'_>) -> Cell {
    match data {
        DataRef::Empty => Cell::Empty,
        DataRef::Int(value) => Cell::Number(*value as f64),
        DataRef::Float(value) => number(*value),
        DataRef::String(text) => Cell::text(text),
        DataRef::SharedString(text) => Cell::text(text),
        DataRef::Bool(value) => Cell::text(if *value { "TRUE" } else { "FALSE" }),
        DataRef::DateTime(at) => moment(*at),
        DataRef::DateTimeIso(text) | DataRef::DurationIso(text) => iso(text),
        DataRef::Error(error) => Cell::text(&error.to_string()),
    }
}

fn ods_cell(data: &Data) -> Cell {
    match data {
        Data::Empty => Cell::Empty,
        Data::Int(value) => Cell::Number(*value as f64),
        Data::Float(value) => number(*value),
        Data::String(text) => Cell::text(text),
        Data::Bool(value) => Cell::text(if *value { "TRUE" } else { "FALSE" }),
        Data::DateTime(at) => moment(*at),
        Data::DateTimeIso(text) | Data::DurationIso(text) => iso(text),
        Data::Error(error) => Cell::text(&error.to_string()),
    }
}

fn number(value: f64) -> Cell {
    if value.is_finite() { Cell::Number(value) } else { Cell::text(&value.to_string()) }
}

/// A cell with a date or time format. Below one day, or with a format such as `[h]:mm`, it is a span.
fn moment(at: ExcelDateTime) -> Cell {
    let days = at.as_f64();
    if at.is_duration() || (0.0..1.0).contains(&days) {
        return number_span(days);
    }
    match at.as_datetime() {
        Some(moment) if (0.0..2_958_466.0).contains(&days) => Cell::Moment(moment),
        _ => number(days),
    }
}

fn number_span(days: f64) -> Cell {
    if days.is_finite() { Cell::Span(days) } else { Cell::text(&days.to_string()) }
}

/// OpenDocument date (`2026-03-01`, `2026-03-01T14:05:00`) or time (`PT14H05M00S`) values
/// (OASIS OpenDocument 1.3 part 3, 18.3: W3C XML Schema dateTime and duration).
fn iso(text: &str) -> Cell {
    let text = trim(text);
    for format in ["%Y-%m-%dT%H:%M:%S%.f", "%Y-%m-%d %H:%M:%S%.f", "%Y-%m-%dT%H:%M"] {
        if let Ok(at) = chrono::NaiveDateTime::parse_from_str(text, format) {
            return Cell::Moment(at);
        }
    }
    if let Ok(date) = chrono::NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        return Cell::Moment(date.and_time(chrono::NaiveTime::MIN));
    }
    duration(text).map_or_else(|| Cell::text(text), Cell::Span)
}

/// `PT14H05M00S` in days.
fn duration(text: &str) -> Option<f64> {
    let mut rest = text.strip_prefix("PT")?;
    let mut seconds = 0.0;
    for (mark, factor) in [('H', 3600.0), ('M', 60.0), ('S', 1.0)] {
        if let Some((value, after)) = rest.split_once(mark) {
            seconds += value.replace(',', ".").parse::<f64>().ok().filter(|v| v.is_finite() && *v >= 0.0)? * factor;
            rest = after;
        }
    }
    rest.is_empty().then_some(seconds / 86_400.0)
}
