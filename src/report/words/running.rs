//! Sentences about running on the ground and about how a flight was flown.

use super::facts::Facts;
use super::numbers;
use crate::judge::Kind;

/// The headline, without the engine in front.
pub fn headline(f: &Facts) -> String {
    match f.finding.kind {
        Kind::GroundRunLong | Kind::FirstRunLong => ground(f),
        Kind::TakeoffRpm => value(f, "take-off rpm", "at least"),
        Kind::ManifoldHigh => value(f, "manifold pressure", "limit"),
        Kind::ChtHigh => value(f, "cylinder head temperature", "limit"),
        Kind::OilTempHigh => value(f, "oil temperature", "limit"),
        Kind::OilPressureFalling => pressure(f),
        Kind::CoolingFast => value(f, "hottest cylinder cooled by", "noted from"),
        Kind::PowerStepLarge => value(f, "manifold pressure within a minute reduced by", "noted from"),
        Kind::BreakInPower => power(f),
        _ => profile(f),
    }
}

fn ground(f: &Facts) -> String {
    let first = f.finding.kind == Kind::FirstRunLong;
    let what = if first { "first run after the build, " } else { "" };
    let days = f.number(&["days"]).filter(|d| *d > 1.0);
    let days = days.map_or(String::new(), |d| format!(" in {} days", numbers::short(d)));
    let without = if days.is_empty() { "" } else { " without flight" };
    let Some(minutes) = f.number(&["minutes", "value"]) else {
        return format!("{what}long running on the ground, {}", f.when());
    };
    let limit =
        f.number(&["limit_min", "limit"]).map_or(String::new(), |l| format!(", limit {} min", numbers::short(l)));
    let mut text = format!("{what}{} min running on the ground{without}{days}{limit}, {}", round(minutes), f.when());
    if let (Some(before), Some(after)) = (f.number(&["before_min"]), f.number(&["after_min"]))
        && after > 0.0
    {
        text.push_str(&format!(" ({} before take-off, {} after landing)", round(before), round(after)));
    }
    if let Some(cht) = f.number(&["cht_ground_f"]) {
        text.push_str(&format!("; cylinder head up to {} °F", round(cht)));
        if let Some(limit) = f.number(&["limit_cht_f"]) {
            text.push_str(&format!(", limit {} °F", round(limit)));
        }
    }
    text
}

/// Whole minutes and degrees from ten up, a decimal below.
fn round(value: f64) -> String {
    if value >= 10.0 { format!("{value:.0}") } else { numbers::short(value) }
}

/// `cylinder head temperature 428 °F, limit 420 °F, cylinder 3, 7 Mar 14:20`.
fn value(f: &Facts, what: &str, against: &str) -> String {
    let unit = f.text(&["unit"]).map_or(String::new(), |u| format!(" {}", u.replace(" per minute", "/min")));
    let unit = if what.ends_with("rpm") && unit == " rpm" { String::new() } else { unit };
    let value = f.number(&["value"]).map_or(String::new(), |v| format!(" {}{unit}", numbers::plain(v)));
    let limit = f.number(&["limit"]).map_or(String::new(), |l| format!(", {against} {}{unit}", numbers::plain(l)));
    let cylinder = f.number(&["cylinder"]).map_or(String::new(), |c| format!(", cylinder {c:.0}"));
    let place = f.text(&["where"]).map_or(String::new(), |w| format!(" {w}"));
    let during = f.text(&["during"]).map_or(String::new(), |d| format!(", {d}"));
    format!("{what}{place}{value}{limit}{cylinder}{during}, {}", f.when())
}

fn pressure(f: &Facts) -> String {
    match (f.number(&["from_psi", "from"]), f.number(&["to_psi", "to", "value"])) {
        (Some(from), Some(to)) => {
            let weeks = f.finding.evidence.get("over_weeks").is_some();
            let since = if weeks { "over the weeks from" } else { "since" };
            let since = f.date(&["since"]).map_or(String::new(), |d| format!(", {since} {}", f.day(d)));
            format!(
                "oil pressure in cruise {} → {} psi at like rpm and oil temperature{since}",
                numbers::short(from),
                numbers::short(to)
            )
        }
        _ => value(f, "oil pressure in cruise fell by", "noted from"),
    }
}

fn power(f: &Facts) -> String {
    let low =
        f.number(&["band_low_pct"]).map_or("the break-in band".to_owned(), |low| format!("{low:.0} % of rated power"));
    let Some(value) = f.number(&["value"]) else {
        return format!("cruise below {low}, {}", f.when());
    };
    let limit = f.number(&["limit"]).map_or(String::new(), |l| format!(", at most {} % wanted", numbers::short(l)));
    let minutes = f.number(&["cruise_min"]).map_or("cruise".to_owned(), |m| format!("{} min of cruise", round(m)));
    let median = f.number(&["power_pct"]).map_or(String::new(), |p| format!(" (median {p:.0} %)"));
    format!("{value:.0} % of {minutes} below {low}{median}{limit}, {}", f.when())
}

fn profile(f: &Facts) -> String {
    let not = f.items(&["not_flown", "missing", "not_so", "found"]);
    if not.is_empty() && f.number(&["value"]).is_some() {
        return value(f, f.text(&["what"]).unwrap_or("break-in flight"), "plan");
    }
    let not = if not.is_empty() { "not all of it flown as planned".to_owned() } else { not.join("; ") };
    format!("break-in flight of {}: {not}", f.when())
}
