//! `check --explain`: which threshold holds for an engine, and which line set it.

use serde::Serialize;

use super::text::{Table, wrap};
use super::words;
use crate::config::{Config, Explained};
use crate::judge::EngineView;

const WIDTH: usize = 100;

/// The thresholds of one engine.
#[derive(Debug, Serialize)]
pub struct EngineThresholds<'a> {
    pub tail: &'a str,
    pub position: Option<&'a str>,
    pub serial: &'a str,
    pub model: &'a str,
    pub confirmed: bool,
    pub thresholds: Vec<Explained>,
}

/// Asks the configuration what holds for an engine.
pub fn of<'a>(config: &Config, engine: &'a EngineView) -> EngineThresholds<'a> {
    let thresholds = config.explain(&engine.tail, &engine.model, &engine.serial);
    EngineThresholds {
        tail: &engine.tail,
        position: engine.position.as_deref(),
        serial: &engine.serial,
        model: &engine.model,
        confirmed: thresholds.first().is_some_and(|row| row.confirmed),
        thresholds,
    }
}

/// One table per engine. `whole`: every threshold; else only those that are not the default.
pub fn text(engines: &[EngineThresholds<'_>], whole: bool) -> String {
    let mut out = String::new();
    for engine in engines {
        let confirmed = if engine.confirmed {
            "confirmed against the engine maker's instructions"
        } else {
            "not confirmed against the engine maker's instructions"
        };
        let place = words::place(engine.tail, engine.position);
        let head = format!("{place}, {} ({}): {confirmed}", engine.serial, engine.model);
        out.push_str(&format!("{}\n", wrap(&head, WIDTH, 2)));
        let mut table = Table::new(&["threshold", "value", "unit", "from"], &[]);
        for row in engine.thresholds.iter().filter(|row| whole || row.from != "default") {
            table.row(vec![row.key.clone(), row.value.to_string(), row.unit.to_owned(), row.from.clone()]);
        }
        if table.is_empty() {
            out.push_str("  every threshold is the default\n\n");
            continue;
        }
        out.push_str(&table.text(usize::MAX));
        let others = engine.thresholds.iter().filter(|row| row.from == "default").count();
        if !whole && others > 0 {
            out.push_str(&format!("and {others} by default; `check --explain {}` lists all\n", engine.serial));
        }
        out.push('\n');
    }
    out
}
