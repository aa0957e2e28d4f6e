//! `[[logbook]]`: columns, the sheet's own words, oil per engine.

use std::collections::BTreeMap;

use super::{files, position_known, shape, unknown_layout, when};
use crate::records::keyed::{Keys, Node, Value, nearest, one_of};
use crate::records::layout::{Layouts, LogbookLayout, OilColumns, Per};
use crate::records::{EntryKind, Inspection};

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

const DATE_FORMAT: &str = "a date format with year, month and day such as \"%m/%d/%Y %H:%M\"";

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
