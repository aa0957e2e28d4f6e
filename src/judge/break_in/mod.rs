//! Break-in as flown: power in cruise, and the first flight against the plan.
//!
//! Rings seat under pressure, so cruise belongs within a band of rated power. Said is what a
//! recording shows and how power was found; where it cannot be told, the minutes count as unknown,
//! never as good or bad. Only runs inside a build's known break-in hours are looked at. Numbers are
//! common practice, no source, from the configuration.

mod profile;
mod record;

pub use record::{OilLine, Record, RunLine, record};

use super::running::{self, Recorded};
use super::{Finding, Kind};
use crate::config::Rules;
use crate::engine::Engine;
use crate::records::Instant;
use crate::records::run::RunSummary;

/// Less cruise than this is not judged, minutes.
const ENOUGH_MIN: f64 = 10.0;

/// Findings about break-in flights up to `as_of`: `break-in-power` per flight, `break-in-profile` for the first one.
pub fn findings(engine: &Engine, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let recorded = running::recorded(engine, as_of);
    let mut findings: Vec<Finding> = Vec::new();
    for r in recorded.iter().filter(|r| r.run.flights > 0) {
        if !running::in_break_in(engine, r.event, r.run.running_s / 3600.0, rules) {
            continue;
        }
        findings.extend(power(engine, rules, *r));
        findings.extend(profile::finding(engine, rules, *r));
    }
    findings.sort_by_key(|f| f.raised);
    running::settle_after_days(&mut findings, rules, as_of);
    findings
}

/// Cruise minutes within, below and above the band, and unknown, over the recorded break-in flights of the
/// engine's present build up to `as_of`.
pub fn progress(engine: &Engine, rules: &Rules, as_of: Instant) -> [f64; 4] {
    let build = engine.builds.len().saturating_sub(1);
    let mut sum = [0.0; 4];
    for r in running::recorded(engine, as_of) {
        if r.event.build == build && running::in_break_in(engine, r.event, r.run.running_s / 3600.0, rules) {
            for (sum, minutes) in sum.iter_mut().zip(band_min(r.run, rules)) {
                *sum += minutes;
            }
        }
    }
    sum
}

/// Cruise minutes of a run within, below and above the band, and unknown. Power from fuel flow is an upper bound:
/// it can show cruise below the band, not within it.
fn band_min(run: &RunSummary, rules: &Rules) -> [f64; 4] {
    let [low, high] = rules.break_in.power_pct;
    let upper_bound = run.handling.power_from.as_deref() == Some("fuel flow");
    let mut minutes = [0.0, 0.0, 0.0, f64::from(run.handling.cruise_unknown_s) / 60.0];
    for &(percent, seconds) in &run.handling.cruise_power {
        // Whole percent, cut off: 75 stands for 75.0 to 75.9.
        let which = match f64::from(percent) {
            p if p < low => 1,
            _ if upper_bound => 3,
            p if p > high => 2,
            _ => 0,
        };
        minutes[which] += f64::from(seconds) / 60.0;
    }
    minutes
}

/// The percent half of the cruise with known power was below.
fn median_percent(run: &RunSummary) -> Option<f64> {
    let known: f32 = run.handling.cruise_power.iter().map(|c| c.1).sum();
    let mut sum = 0.0;
    run.handling.cruise_power.iter().find_map(|&(percent, seconds)| {
        sum += seconds;
        (sum * 2.0 >= known).then_some(f64::from(percent))
    })
}

fn power(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let run = recorded.run;
    let [within, below, above, unknown] = band_min(run, rules);
    let cruise = within + below + above + unknown;
    // What cannot be told counts as not below.
    let below_pct = below / cruise * 100.0;
    if cruise < ENOUGH_MIN || below_pct <= rules.break_in.below_band_pct {
        return None;
    }
    let tenths = |v: f64| (v * 10.0).round() / 10.0;
    let mut finding = running::finding(Kind::BreakInPower, engine, recorded);
    finding.size = below_pct;
    finding.evidence = finding
        .evidence
        .with("at", run.start)
        .with("value", below_pct.round())
        .with("limit", rules.break_in.below_band_pct)
        .with("band_low_pct", rules.break_in.power_pct[0])
        .with("band_high_pct", rules.break_in.power_pct[1])
        .with("cruise_min", tenths(cruise))
        .with("within_min", tenths(within))
        .with("below_min", tenths(below))
        .with("above_min", tenths(above))
        .with("unknown_min", tenths(unknown))
        .with_some("power_pct", median_percent(run))
        .with_some("power_from", run.handling.power_from.as_deref().map(how))
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed);
    if !run.doubts.is_empty() {
        finding.evidence.set("doubts", run.doubts.clone());
    }
    Some(finding)
}

/// How power was found, in a person's words.
fn how(word: &str) -> &'static str {
    match word {
        "recorded" => "recorded by the instrument",
        "chart" => "the engine model's power chart, about ± 4",
        _ => "fuel flow, at most (lean of peak)",
    }
}

#[cfg(test)]
mod tests;
