//! Reads `aircraft.toml`. A mistake costs its key; the rest of the file counts where it can.

use std::sync::Arc;

use super::aircraft::{Aircraft, BuildKind, InstalledEngine, Meter};
use super::keyed::{self, Keys, Problems, Range};
use super::layout::Layouts;
use super::{Oil, Rejection, layout_tables};
use crate::units::{Hours, Quarts};

const ENGINE_HOURS: Range = Range::new(0.0, 100_000.0, "engine hours");
const METER_HOURS: Range = Range::new(0.0, 200_000.0, "hours on the meter");
const DIPSTICK: Range = Range::new(0.5, 60.0, "quarts on the dipstick");

/// Reads one tail's `aircraft.toml`.
///
/// `file` is named in messages, `N0417H/aircraft.toml`; its folder is the tail. `None` where no engine could be
/// made out; then one of the rejections concerns the whole file.
pub fn parse(text: &str, file: &str, layouts: &Layouts) -> (Option<Aircraft>, Vec<Rejection>) {
    let problems = Problems::new(file);
    let table = keyed::read(text, &problems);
    let keys = Keys::new(&table, &problems);
    let aircraft = aircraft(&keys, file, layouts);
    keys.done();
    (aircraft, problems.into_list())
}

fn aircraft(keys: &Keys<'_>, file: &str, layouts: &Layouts) -> Option<Aircraft> {
    let tail = tail(keys, file);
    let meter = keys.choice("meter", &[("tach", Meter::Tach), ("hobbs", Meter::Hobbs), ("engine", Meter::Engine)]);
    if !keys.has("meter") {
        keys.missing("meter", "\"tach\", \"hobbs\" or \"engine\": what hours in the logbook read; tach is assumed");
    }
    let oil_in_litres = keys.choice("oil_unit", &[("qt", false), ("l", true)]).unwrap_or(false);
    let meter_at_start = keys.number("meter_at_start", METER_HOURS).and_then(Hours::new);
    let engines = engines(keys);
    let positions: Vec<&str> = engines.iter().filter_map(|e| e.position.as_deref()).collect();
    let logbooks =
        keys.tables("logbook").iter().map(|t| layout_tables::logbook(t, layouts, Some(&positions))).collect();
    let monitors =
        keys.tables("monitor").iter().map(|t| layout_tables::monitor(t, layouts, Some(&positions))).collect();
    if engines.is_empty() {
        let expected = "at least one [[engine]] table with serial and model";
        keys.problems().add_whole(0, "no engine can be made out", expected);
        return None;
    }
    Some(Aircraft {
        tail,
        file: file.into(),
        meter: meter.unwrap_or(Meter::Tach),
        oil_in_litres,
        meter_at_start,
        engines,
        logbooks,
        monitors,
    })
}

/// The folder's name holds: two folders must never become one aircraft by a copied file.
fn tail(keys: &Keys<'_>, file: &str) -> Arc<str> {
    let folder = file.rsplit(['/', '\\']).nth(1).filter(|f| !f.is_empty() && *f != ".");
    let written = keys.text("tail", "the tail number, the folder's name");
    match (folder, written) {
        (None, Some(written)) => written.into(),
        (Some(folder), Some(written)) if written.eq_ignore_ascii_case(folder) => written.into(),
        (Some(folder), Some(_)) => {
            keys.wrong("tail", format!("\"{folder}\", the folder's name, which is used"));
            folder.into()
        }
        (folder, None) => {
            let folder = folder.unwrap_or("unnamed");
            if !keys.has("tail") {
                keys.missing("tail", format!("tail = \"{folder}\", the folder's name"));
            }
            folder.into()
        }
    }
}

fn engines(keys: &Keys<'_>) -> Vec<InstalledEngine> {
    let tables = keys.tables("engine");
    let several = tables.len() > 1;
    let mut engines: Vec<InstalledEngine> = Vec::new();
    for table in &tables {
        let Some(engine) = engine(table, several) else { continue };
        if let Some(same) = engines.iter().find(|e| e.serial == engine.serial) {
            let expected = format!("each serial once; line {} has it too", same.line);
            table.wrong("serial", expected);
        } else if let Some(same) = engines.iter().find(|e| several && e.position == engine.position) {
            let expected = format!("another position than that of the engine on line {}", same.line);
            table.wrong("position", expected);
        } else {
            engines.push(engine);
        }
    }
    engines
}

fn engine(keys: &Keys<'_>, several: bool) -> Option<InstalledEngine> {
    let position = keys.text("position", "a word such as \"left\"");
    let serial = keys.text("serial", "the engine's serial number in quotes");
    let model = keys.text("model", "the name of a model of the engine models file");
    for (name, expected) in [("serial", "the engine's serial number"), ("model", "the name of an engine model")] {
        if !keys.has(name) {
            keys.missing(name, expected);
        }
    }
    if several && !keys.has("position") {
        keys.missing("position", "a word such as \"left\" for each engine of a twin");
    }
    let mut engine = InstalledEngine {
        position: position.map(Arc::from),
        serial: serial.unwrap_or_default().into(),
        model: model.unwrap_or_default().into(),
        hours_at_start: keys.number("hours_at_start", ENGINE_HOURS).and_then(Hours::new),
        since: since(keys),
        hours_since: keys.number("hours_since", ENGINE_HOURS).and_then(Hours::new),
        oil: oil(keys),
        last_oil_change_h: keys.number("last_oil_change_h", ENGINE_HOURS).and_then(Hours::new),
        fill: keys.number("fill_qt", DIPSTICK).and_then(Quarts::new),
        add_mark: keys.number("add_mark_qt", DIPSTICK).and_then(Quarts::new),
        line: keys.line(),
    };
    agree(keys, &mut engine);
    keys.done();
    (serial.is_some() && model.is_some() && (position.is_some() || !several)).then_some(engine)
}

fn since(keys: &Keys<'_>) -> Option<BuildKind> {
    keys.choice(
        "since",
        &[
            ("new", BuildKind::New),
            ("overhaul", BuildKind::Overhaul),
            ("rebuilt", BuildKind::Rebuilt),
            ("top-overhaul", BuildKind::TopOverhaul),
            ("cylinder-replaced", BuildKind::Cylinder),
            ("cylinder", BuildKind::Cylinder),
            ("overhauled", BuildKind::Overhaul),
            ("top-overhauled", BuildKind::TopOverhaul),
        ],
    )
}

fn oil(keys: &Keys<'_>) -> Option<Oil> {
    let expected = "a kind and an SAE grade such as \"AD 50\", \"AD 20W-50\" or \"mineral 50\"";
    let written = keys.text("oil", expected)?;
    let oil = Oil::parse(written);
    if oil.is_none() {
        keys.wrong("oil", expected);
    }
    oil
}

/// Settings of one engine that contradict each other: the less certain one is left out.
fn agree(keys: &Keys<'_>, engine: &mut InstalledEngine) {
    if let Some(total) = engine.hours_at_start {
        if engine.hours_since.is_some_and(|h| h.get() > total.get()) {
            keys.wrong("hours_since", format!("no more than hours_at_start = {}", total.get()));
            engine.hours_since = None;
        }
        if engine.last_oil_change_h.is_some_and(|h| h.get() > total.get()) {
            keys.wrong("last_oil_change_h", format!("no more than hours_at_start = {}", total.get()));
            engine.last_oil_change_h = None;
        }
    }
    if let (Some(fill), Some(mark)) = (engine.fill, engine.add_mark)
        && mark.get() >= fill.get()
    {
        keys.wrong("add_mark_qt", format!("less than fill_qt = {}", fill.get()));
        engine.add_mark = None;
    }
    if engine.hours_since.is_some() && engine.since.is_none() && !keys.has("since") {
        keys.missing("since", "\"new\", \"overhaul\", \"rebuilt\" or \"top-overhaul\": what hours_since counts from");
    }
}

#[cfg(test)]
mod tests;
