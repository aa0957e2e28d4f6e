//! Cuts text into fields, line by line, with limits on everything.
//!
//! A reader that trusts quotes loses the rest of the file to one unbalanced quote, without an error.
//! Here a quoted field may run over a few lines only if it then closes properly and what it took in
//! does not look like rows of its own; else that one line is reported and reading resumes at the next.

use std::collections::VecDeque;
use std::io::{self, Read};
use std::ops::ControlFlow;

use encoding_rs::{CoderResult, Decoder};

use super::{Dialect, Fault, MAX_FIELD, MAX_LINE, MAX_QUOTED_LINES};

/// The fields of one row.
#[derive(Clone, Debug, Default)]
pub struct Fields {
    text: String,
    ends: Vec<usize>,
}

impl Fields {
    pub fn len(&self) -> usize {
        self.ends.len()
    }

    pub fn is_empty(&self) -> bool {
        self.ends.is_empty()
    }

    /// Field `index` (0-based), quotes taken off, blanks kept.
    pub fn get(&self, index: usize) -> Option<&str> {
        let from = if index == 0 { 0 } else { *self.ends.get(index - 1)? };
        self.text.get(from..*self.ends.get(index)?)
    }

    pub fn iter(&self) -> impl Iterator<Item = &str> {
        (0..self.len()).filter_map(|i| self.get(i))
    }

    fn clear(&mut self) {
        self.text.clear();
        self.ends.clear();
    }

    fn end_field(&mut self) {
        self.ends.push(self.text.len());
    }
}

/// What [`cut`] hands over.
#[derive(Debug)]
pub enum Piece<'a> {
    Row {
        /// Line the row begins at.
        line: u32,
        fields: &'a Fields,
    },
    Fault(Fault),
}

/// Reads `input` to its end, or until `each` breaks. Blank lines are left out. Memory stays below
/// a few times [`MAX_LINE`] whatever the input.
///
/// # Errors
/// Only what reading `input` gives.
pub fn cut(
    input: &mut dyn Read,
    dialect: &Dialect,
    each: &mut dyn FnMut(Piece<'_>) -> ControlFlow<()>,
) -> io::Result<()> {
    let mut lines = Lines::new(input, dialect);
    let mut ahead: VecDeque<Line> = VecDeque::new();
    let mut fields = Fields::default();
    loop {
        let line = match ahead.pop_front() {
            Some(line) => line,
            None => match lines.next()? {
                Some(line) => line,
                None => return Ok(()),
            },
        };
        if line.number <= dialect.skip_lines {
            continue;
        }
        let piece = match line.content {
            Err(ref fault) => Piece::Fault(fault.clone()),
            Ok(ref text) if text.trim().is_empty() => continue,
            Ok(ref text) => {
                fields.clear();
                let mut quote = Quote::default();
                quote.cut(text, dialect.delimiter, &mut fields);
                let whole = !quote.open || join(&mut quote, &mut fields, &mut ahead, &mut lines, dialect.delimiter)?;
                if whole {
                    Piece::Row { line: line.number, fields: &fields }
                } else {
                    Piece::Fault(unclosed(line.number, quote.field))
                }
            }
        };
        if each(piece).is_break() {
            return Ok(());
        }
    }
}

fn unclosed(line: u32, field: usize) -> Fault {
    Fault {
        line,
        found: format!("a quotation mark opened in cell {} that is not closed", field + 1),
        expected: "a closing quotation mark in the same cell (one within text is written twice)".to_owned(),
    }
}

/// Takes following lines into an open quoted field. False if that field is not meant to run on; the
/// lines then stay in `ahead`.
fn join(
    quote: &mut Quote,
    fields: &mut Fields,
    ahead: &mut VecDeque<Line>,
    lines: &mut Lines<'_>,
    delimiter: char,
) -> io::Result<bool> {
    let first_field = quote.field;
    let mut taken = 0;
    while quote.open && taken < MAX_QUOTED_LINES && fields.text.len() <= MAX_FIELD {
        if ahead.len() == taken {
            match lines.next()? {
                Some(line) => ahead.push_back(line),
                None => break,
            }
        }
        let Ok(text) = &ahead[taken].content else { break };
        // A line with as many delimiters as the row itself, and the quote still open, is a row of its own.
        if looks_like_a_row(text, delimiter, first_field) {
            break;
        }
        fields.text.push('\n');
        quote.cut(text, delimiter, fields);
        taken += 1;
    }
    let whole = !quote.open && !quote.ragged;
    if whole {
        ahead.drain(..taken);
    } else {
        quote.field = first_field;
    }
    Ok(whole)
}

/// True if `text` begins as a row does: with a date, or with a number and as many cells as the row so far.
fn looks_like_a_row(text: &str, delimiter: char, field: usize) -> bool {
    let Some((first, _)) = text.split_once(delimiter) else { return false };
    let first = first.trim();
    let marks = first.chars().filter(|c| matches!(c, '-' | '/' | '.')).count();
    let dated =
        marks == 2 && first.len() <= 20 && first.chars().all(|c| c.is_ascii_alphanumeric() || "-/.: ".contains(c));
    let cells = text.matches(delimiter).count() + 1;
    first.starts_with(|c: char| c.is_ascii_digit()) && (dated || (cells > 2 && cells > field))
}

/// Where the cutting of a row stands at the end of a line.
#[derive(Debug, Default)]
struct Quote {
    open: bool,
    /// Something stood between a closing quote that ended on a later line and the next delimiter.
    ragged: bool,
    /// Field being cut, 0-based.
    field: usize,
}

impl Quote {
    /// Cuts `text`; goes on within a quoted field if one is open.
    fn cut(&mut self, text: &str, delimiter: char, fields: &mut Fields) {
        let mut rest = text;
        let continued = self.open;
        let mut first = true;
        loop {
            let field_goes_on = continued && first;
            if !field_goes_on {
                let start = rest.trim_start_matches(' ');
                if let Some(inner) = start.strip_prefix('"') {
                    self.open = true;
                    rest = inner;
                }
            }
            if self.open {
                let Some(after) = self.quoted(rest, fields) else { return };
                rest = after;
                let tail = rest.split_once(delimiter).map_or(rest, |(tail, _)| tail);
                if field_goes_on && !tail.trim().is_empty() {
                    self.ragged = true;
                }
            }
            first = false;
            match rest.split_once(delimiter) {
                Some((field, next)) => {
                    fields.text.push_str(field);
                    fields.end_field();
                    self.field += 1;
                    rest = next;
                }
                None => {
                    fields.text.push_str(rest);
                    fields.end_field();
                    return;
                }
            }
        }
    }

    /// Takes a quoted field up to its closing quote and gives what follows; `None` if it does not close here.
    fn quoted<'t>(&mut self, mut rest: &'t str, fields: &mut Fields) -> Option<&'t str> {
        loop {
            let Some((inside, after)) = rest.split_once('"') else {
                fields.text.push_str(rest);
                return None;
            };
            fields.text.push_str(inside);
            match after.strip_prefix('"') {
                Some(after) => {
                    fields.text.push('"');
                    rest = after;
                }
                None => {
                    self.open = false;
                    return Some(after);
                }
            }
        }
    }
}

#[derive(Debug)]
struct Line {
    number: u32,
    content: Result<String, Fault>,
}

/// Decoded lines, none longer than [`MAX_LINE`].
struct Lines<'r> {
    input: &'r mut dyn Read,
    decoder: Decoder,
    raw: Box<[u8]>,
    /// Bytes of `raw` read and not yet decoded.
    pending: std::ops::Range<usize>,
    /// Decoded and not yet handed out from `from` on.
    text: String,
    from: usize,
    number: u32,
    newline: char,
    at_end: bool,
}

impl<'r> Lines<'r> {
    fn new(input: &'r mut dyn Read, dialect: &Dialect) -> Self {
        Self {
            input,
            decoder: dialect.encoding.new_decoder_with_bom_removal(),
            raw: vec![0; 32 * 1024].into_boxed_slice(),
            pending: 0..0,
            text: String::new(),
            from: 0,
            number: 0,
            newline: char::from(dialect.newline),
            at_end: false,
        }
    }

    fn next(&mut self) -> io::Result<Option<Line>> {
        let mut seen = 0;
        let mut too_long = false;
        let mut nul = false;
        loop {
            let rest = &self.text[self.from..];
            if let Some(end) = memchr::memchr(self.newline as u8, &rest.as_bytes()[seen..]).map(|at| at + seen) {
                let line = rest[..end].strip_suffix('\r').unwrap_or(&rest[..end]).to_owned();
                self.from += end + 1;
                return Ok(Some(self.line(line, too_long, nul)));
            }
            if self.at_end {
                if rest.is_empty() && !too_long {
                    return Ok(None);
                }
                let line = rest.to_owned();
                self.from = self.text.len();
                return Ok(Some(self.line(line, too_long, nul)));
            }
            seen = rest.len();
            if seen > MAX_LINE {
                // Forget what came; only the end of the line is still looked for.
                nul |= rest.contains('\0');
                too_long = true;
                self.from = self.text.len();
                seen = 0;
            }
            self.fill()?;
        }
    }

    fn line(&mut self, text: String, too_long: bool, nul: bool) -> Line {
        self.number = self.number.saturating_add(1);
        let number = self.number;
        let fault = |found: &str, expected: &str| {
            Err(Fault { line: number, found: found.to_owned(), expected: expected.to_owned() })
        };
        let content = if nul || text.contains('\0') {
            fault("NUL bytes", "text; the file may still be being copied, or was cut short")
        } else if too_long || text.len() > MAX_LINE {
            fault("a line of more than 65536 characters", "a row of a logbook or recording")
        } else {
            Ok(text)
        };
        Line { number, content }
    }

    /// Decodes some more into `text`.
    fn fill(&mut self) -> io::Result<()> {
        self.text.drain(..self.from);
        self.from = 0;
        if self.pending.is_empty() {
            let read = loop {
                match self.input.read(&mut self.raw) {
                    Err(error) if error.kind() == io::ErrorKind::Interrupted => {}
                    other => break other?,
                }
            };
            self.pending = 0..read;
            self.at_end = read == 0;
        }
        let bytes = &self.raw[self.pending.clone()];
        self.text.reserve(self.decoder.max_utf8_buffer_length(bytes.len()).unwrap_or(MAX_LINE));
        let (result, read, _) = self.decoder.decode_to_string(bytes, &mut self.text, self.at_end);
        self.pending.start += read;
        if result == CoderResult::OutputFull {
            self.at_end = false;
        }
        Ok(())
    }
}
