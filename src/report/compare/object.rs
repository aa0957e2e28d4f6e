//! For programs: everything as one object.

use serde::Serialize;

use super::{Head, engine_verdict, reasons};
use crate::judge::compare::{Comparison, Counts, EngineComparison, Expected, Pair, Side};
use crate::judge::{Kind, Level};
use crate::report::json::round;
use crate::report::words::numbers;

/// The object of `replay --json` with `--with` or `--set`.
#[derive(Debug, Serialize)]
pub struct Out<'a> {
    with: &'a str,
    from: String,
    to: String,
    counts: Counts,
    median_shift_h: Option<f64>,
    median_shift_days: Option<f64>,
    /// `today`, `other`, `either` or `look`.
    choice: &'static str,
    verdict: Vec<String>,
    false_alarms: ExpectedOut,
    engines: Vec<EngineOut<'a>>,
}

/// False rate alerts to be expected.
#[derive(Debug, Serialize)]
struct ExpectedOut {
    engine_hours: f64,
    today_per_1000_h: f64,
    other_per_1000_h: f64,
}

impl ExpectedOut {
    fn new(e: &Expected) -> Self {
        Self {
            engine_hours: tenths(e.engine_hours),
            today_per_1000_h: round(e.today_per_1000_h, 3),
            other_per_1000_h: round(e.other_per_1000_h, 3),
        }
    }
}

#[derive(Debug, Serialize)]
struct EngineOut<'a> {
    tail: &'a str,
    position: Option<&'a str>,
    serial: Option<&'a str>,
    counts: Counts,
    choice: &'static str,
    verdict: String,
    false_alarms: ExpectedOut,
    alerts: Vec<PairOut<'a>>,
}

#[derive(Debug, Serialize)]
struct PairOut<'a> {
    kind: Kind,
    today: Option<SideOut<'a>>,
    other: Option<SideOut<'a>>,
    later_h: Option<f64>,
    later_days: Option<f64>,
}

#[derive(Debug, Serialize)]
struct SideOut<'a> {
    raised: String,
    level: Level,
    hours: Option<f64>,
    closed: Option<String>,
    ended: Option<&'a str>,
    subject: &'a str,
}

/// Everything, for programs.
pub fn object<'a>(c: &'a Comparison, head: &Head<'a>) -> Out<'a> {
    let (median_shift_h, median_shift_days) = c.median_shift();
    let side = |side: &'a Side| SideOut {
        raised: numbers::iso(side.raised, head.zone),
        level: side.level,
        hours: side.hours.map(tenths),
        closed: side.settled.map(|at| numbers::iso(at, head.zone)),
        ended: side.ended.as_deref(),
        subject: &side.subject,
    };
    let pair = |pair: &'a Pair| PairOut {
        kind: pair.kind,
        today: pair.today.as_ref().map(side),
        other: pair.other.as_ref().map(side),
        later_h: pair.later_hours().map(tenths),
        later_days: pair.later_days().map(tenths),
    };
    let engine = |engine: &'a EngineComparison| EngineOut {
        tail: &engine.tail,
        position: engine.position.as_deref(),
        serial: engine.serial.as_deref(),
        counts: crate::judge::compare::count(engine.pairs.iter()),
        choice: engine.scales().choice().word(),
        verdict: engine_verdict(engine, head.zone),
        false_alarms: ExpectedOut::new(&engine.expected),
        alerts: engine.pairs.iter().map(pair).collect(),
    };
    Out {
        with: head.other,
        from: numbers::iso(head.from, head.zone),
        to: numbers::iso(head.to, head.zone),
        counts: c.counts(),
        median_shift_h: median_shift_h.map(tenths),
        median_shift_days: median_shift_days.map(tenths),
        choice: c.scales().choice().word(),
        verdict: reasons(c),
        false_alarms: ExpectedOut::new(&c.expected()),
        engines: c.engines.iter().map(engine).collect(),
    }
}

fn tenths(value: f64) -> f64 {
    round(value, 1)
}
