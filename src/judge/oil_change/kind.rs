//! The kind of oil: what a break-in wants, and kinds mixed by an addition.

use crate::config::Rules;
use crate::config::meant::OilWanted;
use crate::engine::{Engine, Event, What};
use crate::judge::{Evidence, Finding, Kind, Settled};
use crate::records::{Oil, OilFamily};

/// What the build wants, in words.
pub fn wanted(engine: &Engine, rules: &Rules) -> &'static str {
    match (rules.break_in.oil, engine.model.turbocharged) {
        (OilWanted::AshlessDispersant, _) | (OilWanted::ByModel, true) => "ashless dispersant (SAE J1899)",
        (OilWanted::Mineral, _) => "straight mineral (SAE J1966)",
        _ => "one kind, as the engine maker's instructions say",
    }
}

fn family_wanted(engine: &Engine, rules: &Rules) -> Option<OilFamily> {
    match (rules.break_in.oil, engine.model.turbocharged) {
        // FAA-H-8083-32 ch. 6 (from memory): turbocharged engines are broken in on ashless dispersant oil.
        (OilWanted::AshlessDispersant, _) | (OilWanted::ByModel, true) => Some(OilFamily::AshlessDispersant),
        (OilWanted::Mineral, _) => Some(OilFamily::Mineral),
        (OilWanted::ByModel | OilWanted::Any, _) => None,
    }
}

/// Findings, and the oil in the engine after its last event.
pub fn findings(engine: &Engine, rules: &Rules) -> (Vec<Finding>, Option<Oil>) {
    let mut oil = engine.oil_at_start.clone();
    let mut found: Vec<Finding> = Vec::new();
    for event in &engine.events {
        match &event.what {
            What::Changed { oil: poured, .. } => {
                for finding in found.iter_mut().filter(|f| f.settled.is_none()) {
                    let why = "oil changed since".to_owned();
                    finding.settled = Some(Settled { at: event.at, why, source: Some(event.source.clone()) });
                }
                oil = poured.clone().or(oil);
                if let Some(poured) = poured {
                    found.extend(for_break_in(engine, rules, event, poured));
                }
            }
            What::Added { oil: Some(poured), .. } => {
                let mixed = oil.as_ref().is_some_and(|o| o.family != poured.family);
                match for_break_in(engine, rules, event, poured) {
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

fn for_break_in(engine: &Engine, rules: &Rules, event: &Event, poured: &Oil) -> Option<Finding> {
    let build = &engine.builds[event.build];
    let since = event.hours - build.zero_hours;
    let breaking_in = build.kind.is_some() && build.zero_known && since < rules.break_in.length_h - 0.5;
    let family = family_wanted(engine, rules).filter(|&f| breaking_in && f != poured.family)?;
    let name = match family {
        OilFamily::AshlessDispersant => "ashless dispersant",
        OilFamily::Mineral => "straight mineral",
    };
    let mut finding = wrong(engine, event, poured, "not the kind the break-in wants", name);
    finding.evidence.set("hours_since_build", since);
    finding.evidence.set("confirmed", rules.confirmed);
    Some(finding)
}

fn wrong(engine: &Engine, event: &Event, poured: &Oil, why: &str, wanted: &str) -> Finding {
    let subject = format!("oil {}", event.at.format("%Y-%m-%dT%H:%MZ"));
    let mut finding = Finding::at_event(Kind::OilWrong, engine, event, subject);
    finding.evidence = Evidence::default()
        .with("found", poured.to_string())
        .with("expected", wanted)
        .with("why", why)
        .with("turbocharged", engine.model.turbocharged)
        .with("used", vec![event.source.clone()]);
    finding
}
