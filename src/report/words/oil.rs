//! Sentences about oil changes, what the filter showed, and which oil went in.

use super::facts::Facts;
use super::numbers;
use crate::judge::Kind;

/// The headline, without the engine in front.
pub fn headline(f: &Facts) -> String {
    match f.finding.kind {
        Kind::OilChangeDue => due(f),
        Kind::OilChangeOverdue => overdue(f),
        Kind::FilterNotInspected => filter(f),
        Kind::MetalFound => metal(f),
        _ => wrong(f),
    }
}

/// Which change it is: the 5 h point of break-in, or the recurring one.
fn which(f: &Facts) -> String {
    match (f.number(&["point_h"]), f.number(&["every_h"]), f.number(&["months"])) {
        (Some(point), _, _) => format!("{} h oil change of break-in", numbers::short(point)),
        (None, Some(every), Some(months)) => {
            format!("{} h or {} month oil change", numbers::short(every), numbers::short(months))
        }
        (None, Some(every), None) => format!("{} h oil change", numbers::short(every)),
        (None, None, Some(months)) => format!("{} month oil change", numbers::short(months)),
        (None, None, None) => "oil change".to_owned(),
    }
}

/// `, now 13.4 h since the build`.
fn now(f: &Facts) -> String {
    let point = f.number(&["point_h"]);
    let since = point.zip(f.number(&["hours_past"])).map(|(point, past)| point + past);
    if let Some(h) = since.or(f.number(&["hours_since_build"])).filter(|_| point.is_some()) {
        return format!(", now {} since the build", numbers::hours(h));
    }
    let last = f.number(&["last_change_h"]).zip(f.finding.hours).map(|(last, now)| now - last);
    let past = f.number(&["hours_past"]).zip(f.number(&["every_h"])).map(|(past, every)| past + every);
    match f.number(&["hours_since_change"]).or(past).or(last).filter(|h| *h >= 0.0 && f.number(&["every_h"]).is_some())
    {
        Some(h) => format!(", now {} since the last", numbers::hours(h)),
        None => String::new(),
    }
}

/// The point itself, which stays true for as long as the alert is open; what is left of it is told beside the engine.
fn due(f: &Facts) -> String {
    let mut parts = Vec::new();
    match (f.number(&["due_at_engine_hours"]), f.number(&["hours_left"])) {
        (Some(at), _) => parts.push(format!("at {at:.1} engine hours")),
        (None, Some(left)) => parts.push(format!("in {}", numbers::hours(left))),
        (None, None) => {}
    }
    if let Some(d) = f.date(&["due_date", "by"]) {
        parts.push(format!("by {}", f.day(d)));
    }
    let when = if parts.is_empty() { "soon".to_owned() } else { parts.join(" or ") };
    format!("{} due {when}", which(f))
}

fn overdue(f: &Facts) -> String {
    let mut past = Vec::new();
    if let Some(h) = f.number(&["hours_past"]).filter(|h| *h > 0.0) {
        past.push(format!("{} past the point", numbers::hours(h)));
    }
    if let Some(d) = f.number(&["days_past"]).filter(|d| *d > 0.0) {
        let due = f.date(&["due_date"]).map_or("the date".to_owned(), |d| f.day(d));
        past.push(format!("{} past {due}", numbers::count(d.ceil() as usize, "day", "days")));
    } else if let Some(d) = f.date(&["due_date"]).filter(|_| past.is_empty()) {
        past.push(format!("was due {}", f.day(d)));
    }
    let past = if past.is_empty() { String::new() } else { format!(", {}", past.join(" and ")) };
    format!("{} not recorded{}{past}", which(f), now(f))
}

fn filter(f: &Facts) -> String {
    let at = f.number(&["changed_at_engine_hours"]);
    let at = at.map_or(String::new(), |h| format!(" at {h:.1} engine hours"));
    let days = f.number(&["within_days", "days"]);
    let days = days.map_or(String::new(), |d| format!(" within {}", numbers::count(d.round() as usize, "day", "days")));
    format!("no filter or screen result recorded{days} of the oil change{at}")
}

fn metal(f: &Facts) -> String {
    let part = f.text(&["where", "part", "of"]).unwrap_or("filter or screen");
    let result = f.text(&["result"]).filter(|r| *r != "metal");
    let what = result.map_or("metal found", |_| "trace of metal found");
    let words = f.text(&["remarks", "words", "text", "found"]).filter(|t| *t != "metal" && *t != "trace");
    let words = words.map_or(String::new(), |t| format!(": “{t}”"));
    format!("{what} in the {part}, {}{words}", f.when())
}

fn wrong(f: &Facts) -> String {
    if f.finding.evidence.get("still").is_some() {
        return still(f);
    }
    let poured = f.text(&["found", "poured", "oil"]).unwrap_or("an oil");
    let wanted = f.text(&["expected", "wanted", "oil_wanted"]);
    let wanted = wanted.map_or(String::new(), |w| format!(", {w} expected"));
    let why = f.text(&["why"]).map_or(String::new(), |w| format!(": {w}"));
    if f.finding.evidence.get("in_the_engine").is_some() {
        return format!("{poured} in the engine when the records begin{wanted}{why}");
    }
    format!("{poured} poured on {}{wanted}{why}", f.when())
}

/// Break-in oil that stays in.
fn still(f: &Facts) -> String {
    let oil = f.text(&["found"]).unwrap_or("break-in oil");
    let now = f
        .number(&["hours_since_build"])
        .map_or(String::new(), |h| format!(" at {} since the build", numbers::hours(h)));
    let limit = f.number(&["limit_h"]).map_or(String::new(), |l| format!(", asked about from {}", numbers::hours(l)));
    format!("{oil} still in the engine{now}{limit}: break-in oil left in?")
}
