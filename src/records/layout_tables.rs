//! `[[logbook]]`, `[[monitor]]` and the configuration's `[layout.NAME]` tables, read and checked.
//!
//! A wrong layout would misread every row of a file without a word, so everything that can be
//! checked without the file is checked here: formats, units that fit the channel, known words.
//! A key that is wrong is reported and left out; the others hold.

use std::collections::BTreeMap;

use chrono::format::{Item, Parsed, StrftimeItems};
use chrono::{TimeZone, Utc};

use super::keyed::{Keys, Node, Range, Value, nearest, one_of};
use super::layout::{Channel, Layouts, LogbookLayout, MonitorLayout, OilColumns, Per, Shape, When};
use super::{EntryKind, Inspection};

/// Columns of the standard logbook that a sheet's own columns can be named for.
pub const LOGBOOK_COLUMNS: [&str; 13] = [
    "date",
    "time",
    "engine",
    "hours",
    "entry",
    "quantity",
    "level",
    "oil",
    "flight_hours",
    "service",
    "result",
    "serial",
    "remarks",
];

/// Channels of the standard recording, with the units a recorder may give them in (ours first).
/// `cht1_f` and `egt1_f` stand for every cylinder.
const CHANNELS: [(&str, &[&str]); 14] = [
    ("rpm", &[]),
    ("manifold_inhg", &["inhg", "hpa", "kpa", "bar", "psi"]),
    ("fuel_flow_gph", &["gph", "l_h"]),
    ("power_pct", &[]),
    ("oil_temp_f", &["f", "c"]),
    ("oil_press_psi", &["psi", "bar", "kpa", "hpa"]),
    ("cht1_f", &["f", "c"]),
    ("egt1_f", &["f", "c"]),
    ("ias_kt", &["kt", "kmh", "mph", "ms"]),
    ("gs_kt", &["kt", "kmh", "mph", "ms"]),
    ("alt_ft", &["ft", "m"]),
    ("oat_f", &["f", "c"]),
    ("lat", &[]),
    ("lon", &[]),
];

const DATE_FORMAT: &str = "a date format with year, month and day such as \"%m/%d/%Y %H:%M\"";
const TIME_FORMAT: &str = "a format with date and time of day such as \"%Y-%m-%d %H:%M:%S\"";

/// Reads a `[[logbook]]` table. `positions`: those of the aircraft; `None` where the layout is shared.
pub fn logbook(keys: &Keys<'_>, layouts: &Layouts, positions: Option<&[&str]>) -> LogbookLayout {
    let mut layout = LogbookLayout { files: "logbook*".to_owned(), ..LogbookLayout::default() };
    if let Some(name) = keys.text("layout", "the name of a [layout.NAME] table of the configuration") {
        match layouts.logbooks.get(name) {
            Some(shared) => layout = shared.clone(),
            None => unknown_layout(keys, name, "logbook", layouts.logbooks.keys(), layouts.monitors.contains_key(name)),
        }
    }
    layout.files = files(keys).unwrap_or(layout.files);
    shape(keys, &mut layout.shape);
    if let Some(per) = keys.choice("per", &[("entry", Per::Entry), ("flight", Per::Flight)]) {
        layout.per = per;
    }
    when(keys, "date", DATE_FORMAT, &mut layout.date);
    logbook_columns(keys, &mut layout);
    words(keys, &mut layout.words);
    oil(keys, &mut layout, positions);
    if let Some(engine) = keys.text("engine", "an engine position, where each engine has its own file") {
        if position_known(positions, engine) {
            layout.engine = Some(engine.to_owned());
        } else {
            keys.wrong("engine", one_of(engine, positions.unwrap_or_default()));
        }
    }
    keys.done();
    layout
}

/// Reads a `[[monitor]]` table. `positions`: those of the aircraft; `None` where the layout is shared.
pub fn monitor(keys: &Keys<'_>, layouts: &Layouts, positions: Option<&[&str]>) -> MonitorLayout {
    let mut layout = MonitorLayout { files: "monitor/**/*.csv".to_owned(), ..MonitorLayout::default() };
    if let Some(name) = keys.text("layout", "the name of a [layout.NAME] table of the configuration") {
        match layouts.monitors.get(name) {
            Some(shared) => layout = shared.clone(),
            None => unknown_layout(keys, name, "monitor", layouts.monitors.keys(), layouts.logbooks.contains_key(name)),
        }
    }
    layout.files = files(keys).unwrap_or(layout.files);
    shape(keys, &mut layout.shape);
    when(keys, "time", TIME_FORMAT, &mut layout.time);
    if let Some(columns) = keys.table("columns") {
        for (name, node) in columns.entries() {
            channel(&columns, name, node, positions, &mut layout.columns);
        }
    }
    keys.done();
    layout
}

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

fn logbook_columns(keys: &Keys<'_>, layout: &mut LogbookLayout) {
    let Some(columns) = keys.table("columns") else { return };
    for (ours, node) in columns.entries() {
        let Value::Text(theirs) = &node.value else {
            columns.wrong(ours, "the column's name in the sheet");
            continue;
        };
        if !LOGBOOK_COLUMNS.contains(&ours) {
            unknown(&columns, ours, node, &LOGBOOK_COLUMNS);
        } else if theirs.trim().is_empty() {
            columns.wrong(ours, "the column's name in the sheet");
        } else {
            layout.columns.insert(ours.to_owned(), theirs.trim().to_owned());
        }
    }
    // `columns = { date = "Date", time = "Off" }` says the same as `date = { columns = […] }`.
    let named = [layout.columns.remove("date"), layout.columns.remove("time")];
    if layout.date.columns.is_empty() {
        layout.date.columns = named.into_iter().flatten().collect();
    }
}

fn unknown(keys: &Keys<'_>, name: &str, node: &Node, known: &[&str]) {
    let expected = match nearest(name, known.iter().copied()) {
        Some(near) => format!("the nearest known column {near}"),
        None => format!("one of {}", known.join(", ")),
    };
    keys.problems().add(node.line, format!("unknown column {}", keys.named(name)), expected);
}

fn words(keys: &Keys<'_>, words: &mut BTreeMap<String, BTreeMap<String, String>>) {
    let Some(tables) = keys.table("words") else { return };
    let names: Vec<String> = tables.entries().map(|(name, _)| name.to_owned()).collect();
    for name in names {
        if !LOGBOOK_COLUMNS.contains(&name.as_str()) {
            if let Some(node) = tables.node(&name) {
                unknown(&tables, &name, node, &LOGBOOK_COLUMNS);
            }
            continue;
        }
        let Some(pairs) = tables.table(&name) else { continue };
        let known: Vec<&str> = match name.as_str() {
            "entry" => EntryKind::ALL.iter().map(|kind| kind.word()).collect(),
            "result" => Inspection::ALL.iter().map(|result| result.word()).collect(),
            _ => Vec::new(),
        };
        for (theirs, node) in pairs.entries() {
            match &node.value {
                Value::Text(ours) if known.is_empty() || known.contains(&ours.trim()) => {
                    words.entry(name.clone()).or_default().insert(theirs.to_owned(), ours.trim().to_owned());
                }
                Value::Text(ours) => pairs.wrong(theirs, one_of(ours, &known)),
                _ => pairs.wrong(theirs, "our word in quotes"),
            }
        }
    }
}

fn oil(keys: &Keys<'_>, layout: &mut LogbookLayout, positions: Option<&[&str]>) {
    let Some(tables) = keys.table("oil") else { return };
    if layout.per == Per::Entry {
        let expected = "per = \"flight\" beside it: oil columns belong to a sheet with one row per flight";
        keys.problems().add(keys.line_of("oil"), format!("{} without per = \"flight\"", keys.named("oil")), expected);
        return;
    }
    let names: Vec<String> = tables.entries().map(|(name, _)| name.to_owned()).collect();
    for position in names {
        let Some(table) = tables.table(&position) else { continue };
        if !position_known(positions, &position) {
            let expected = one_of(&position, positions.unwrap_or_default());
            let found = format!("unknown engine position {}", table_name(&tables, &position));
            keys.problems().add(table.line(), found, expected);
            continue;
        }
        let column = |name: &str| table.text(name, "a column's name in the sheet").map(str::to_owned);
        let columns = OilColumns {
            added: column("added"),
            level: column("level"),
            oil: column("oil"),
            unit: table.choice("unit", &[("qt", "qt"), ("l", "l")]).map(str::to_owned),
        };
        if columns.added.is_none() && columns.level.is_none() {
            table.missing("added", "a column of oil added, or of dipstick readings (level), or both");
        }
        table.done();
        layout.oil.insert(position, columns);
    }
}

fn table_name(tables: &Keys<'_>, position: &str) -> String {
    if position.is_empty() {
        format!("{}.\"\"", tables.named("").trim_end_matches('.'))
    } else {
        tables.named(position)
    }
}

/// The empty position stands for the only engine.
fn position_known(positions: Option<&[&str]>, position: &str) -> bool {
    match positions {
        None => true,
        Some(known) => known.contains(&position) || (position.is_empty() && known.len() <= 1),
    }
}

fn channel(
    keys: &Keys<'_>,
    name: &str,
    node: &Node,
    positions: Option<&[&str]>,
    found: &mut BTreeMap<String, Channel>,
) {
    let channel = match &node.value {
        Value::Text(column) => Channel { column: column.trim().to_owned(), unit: None },
        Value::Table(_) => {
            let Some(table) = keys.table(name) else { return };
            if !table.has("column") {
                // Written without quotes, `left.rpm` is a table `left` with a key `rpm`.
                for (inner, node) in table.entries() {
                    channel_in(&table, &format!("{name}.{inner}"), inner, node, positions, found);
                }
                return;
            }
            let column = table.text("column", "the column's name in the recording").unwrap_or_default().to_owned();
            let unit = unit(&table, name);
            table.done();
            Channel { column, unit }
        }
        _ => return keys.wrong(name, "the column's name in the recording, or { column = \"…\", unit = \"c\" }"),
    };
    place(keys, name, node, channel, positions, found);
}

fn channel_in(
    keys: &Keys<'_>,
    full: &str,
    inner: &str,
    node: &Node,
    positions: Option<&[&str]>,
    found: &mut BTreeMap<String, Channel>,
) {
    let channel = match &node.value {
        Value::Text(column) => Channel { column: column.trim().to_owned(), unit: None },
        Value::Table(_) => {
            let Some(table) = keys.table(inner) else { return };
            let column = table.text("column", "the column's name in the recording").unwrap_or_default().to_owned();
            let unit = unit(&table, full);
            table.done();
            Channel { column, unit }
        }
        _ => return keys.wrong(inner, "the column's name in the recording"),
    };
    place(keys, full, node, channel, positions, found);
}

fn place(
    keys: &Keys<'_>,
    name: &str,
    node: &Node,
    channel: Channel,
    positions: Option<&[&str]>,
    found: &mut BTreeMap<String, Channel>,
) {
    let (prefix, bare) = name.rsplit_once('.').unwrap_or(("", name));
    let known: Vec<&str> = CHANNELS.iter().map(|(channel, _)| *channel).collect();
    if units_of(bare).is_none() {
        let expected = match nearest(bare, known.iter().copied()) {
            Some(near) => format!("the nearest known channel {near}"),
            None => format!("one of {}", known.join(", ")),
        };
        keys.problems().add(node.line, format!("unknown channel {name}"), expected);
    } else if channel.column.is_empty() {
        keys.problems().add(node.line, format!("{name} names no column"), "the column's name in the recording");
    } else if !prefix.is_empty() && !position_known(positions, prefix) {
        let expected = one_of(prefix, positions.unwrap_or_default());
        keys.problems().add(node.line, format!("unknown engine position {prefix} in {name}"), expected);
    } else {
        found.insert(name.to_owned(), channel);
    }
}

/// Units a channel may be recorded in; `None`: no such channel.
fn units_of(bare: &str) -> Option<&'static [&'static str]> {
    let plain = |name: &str| CHANNELS.iter().find(|(channel, _)| *channel == name).map(|(_, units)| *units);
    for (prefix, stand_in) in [("cht", "cht1_f"), ("egt", "egt1_f")] {
        let cylinder = bare.strip_prefix(prefix).and_then(|rest| rest.strip_suffix("_f"));
        if let Some(cylinder) = cylinder {
            return cylinder.parse::<u8>().ok().filter(|n| (1..=12).contains(n)).and_then(|_| plain(stand_in));
        }
    }
    plain(bare)
}

fn unit(table: &Keys<'_>, name: &str) -> Option<String> {
    let written = table.text("unit", "a unit such as \"c\"")?;
    let bare = name.rsplit_once('.').map_or(name, |(_, bare)| bare);
    let units = units_of(bare)?;
    let lower = written.to_lowercase();
    if units.contains(&lower.as_str()) {
        return Some(lower);
    }
    let expected =
        if units.is_empty() { "no unit for this channel".to_owned() } else { format!("one of {}", units.join(", ")) };
    table.wrong("unit", expected);
    None
}
