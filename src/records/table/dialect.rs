//! What a text file does not say about itself: encoding, delimiter, decimal mark.
//!
//! Found from the first part of the file by counting, so that no operator needs to know these
//! words; a layout that states them wins.

use encoding_rs::{Encoding, UTF_8, UTF_16BE, UTF_16LE, WINDOWS_1252};

use crate::records::layout::Shape;

/// How much of a file is looked at.
const SAMPLE: usize = 256 * 1024;
/// How many of its lines are counted.
const SAMPLE_LINES: usize = 60;
/// Delimiters tried, the likelier first.
const DELIMITERS: [char; 4] = [',', ';', '\t', '|'];

/// How to cut a text file.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Dialect {
    pub encoding: &'static Encoding,
    pub delimiter: char,
    /// Decimal mark, where the layout or the file shows one.
    pub decimal: Option<char>,
    /// `\n`, or `\r` where the file has no `\n`.
    pub newline: u8,
    /// Physical lines to leave out at the start (a `sep=` line included).
    pub skip_lines: u32,
}

/// Finds the dialect from the file's beginning (or all of it), what `shape` states given.
pub fn sniff(start: &[u8], shape: &Shape) -> Dialect {
    let stated = shape.encoding.as_deref().and_then(|label| Encoding::for_label(label.as_bytes()));
    // A byte-order mark says more than a layout that may be years old.
    let encoding = Encoding::for_bom(start).map(|(e, _)| e).or(stated).unwrap_or_else(|| guess_encoding(start));
    let (text, _, _) = encoding.decode(&start[..start.len().min(SAMPLE)]);
    let newline = if text.contains('\n') || !text.contains('\r') { b'\n' } else { b'\r' };
    let separator_line = text.lines().next().and_then(separator);
    let skip_lines = shape.skip_lines.max(u32::from(separator_line.is_some()));
    let lines: Vec<&str> = text
        .split(char::from(newline))
        .skip(skip_lines as usize)
        .filter(|line| !line.trim().is_empty())
        .take(SAMPLE_LINES)
        .collect();
    let delimiter =
        shape.delimiter.filter(char::is_ascii).or(separator_line).unwrap_or_else(|| guess_delimiter(&lines));
    let decimal = shape.decimal.or_else(|| guess_decimal(&lines, delimiter));
    Dialect { encoding, delimiter, decimal, newline, skip_lines }
}

/// The delimiter a first line `sep=;` names.
fn separator(line: &str) -> Option<char> {
    let line = line.trim_start_matches('\u{feff}').trim_matches(['"', '\r']);
    let rest = line.get(..4).filter(|s| s.eq_ignore_ascii_case("sep=")).and(line.get(4..))?;
    let mut chars = rest.trim_matches(' ').chars();
    match (chars.next(), chars.next()) {
        (Some(c), None) if c.is_ascii() && !c.is_ascii_alphanumeric() && c != '"' => Some(c),
        _ => None,
    }
}

/// UTF-16 by its NUL pattern, UTF-8 if it reads as that (one broken line does not change the rest),
/// else Windows-1252.
fn guess_encoding(bytes: &[u8]) -> &'static Encoding {
    let head = &bytes[..bytes.len().min(4096) & !1];
    let zeros = |odd: usize| head.iter().skip(odd).step_by(2).filter(|b| **b == 0).count();
    let (even, odd) = (zeros(0), zeros(1));
    let half = head.len() / 2;
    if half >= 4 && odd * 10 >= half * 6 && even * 10 < half {
        return UTF_16LE;
    }
    if half >= 4 && even * 10 >= half * 6 && odd * 10 < half {
        return UTF_16BE;
    }
    let (mut good, mut bad) = (0_usize, 0_usize);
    for chunk in bytes.utf8_chunks() {
        good += chunk.valid().chars().filter(|c| !c.is_ascii()).count();
        bad += usize::from(!chunk.invalid().is_empty());
    }
    if bad > good { WINDOWS_1252 } else { UTF_8 }
}

/// True for NUL bytes near the beginning of what is no UTF-16.
pub fn is_binary(bytes: &[u8]) -> bool {
    bytes.iter().take(1024).any(|b| *b == 0)
        && Encoding::for_bom(bytes).is_none()
        && ![UTF_16LE, UTF_16BE].contains(&guess_encoding(bytes))
}

/// Occurrences of `delimiter` outside quotes.
fn count(line: &str, delimiter: char) -> usize {
    let mut quoted = false;
    line.chars()
        .filter(|c| {
            quoted ^= *c == '"';
            !quoted && *c == delimiter
        })
        .count()
}

/// The delimiter that cuts most lines into the same number of cells, and into many.
fn guess_delimiter(lines: &[&str]) -> char {
    let mut best = (0.0, ',');
    for delimiter in DELIMITERS {
        let counts: Vec<usize> = lines.iter().map(|line| count(line, delimiter)).filter(|n| *n > 0).collect();
        let Some(&most) = counts.iter().max_by_key(|n| counts.iter().filter(|m| m == n).count()) else { continue };
        let alike = counts.iter().filter(|n| **n == most).count();
        let lines = lines.len() as f64;
        let score = (counts.len() as f64 / lines) * (alike as f64 / lines) * (1.0 + most as f64).ln();
        if score > best.0 {
            best = (score, delimiter);
        }
    }
    best.1
}

/// The mark in cells that are numbers with decimals; thousands (`1,482`) tell nothing.
fn guess_decimal(lines: &[&str], delimiter: char) -> Option<char> {
    let (mut points, mut commas) = (0, 0);
    for cell in lines.iter().flat_map(|line| line.split(delimiter)) {
        let cell = cell.trim_matches(|c: char| c == '"' || c.is_whitespace());
        let Some(at) = cell.rfind(['.', ',']) else { continue };
        let (whole, tail) = (&cell[..at], &cell[at + 1..]);
        let digits = |s: &str| !s.is_empty() && s.bytes().all(|b| b.is_ascii_digit());
        if tail.len() == 3 || !digits(tail) || !digits(whole.trim_start_matches('-')) {
            continue;
        }
        if cell.as_bytes()[at] == b',' { commas += 1 } else { points += 1 }
    }
    match (points, commas) {
        (0, 0) => None,
        (points, commas) => Some(if commas > points { ',' } else { '.' }),
    }
}
