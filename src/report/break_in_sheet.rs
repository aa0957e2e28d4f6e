//! Break-in in one place: for the director of maintenance, the chief pilot and the overhaul shop.

use super::words::numbers;
use crate::judge::BreakIn;

/// How far a break-in has come, one line per question.
pub fn progress(b: &BreakIn) -> Vec<String> {
    let mut out = vec![format!("{} h of {} h since {}", numbers::short(b.hours), numbers::short(b.length_h), b.kind)];
    let points: Vec<String> = b.points.iter().map(|(at, done)| point(*at, *done, b.hours)).collect();
    if !points.is_empty() {
        out.push(format!("oil changes: {}", points.join(", ")));
    }
    out.extend(band(b));
    out.push(match b.stabilised_p {
        Some(p) => format!("consumption stabilised with probability {}", numbers::probability(p)),
        None => "not enough evidence yet to say whether consumption has stabilised".to_owned(),
    });
    if !b.missing.is_empty() {
        out.push(format!("missing: {}", b.missing.join(", ")));
    }
    out
}

fn point(at: f64, done: Option<f64>, now: f64) -> String {
    match done {
        Some(h) => format!("{} h done at {}", numbers::short(at), numbers::hours(h)),
        None if now > at => format!("{} h not recorded", numbers::short(at)),
        None => format!("{} h ahead", numbers::short(at)),
    }
}

/// Share of cruise within the power band, if any cruise was recorded.
fn band(b: &BreakIn) -> Option<String> {
    let [within, below, above, unknown] = b.band_min;
    let known = within + below + above;
    if known + unknown <= 0.0 {
        return None;
    }
    if known <= 0.0 {
        return Some(format!("cruise power could not be told for {unknown:.0} min"));
    }
    let not = if unknown > 0.0 { format!(", {unknown:.0} min not told") } else { String::new() };
    Some(format!(
        "cruise within the power band {} of {known:.0} min (below {below:.0}, above {above:.0} min{not})",
        numbers::percent(within / known)
    ))
}
