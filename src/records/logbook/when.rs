//! Dates and times of day as people write them.
//!
//! `3/1/2026` is March in one office and January in the next. The whole column decides: a 15 in
//! first place settles it, then the order of the rows, and only then the habit of the country.

use std::collections::BTreeSet;

use chrono::{DateTime, Duration, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;

use crate::records::Stamp;
use crate::records::table::number::number;
use crate::records::table::{Cell, trim};

/// What the first number of `3/1/2026` is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Order {
    MonthFirst,
    DayFirst,
    YearFirst,
}

/// The order for dates with dots, and for all others.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Orders {
    pub dotted: Order,
    pub other: Order,
}

impl Orders {
    /// Decides from all of a column's cells. In doubt: day first with dots, month first otherwise (US).
    pub fn of<'a>(cells: impl Iterator<Item = &'a Cell>) -> Self {
        let (mut dotted, mut other) = (Vec::new(), Vec::new());
        for triple in cells.filter_map(Cell::as_text).filter_map(Triple::of).filter(|t| !t.year_first) {
            if triple.mark == '.' { dotted.push(triple) } else { other.push(triple) }
        }
        Self { dotted: order(&dotted, Order::DayFirst), other: order(&other, Order::MonthFirst) }
    }
}

fn order(triples: &[Triple], usual: Order) -> Order {
    let short_years = triples.iter().all(|t| t.mark != '/' && t.short_year && t.a > 12 && (1..=31).contains(&t.c));
    let distinct = |part: fn(&Triple) -> u32| triples.iter().map(part).collect::<BTreeSet<_>>().len();
    if short_years && distinct(|t| t.c) > distinct(|t| t.a) {
        return Order::YearFirst;
    }
    let day_first = triples.iter().filter(|t| t.a > 12 && t.b <= 12).count();
    let month_first = triples.iter().filter(|t| t.b > 12 && t.a <= 12).count();
    if day_first != month_first {
        return if day_first > month_first { Order::DayFirst } else { Order::MonthFirst };
    }
    let ordered = |order| {
        let dates: Vec<_> = triples.iter().filter_map(|t| t.date(order)).collect();
        dates.is_sorted() || dates.iter().rev().is_sorted()
    };
    match (ordered(Order::DayFirst), ordered(Order::MonthFirst)) {
        (true, false) => Order::DayFirst,
        (false, true) => Order::MonthFirst,
        _ => usual,
    }
}

/// Three numbers of a date, as written.
#[derive(Clone, Copy, Debug)]
struct Triple {
    a: u32,
    b: u32,
    c: u32,
    mark: char,
    short_year: bool,
    /// The first number has four digits.
    year_first: bool,
}

impl Triple {
    /// From the start of `text`, what follows a blank left out.
    fn of(text: &str) -> Option<Self> {
        let text = trim(text).split([' ', 'T']).next()?;
        let mark = text.chars().find(|c| !c.is_ascii_digit()).filter(|c| matches!(c, '/' | '-' | '.'))?;
        let parts: Vec<&str> = text.trim_end_matches(mark).split(mark).collect();
        let [a, b, c] = parts[..] else { return None };
        let (year_first, short_year) = match (a.len(), b.len(), c.len()) {
            (4, 1 | 2, 1 | 2) => (true, false),
            (1 | 2, 1 | 2, 4) => (false, false),
            (1 | 2, 1 | 2, 2) => (false, true),
            _ => return None,
        };
        Some(Self { a: a.parse().ok()?, b: b.parse().ok()?, c: c.parse().ok()?, mark, short_year, year_first })
    }

    fn date(self, order: Order) -> Option<NaiveDate> {
        let (year, month, day) = match (self.year_first, order) {
            (true, _) | (false, Order::YearFirst) => (self.a, self.b, self.c),
            (false, Order::MonthFirst) => (self.c, self.a, self.b),
            (false, Order::DayFirst) => (self.c, self.b, self.a),
        };
        plausible(NaiveDate::from_ymd_opt(full_year(year, self.short_year), month, day)?)
    }
}

/// Two-digit years as POSIX strptime `%y` has them: 69 to 99 are 19xx, 00 to 68 are 20xx.
fn full_year(year: u32, short: bool) -> i32 {
    let year = year as i32;
    match year {
        _ if !short => year,
        69.. => 1900 + year,
        _ => 2000 + year,
    }
}

fn plausible(date: NaiveDate) -> Option<NaiveDate> {
    use chrono::Datelike;
    (1950..2100).contains(&date.year()).then_some(date)
}

/// Reads a column's dates.
#[derive(Clone, Debug)]
pub struct Dates<'a> {
    /// chrono's strftime, from a layout.
    pub format: Option<&'a str>,
    pub orders: Orders,
    /// Serial numbers count from 1904.
    pub epoch_1904: bool,
    /// Zone the sheet's times are in, where that is not the fleet's.
    pub zone: Option<Tz>,
    pub fleet_zone: Tz,
}

impl Dates<'_> {
    /// The stamp that `cells` (date, perhaps time) give together; `None` if they give none.
    pub fn stamp(&self, cells: &[&Cell]) -> Option<Stamp> {
        let (date, time) = self.read(cells)?;
        let (Some(zone), Some(at)) = (self.zone, time) else { return Some(Stamp { date, time }) };
        let utc = zone.from_local_datetime(&date.and_time(at)).earliest()?.with_timezone(&Utc);
        Some(self.local(utc))
    }

    fn local(&self, at: DateTime<Utc>) -> Stamp {
        let local = at.with_timezone(&self.fleet_zone).naive_local();
        Stamp { date: local.date(), time: Some(local.time()) }
    }

    fn read(&self, cells: &[&Cell]) -> Option<(NaiveDate, Option<NaiveTime>)> {
        let filled: Vec<&Cell> = cells.iter().copied().filter(|c| !c.is_empty()).collect();
        if let Some(format) = self.format
            && filled.iter().all(|cell| cell.as_text().is_some())
        {
            let texts: Vec<&str> = filled.iter().filter_map(|cell| cell.as_text()).collect();
            return formatted(&texts.join(" "), format);
        }
        let (first, rest) = filled.split_first()?;
        let (date, mut time) = self.date(first)?;
        if let Some(cell) = rest.first() {
            time = Some(time_of_day(cell)?);
        }
        (rest.len() < 2).then_some((date, time))
    }

    fn date(&self, cell: &Cell) -> Option<(NaiveDate, Option<NaiveTime>)> {
        match cell {
            Cell::Moment(at) => Some((plausible(at.date())?, Some(at.time()).filter(|t| *t != NaiveTime::MIN))),
            Cell::Number(serial) => self.serial(*serial),
            Cell::Text(text) => {
                // A zone written with the time (RFC 3339) is taken at its word.
                if let Ok(at) = DateTime::parse_from_rfc3339(text) {
                    let stamp = self.local(at.with_timezone(&Utc));
                    return Some((plausible(stamp.date)?, stamp.time));
                }
                date_and_time(text, self.orders).or_else(|| self.serial(number(text, Some('.'))?))
            }
            Cell::Empty | Cell::Span(_) => None,
        }
    }

    /// A spreadsheet's serial number, whole days and a fraction, where it falls in 1990 to 2099.
    /// Day 1 is 1900-01-01 with a 29 February 1900 that never was, or day 0 is 1904-01-01
    /// (ECMA-376 part 1, 18.17.4.1).
    fn serial(&self, serial: f64) -> Option<(NaiveDate, Option<NaiveTime>)> {
        let days = if self.epoch_1904 { serial + 1462.0 } else { serial };
        if !(32_874.0..73_051.0).contains(&days) {
            return None;
        }
        let whole = NaiveDate::from_ymd_opt(1899, 12, 30)?.checked_add_signed(Duration::days(days.floor() as i64))?;
        let seconds = (days.fract() * 86_400.0).round() as i64;
        let at: NaiveDateTime = whole.and_time(NaiveTime::MIN).checked_add_signed(Duration::seconds(seconds))?;
        Some((at.date(), Some(at.time()).filter(|_| days.fract() > 0.0)))
    }
}

/// By a layout's format; without the time of day where the cell of the time is empty.
fn formatted(text: &str, format: &str) -> Option<(NaiveDate, Option<NaiveTime>)> {
    if let Ok(at) = NaiveDateTime::parse_from_str(text, format) {
        return Some((plausible(at.date())?, Some(at.time())));
    }
    let time_at = ["%H", "%I", "%k", "%l", "%T", "%R"].iter().filter_map(|mark| format.find(mark)).min();
    let date_only = time_at.map_or(format, |at| format[..at].trim_end_matches([' ', 'T', ',']));
    Some((plausible(NaiveDate::parse_from_str(text, date_only).ok()?)?, None))
}

/// A date, with a time after a blank or a `T`.
fn date_and_time(text: &str, orders: Orders) -> Option<(NaiveDate, Option<NaiveTime>)> {
    if let Some(date) = date(text, orders) {
        return Some((date, None));
    }
    text.char_indices().filter(|(_, c)| matches!(c, ' ' | 'T' | ',')).find_map(|(at, mark)| {
        let (left, right) = (&text[..at], &text[at + mark.len_utf8()..]);
        Some((date(left, orders)?, Some(clock(right)?)))
    })
}

/// A date alone.
fn date(text: &str, orders: Orders) -> Option<NaiveDate> {
    let text = trim(text);
    if text.len() > 40 {
        return None;
    }
    if let Some(triple) = Triple::of(text).filter(|_| !text.contains([' ', 'T'])) {
        let order = if triple.mark == '.' { orders.dotted } else { orders.other };
        return triple.date(order);
    }
    if text.len() == 8 && text.starts_with(['1', '2']) && text.bytes().all(|b| b.is_ascii_digit()) {
        return plausible(NaiveDate::parse_from_str(text, "%Y%m%d").ok()?);
    }
    named_month(text)
}

/// `1-Mar-26`, `01MAR26`, `March 1, 2026`, `Sun 1 Mar 2026`, `2026 Mar 1`.
fn named_month(text: &str) -> Option<NaiveDate> {
    let mut words: Vec<String> = Vec::new();
    for c in text.chars() {
        let same =
            words.last().and_then(|w| w.chars().last()).is_some_and(|last| last.is_alphabetic() == c.is_alphabetic());
        match words.last_mut() {
            _ if !c.is_alphanumeric() => words.push(String::new()),
            Some(word) if same => word.extend(c.to_lowercase()),
            _ => words.push(c.to_lowercase().collect()),
        }
    }
    let weekday = |w: &str| ["mon", "tue", "wed", "thu", "fri", "sat", "sun"].iter().any(|day| w.starts_with(day));
    words.retain(|w| !w.is_empty() && !matches!(w.as_str(), "st" | "nd" | "rd" | "th" | "of") && !weekday(w));
    let [a, b, c] = &words[..] else { return None };
    let (month, first, second) = match (month(a), month(b), month(c)) {
        (Some(month), None, None) => (month, b, c),
        (None, Some(month), None) => (month, a, c),
        _ => return None,
    };
    let (day, year) = if first.len() == 4 { (second, first) } else { (first, second) };
    if day.len() > 2 || !matches!(year.len(), 2 | 4) {
        return None;
    }
    plausible(NaiveDate::from_ymd_opt(full_year(year.parse().ok()?, year.len() == 2), month, day.parse().ok()?)?)
}

/// Month by its English name or its first three letters.
fn month(word: &str) -> Option<u32> {
    const MONTHS: [&str; 12] = [
        "january",
        "february",
        "march",
        "april",
        "may",
        "june",
        "july",
        "august",
        "september",
        "october",
        "november",
        "december",
    ];
    let at = MONTHS
        .iter()
        .position(|name| word.len() >= 3 && (name.starts_with(word) || word == "sept" && *name == "september"))?;
    u32::try_from(at + 1).ok()
}

/// A time of day of any kind of cell.
pub fn time_of_day(cell: &Cell) -> Option<NaiveTime> {
    let fraction = |days: f64| {
        let seconds = (days * 86_400.0).round();
        (0.0..86_400.0).contains(&seconds).then(|| NaiveTime::from_num_seconds_from_midnight_opt(seconds as u32, 0))?
    };
    match cell {
        // A fraction of a day has more decimals than minutes.
        Cell::Text(text) => clock(text).or_else(|| fraction(number(text, Some('.')).filter(|v| *v < 1.0)?)),
        Cell::Span(days) => fraction(*days),
        Cell::Moment(at) => Some(at.time()),
        // 1405 typed as a number, or a fraction of a day.
        Cell::Number(value) if (0.0..1.0).contains(value) => fraction(*value),
        Cell::Number(value) if value.fract() == 0.0 => clock(&format!("{value:04}")),
        Cell::Number(_) | Cell::Empty => None,
    }
}

/// `14:05`, `14:05:30`, `1405`, `14h05`, `14.05`, `2:05 pm`.
fn clock(text: &str) -> Option<NaiveTime> {
    let lower = trim(text).to_lowercase();
    let (plain, afternoon) = match lower.strip_suffix("pm").or_else(|| lower.strip_suffix("p.m.")) {
        Some(rest) => (rest, Some(true)),
        None => match lower.strip_suffix("am").or_else(|| lower.strip_suffix("a.m.")) {
            Some(rest) => (rest, Some(false)),
            None => (lower.as_str(), None),
        },
    };
    let plain = plain.trim().trim_end_matches(['h', ' ']);
    let parts: Vec<&str> = plain.split([':', 'h', '.']).collect();
    let (hour, minute, second) = match parts[..] {
        [hm] if hm.len() == 4 && hm.is_ascii() => (&hm[..2], &hm[2..], "0"),
        [h] if afternoon.is_some() => (h, "0", "0"),
        [h, m] => (h, m, "0"),
        [h, m, s] => (h, m, s),
        _ => return None,
    };
    let value = |s: &str| s.parse::<u32>().ok().filter(|_| s.len() <= 2 && s.bytes().all(|b| b.is_ascii_digit()));
    let (hour, minute, second) = (value(hour)?, value(minute)?, value(second)?);
    let hour = match afternoon {
        None => hour,
        Some(_) if !(1..=12).contains(&hour) => return None,
        Some(pm) => hour % 12 + if pm { 12 } else { 0 },
    };
    NaiveTime::from_hms_opt(hour, minute, second)
}
