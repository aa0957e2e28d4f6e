//! The filter cut open, the screens looked at, and what was in them.

use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Evidence, Finding, Kind, Level, Settled};
use crate::records::{Inspection, Instant};

pub fn findings(engine: &Engine, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let mut found = metal(engine, rules);
    found.extend(not_inspected(engine, rules, as_of));
    found
}

fn result(event: &Event) -> Option<(&'static str, Option<Inspection>)> {
    match event.what {
        What::Filter { result } => Some(("filter", result)),
        What::Screen { result } => Some(("screen", result)),
        _ => None,
    }
}

/// A trace in break-in is usual; after it, almost any metal is cause for concern (common practice, no source).
fn metal(engine: &Engine, rules: &Rules) -> Vec<Finding> {
    let mut found = Vec::new();
    for event in &engine.events {
        let Some((part, Some(result))) = result(event) else { continue };
        let build = &engine.builds[event.build];
        let since = event.hours - build.zero_hours;
        let breaking_in =
            build.kind.is_some() && build.zero_known && since <= rules.break_in.length_h + rules.break_in.grace_h;
        let level = match result {
            Inspection::Metal => Level::Warning,
            Inspection::Trace if !breaking_in => Level::Caution,
            _ => continue,
        };
        let subject = format!("{part} {}", event.at.format("%Y-%m-%dT%H:%MZ"));
        let mut finding = Finding::at_event(Kind::MetalFound, engine, event, subject);
        finding.level = level;
        finding.evidence = Evidence::default()
            .with("part", part)
            .with("result", if result == Inspection::Metal { "metal" } else { "trace" })
            .with_some("remarks", event.remarks.as_ref())
            .with_some("hours_since_build", build.zero_known.then_some(since))
            .with("used", vec![event.source.clone()]);
        found.push(finding);
    }
    found
}

fn not_inspected(engine: &Engine, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let wait = chrono::TimeDelta::minutes((rules.oil_change.inspection_within_days * 1440.0) as i64);
    let mut found = Vec::new();
    for (index, event) in engine.events.iter().enumerate() {
        if !matches!(event.what, What::Changed { .. }) || fills_a_build(engine, event, wait) {
            continue;
        }
        let raised = event.at + wait;
        // The filter is cut on the bench before the entry is written, or a few days after it.
        let before = engine.events[..index].iter().rev().take_while(|e| e.at >= event.at - wait);
        if raised > as_of || before.into_iter().any(|e| result(e).is_some()) {
            continue;
        }
        let later = engine.events[index..]
            .iter()
            .take_while(|e| e.at == event.at || !matches!(e.what, What::Changed { .. } | What::BuildBegan(_)));
        let looked = later.into_iter().find(|e| result(e).is_some());
        if looked.is_some_and(|e| e.at <= raised) {
            continue;
        }
        let next = engine.events[index + 1..]
            .iter()
            .find(|e| e.at > event.at && matches!(e.what, What::Changed { .. } | What::BuildBegan(_)));
        let subject = format!("change {}", event.at.format("%Y-%m-%dT%H:%MZ"));
        let mut finding = Finding::at_event(Kind::FilterNotInspected, engine, event, subject);
        finding.raised = raised;
        finding.settled = looked
            .map(|e| (e, "filter or screen inspected"))
            .or(next.map(|e| (e, "the next oil change or build came first")))
            .map(|(e, why)| Settled { at: e.at, why: why.to_owned(), source: Some(e.source.clone()) });
        finding.evidence = Evidence::default()
            .with("changed_at_engine_hours", event.hours)
            .with("within_days", rules.oil_change.inspection_within_days)
            .with("used", vec![event.source.clone()]);
        found.push(finding);
    }
    found
}

/// The first fill of a new build: there is no used filter to look into.
fn fills_a_build(engine: &Engine, fill: &Event, wait: chrono::TimeDelta) -> bool {
    engine.events.iter().any(|e| {
        matches!(e.what, What::BuildBegan(_)) && (e.hours - fill.hours).abs() < 0.05 && (e.at - fill.at).abs() <= wait
    })
}
