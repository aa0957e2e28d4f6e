//! Logbook sheets as entries: the standard layout, or the operator's own by a `[[logbook]]` table.
//!
//! The log is the evidence everything else rests on, and it is typed by tired people into whatever
//! sheet they have. A cell is read only where it can mean one thing; a row with a cell that cannot
//! be read stays out as a whole, with its line, the text that stood there and an example of what was
//! expected. The other rows count.

pub mod amount;
pub mod columns;
mod entries;
pub mod row;
pub mod when;

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono_tz::Tz;

use self::columns::{Column, Columns};
use self::row::{Reading, RowReader, is_nothing, word_key};
use self::when::{Dates, Orders};
use super::aircraft::Aircraft;
use super::layout::{LogbookLayout, Per, Shape};
use super::table::{Header, MAX_FAULTS, Row, Sheet, header};
use super::{LogEntry, Rejection, Source};

/// Why a row or sheet cannot be used: what stands there, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Bad {
    pub found: String,
    pub expected: String,
}

pub(crate) fn bad(found: String, expected: String) -> Bad {
    Bad { found, expected }
}

/// How a sheet's text is cut: by its layout, else as found.
pub fn shape(layout: Option<&LogbookLayout>) -> Shape {
    layout.map(|l| l.shape.clone()).unwrap_or_default()
}

/// Reads a sheet. `file` is relative to the fleet folder; `fleet_zone` is the zone stamps are in.
/// Entries stand in the order of the rows, rejections in that of their lines.
pub fn read(
    sheet: &Sheet,
    file: &str,
    layout: Option<&LogbookLayout>,
    aircraft: &Aircraft,
    fleet_zone: Tz,
) -> (Vec<LogEntry>, Vec<Rejection>) {
    let file: Arc<str> = file.into();
    let mut rejections: Vec<Rejection> = sheet.faults.iter().map(|fault| fault.reject(&file)).collect();
    let mut entries = Vec::new();
    if sheet.rows.is_empty() {
        return (entries, rejections);
    }
    match prepare(sheet, layout, aircraft) {
        Err((line, bad)) => rejections.push(reject(&file, line, bad, true)),
        Ok((header, columns)) => {
            if !columns.missing.is_empty() {
                let found = format!("no column {} ({})", columns.missing.join(", "), header.list());
                let expected =
                    "the columns that the layout in aircraft.toml names; the rows were read without".to_owned();
                rejections.push(reject(&file, header.line, bad(found, expected), false));
            }
            let reading = reading(sheet, &file, layout, aircraft, fleet_zone, &header, &columns);
            rows(sheet, layout, &reading, &mut entries, &mut rejections);
        }
    }
    rejections.sort_by_key(|r| (!r.whole_file, r.source.line));
    (entries, rejections)
}

fn reject(file: &Arc<str>, line: u32, bad: Bad, whole_file: bool) -> Rejection {
    let source = Source { file: file.clone(), line };
    Rejection { source, found: bad.found, expected: bad.expected, whole_file }
}

/// Finds header and columns; the line and reason if that cannot be done.
fn prepare(
    sheet: &Sheet,
    layout: Option<&LogbookLayout>,
    aircraft: &Aircraft,
) -> Result<(Header, Columns), (u32, Bad)> {
    let wanted = columns::wanted(layout);
    let is_wanted = |key: &str| wanted.iter().any(|w| w == key);
    let header = Header::find(sheet, &is_wanted, 2).or_else(|| Header::find(sheet, &is_wanted, 1));
    let Some(header) = header else {
        let first = sheet.rows.iter().find(|r| r.line > sheet.skip_lines);
        let text = first.map_or(String::new(), |r| {
            r.cells.iter().take(8).map(ToString::to_string).filter(|t| !t.is_empty()).collect::<Vec<_>>().join(", ")
        });
        let text: String = text.chars().filter(|c| !c.is_control()).take(100).collect();
        let expected = "a row that names the columns: date, engine, hours, entry, quantity, level …, or a [[logbook]] \
                        table in aircraft.toml (\"cowlwatch layout FILE\" proposes one)";
        return Err((0, bad(format!("no header row (the first row is: {text})"), expected.to_owned())));
    };
    let columns = Columns::resolve(&header, layout, aircraft).map_err(|bad| (header.line, bad))?;
    Ok((header, columns))
}

fn reading<'a>(
    sheet: &Sheet,
    file: &Arc<str>,
    layout: Option<&'a LogbookLayout>,
    aircraft: &'a Aircraft,
    fleet_zone: Tz,
    header: &'a Header,
    columns: &'a Columns,
) -> Reading<'a> {
    let first_date = columns.date.first().copied().unwrap_or(0);
    let data = sheet.rows.get(header.first_row..).unwrap_or(&[]);
    let zone = layout.and_then(|l| l.date.zone.as_deref()).and_then(|zone| match zone {
        "local" => None,
        "utc" => Some(Tz::UTC),
        name => name.parse().ok(),
    });
    let mut words: BTreeMap<Column, BTreeMap<String, String>> = BTreeMap::new();
    for (column, table) in layout.iter().flat_map(|l| &l.words) {
        if let Some(column) = Column::of(column) {
            words.insert(column, table.iter().map(|(theirs, ours)| (word_key(theirs), ours.clone())).collect());
        }
    }
    Reading {
        file: file.clone(),
        aircraft,
        header,
        columns,
        dates: Dates {
            format: layout.and_then(|l| l.date.format.as_deref()),
            orders: Orders::of(data.iter().map(|row| row.cell(first_date))),
            epoch_1904: sheet.epoch_1904,
            zone,
            fleet_zone,
        },
        decimal: layout.and_then(|l| l.shape.decimal).or(sheet.decimal),
        words,
        engine: layout.and_then(|l| l.engine.as_deref()).map(Arc::from),
    }
}

fn rows(
    sheet: &Sheet,
    layout: Option<&LogbookLayout>,
    reading: &Reading<'_>,
    entries: &mut Vec<LogEntry>,
    rejections: &mut Vec<Rejection>,
) {
    let per_flight = layout.is_some_and(|l| l.per == Per::Flight);
    let mut more = 0_u32;
    for row in sheet.rows.get(reading.header.first_row..).unwrap_or(&[]) {
        if is_no_entry(reading, row) {
            continue;
        }
        let reader = RowReader { reading, row };
        match if per_flight { entries::of_flight(reader) } else { entries::of_entry(reader) } {
            Ok(read) => entries.extend(read),
            Err(bad) if rejections.len() < MAX_FAULTS => rejections.push(reject(&reading.file, row.line, bad, false)),
            Err(_) => more += 1,
        }
    }
    if more > 0 {
        let found = bad(format!("{more} further rows that cannot be read"), "rows as the header says".to_owned());
        rejections.push(reject(&reading.file, 0, found, false));
    }
}

/// Rows a person would pass over: blank, the header again, a total, a date prepared for a day to come.
fn is_no_entry(reading: &Reading<'_>, row: &Row) -> bool {
    let dates = &reading.columns.date;
    let rest_is_empty =
        row.cells.iter().enumerate().filter(|(at, _)| !dates.contains(at)).all(|(_, cell)| is_nothing(cell));
    let date_is_empty = dates.iter().all(|at| row.cell(*at).is_empty());
    // Formulas filled down past the last row leave zeros.
    let zeros =
        |cell: &super::table::Cell| matches!(cell, super::table::Cell::Number(0.0) | super::table::Cell::Span(0.0));
    let only_zeros = date_is_empty && row.cells.iter().all(|cell| cell.is_empty() || zeros(cell));
    rest_is_empty
        || only_zeros
        || reading.header.repeats(row)
        || header::is_total(row, dates.first().copied().unwrap_or(0))
}

#[cfg(test)]
mod tests;
