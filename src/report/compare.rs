//! What other thresholds would have done, for `replay --with`: a screen of text, JSON, or a page.
//!
//! What is lost stands first: a warning that would not have come weighs more than ten alerts saved.

mod object;
mod page;

use chrono_tz::Tz;

use super::text::{Table, wrap};
use super::words::{self, numbers};
use crate::judge::compare::{Comparison, Counts, EngineComparison, Pair, Side};
use crate::records::Instant;

pub use object::{Out, object};
pub use page::page;

/// What is compared, for the head of every form.
#[derive(Clone, Copy, Debug)]
pub struct Head<'a> {
    /// The file with the other thresholds, as given.
    pub other: &'a str,
    pub from: Instant,
    pub to: Instant,
    pub zone: Tz,
}

/// Most differences listed in the text.
const ROWS: usize = 24;
const WIDTH: usize = 100;

/// The verdict in sentences: what the numbers say, and what to look at before the change is made.
pub fn verdict(c: &Comparison, other: &str) -> Vec<String> {
    let n = c.counts();
    if c.pairs().all(|(_, pair)| pair.same()) {
        let alerts = numbers::count(n.today, "alert", "alerts");
        return vec![format!("No difference: {alerts} under both, at the same moments and levels.")];
    }
    let mut said = vec![format!(
        "{} today, {} with {other}: {} under both, {} only today, {} only with {other}.",
        numbers::count(n.today, "alert", "alerts"),
        n.other,
        n.both,
        n.only_today,
        n.only_other
    )];
    said.extend(shift(c, n));
    if n.level_changed > 0 {
        said.push(format!("{} at another level.", numbers::count(n.level_changed, "alert", "alerts")));
    }
    if n.warnings_only_today > 0 {
        let warnings = numbers::count(n.warnings_only_today, "warning", "warnings");
        said.push(format!("{warnings} of today would not come: look at these first."));
    } else if n.only_today > 0 {
        said.push("No warning would be lost; look at what would not come before you decide.".to_owned());
    }
    said
}

fn shift(c: &Comparison, n: Counts) -> Option<String> {
    if n.earlier + n.later == 0 {
        return (n.both > 0).then(|| "Those under both come at the same moments.".to_owned());
    }
    let (hours, days) = c.median_shift();
    let by = [hours.map(|h| (h, "h")), days.map(|d| (d, "days"))].into_iter().flatten();
    let by: Vec<String> = by.map(|(value, unit)| format!("{} {unit}", signed(value))).collect();
    Some(format!(
        "Of those under both {} come earlier and {} later; the median shift is {}.",
        n.earlier,
        n.later,
        numbers::list(&by)
    ))
}

fn signed(value: f64) -> String {
    let plain = numbers::short(value.abs());
    if plain == "0" {
        plain
    } else if value < 0.0 {
        format!("−{plain}")
    } else {
        format!("+{plain}")
    }
}

/// Differences, the weightiest first: lost, new, moved; warnings before cautions; the larger shift first.
fn weighed(c: &Comparison) -> Vec<(&EngineComparison, &Pair)> {
    let mut all: Vec<_> = c.pairs().filter(|(_, pair)| !pair.same()).collect();
    all.sort_by(|(_, a), (_, b)| {
        let rank = |p: &Pair| match (&p.today, &p.other) {
            (Some(_), None) => 0,
            (None, _) => 1,
            _ => 2,
        };
        let shift = |p: &Pair| p.later_days().map_or(0.0, f64::abs);
        (b.level(), rank(a))
            .cmp(&(a.level(), rank(b)))
            .then(shift(b).total_cmp(&shift(a)))
            .then(a.first().cmp(&b.first()))
    });
    all
}

fn whose(engine: &EngineComparison) -> String {
    let place = words::place(&engine.tail, engine.position.as_deref());
    engine.serial.as_ref().map_or(place.clone(), |serial| format!("{place} {serial}"))
}

fn day(side: Option<&Side>, zone: Tz) -> String {
    side.map_or_else(|| "–".to_owned(), |side| numbers::date_of(side.raised, zone).to_string())
}

/// The difference in words: `5.1 h, 2 days later`, `would not come`, `new`.
pub fn difference(pair: &Pair) -> String {
    let Some(days) = pair.later_days() else {
        return if pair.today.is_some() { "would not come".to_owned() } else { "new".to_owned() };
    };
    let mut parts: Vec<String> = Vec::new();
    if days != 0.0 {
        if let Some(hours) = pair.later_hours().filter(|h| h.abs() >= 0.05) {
            parts.push(numbers::hours(hours.abs()));
        }
        let shown = numbers::short(days.abs());
        let when = if days > 0.0 { "later" } else { "earlier" };
        parts.push(format!("{shown} {} {when}", if shown == "1" { "day" } else { "days" }));
    }
    if let (Some(today), Some(other)) = (&pair.today, &pair.other)
        && today.level != other.level
    {
        parts.push(format!("{} instead of {}", other.level.word(), today.level.word()));
    }
    parts.join(", ")
}

/// One screen of text, 100 columns by at most 40 lines.
pub fn text(c: &Comparison, head: &Head<'_>) -> String {
    let mut out = format!("{}\n", title(head));
    for sentence in verdict(c, head.other) {
        out.push_str(&wrap(&sentence, WIDTH, 2));
        out.push('\n');
    }
    let differences = weighed(c);
    if differences.is_empty() {
        return out;
    }
    let mut table = Table::new(&["level", "engine", "alert", "today", "with the other", "difference"], &[]);
    for (engine, pair) in differences.iter().take(ROWS) {
        table.row(vec![
            pair.level().word().to_owned(),
            whose(engine),
            pair.kind.word().to_owned(),
            day(pair.today.as_ref(), head.zone),
            day(pair.other.as_ref(), head.zone),
            difference(pair),
        ]);
    }
    out.push('\n');
    out.push_str(&table.text(WIDTH));
    if differences.len() > ROWS {
        out.push_str(&format!("and {} more; --json or --html lists all\n", differences.len() - ROWS));
    }
    out
}

fn title(head: &Head<'_>) -> String {
    let day = |at| numbers::date_of(at, head.zone);
    format!("Today's thresholds against {}, {} to {}", head.other, day(head.from), day(head.to))
}

#[cfg(test)]
mod tests;
