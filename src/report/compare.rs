//! What other thresholds would have done, for `replay --with` and `--set`: a screen of text, JSON, or a page.
//!
//! A director of maintenance reads it to choose: the numbers side by side, then which to take and why,
//! then every engine that would see a difference.

mod object;
mod page;
mod verdict;

use chrono_tz::Tz;

use super::text::wrap;
use super::words::{self, numbers};
use crate::judge::compare::{Comparison, EngineComparison, Pair, Side};
use crate::records::Instant;

pub use object::{Out, object};
pub use page::page;
pub use verdict::{choice, engine_verdict, reasons};

/// What is compared, for the head of every form.
#[derive(Clone, Copy, Debug)]
pub struct Head<'a> {
    /// The file with the other thresholds or the settings, as given.
    pub other: &'a str,
    pub from: Instant,
    pub to: Instant,
    pub zone: Tz,
}

/// Width and lines of the text: an ordinary terminal, with room for the prompt.
const WIDTH: usize = 80;
const LINES: usize = 38;

/// Differences, the weightiest first: lost, new, moved; warnings before cautions; the larger shift first.
fn weighed(c: &Comparison) -> Vec<(&EngineComparison, &Pair)> {
    let mut all: Vec<_> = c.pairs().filter(|(_, pair)| !pair.same()).collect();
    all.sort_by(|(_, a), (_, b)| by_weight(a, b));
    all
}

fn by_weight(a: &Pair, b: &Pair) -> std::cmp::Ordering {
    let rank = |p: &Pair| match (&p.today, &p.other) {
        (Some(_), None) => 0,
        (None, _) => 1,
        _ => 2,
    };
    let shift = |p: &Pair| p.later_days().map_or(0.0, f64::abs);
    (b.level(), rank(a)).cmp(&(a.level(), rank(b))).then(shift(b).total_cmp(&shift(a))).then(a.first().cmp(&b.first()))
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

fn title(head: &Head<'_>) -> String {
    let day = |at| numbers::date_of(at, head.zone);
    format!("Today's thresholds against {}, {} to {}", head.other, day(head.from), day(head.to))
}

/// One row of the numbers: what, under today's, under the others, remark.
type Row = [String; 4];

/// The numbers side by side.
fn numbers_rows(c: &Comparison) -> Vec<Row> {
    let (n, levels) = (c.counts(), c.by_level());
    let mut rows = vec![[
        "alerts".to_owned(),
        n.today.to_string(),
        n.other.to_string(),
        format!("{} in both, {} only today, {} only with the other", n.both, n.only_today, n.only_other),
    ]];
    for (level, [today, other]) in levels {
        let (today, other) = (today.to_string(), other.to_string());
        rows.push([format!("  at {}", level.word()), today, other, String::new()]);
    }
    let both =
        if n.earlier + n.later == 0 { "all at the same moments".to_owned() } else { moved(c, n.earlier, n.later) };
    if n.both > 0 {
        rows.push(["in both".to_owned(), String::new(), String::new(), both]);
    }
    let e = c.expected();
    let rate = |per_1000_h: f64| format!("{per_1000_h:.2}");
    if e.today_per_1000_h > 0.0 {
        rows.push([
            "false alarms expected".to_owned(),
            rate(e.today_per_1000_h),
            rate(e.other_per_1000_h),
            "rate alerts per 1000 engine hours".to_owned(),
        ]);
    }
    if e.engine_hours > 0.0 {
        let over = |per_1000_h: f64| numbers::short(per_1000_h * e.engine_hours / 1000.0);
        let hours = format!("over the {:.0} engine hours compared", e.engine_hours);
        rows.push([String::new(), over(e.today_per_1000_h), over(e.other_per_1000_h), hours]);
    }
    rows
}

fn moved(c: &Comparison, earlier: usize, later: usize) -> String {
    let (hours, days) = c.median_shift();
    let by = [hours.map(|h| (h, "h")), days.map(|d| (d, "days"))].into_iter().flatten();
    let by: Vec<String> = by.map(|(value, unit)| format!("{} {unit}", signed(value))).collect();
    format!("{earlier} earlier, {later} later, median {}", numbers::list(&by))
}

fn signed(value: f64) -> String {
    let plain = numbers::short(value.abs());
    let sign = if plain == "0" {
        ""
    } else if value < 0.0 {
        "−"
    } else {
        "+"
    };
    format!("{sign}{plain}")
}

/// One screen of text, 80 columns by 38 lines at most.
pub fn text(c: &Comparison, head: &Head<'_>) -> String {
    let mut out = format!("{}\n\n", wrap(&title(head), WIDTH, 2));
    out.push_str(&format!("{:<22}{:>7}{:>8}\n", "", "today", "other"));
    for [what, today, other, remark] in numbers_rows(c) {
        let line = format!("{what:<22}{today:>7}{other:>8}");
        let room = WIDTH - 39;
        for (i, part) in wrap(&remark, room, 0).lines().chain(remark.is_empty().then_some("")).enumerate() {
            let lead = if i == 0 { line.as_str() } else { "" };
            out.push_str(format!("{lead:<39}{part}").trim_end());
            out.push('\n');
        }
    }
    out.push_str(&format!("\n{}\n", choice(c)));
    for reason in reasons(c) {
        out.push_str(&wrap(&format!("  {reason}"), WIDTH, 2));
        out.push('\n');
    }
    out.push('\n');
    engines(&mut out, c, head);
    out
}

/// Each engine that sees a difference, as far as the screen reaches; the rest are counted.
fn engines<'a>(out: &mut String, c: &'a Comparison, head: &Head<'_>) {
    let weightiest = |e: &'a EngineComparison| {
        let pair = e.pairs.iter().filter(|p| !p.same()).min_by(|a, b| by_weight(a, b))?;
        Some((pair, e))
    };
    let mut differ: Vec<(&Pair, &EngineComparison)> = c.engines.iter().filter_map(weightiest).collect();
    differ.sort_by(|(a, _), (b, _)| by_weight(a, b));
    let widest = differ.iter().map(|(_, e)| whose(e).chars().count()).max().unwrap_or(0);
    let mut left = LINES.saturating_sub(out.lines().count() + 2);
    let mut shown = 0;
    for (_, engine) in &differ {
        let line = format!("{:<widest$}  {}", whose(engine), engine_verdict(engine, head.zone));
        let lines = wrap_hanging(&line, widest + 2);
        if lines.lines().count() > left {
            break;
        }
        left -= lines.lines().count();
        shown += 1;
        out.push_str(&lines);
        out.push('\n');
    }
    if shown < differ.len() {
        out.push_str(&format!("and {} more with a difference; --json or --html lists all\n", differ.len() - shown));
    }
    let same = c.engines.iter().filter(|e| e.serial.is_some() && e.pairs.iter().all(Pair::same)).count();
    if same > 0 {
        let others = if differ.is_empty() { "engines" } else { "other engines" };
        let one = if differ.is_empty() { "engine" } else { "other engine" };
        out.push_str(&format!("{}: no difference\n", numbers::count(same, one, others)));
    }
}

/// Wraps a line whose first columns are a name, keeping the blanks in them.
fn wrap_hanging(line: &str, name: usize) -> String {
    let head: String = line.chars().take(name).collect();
    let rest: String = line.chars().skip(name).collect();
    let wrapped = wrap(&rest, WIDTH - name, 0);
    let mut out = head;
    for (i, part) in wrapped.lines().enumerate() {
        if i > 0 {
            out.push('\n');
            out.push_str(&" ".repeat(name));
        }
        out.push_str(part);
    }
    out
}

#[cfg(test)]
mod tests;
