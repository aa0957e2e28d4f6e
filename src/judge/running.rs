//! What the judges of single runs share: which rules hold for a run, and how long a finding about it stays open.

#[cfg(test)]
pub mod made;

use std::sync::Arc;

use chrono::TimeDelta;

use super::{Finding, Kind, Settled};
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::records::{Instant, RunSummary};

/// A recorded run with its place in the engine's life.
#[derive(Clone, Copy, Debug)]
pub struct Recorded<'a> {
    pub event: &'a Event,
    pub run: &'a Arc<RunSummary>,
}

/// The recorded runs of an engine that had ended by `as_of`, in order of their end.
pub fn recorded(engine: &Engine, as_of: Instant) -> Vec<Recorded<'_>> {
    let runs = engine.events.iter().filter_map(|event| match &event.what {
        What::Run(run) if run.end <= as_of => Some(Recorded { event, run }),
        _ => None,
    });
    let mut runs: Vec<_> = runs.collect();
    runs.sort_by_key(|r| r.run.end);
    runs
}

/// Engine hours since the build when something of `hours` length that ended at `event` began; `None` if not known.
pub fn hours_since_build(engine: &Engine, event: &Event, hours: f64) -> Option<f64> {
    let build = engine.builds.get(event.build)?;
    let known = build.zero_known && (build.kind.is_some() || build.began.is_some());
    known.then(|| (event.hours - hours - build.zero_hours).max(0.0))
}

/// The build is known to be within its break-in hours.
pub fn in_break_in(engine: &Engine, event: &Event, hours: f64, rules: &Rules) -> bool {
    hours_since_build(engine, event, hours).is_some_and(|h| h < rules.break_in.length_h)
}

/// Where a limit comes from, in a person's words, and whether anybody has confirmed it.
pub fn limit_from(what: &str, confirmed: bool) -> String {
    let state =
        if confirmed { "confirmed by the operator" } else { "to be confirmed against the engine maker's instructions" };
    format!("{what}, {state}")
}

/// A limit from the configuration.
pub fn from_rules(rules: &Rules) -> String {
    limit_from("the configuration", rules.confirmed)
}

/// A limit from the engine models file.
pub fn from_model(engine: &Engine) -> String {
    limit_from(&format!("the engine model {}", engine.model.name), engine.model.confirmed)
}

/// `run 2026-03-03T14:05`: the same on every pass, whatever is read later.
pub fn subject(run: &RunSummary) -> String {
    format!("run {}", run.start.format("%Y-%m-%dT%H:%M"))
}

/// A finding about a recorded run: raised at its end, with its line.
pub fn finding(kind: Kind, engine: &Engine, recorded: Recorded<'_>) -> Finding {
    let run = recorded.run;
    let mut finding = Finding::at_event(kind, engine, recorded.event, subject(run));
    finding.raised = run.end;
    finding.evidence.set("lines", vec![run.source()]);
    finding
}

/// A moment of a run.
pub fn moment(run: &RunSummary, at_s: f32) -> Instant {
    run.start + TimeDelta::milliseconds((f64::from(at_s) * 1000.0) as i64)
}

/// One-time events stop being open after some days.
pub fn settle_after_days(findings: &mut [Finding], rules: &Rules, as_of: Instant) {
    let days = rules.records.event_days;
    for finding in findings {
        let at = finding.raised + TimeDelta::seconds((days * 86_400.0) as i64);
        if finding.settled.is_none() && at <= as_of {
            finding.settled = Some(Settled { at, why: format!("{days:.0} days have passed since"), source: None });
        }
    }
}
