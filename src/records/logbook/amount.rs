//! Quantities of oil and lengths of time as people write them.
//!
//! An O typed for a zero must not become ten quarts: what is not plainly a number is refused with
//! the text as it stands, and so is what nobody pours into an engine at one time.

use crate::records::table::number::number;
use crate::records::table::{Cell, trim};
use crate::units::{Hours, LITRES_PER_QUART, QUARTS_PER_GALLON, Quarts};

/// More than this is not added between changes, US quarts (common practice, no source: sumps of the
/// engines concerned hold 6 to 13, and none is run so low).
pub const MOST_ADDED_QT: f64 = 8.0;
/// No dipstick or refill of the engines concerned reads more, US quarts (common practice, no source).
pub const MOST_LEVEL_QT: f64 = 25.0;
/// Longest flight or ground run of one row, hours.
pub const LONGEST_FLIGHT_H: f64 = 24.0;

/// Unit of a quantity that names none.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Unit {
    Quarts,
    Litres,
}

impl Unit {
    /// `qt` or `l`.
    pub fn of(word: &str) -> Option<Self> {
        match word {
            "qt" => Some(Self::Quarts),
            "l" => Some(Self::Litres),
            _ => None,
        }
    }
}

/// `1`, `0.5`, `1 l`, `1 qt`, `1,5`, `½`, `1 1/2`. `None`: not a quantity.
pub fn quantity(cell: &Cell, decimal: Option<char>, unit: Unit) -> Option<Quarts> {
    let (value, quarts) = match cell {
        Cell::Number(value) => (*value, quarts_per(unit)),
        Cell::Text(text) => {
            let text = trim(text);
            let at = text
                .rfind(|c: char| !(c.is_alphabetic() || matches!(c, '.' | ' ')))
                .map_or(0, |at| at + text[at..].chars().next().map_or(0, char::len_utf8));
            let (amount, word) = text.split_at(at);
            let per = match unit_factor(word.trim_matches(['.', ' '])) {
                Some(per) => per,
                None if word.trim_matches(['.', ' ']).is_empty() => quarts_per(unit),
                None => return None,
            };
            (mixed(trim(amount), decimal)?, per)
        }
        Cell::Empty | Cell::Moment(_) | Cell::Span(_) => return None,
    };
    Quarts::new(value * quarts)
}

fn quarts_per(unit: Unit) -> f64 {
    match unit {
        Unit::Quarts => 1.0,
        Unit::Litres => 1.0 / LITRES_PER_QUART,
    }
}

/// Quarts in one of a unit written with a quantity.
fn unit_factor(word: &str) -> Option<f64> {
    match word.to_lowercase().as_str() {
        "qt" | "qts" | "quart" | "quarts" | "us qt" => Some(1.0),
        "l" | "lt" | "ltr" | "ltrs" | "litre" | "litres" | "liter" | "liters" => Some(1.0 / LITRES_PER_QUART),
        "ml" => Some(0.001 / LITRES_PER_QUART),
        "gal" | "gals" | "gallon" | "gallons" => Some(QUARTS_PER_GALLON),
        _ => None,
    }
}

/// A number, a fraction, or both: `1.5`, `1/2`, `½`, `1 1/2`, `1½`.
fn mixed(text: &str, decimal: Option<char>) -> Option<f64> {
    if let Some(value) = number(text, decimal) {
        return Some(value);
    }
    let sign = text.chars().last().and_then(vulgar);
    if let Some(part) = sign {
        let whole = trim(&text[..text.len() - text.chars().last().map_or(0, char::len_utf8)]);
        return if whole.is_empty() { Some(part) } else { Some(whole_number(whole)? + part) };
    }
    let (before, below) = text.split_once(['/', '\u{2044}'])?;
    let below = whole_number(trim(below)).filter(|n| matches!(*n as u32, 2 | 3 | 4 | 8))?;
    let mut words = before.split_whitespace();
    let (whole, above) = match (words.next(), words.next(), words.next()) {
        (Some(above), None, None) => (0.0, whole_number(above)?),
        (Some(whole), Some(above), None) => (whole_number(whole)?, whole_number(above)?),
        _ => return None,
    };
    (above < below).then_some(whole + above / below)
}

fn whole_number(text: &str) -> Option<f64> {
    text.parse::<u8>().ok().map(f64::from)
}

fn vulgar(sign: char) -> Option<f64> {
    Some(match sign {
        '½' => 0.5,
        '¼' => 0.25,
        '¾' => 0.75,
        '⅓' => 1.0 / 3.0,
        '⅔' => 2.0 / 3.0,
        '⅛' => 0.125,
        '⅜' => 0.375,
        '⅝' => 0.625,
        '⅞' => 0.875,
        _ => return None,
    })
}

/// Hours of a meter or a flight: `1482.3`, `1,4 h`, `1:24`, `84 min`. `None`: not that.
pub fn hours(cell: &Cell, decimal: Option<char>) -> Option<Hours> {
    let value = match cell {
        Cell::Number(value) => *value,
        Cell::Span(days) => days * 24.0,
        Cell::Text(text) => {
            let lower = trim(text).to_lowercase();
            let plain = ["hours", "hrs", "hr", "h"].iter().find_map(|unit| lower.strip_suffix(unit)).unwrap_or(&lower);
            if let Some(minutes) = ["minutes", "mins", "min"].iter().find_map(|unit| plain.strip_suffix(unit)) {
                number(minutes, decimal)? / 60.0
            } else if let Some((h, m)) = plain.split_once([':', '+']) {
                // `1:24:00` as spreadsheets export it.
                let (m, s) = m.split_once(':').unwrap_or((m, "0"));
                let sixty = |s: &str| s.parse::<u8>().ok().filter(|n| *n < 60 && s.len() <= 2).map(f64::from);
                f64::from(h.trim().parse::<u32>().ok()?) + sixty(m.trim())? / 60.0 + sixty(s.trim())? / 3600.0
            } else {
                number(plain, decimal)?
            }
        }
        Cell::Empty | Cell::Moment(_) => return None,
    };
    Hours::new(value)
}
