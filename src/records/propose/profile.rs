//! What a column's values look like.

use std::collections::BTreeSet;

use chrono_tz::Tz;

use crate::records::logbook::amount::{Unit, hours, quantity};
use crate::records::logbook::row::is_nothing;
use crate::records::logbook::when::{Dates, Order, Orders, time_of_day};
use crate::records::table::header::Name;
use crate::records::table::number::number;
use crate::records::table::{Cell, Row, Sheet};

/// Different texts of a column that are kept.
const MAX_TEXTS: usize = 40;

/// A column's name and what its cells hold.
#[derive(Clone, Debug)]
pub struct Profile {
    pub name: Name,
    pub column: usize,
    /// Words of the name, lower case, letters and digits apart.
    pub tokens: Vec<String>,
    pub rows: usize,
    /// Cells with content.
    pub filled: usize,
    /// Cells that are plain numbers, in order.
    pub numbers: Vec<f64>,
    pub dates: usize,
    pub clocks: usize,
    /// Cells that are lengths such as `1:24`.
    pub lengths: usize,
    /// Cells that are quantities of oil with or without a unit, in quarts (or as written).
    pub quantities: Vec<f64>,
    /// Different texts, as written, at most [`MAX_TEXTS`].
    pub texts: BTreeSet<String>,
    /// True if there are more texts than are kept.
    pub many_texts: bool,
    /// Every cell with content is text.
    pub is_text: bool,
    /// The first texts of cells, for format and display.
    pub sample: Vec<String>,
}

impl Profile {
    pub fn new(name: Name, column: usize, rows: &[&Row], sheet: &Sheet) -> Self {
        let cells = || rows.iter().map(|row| row.cell(column)).filter(|cell| !is_nothing(cell));
        let dates = Dates {
            format: None,
            orders: Orders { dotted: Order::DayFirst, other: Order::DayFirst },
            epoch_1904: sheet.epoch_1904,
            zone: None,
            fleet_zone: Tz::UTC,
        };
        let month_first =
            Dates { orders: Orders { dotted: Order::DayFirst, other: Order::MonthFirst }, ..dates.clone() };
        let plain = |cell: &Cell| match cell {
            Cell::Number(value) => Some(*value),
            Cell::Text(text) => number(text, sheet.decimal),
            _ => None,
        };
        let is_date =
            |cell: &Cell| plain(cell).is_none() && [&dates, &month_first].iter().any(|d| d.stamp(&[cell]).is_some());
        let texts: BTreeSet<String> =
            cells().filter(|c| plain(c).is_none()).map(|c| c.to_string()).take(100_000).collect();
        Self {
            tokens: tokens(&name.bare),
            column,
            rows: rows.len(),
            filled: cells().count(),
            numbers: cells().filter_map(plain).collect(),
            dates: cells().filter(|c| is_date(c)).count(),
            clocks: cells().filter(|c| is_clock(c)).count(),
            lengths: cells().filter(|c| plain(c).is_none() && hours(c, sheet.decimal).is_some()).count(),
            quantities: cells()
                .filter_map(|c| quantity(c, sheet.decimal, Unit::Quarts))
                .map(crate::units::Quarts::get)
                .collect(),
            many_texts: texts.len() > MAX_TEXTS,
            texts: texts.into_iter().take(MAX_TEXTS).collect(),
            is_text: cells().all(|c| c.as_text().is_some()),
            sample: cells().map(ToString::to_string).take(200).collect(),
            name,
        }
    }

    /// True if the name has one of `words`.
    pub fn says(&self, words: &[&str]) -> bool {
        self.tokens.iter().any(|token| words.contains(&token.as_str()))
    }

    /// True if at least nine tenths of the filled cells are `count`.
    pub fn mostly(&self, count: usize) -> bool {
        self.filled > 0 && count * 10 >= self.filled * 9
    }

    /// True if the numbers never fall, or never rise, save one in thirty.
    pub fn runs_one_way(&self) -> bool {
        let steps: Vec<f64> = self.numbers.windows(2).map(|pair| pair[1] - pair[0]).collect();
        let rises = steps.iter().filter(|s| **s >= 0.0).count();
        let falls = steps.iter().filter(|s| **s <= 0.0).count();
        self.numbers.len() > 2 && rises.max(falls) * 30 >= steps.len() * 29 && self.range().is_some_and(|(a, b)| b > a)
    }

    /// Least and greatest number.
    pub fn range(&self) -> Option<(f64, f64)> {
        let least = self.numbers.iter().copied().reduce(f64::min)?;
        Some((least, self.numbers.iter().copied().reduce(f64::max)?))
    }

    /// The middle number.
    pub fn median(&self) -> Option<f64> {
        let mut sorted = self.numbers.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(sorted.len() / 2).copied()
    }

    /// Some of the values, for a person to recognise the column by.
    pub fn shown(&self) -> String {
        let mut seen = BTreeSet::new();
        let short = |text: &str| text.chars().take(30).collect::<String>();
        let some: Vec<String> =
            self.sample.iter().filter(|text| seen.insert(*text)).take(4).map(|text| short(text)).collect();
        if some.is_empty() { "empty".to_owned() } else { some.join(", ") }
    }
}

fn is_clock(cell: &Cell) -> bool {
    match cell {
        Cell::Text(text) => text.contains([':', 'h', 'H']) && time_of_day(cell).is_some(),
        Cell::Span(days) => (0.0..1.0).contains(days),
        _ => false,
    }
}

/// True for a number, a date or a time.
pub fn is_value(text: &str) -> bool {
    text.starts_with(|c: char| c.is_ascii_digit() || matches!(c, '-' | '+' | '.')) || matches!(text, "TRUE" | "FALSE")
}

/// `oil_l2` → oil, l, 2.
fn tokens(key: &str) -> Vec<String> {
    let mut tokens: Vec<String> = Vec::new();
    for part in key.split('_') {
        let mut last_digit = None;
        for c in part.chars() {
            let digit = c.is_ascii_digit();
            match tokens.last_mut() {
                Some(token) if last_digit == Some(digit) => token.push(c),
                _ => tokens.push(c.to_string()),
            }
            last_digit = Some(digit);
        }
    }
    tokens
}
