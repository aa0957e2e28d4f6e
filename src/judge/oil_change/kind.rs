//! The kind of oil: what a break-in wants, what a turbocharged engine always wants, kinds mixed by an
//! addition, and break-in oil that stays in long after.

use crate::config::Rules;
use crate::config::meant::OilWanted;
use crate::engine::{Engine, Event, What};
use crate::judge::{Evidence, Finding, Kind, Level, Settled};
use crate::records::{Oil, OilFamily};

/// What the build wants, in words.
pub fn wanted(engine: &Engine, rules: &Rules) -> &'static str {
    match (rules.break_in.oil, engine.model.turbocharged) {
        (OilWanted::AshlessDispersant, _) | (OilWanted::ByModel, true) => "ashless dispersant (SAE J1899)",
        (OilWanted::Mineral, _) => "straight mineral (SAE J1966)",
        _ => "one kind, as the engine maker's instructions say",
    }
}

/// The kind an event's engine wants then, and whether because it is in break-in.
fn wanted_then(engine: &Engine, rules: &Rules, event: &Event) -> Option<(OilFamily, bool)> {
    let build = &engine.builds[event.build];
    let since = event.hours - build.zero_hours;
    // The change that ends break-in may come a little before its last hour.
    let breaking_in = build.kind.is_some() && build.zero_known && since < rules.break_in.length_h - 0.5;
    if breaking_in {
        return family_wanted(engine, rules).map(|family| (family, true));
    }
    let always = rules.break_in.oil == OilWanted::ByModel && engine.model.turbocharged;
    always.then_some((OilFamily::AshlessDispersant, false))
}

fn family_wanted(engine: &Engine, rules: &Rules) -> Option<OilFamily> {
    match (rules.break_in.oil, engine.model.turbocharged) {
        // FAA-H-8083-32 ch. 6 (from memory): turbocharged engines are broken in and operated on ashless dispersant oil.
        (OilWanted::AshlessDispersant, _) | (OilWanted::ByModel, true) => Some(OilFamily::AshlessDispersant),
        (OilWanted::Mineral, _) => Some(OilFamily::Mineral),
        (OilWanted::ByModel | OilWanted::Any, _) => None,
    }
}

/// Findings, and the oil in the engine after its last event.
pub fn findings(engine: &Engine, rules: &Rules) -> (Vec<Finding>, Option<Oil>) {
    let mut oil = engine.oil_at_start.clone();
    let mut found: Vec<Finding> = Vec::new();
    let mut last_poured: Option<&Event> = None;
    if let (Some(oil), Some(first)) = (&oil, engine.events.first())
        && let Some(mut finding) = unlike_wanted(engine, rules, first, oil)
    {
        finding.subject = "oil when the records begin".to_owned();
        finding.evidence.set("in_the_engine", true);
        finding.evidence.set("used", vec![engine.builds[0].source.clone()]);
        found.push(finding);
    }
    let mut asked = None;
    for event in &engine.events {
        let long = asked != Some(event.build) && long_after(engine, rules, event, oil.as_ref());
        if let (true, Some(oil)) = (long, &oil) {
            asked = Some(event.build);
            found.push(still_in(engine, rules, event, oil, last_poured));
        }
        match &event.what {
            What::BuildBegan(_) => settle(&mut found, event, "a new build began", |_| true),
            What::Changed { oil: poured, .. } => {
                let dispersant = poured.as_ref().is_some_and(|p| p.family == OilFamily::AshlessDispersant);
                let ends = |f: &Finding| dispersant || f.evidence.get("still").is_none();
                settle(&mut found, event, "oil changed since", ends);
                last_poured = Some(event);
                oil = poured.clone().or(oil);
                if let Some(poured) = poured {
                    found.extend(unlike_wanted(engine, rules, event, poured));
                }
            }
            What::Added { oil: Some(poured), .. } => {
                let mixed = oil.as_ref().is_some_and(|o| o.family != poured.family);
                match unlike_wanted(engine, rules, event, poured) {
                    Some(finding) => found.push(finding),
                    None if mixed => {
                        let within = oil.as_ref().map(ToString::to_string).unwrap_or_default();
                        found.push(wrong(engine, event, poured, "not to be mixed", &within));
                    }
                    None => {}
                }
                if oil.is_none() {
                    oil = Some(poured.clone());
                }
            }
            _ => {}
        }
    }
    (found, oil)
}

/// Settles what is open and `ends` by an event.
fn settle(found: &mut [Finding], by: &Event, why: &str, ends: impl Fn(&Finding) -> bool) {
    for finding in found.iter_mut().filter(|f| f.settled.is_none() && ends(f)) {
        finding.settled = Some(Settled { at: by.at, why: why.to_owned(), source: Some(by.source.clone()) });
    }
}

/// Oil that is not the kind the engine wants at an event.
fn unlike_wanted(engine: &Engine, rules: &Rules, event: &Event, poured: &Oil) -> Option<Finding> {
    let (family, breaking_in) = wanted_then(engine, rules, event)?;
    if family == poured.family {
        return None;
    }
    let build = &engine.builds[event.build];
    let name = match family {
        OilFamily::AshlessDispersant => "ashless dispersant",
        OilFamily::Mineral => "straight mineral",
    };
    let why = match (breaking_in, engine.model.turbocharged && rules.break_in.oil == OilWanted::ByModel) {
        (true, true) => "the engine is turbocharged and in break-in",
        (true, false) => "not the kind the break-in wants",
        (false, _) => "the engine is turbocharged",
    };
    let mut finding = wrong(engine, event, poured, why, name);
    if breaking_in {
        finding.evidence.set("hours_since_build", event.hours - build.zero_hours);
    }
    finding.evidence.set("confirmed", rules.confirmed);
    Some(finding)
}

/// Straight mineral oil is in the engine after running long past its break-in.
fn long_after(engine: &Engine, rules: &Rules, event: &Event, oil: Option<&Oil>) -> bool {
    let build = &engine.builds[event.build];
    let ran = matches!(event.what, What::Flight { .. } | What::GroundRun { .. });
    let mineral = oil.is_some_and(|o| o.family == OilFamily::Mineral);
    ran && mineral
        && build.kind.is_some()
        && build.zero_known
        && event.hours - build.zero_hours > rules.break_in.mineral_until_h
}

fn still_in(engine: &Engine, rules: &Rules, event: &Event, oil: &Oil, poured: Option<&Event>) -> Finding {
    let mut finding = wrong(engine, event, oil, "", "ashless dispersant");
    finding.subject = format!("mineral after build {}", event.build + 1);
    finding.level = Level::Advisory;
    finding.evidence = Evidence::default()
        .with("still", true)
        .with("found", oil.to_string())
        .with("expected", "ashless dispersant")
        .with("hours_since_build", event.hours - engine.builds[event.build].zero_hours)
        .with("limit_h", rules.break_in.mineral_until_h)
        .with("confirmed", rules.confirmed)
        .with("used", poured.map_or_else(Vec::new, |p| vec![p.source.clone()]));
    finding
}

fn wrong(engine: &Engine, event: &Event, poured: &Oil, why: &str, wanted: &str) -> Finding {
    let subject = format!("oil {}", event.at.format("%Y-%m-%dT%H:%MZ"));
    let mut finding = Finding::at_event(Kind::OilWrong, engine, event, subject);
    finding.evidence = Evidence::default()
        .with("found", poured.to_string())
        .with("expected", wanted)
        .with("why", why)
        .with("turbocharged", engine.model.turbocharged)
        .with_some("remarks", event.remarks.as_ref())
        .with("used", vec![event.source.clone()]);
    finding
}
