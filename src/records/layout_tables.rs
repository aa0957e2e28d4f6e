//! `[[logbook]]`, `[[monitor]]` and the configuration's `[layout.NAME]` tables, read and checked.
//!
//! A wrong layout would misread every row of a file without a word, so everything that can be
//! checked without the file is checked here: formats, units that fit the channel, known words.
//! A key that is wrong is reported and left out; the others hold.

mod logbook;
mod monitor;

use chrono::format::{Item, Parsed, StrftimeItems};
use chrono::{TimeZone, Utc};

use super::keyed::{Keys, Range, Value, nearest, one_of};
use super::layout::{Shape, When};

pub use logbook::{LOGBOOK_COLUMNS, logbook};
pub use monitor::{monitor, of_recording};

fn unknown_layout<'k>(
    keys: &Keys<'_>,
    name: &str,
    kind: &str,
    known: impl Iterator<Item = &'k String>,
    other_kind: bool,
) {
    let known: Vec<&str> = known.map(String::as_str).collect();
    let expected = match (other_kind, known.is_empty()) {
        (true, _) => format!("a {kind} layout; this one is for the other kind of file"),
        (false, true) => format!("the name of a {kind} layout; the configuration has no [layout.NAME] for one"),
        (false, false) => one_of(name, &known),
    };
    keys.wrong("layout", expected);
}

fn files(keys: &Keys<'_>) -> Option<String> {
    let expected = "a pattern of file names under the tail's folder such as \"flight log*.xlsx\"";
    let pattern = keys.text("files", expected)?;
    let outside = pattern.starts_with(['/', '\\']) || pattern.split(['/', '\\']).any(|part| part == "..");
    if outside || globset::Glob::new(pattern).is_err() {
        keys.wrong("files", expected);
        return None;
    }
    Some(pattern.to_owned())
}

fn shape(keys: &Keys<'_>, shape: &mut Shape) {
    if let Some(lines) = keys.whole("skip_lines", Range::new(0.0, 1000.0, "lines before the header")) {
        shape.skip_lines = lines;
    }
    if let Some(mark) = one_char(keys, "delimiter", "one character such as \";\" or \"\\t\"", |c| {
        !c.is_alphanumeric() && c != '"' && c.is_ascii() && c != '\n' && c != '\r'
    }) {
        shape.delimiter = Some(mark);
    }
    if let Some(mark) = one_char(keys, "decimal", "\".\" or \",\"", |c| c == '.' || c == ',') {
        shape.decimal = Some(mark);
    }
    if shape.delimiter.is_some() && shape.delimiter == shape.decimal {
        keys.wrong("decimal", "another character than the delimiter");
        shape.decimal = None;
    }
    let expected = "an encoding such as \"utf-8\", \"utf-16le\" or \"windows-1252\"";
    if let Some(label) = keys.text("encoding", expected) {
        match encoding_rs::Encoding::for_label(label.as_bytes()) {
            Some(_) => shape.encoding = Some(label.to_owned()),
            None => keys.wrong("encoding", expected),
        }
    }
    if let Some(sheet) = keys.text("sheet", "the name of a sheet of the workbook") {
        shape.sheet = Some(sheet.to_owned());
    }
}

fn one_char(keys: &Keys<'_>, name: &str, expected: &str, good: impl Fn(char) -> bool) -> Option<char> {
    let node = keys.node(name)?;
    let found = match &node.value {
        Value::Text(text) if text.eq_ignore_ascii_case("tab") => Some('\t'),
        Value::Text(text) => {
            let mut chars = text.chars();
            chars.next().filter(|_| chars.next().is_none())
        }
        _ => None,
    };
    let found = found.filter(|c| good(*c));
    if found.is_none() {
        keys.wrong(name, expected);
    }
    found
}

fn when(keys: &Keys<'_>, name: &str, wanted: &str, when: &mut When) {
    let Some(node) = keys.node(name) else { return };
    let keys = match &node.value {
        // `date = "Date"` is short for `date = { columns = ["Date"] }`.
        Value::Text(_) | Value::List(_) => {
            when.columns = keys.texts(name, "column names").unwrap_or_default();
            return;
        }
        _ => match keys.table(name) {
            Some(keys) => keys,
            None => return,
        },
    };
    if let Some(columns) = keys.texts("columns", "column names such as [\"Date\", \"Off\"]") {
        if columns.is_empty() {
            keys.wrong("columns", "at least one column name");
        } else {
            when.columns = columns;
        }
    }
    if let Some(format) = keys.text("format", wanted) {
        if format_holds(format, name == "time") {
            when.format = Some(format.to_owned());
        } else {
            keys.wrong("format", wanted);
        }
    }
    let zones = "\"local\", \"utc\" or an IANA name such as \"America/Denver\"";
    if let Some(zone) = keys.text("zone", zones) {
        let word = zone.eq_ignore_ascii_case("local") || zone.eq_ignore_ascii_case("utc");
        if word || zone.parse::<chrono_tz::Tz>().is_ok() {
            when.zone = Some(if word { zone.to_lowercase() } else { zone.to_owned() });
        } else {
            let near = nearest(zone, chrono_tz::TZ_VARIANTS.iter().map(|z| z.name()));
            keys.wrong("zone", near.map_or_else(|| zones.to_owned(), |z| format!("{zones}; the nearest is \"{z}\"")));
        }
    }
    keys.done();
}

/// A format holds if a moment written with it can be read back: the whole date, and the time if wanted.
fn format_holds(format: &str, wants_time: bool) -> bool {
    let items: Vec<Item<'_>> = StrftimeItems::new(format).collect();
    if items.iter().any(|item| matches!(item, Item::Error)) {
        return false;
    }
    let Some(moment) = Utc.with_ymd_and_hms(2026, 11, 23, 16, 5, 9).single() else { return false };
    let written = moment.format_with_items(items.iter()).to_string();
    let mut parsed = Parsed::new();
    let read = chrono::format::parse(&mut parsed, &written, items.iter());
    let whole_date = parsed.to_naive_date().is_ok_and(|date| date == moment.date_naive());
    let stamp = parsed.timestamp().is_some();
    let time = stamp || parsed.hour_mod_12().is_some() && parsed.minute().is_some();
    read.is_ok() && (whole_date || stamp) && (time || !wants_time)
}

/// The empty position stands for the only engine.
fn position_known(positions: Option<&[&str]>, position: &str) -> bool {
    match positions {
        None => true,
        Some(known) => known.contains(&position) || (position.is_empty() && known.len() <= 1),
    }
}
