//! How each recorded flight went against the limits: take-off power, temperatures, pressures, handling.
//!
//! One finding per flight and kind, with the moment, the value, the limit and where the limit comes
//! from; never one per sample. Values are held over seconds by the reducer, so a spike is not a
//! finding. Whether fast cooling harms an engine is disputed: it is noted, not warned of.

mod oil_pressure;
mod pressure_drift;

use super::running::{self, Recorded};
use super::{Finding, Kind};
use crate::config::Rules;
use crate::engine::Engine;
use crate::records::Instant;
use crate::records::run::{AirBasis, Peak, Phase};

/// Findings about single flights up to `as_of`: `takeoff-rpm`, `manifold-high`, `cht-high`, `oil-temp-high`,
/// `cooling-fast`, `power-step-large`; and `oil-pressure-falling` over several.
pub fn findings(engine: &Engine, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let recorded = running::recorded(engine, as_of);
    let mut findings: Vec<Finding> = Vec::new();
    for r in &recorded {
        findings.extend(takeoff_rpm(engine, rules, *r));
        findings.extend(manifold(engine, rules, *r));
        findings.extend(cht(engine, rules, *r));
        findings.extend(oil_temp(engine, *r));
        findings.extend(cooling(engine, rules, *r));
        findings.extend(power_step(engine, rules, *r));
    }
    running::settle_after_days(&mut findings, rules, as_of);
    let sudden = oil_pressure::findings(engine, rules, &recorded);
    findings.extend(pressure_drift::findings(engine, rules, &recorded, &sudden));
    findings.extend(sudden);
    findings.sort_by_key(|f| f.raised);
    findings
}

/// A value against its limit.
struct Against<'a> {
    peak: Peak,
    limit: f64,
    unit: &'a str,
    from: String,
    confirmed: bool,
    /// What "grows by a quarter" is measured on.
    size: f64,
}

fn tell(kind: Kind, engine: &Engine, recorded: Recorded<'_>, against: Against<'_>) -> Finding {
    let run = recorded.run;
    let decimals = if against.unit == "inHg" { 10.0 } else { 1.0 };
    let value = (f64::from(against.peak.value) * decimals).round() / decimals;
    let mut finding = running::finding(kind, engine, recorded);
    finding.size = against.size;
    finding.evidence = finding
        .evidence
        .with("at", running::moment(run, against.peak.at_s))
        .with("value", value)
        .with("limit", against.limit)
        .with("unit", against.unit)
        .with_some("cylinder", against.peak.cylinder.map(u32::from))
        .with_some("during", during(recorded, against.peak.at_s))
        .with("limit_from", against.from)
        .with("confirmed", against.confirmed);
    if !run.doubts.is_empty() {
        finding.evidence.set("doubts", run.doubts.clone());
    }
    finding
}

/// The phase a moment of the run lies in.
fn during(recorded: Recorded<'_>, at_s: f32) -> Option<&'static str> {
    let segment = recorded.run.segments.iter().find(|s| s.from_s <= at_s && at_s < s.to_s)?;
    Some(match segment.phase {
        Phase::Ground => "running on the ground",
        Phase::TaxiOut => "taxi before take-off",
        Phase::RunUp => "run-up",
        Phase::TakeOff => "take-off",
        Phase::Climb => "climb",
        Phase::Cruise => "cruise",
        Phase::Descent => "descent",
        Phase::TaxiIn => "taxi after landing",
    })
}

fn takeoff_rpm(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.rpm_takeoff?;
    let red_line = Some(engine.model.rated_rpm).filter(|r| *r > 0.0)?;
    let limit = red_line - rules.flight.takeoff_rpm_within;
    let value = f64::from(peak.value);
    if value >= limit {
        return None;
    }
    let from = format!("{}, red line {red_line:.0} rpm", running::from_model(engine));
    let confirmed = engine.model.confirmed && rules.confirmed;
    let against = Against { peak, limit, unit: "rpm", from, confirmed, size: red_line - value };
    let mut finding = tell(Kind::TakeoffRpm, engine, recorded, against);
    if recorded.run.basis == AirBasis::Power {
        finding.evidence.set("basis", "power (inferred)");
    }
    Some(finding)
}

fn manifold(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.manifold_inhg?;
    let limit = engine.model.manifold_max_inhg? + rules.flight.manifold_over_inhg;
    let confirmed = engine.model.confirmed;
    let against = Against {
        peak,
        limit,
        unit: "inHg",
        from: running::from_model(engine),
        confirmed,
        size: f64::from(peak.value),
    };
    (f64::from(peak.value) > limit).then(|| tell(Kind::ManifoldHigh, engine, recorded, against))
}

/// The cylinder head limit for a run, °F, where it comes from and whether it is confirmed: in break-in the lower of
/// the rules' and the model's. `None`: neither says.
pub fn cht_limit(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<(f64, String, bool)> {
    let model = engine.model.cht_max_f.map(|l| (l, running::from_model(engine), engine.model.confirmed));
    let break_in = running::in_break_in(engine, recorded.event, recorded.run.running_s / 3600.0, rules);
    let rule = break_in
        .then(|| (rules.break_in.cht_max_f, format!("{} (break-in)", running::from_rules(rules)), rules.confirmed));
    rule.into_iter().chain(model).min_by(|a, b| a.0.total_cmp(&b.0))
}

fn cht(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.cht_f?;
    let (limit, from, confirmed) = cht_limit(engine, rules, recorded)?;
    let against = Against { peak, limit, unit: "°F", from, confirmed, size: f64::from(peak.value) / limit };
    (f64::from(peak.value) > limit).then(|| tell(Kind::ChtHigh, engine, recorded, against))
}

fn oil_temp(engine: &Engine, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.oil_temp_f?;
    let limit = engine.model.oil_temp_max_f?;
    let (from, confirmed) = (running::from_model(engine), engine.model.confirmed);
    let against = Against { peak, limit, unit: "°F", from, confirmed, size: f64::from(peak.value) / limit };
    (f64::from(peak.value) > limit).then(|| tell(Kind::OilTempHigh, engine, recorded, against))
}

fn cooling(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.cooling_f_per_min?;
    let limit = rules.flight.cooling_f_per_min;
    let (from, confirmed) = (running::from_rules(rules), rules.confirmed);
    let against = Against { peak, limit, unit: "°F per minute", from, confirmed, size: f64::from(peak.value) / limit };
    let told = (f64::from(peak.value) > limit).then(|| tell(Kind::CoolingFast, engine, recorded, against));
    told.map(|mut f| {
        f.evidence.set("disputed", "whether fast cooling harms an engine is disputed; noted for information");
        f
    })
}

fn power_step(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    let peak = recorded.run.power_step_inhg?;
    let limit = rules.flight.power_step_inhg;
    let (from, confirmed) = (running::from_rules(rules), rules.confirmed);
    let against = Against { peak, limit, unit: "inHg", from, confirmed, size: f64::from(peak.value) / limit };
    (f64::from(peak.value) > limit).then(|| tell(Kind::PowerStepLarge, engine, recorded, against))
}

#[cfg(test)]
mod tests;
