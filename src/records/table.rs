//! Any sheet as rows of cells: csv in whatever dialect a spreadsheet saves, and workbooks.
//!
//! Operators keep logs in the sheet they have, not in the one we would like. What can be found out
//! from the file itself (encoding, delimiter, decimal mark, where the header stands) is found out
//! here, and every limit that keeps one odd file from taking the others down is here too: length of
//! a line, of a quoted field, number of cells. What could not be cut is a [`Fault`] with its line.
//!
//! [`Sheet::from_text`] for text in memory, [`cut`] for text of any length in bounded memory,
//! [`workbook::read`] for workbooks (run in a child process by the shell, since a workbook can be a
//! decompression bomb).

pub mod cut;
pub mod dialect;
pub mod ending;
pub mod header;
pub mod number;
pub mod workbook;

use std::fmt;
use std::ops::ControlFlow;

use chrono::NaiveDateTime;
use serde::{Deserialize, Serialize};

pub use cut::{Fields, Piece, cut};
pub use dialect::{Dialect, sniff};
pub use ending::fully_there;
pub use header::Header;

use super::layout::Shape;
use super::{Rejection, Source};

/// Largest text file read as a sheet, bytes (recordings, which are not kept, may be longer).
pub const MAX_FILE: usize = 16 * 1024 * 1024;
/// Longest line of a text file, bytes of UTF-8.
pub const MAX_LINE: usize = 64 * 1024;
/// Longest quoted field that runs over several lines, bytes of UTF-8.
pub const MAX_FIELD: usize = 16 * 1024;
/// Most lines one quoted field may run over.
pub const MAX_QUOTED_LINES: usize = 20;
/// Most cells kept of one row.
pub const MAX_COLUMNS: usize = 512;
/// Most cells kept of one sheet (about 60 MB).
pub const MAX_CELLS: usize = 1_000_000;
/// Most rows kept of one sheet.
pub const MAX_ROWS: usize = 100_000;
/// Most faults and rejections kept of one file; a last one says how many more there are.
pub const MAX_FAULTS: usize = 2_000;

/// One cell.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub enum Cell {
    #[default]
    Empty,
    /// Trimmed, never empty.
    Text(Box<str>),
    /// A number of a workbook.
    Number(f64),
    /// A date (and time) of a workbook.
    Moment(NaiveDateTime),
    /// A time of day or a length of time of a workbook, in days.
    Span(f64),
}

impl Cell {
    /// Trims blanks of every kind; nothing left is [`Cell::Empty`].
    pub fn text(text: &str) -> Self {
        let trimmed = trim(text);
        if trimmed.is_empty() { Self::Empty } else { Self::Text(trimmed.into()) }
    }

    pub fn is_empty(&self) -> bool {
        matches!(self, Self::Empty)
    }

    /// The text, if it is text.
    pub fn as_text(&self) -> Option<&str> {
        match self {
            Self::Text(text) => Some(text),
            _ => None,
        }
    }
}

/// As a person would see it in the sheet.
impl fmt::Display for Cell {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Empty => Ok(()),
            Self::Text(text) => f.write_str(text),
            Self::Number(value) => write!(f, "{value}"),
            Self::Moment(at) if at.time() == chrono::NaiveTime::MIN => write!(f, "{}", at.date()),
            Self::Moment(at) => write!(f, "{}", at.format("%Y-%m-%d %H:%M:%S")),
            Self::Span(days) => {
                let minutes = (days * 1440.0).round() as i64;
                write!(f, "{}:{:02}", minutes.div_euclid(60), minutes.rem_euclid(60))
            }
        }
    }
}

/// Strips blanks, no-break spaces, the byte-order mark and other invisible signs from both ends.
pub fn trim(text: &str) -> &str {
    text.trim_matches(|c: char| {
        c.is_whitespace() || c.is_control() || matches!(c, '\u{feff}' | '\u{200b}'..='\u{200f}')
    })
}

/// A row with its line (text) or row number (workbook), 1-based. Cells after the last one with
/// content are left out.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Row {
    pub line: u32,
    pub cells: Vec<Cell>,
}

impl Row {
    /// The cell at `column`; empty past the end.
    pub fn cell(&self, column: usize) -> &Cell {
        static EMPTY: Cell = Cell::Empty;
        self.cells.get(column).unwrap_or(&EMPTY)
    }

    /// True if no cell has content.
    pub fn is_blank(&self) -> bool {
        self.cells.iter().all(Cell::is_empty)
    }

    /// Drops empty cells at the end.
    pub fn trim_end(&mut self) {
        let used = self.cells.iter().rposition(|c| !c.is_empty()).map_or(0, |i| i + 1);
        self.cells.truncate(used);
        self.cells.shrink_to_fit();
    }
}

/// A row, or the rest of a file, that could not be cut into cells.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fault {
    /// 0 = the file as a whole.
    pub line: u32,
    pub found: String,
    pub expected: String,
}

impl Fault {
    /// As a rejection of `file`.
    pub fn reject(&self, file: &std::sync::Arc<str>) -> Rejection {
        Rejection {
            source: Source { file: file.clone(), line: self.line },
            found: self.found.clone(),
            expected: self.expected.clone(),
            whole_file: self.line == 0,
        }
    }
}

/// A sheet as rows, blank ones left out, with what could not be cut.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Sheet {
    pub rows: Vec<Row>,
    pub faults: Vec<Fault>,
    /// Decimal mark of numbers written as text.
    pub decimal: Option<char>,
    /// Numbers that are dates count from 1904, not 1900.
    pub epoch_1904: bool,
    /// Lines the layout says stand before the header; already left out for text.
    pub skip_lines: u32,
    /// True for text, whose cells all are text.
    pub from_text: bool,
}

impl Sheet {
    /// Cuts text of any encoding into rows. Never fails; what cannot be cut is in `faults`.
    pub fn from_text(bytes: &[u8], shape: &Shape) -> Self {
        if let Some(fault) = not_text(bytes) {
            return Self { faults: vec![fault], from_text: true, ..Self::default() };
        }
        let dialect = sniff(bytes, shape);
        let mut sheet =
            Self { decimal: dialect.decimal, skip_lines: shape.skip_lines, from_text: true, ..Self::default() };
        let mut cells = 0;
        let mut more_faults = 0_u32;
        let mut input = bytes;
        // Reading from memory does not fail.
        let _: std::io::Result<()> = cut(&mut input, &dialect, &mut |piece| match piece {
            Piece::Fault(fault) => {
                if sheet.faults.len() < MAX_FAULTS {
                    sheet.faults.push(fault)
                } else {
                    more_faults += 1
                }
                ControlFlow::Continue(())
            }
            Piece::Row { line, fields } => {
                let mut row = Row { line, cells: fields.iter().take(MAX_COLUMNS).map(Cell::text).collect() };
                row.trim_end();
                cells += row.cells.len();
                if row.cells.is_empty() {
                    return ControlFlow::Continue(());
                }
                if let Some(fault) = too_much(sheet.rows.len(), cells, line) {
                    sheet.faults.push(fault);
                    return ControlFlow::Break(());
                }
                sheet.rows.push(row);
                ControlFlow::Continue(())
            }
        });
        if more_faults > 0 {
            sheet.faults.push(Fault {
                line: 0,
                found: format!("{more_faults} further lines that cannot be read"),
                expected: "a sheet saved as csv".to_owned(),
            });
        }
        sheet
    }
}

/// The fault of a row past the limits, if it is.
pub(crate) fn too_much(rows: usize, cells: usize, line: u32) -> Option<Fault> {
    (rows >= MAX_ROWS || cells > MAX_CELLS).then(|| Fault {
        line,
        found: format!("more than {MAX_ROWS} rows or {MAX_CELLS} cells; the rest was not read"),
        expected: "one aircraft's log, split by year if need be".to_owned(),
    })
}

/// What a file is by its first bytes, whatever its name says.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Content {
    Text,
    /// A zip archive: xlsx or ods.
    Workbook,
    /// An old or password-protected workbook.
    Locked,
    /// A picture, a PDF or the like.
    Other,
}

/// Looks at the first bytes (magic numbers: zip APPNOTE 4.3.7, MS-CFB 2.2, ISO 32000 7.5.2, RFC 2083).
pub fn content(start: &[u8]) -> Content {
    if start.starts_with(b"PK\x03\x04") {
        Content::Workbook
    } else if start.starts_with(&[0xD0, 0xCF, 0x11, 0xE0]) {
        Content::Locked
    } else if start.starts_with(b"%PDF")
        || start.starts_with(&[0x89, b'P', b'N', b'G'])
        || start.starts_with(&[0xFF, 0xD8, 0xFF])
    {
        Content::Other
    } else {
        Content::Text
    }
}

fn not_text(bytes: &[u8]) -> Option<Fault> {
    let fault =
        |found: &str, expected: &str| Some(Fault { line: 0, found: found.to_owned(), expected: expected.to_owned() });
    match content(bytes) {
        Content::Text if bytes.len() > MAX_FILE => fault("a file of more than 16 MB", "one aircraft's log"),
        Content::Text => None,
        Content::Workbook => {
            fault("a workbook under the name of a text file", "csv text, or a name ending in .xlsx or .ods")
        }
        Content::Locked => fault(
            "an old (.xls) or password-protected workbook",
            "the sheet saved without a password as .xlsx, .ods or .csv",
        ),
        Content::Other => fault("a picture or PDF", "the sheet saved as .xlsx, .ods or .csv"),
    }
}

#[cfg(test)]
mod tests;
