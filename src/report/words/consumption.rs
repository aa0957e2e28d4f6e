//! Sentences about oil consumption: both numbers, the clock, and since when.

use super::facts::Facts;
use super::numbers;
use crate::judge::Kind;

const FROM: &[&str] = &["from_qt_per_h", "baseline_qt_per_h", "reference_qt_per_h"];
const TO: &[&str] = &["to_qt_per_h", "rate_qt_per_h", "value"];
const CEILING: &[&str] = &["ceiling_qt_per_h", "limit_qt_per_h", "limit"];

/// Share of the rate before from which on a fall is no longer a rate to speak of.
const HARDLY_ANY: f64 = 0.15;

/// The headline of a consumption finding, without the engine in front.
pub fn headline(f: &Facts) -> String {
    match f.finding.kind {
        Kind::OilRateCeiling => ceiling(f),
        Kind::OilEndurance => endurance(f),
        Kind::OilRateCreep => change(f, "consumption slowly rising, "),
        Kind::EnginesDiverged => diverged(f),
        Kind::OilGradeChanged => grade(f),
        _ => change(f, "consumption "),
    }
}

/// `consumption 0.11 → 0.24 qt/h, tach hours; 9.1 → 4.2 h/qt, since 9 Feb`.
fn change(f: &Facts, what: &str) -> String {
    let (Some(from), Some(to)) = (f.number(FROM), f.number(TO)) else {
        return format!("{}changed{}", what, since(f));
    };
    let (a, b) = numbers::rates(from, to);
    if to < HARDLY_ANY * from {
        // No engine mends itself to nothing, and hours per quart would run to a thousand.
        let asks = "additions not logged, or fuel or water in the oil?";
        return format!("hardly any oil used, {a} → {b} qt/h, {}{}: {asks}", f.clock(), since(f));
    }
    let h =
        |given: &str, rate: f64| f.number(&[given]).map_or_else(|| numbers::hours_per_qt(rate), |v| format!("{v:.1}"));
    let mut text = format!(
        "{what}{a} → {b} qt/h, {}; {} → {} h/qt{}",
        f.clock(),
        h("from_h_per_qt", from),
        h("to_h_per_qt", to),
        since(f)
    );
    if let Some(day) = f.date(&["again_since", "changed_again"]) {
        text.push_str(&format!(", a further change on {}", f.day(day)));
    }
    let with = f.items(&["with"]);
    if !with.is_empty() {
        text.push_str(&format!("; together with {}", numbers::list(&with)));
    }
    text
}

/// `, since 9 Feb` where the onset is known, else the span of hours looked back over.
fn since(f: &Facts) -> String {
    match (f.date(&["since"]), f.number(&["over_h", "span_h"])) {
        (Some(day), _) => format!(", since {}", f.day(day)),
        (None, Some(span)) => format!(", over {}", numbers::hours(span)),
        (None, None) => String::new(),
    }
}

fn ceiling(f: &Facts) -> String {
    let Some(rate) = f.number(TO) else {
        return format!("consumption at the configured ceiling, {}", f.clock());
    };
    let limit = f.number(CEILING).or_else(|| share(f).filter(|s| *s > 0.0).map(|s| rate / s));
    let against = limit.map_or(String::new(), |l| format!(", ceiling {} qt/h", numbers::rates(l, rate).0));
    let share = share(f).or_else(|| limit.map(|l| rate / l));
    let share = share.map_or(String::new(), |s| format!(" ({} of it)", numbers::percent(s)));
    let gone = gone(f).map_or(String::new(), |(quarts, hours)| format!(", {quarts} gone in {hours}"));
    format!(
        "consumption {} qt/h, {}; {} h/qt{against}{share}{gone}{}",
        numbers::rate(rate),
        f.clock(),
        numbers::hours_per_qt(rate),
        since(f)
    )
}

/// Oil gone over the last looks, and in how long: `4.1 qt`, `3.8 h`.
pub fn gone(f: &Facts) -> Option<(String, String)> {
    let (quarts, hours) = (f.number(&["gone_qt"])?, f.number(&["over_h"])?);
    Some((format!("{quarts:.1} qt"), format!("{hours:.1} h")))
}

/// Share of the ceiling as a fraction, whether told as 0.24 or 24.
pub fn share(f: &Facts) -> Option<f64> {
    f.number(&["share_of_ceiling"]).map(|s| if s > 10.0 { s / 100.0 } else { s })
}

fn endurance(f: &Facts) -> String {
    let Some(left) = f.number(&["endurance_h", "value"]) else {
        return "usable oil at the present rate is shorter than a flight".to_owned();
    };
    let rate = f.number(TO).or_else(|| f.number(FROM));
    let rate = rate.map_or(String::new(), |r| format!(" at {} qt/h, {}", numbers::rate(r), f.clock()));
    let needs = f
        .number(&["limit_h", "needed_h", "limit"])
        .map_or(String::new(), |h| format!("; {} wanted for a flight", numbers::hours(h)));
    format!("usable oil for {}{rate}{needs}", numbers::hours(left))
}

fn diverged(f: &Facts) -> String {
    let mate = f.text(&["mate", "other"]).unwrap_or("its mate");
    if f.number(FROM).is_some() && f.number(TO).is_some() {
        return change(f, &format!("parted from {mate}, consumption "));
    }
    let ratio = f.number(&["ratio"]).map_or(String::new(), |r| format!(", ratio {} of what it was", numbers::plain(r)));
    format!("consumption has parted from {mate}{ratio}{}", since(f))
}

fn grade(f: &Facts) -> String {
    let oils = match (f.text(&["from_oil", "oil_before"]), f.text(&["to_oil", "oil_after", "oil"])) {
        (Some(a), Some(b)) => format!("oil {a} → {b}"),
        (None, Some(b)) => format!("oil now {b}"),
        _ => "oil grade changed".to_owned(),
    };
    match (f.number(FROM), f.number(TO)) {
        (Some(_), Some(_)) => change(f, &format!("{oils}, consumption ")),
        _ => format!("{oils}{}; the baseline starts anew", since(f)),
    }
}

/// `ratio 2.2 (90 % interval 1.8 to 2.6)`.
pub fn ratio(f: &Facts) -> Option<String> {
    let ratio = f.number(&["ratio"])?;
    Some(match (f.number(&["ratio_low"]), f.number(&["ratio_high"])) {
        (Some(low), Some(high)) => format!(
            "The new rate is {} times the old one (90 % interval {} to {}).",
            numbers::plain(ratio),
            numbers::plain(low),
            numbers::plain(high)
        ),
        _ => format!("The new rate is {} times the old one.", numbers::plain(ratio)),
    })
}
