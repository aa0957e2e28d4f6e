//! Which thresholds to take and why, in words a director of maintenance can repeat.

use chrono_tz::Tz;

use super::difference;
use crate::judge::compare::{Choice, Comparison, EngineComparison, LITTLE, Pair, Scales, Side};
use crate::report::words::{numbers, place};

/// The choice in one line.
pub fn choice(c: &Comparison) -> &'static str {
    match c.scales().choice() {
        Choice::Either => "Either will do.",
        Choice::Today => "Keep today's.",
        Choice::Other => "Take the other.",
        Choice::Look => "Look before choosing.",
    }
}

/// Why, the weightiest reason first.
pub fn reasons(c: &Comparison) -> Vec<String> {
    let n = c.counts();
    let s = c.scales();
    let mut said = Vec::new();
    if c.pairs().all(|(_, pair)| pair.same()) {
        let alerts = numbers::count(n.today, "alert comes", "alerts come");
        said.push(format!("No difference: {alerts} under both, at the same moments and levels."));
        said.extend(false_alarms(&s));
        return said;
    }
    said.extend(lost(c, &s));
    said.extend(new(c, &s));
    said.extend(moved(c, &s));
    if n.level_changed > 0 {
        said.push(format!("{} at another level.", numbers::count(n.level_changed, "alert comes", "alerts come")));
    }
    said.extend(quiet(&s));
    said.extend(false_alarms(&s));
    if said.is_empty() {
        said.push("Nothing that matters differs: information comes a little earlier or later.".to_owned());
    }
    said
}

/// `1 warning and 2 cautions`; `None` for neither.
fn levels(warnings: usize, cautions: usize) -> Option<String> {
    let parts = [(warnings, "warning", "warnings"), (cautions, "caution", "cautions")];
    let parts: Vec<String> =
        parts.into_iter().filter(|(n, ..)| *n > 0).map(|(n, one, many)| numbers::count(n, one, many)).collect();
    (!parts.is_empty()).then(|| numbers::list(&parts))
}

/// `metal-found on N0417H left, oil-rate-rise on N0617H and 3 more`.
fn named<'a>(pairs: impl Iterator<Item = (&'a EngineComparison, &'a Pair)>) -> String {
    let mut pairs: Vec<_> = pairs.collect();
    pairs.sort_by(|(_, a), (_, b)| super::by_weight(a, b));
    let mut names: Vec<String> = Vec::new();
    for (engine, pair) in pairs {
        let place = place(&engine.tail, engine.position.as_deref());
        let name = format!("{} on {place}", pair.kind);
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let more = names.len().saturating_sub(3);
    names.truncate(3);
    if more > 0 { format!("{} and {more} more", names.join(", ")) } else { numbers::list(&names) }
}

fn lost(c: &Comparison, s: &Scales) -> Option<String> {
    let what = levels(s.warnings_only_today, s.cautions_only_today)?;
    let pairs: Vec<_> = c.pairs().filter(|(_, p)| p.other.is_none() && p.matters()).collect();
    let ended = pairs.iter().filter(|(_, p)| p.today.as_ref().is_some_and(by_itself)).count();
    let ended = match ended {
        0 => String::new(),
        1 if pairs.len() == 1 => " It ended when the rate came back.".to_owned(),
        n => format!(" {n} of them ended when the rate came back."),
    };
    let it = if pairs.len() == 1 { "it" } else { "them" };
    let which = named(pairs.into_iter());
    Some(format!("{what} of today would not come: {which}. Would you have missed {it}?{ended}"))
}

/// A rate alert that ended because the rate came back.
fn by_itself(side: &Side) -> bool {
    side.ended.as_deref().is_some_and(|why| why.starts_with("the rate is back"))
}

fn new(c: &Comparison, s: &Scales) -> Option<String> {
    let what = levels(s.warnings_only_other, s.cautions_only_other)?;
    let pairs = c.pairs().filter(|(_, p)| p.today.is_none() && p.matters());
    // With something new, today's are kept only where it is too much.
    let many = s.choice() == Choice::Today;
    let end = if many { ": more than anybody can act on" } else { "" };
    Some(format!("{what} more with the other{end}: {}.", named(pairs)))
}

fn moved(c: &Comparison, s: &Scales) -> Option<String> {
    if s.earlier + s.later == 0 {
        return None;
    }
    let shift = |sign: f64| {
        let pairs = c.pairs().map(|(_, p)| p).filter(|p| p.matters());
        let mut days: Vec<(f64, Option<f64>)> = pairs
            .filter_map(|p| p.later_days().map(|d| (d * sign, p.later_hours().map(|h| h * sign))))
            .filter(|(d, _)| *d > 0.0)
            .collect();
        days.sort_by(|a, b| a.0.total_cmp(&b.0));
        days.get(days.len() / 2).copied()
    };
    let told = |n: usize, sign: f64, word: &str| {
        let (days, hours) = shift(sign).filter(|_| n > 0)?;
        let hours = hours.filter(|h| *h >= 0.05).map_or(String::new(), |h| format!("{}, ", numbers::hours(h)));
        let days = numbers::short(days);
        let unit = if days == "1" { "day" } else { "days" };
        Some(format!("{n} {word} (median {hours}{days} {unit})"))
    };
    let parts: Vec<String> =
        [told(s.earlier, -1.0, "earlier"), told(s.later, 1.0, "later")].into_iter().flatten().collect();
    Some(format!("Warnings and cautions of both: {} with the other.", numbers::list(&parts)))
}

fn quiet(s: &Scales) -> Option<String> {
    let (fewer, more) = (s.rest_only_today, s.rest_only_other);
    let lost = s.warnings_only_today + s.cautions_only_today + s.warnings_only_other + s.cautions_only_other;
    let none = if lost == 0 { "; no warning or caution is raised by one side only" } else { "" };
    let word = |n: usize| numbers::count(n, "alert", "alerts");
    match (fewer, more) {
        (0, 0) => None,
        (n, 0) => Some(format!("{} for information or about the records fewer with the other{none}.", word(n))),
        (0, n) => Some(format!("{} for information or about the records more with the other{none}.", word(n))),
        (a, b) => Some(format!("Of alerts for information or about the records {a} go and {b} are new{none}.")),
    }
}

fn false_alarms(s: &Scales) -> Option<String> {
    let (a, b) = (s.false_today, s.false_other);
    if a <= 0.0 || (b / a - 1.0).abs() < LITTLE {
        return None;
    }
    let word = if b > a { "more" } else { "fewer" };
    let over = (b - a).abs() * s.engine_hours / 1000.0;
    let over = if s.engine_hours > 0.0 {
        format!(": about {} {word} over the period", numbers::plain(over))
    } else {
        String::new()
    };
    Some(format!("False rate alerts to be expected: {} times today's{over}.", numbers::plain(b / a)))
}

/// What the others would do for one engine: `keep today's: − warning metal-found 3 Mar; 12 more alerts`.
pub fn engine_verdict(engine: &EngineComparison, zone: Tz) -> String {
    let mut pairs: Vec<&Pair> = engine.pairs.iter().filter(|p| !p.same()).collect();
    if pairs.is_empty() {
        return "no difference".to_owned();
    }
    pairs.sort_by(|a, b| super::by_weight(a, b));
    let mut said: Vec<String> = Vec::new();
    let mut rest = &pairs[..];
    while let (Some(first), true) = (rest.first(), said.len() < 3) {
        let like = |p: &&Pair| {
            p.kind == first.kind
                && p.level() == first.level()
                && p.today.is_some() == first.today.is_some()
                && p.other.is_some() == first.other.is_some()
        };
        let many = rest.iter().take_while(|p| like(p)).count();
        said.push(one(first, many, zone));
        rest = &rest[many..];
    }
    if !rest.is_empty() {
        said.push(format!("{} more", rest.len()));
    }
    let word = match engine.scales().choice() {
        Choice::Either => "either",
        Choice::Today => "today's",
        Choice::Other => "the other",
        Choice::Look => "look",
    };
    format!("{word}: {}", said.join("; "))
}

fn one(pair: &Pair, many: usize, zone: Tz) -> String {
    let date = |side: &Side| side.raised.with_timezone(&zone).format("%-d %b %y").to_string();
    let (level, kind) = (pair.level().word(), pair.kind);
    let times = |date: String| if many > 1 { format!("{many} ×") } else { date };
    match (&pair.today, &pair.other) {
        (Some(today), None) => format!("lost {level} {kind} {}", times(date(today))),
        (None, Some(other)) => format!("new {level} {kind} {}", times(date(other))),
        (Some(today), _) if many == 1 => format!("{level} {kind} {} {}", date(today), difference(pair)),
        _ => format!("{level} {kind} {many} × moved"),
    }
}
