//! Evidence nobody wrote a sentence for, told by its name rather than dropped.

use super::explain::capital;
use super::facts::Facts;
use crate::judge::Fact;

/// Names told by sentences elsewhere.
#[rustfmt::skip]
const TOLD: &[&str] = &[
    "from_qt_per_h",
    "to_qt_per_h",
    "ratio",
    "ratio_low",
    "ratio_high",
    "from_h_per_qt",
    "to_h_per_qt",
    "since",
    "since_hours",
    "hours_since_onset",
    "to_low",
    "to_high",
    "clock",
    "log",
    "used",
    "left_out",
    "unchanged",
    "share_of_ceiling",
    "ceiling_qt_per_h",
    "endurance_h",
    "level_qt",
    "with",
    "still", "in_the_engine", "limit_h", "over_weeks", "ahead_h",
    "lines",
    "basis",
    "limit_from",
    "grace_h",
    "model",
    "unit",
    "value",
    "limit",
    "at",
    "minutes",
    "limit_min",
    "cht_ground_f",
    "limit_cht_f",
    "found",
    "expected",
    "point_h",
    "quarts_baseline", "baseline_hours", "ln_statistic", "confirmed", "doubts", "may_mean", "disputed", "during",
    "where", "why", "read_h", "expected_h", "jumped", "every_h", "hours_left", "due_date", "days_past", "months",
    "from_oil", "to_oil", "band_low_pct", "band_high_pct", "not_flown", "from_psi", "to_psi", "within_days",
    "changed_at_engine_hours", "quarts", "phase",
    "gone_qt", "over_h", "usual_qt_per_h",
    "part",
    "result",
    "remarks",
    "days",
    "last_record",
    "before_min",
    "after_min",
    "hours_past",
    "what",
    "cylinder",
    "due_at_engine_hours", "last_change_h", "hours_since_build", "between_min", "at_least_min", "cruise_min", "power_pct",
];

pub(super) fn others(f: &Facts) -> Vec<String> {
    let evidence = &f.finding.evidence.0;
    let empty = |fact: &Fact| match fact {
        Fact::Text(t) => t.is_empty(),
        Fact::List(l) => l.is_empty(),
        Fact::Lines(l) => l.is_empty(),
        _ => false,
    };
    let rest = evidence.iter().filter(|(n, fact)| !TOLD.contains(&n.as_str()) && !empty(fact));
    rest.map(|(n, fact)| capital(&f.named(n, fact))).collect()
}
