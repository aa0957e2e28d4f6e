//! The first flight of a build against the plan: climb, power back, staying near, initial cruise, descent.

use crate::config::Rules;
use crate::engine::{Engine, What};
use crate::judge::running::{self, Recorded};
use crate::judge::{Finding, Kind};

/// Tolerances: common practice, no source.
const SPEED_WITHIN_KT: f64 = 3.0;
const POWER_BACK_WITHIN_FT: [f64; 2] = [300.0, 500.0];
const CRUISE_WITHIN_MIN: f64 = 1.0;
/// About 500 ft/min; more than this median is not that.
const DESCENT_FPM: f64 = 500.0;
const DESCENT_MOST_FPM: f64 = 750.0;
/// Fuel flow of the initial cruise below that of the climb.
const FUEL_FLOW_BELOW_GPH: f64 = 1.0;
const FUEL_FLOW_WITHIN_GPH: f64 = 0.5;

#[derive(Default)]
struct Seen {
    so: Vec<String>,
    not_so: Vec<String>,
    not_recorded: Vec<String>,
}

impl Seen {
    /// `what` was flown as planned if `ok`; `None`: the recording does not tell.
    fn note(&mut self, ok: Option<bool>, what: &str, told: String) {
        match ok {
            Some(true) => self.so.push(told),
            Some(false) => self.not_so.push(told),
            None => self.not_recorded.push(what.to_owned()),
        }
    }
}

/// What was not flown so on the build's first flight, if anything.
pub fn finding(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> Option<Finding> {
    if !first_flight(engine, recorded) {
        return None;
    }
    let mut seen = Seen::default();
    climb(rules, recorded, &mut seen);
    if !engine.model.turbocharged {
        initial_cruise(rules, recorded, &mut seen);
    }
    let descent = recorded.run.handling.descent_fpm.map(f64::from);
    seen.note(
        descent.map(|d| d <= DESCENT_MOST_FPM),
        "rate of descent",
        format!("descended at {:.0} ft/min, plan about {DESCENT_FPM:.0}", descent.unwrap_or_default()),
    );
    if seen.not_so.is_empty() {
        return None;
    }
    let mut finding = running::finding(Kind::BreakInProfile, engine, recorded);
    finding.size = seen.not_so.len() as f64;
    finding.evidence = finding
        .evidence
        .with("at", recorded.run.start)
        .with("not_flown", seen.not_so)
        .with("flown_as_planned", seen.so)
        .with("not_recorded", seen.not_recorded)
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed);
    Some(finding)
}

/// No flight of the same build is logged or recorded to have ended before this one began.
fn first_flight(engine: &Engine, recorded: Recorded<'_>) -> bool {
    let since = running::hours_since_build(engine, recorded.event, recorded.run.running_s / 3600.0);
    // By the log's clock, should the recorder's be off.
    let began = recorded.event.at - (recorded.run.end - recorded.run.start);
    // A meter read at the flight's end may already count it; ground runs came before.
    since.is_some_and(|h| h <= 1.0)
        && !engine.events.iter().any(|e| {
            let flight = match &e.what {
                What::Flight { .. } => e.at < began,
                What::Run(run) => run.flights > 0 && run.end < recorded.run.start,
                _ => false,
            };
            flight && e.build == recorded.event.build
        })
}

fn climb(rules: &Rules, recorded: Recorded<'_>, seen: &mut Seen) {
    let handling = &recorded.run.handling;
    if let Some(book_kt) = rules.break_in.climb_kt {
        let plan = book_kt + rules.break_in.climb_extra_kt;
        let flown = handling.climb_kt.map(f64::from);
        seen.note(
            flown.map(|kt| kt >= plan - SPEED_WITHIN_KT),
            "climb speed",
            format!("climbed at {:.0} kt, plan {plan:.0} kt for cooling", flown.unwrap_or_default()),
        );
    }
    let plan = rules.break_in.power_back_ft;
    let back = handling.power_back_ft.map(f64::from);
    let within = (plan - POWER_BACK_WITHIN_FT[0])..=(plan + POWER_BACK_WITHIN_FT[1]);
    seen.note(
        back.map(|ft| within.contains(&ft)),
        "height at which power was brought back",
        format!("power brought back at {:.0} ft above the field, plan {plan:.0} ft", back.unwrap_or_default()),
    );
    let plan = rules.break_in.stay_over_field_ft;
    let left = handling.left_field_ft.map(f64::from);
    seen.note(
        left.map(|ft| ft >= plan),
        "distance from the field",
        format!("more than 5 NM from the field at {:.0} ft above it, plan {plan:.0} ft", left.unwrap_or_default()),
    );
}

fn initial_cruise(rules: &Rules, recorded: Recorded<'_>, seen: &mut Seen) {
    let (plan, handling) = (&rules.break_in, &recorded.run.handling);
    // Counted while reading, near the setting then in force.
    let wanted = [plan.initial_manifold_inhg as f32, plan.initial_rpm as f32];
    let counted = handling.initial_setting.is_none_or(|s| s == wanted);
    let minutes = handling.initial_cruise_s.filter(|_| counted).map(|s| f64::from(s) / 60.0);
    seen.note(
        minutes.map(|m| m >= plan.initial_cruise_min - CRUISE_WITHIN_MIN),
        "initial cruise",
        format!(
            "initial cruise near {:.0} inHg and {:.0} rpm for {:.0} min, plan {:.0} min",
            plan.initial_manifold_inhg,
            plan.initial_rpm,
            minutes.unwrap_or_default(),
            plan.initial_cruise_min
        ),
    );
    let wanted = plan.propeller_cycles_per_5_min * plan.initial_cruise_min / 5.0;
    let cycles = handling.propeller_cycles.filter(|_| counted).map(f64::from);
    seen.note(
        cycles.map(|c| c >= wanted),
        "propeller cycles",
        format!("propeller cycled {:.0} times in the initial cruise, plan {wanted:.0}", cycles.unwrap_or_default()),
    );
    let below = handling.fuel_flow_below_climb_gph.map(f64::from);
    seen.note(
        below.map(|gph| gph >= FUEL_FLOW_BELOW_GPH - FUEL_FLOW_WITHIN_GPH),
        "fuel flow",
        format!(
            "fuel flow in the initial cruise {:.1} gal/h below climb, plan about {FUEL_FLOW_BELOW_GPH:.0}",
            below.unwrap_or_default()
        ),
    );
}
