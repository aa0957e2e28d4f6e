//! Oil changes: the points of a break-in, the recurring change by hours and months, the filter or
//! screen looked at each time, metal, and the kind of oil.
//!
//! Rules (job.md of the trade; common practice, no source, unless said otherwise): a late change does
//! not move the next break-in point; an early one restarts a recurring interval; filling up is no change.

mod due;
mod inspect;
mod kind;
mod plan;

pub use plan::{Change, Plan, Point};

use chrono_tz::Tz;

use super::{Due, Finding};
use crate::config::Rules;
use crate::engine::Engine;
use crate::records::Instant;

/// What an engine's oil changes show as of a moment.
#[derive(Clone, Debug, Default)]
pub struct Changes {
    pub findings: Vec<Finding>,
    /// What is due next.
    pub due: Vec<Due>,
    /// Points of the current build's break-in with the hours since the build at which each was done.
    pub points: Vec<(f64, Option<f64>)>,
    /// Oil in the engine now.
    pub oil: Option<crate::records::Oil>,
    /// Engine hours a day in the last month.
    pub use_h_per_day: Option<f64>,
    /// The kind of oil the build wants, in words.
    pub oil_wanted: String,
}

/// Judges one engine's oil changes.
pub fn judge(engine: &Engine, rules: &Rules, zone: Tz, as_of: Instant) -> Changes {
    let plan = Plan::of(engine, rules, zone, as_of);
    let mut findings = due::findings(engine, rules, &plan, zone, as_of);
    findings.extend(inspect::findings(engine, rules, as_of));
    let (wrong, oil) = kind::findings(engine, rules);
    findings.extend(wrong);
    let points = plan.points.iter().filter(|p| p.build + 1 == engine.builds.len());
    Changes {
        findings,
        due: due::next(engine, rules, &plan, zone, as_of),
        points: points
            .map(|p| {
                let zero = engine.builds[p.build].zero_hours;
                (p.at_hours - zero, p.done.map(|d| d - zero))
            })
            .collect(),
        oil,
        use_h_per_day: due::recent_use(engine),
        oil_wanted: kind::wanted(engine, rules).to_owned(),
    }
}

#[cfg(test)]
mod tests;
