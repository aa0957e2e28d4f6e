//! What other thresholds would have done, for `replay --with`: a screen of text, JSON, or a page.
//!
//! What is lost stands first: a warning that would not have come weighs more than ten alerts saved.

use chrono_tz::Tz;
use serde::Serialize;

use super::text::{Table, wrap};
use super::words::{self, numbers};
use super::{html, json};
use crate::judge::compare::{Comparison, Counts, EngineComparison, Pair, Side};
use crate::judge::{Kind, Level};
use crate::records::Instant;

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

/// The object of `replay --with FILE --json`.
#[derive(Debug, Serialize)]
pub struct Out<'a> {
    with: &'a str,
    from: String,
    to: String,
    counts: Counts,
    median_shift_h: Option<f64>,
    median_shift_days: Option<f64>,
    verdict: Vec<String>,
    engines: Vec<EngineOut<'a>>,
}

#[derive(Debug, Serialize)]
struct EngineOut<'a> {
    tail: &'a str,
    position: Option<&'a str>,
    serial: Option<&'a str>,
    counts: Counts,
    alerts: Vec<PairOut<'a>>,
}

#[derive(Debug, Serialize)]
struct PairOut<'a> {
    kind: Kind,
    today: Option<SideOut<'a>>,
    other: Option<SideOut<'a>>,
    later_h: Option<f64>,
    later_days: Option<f64>,
}

#[derive(Debug, Serialize)]
struct SideOut<'a> {
    raised: String,
    level: Level,
    hours: Option<f64>,
    closed: Option<String>,
    subject: &'a str,
}

/// Everything, for programs.
pub fn object<'a>(c: &'a Comparison, head: &Head<'a>) -> Out<'a> {
    let (median_shift_h, median_shift_days) = c.median_shift();
    let side = |side: &'a Side| SideOut {
        raised: numbers::iso(side.raised, head.zone),
        level: side.level,
        hours: side.hours.map(tenths),
        closed: side.settled.map(|at| numbers::iso(at, head.zone)),
        subject: &side.subject,
    };
    let pair = |pair: &'a Pair| PairOut {
        kind: pair.kind,
        today: pair.today.as_ref().map(side),
        other: pair.other.as_ref().map(side),
        later_h: pair.later_hours().map(tenths),
        later_days: pair.later_days().map(tenths),
    };
    let engine = |engine: &'a EngineComparison| EngineOut {
        tail: &engine.tail,
        position: engine.position.as_deref(),
        serial: engine.serial.as_deref(),
        counts: crate::judge::compare::count(engine.pairs.iter()),
        alerts: engine.pairs.iter().map(pair).collect(),
    };
    Out {
        with: head.other,
        from: numbers::iso(head.from, head.zone),
        to: numbers::iso(head.to, head.zone),
        counts: c.counts(),
        median_shift_h: median_shift_h.map(tenths),
        median_shift_days: median_shift_days.map(tenths),
        verdict: verdict(c, head.other),
        engines: c.engines.iter().map(engine).collect(),
    }
}

/// As [`object`], as text.
///
/// # Errors
/// Only if a value cannot be JSON at all, which these cannot be.
pub fn json(c: &Comparison, head: &Head<'_>) -> Result<String, serde_json::Error> {
    json::text(&object(c, head))
}

fn tenths(value: f64) -> f64 {
    (value * 10.0).round() / 10.0
}

/// A page by itself: nothing is fetched from elsewhere.
pub fn page(c: &Comparison, head: &Head<'_>) -> String {
    let mut body = format!("<h1>{}</h1>\n", html::escape(&title(head)));
    let verdict = verdict(c, head.other);
    if let Some((first, rest)) = verdict.split_first() {
        body.push_str(&format!("<p class=\"sum\">{}</p>\n", html::escape(first)));
        body.push_str(&rest.iter().map(|said| format!("<p>{}</p>\n", html::escape(said))).collect::<String>());
    }
    let differences = weighed(c);
    if !differences.is_empty() {
        body.push_str("<h2>What differs</h2>\n");
        body.push_str(&rows(differences.into_iter(), true, head));
    }
    body.push_str(&format!("<h2>Engine by engine</h2>\n{LEGEND}"));
    for engine in &c.engines {
        let alerts = numbers::count(engine.pairs.len(), "alert", "alerts");
        body.push_str(&format!("<h3>{}</h3>\n{}", html::escape(&whose(engine)), strip(engine, head)));
        let rows = rows(engine.pairs.iter().map(|pair| (engine, pair)), false, head);
        body.push_str(&format!("<details><summary>{alerts}</summary>\n{rows}</details>\n"));
    }
    body.push_str(&format!("<p class=\"foot\">{}</p>\n", html::escape(words::CAUTION)));
    html::document(&title(head), STYLE, &body)
}

const LEGEND: &str = "<p class=\"soft\">In each strip: above, what today's thresholds raise; below, what the others \
    raise; a line joins the two where both do. Triangle: warning; diamond: caution; circle: advisory.</p>\n";

const STYLE: &str = ".strip { width: 100%; height: auto; display: block; }
.strip line { stroke: var(--soft); } .strip .warning { fill: var(--warning); } .strip .caution { fill: var(--caution); }
.strip .advisory { fill: none; stroke: var(--advisory); stroke-width: 1.5; } .strip text { fill: var(--soft); font-size: 10px; }
";

/// The period as a line, today's above, the others' below.
fn strip(engine: &EngineComparison, head: &Head<'_>) -> String {
    let span = (head.to - head.from).num_seconds().max(1) as f64;
    let x = |at: Instant| 8.0 + 684.0 * ((at - head.from).num_seconds() as f64 / span).clamp(0.0, 1.0);
    let mut marks = String::from("<line x1=\"0\" x2=\"700\" y1=\"28\" y2=\"28\" stroke-opacity=\".4\"/>");
    for pair in &engine.pairs {
        if let (Some(today), Some(other)) = (&pair.today, &pair.other) {
            let (a, b) = (x(today.raised), x(other.raised));
            marks.push_str(&format!("<line x1=\"{a:.1}\" x2=\"{b:.1}\" y1=\"18\" y2=\"38\"/>"));
        }
        for (side, y) in [(&pair.today, 14.0), (&pair.other, 42.0)] {
            if let Some(side) = side {
                let said = format!("{} {}", pair.kind, day(Some(side), head.zone));
                marks.push_str(&mark(side.level, x(side.raised), y, &said));
            }
        }
    }
    let (from, to) = (numbers::date_of(head.from, head.zone), numbers::date_of(head.to, head.zone));
    format!("<svg class=\"strip\" viewBox=\"0 0 700 56\" role=\"img\" aria-label=\"{from} to {to}\">{marks}</svg>\n")
}

fn mark(level: Level, x: f64, y: f64, said: &str) -> String {
    let shape = match level {
        Level::Warning => format!("<path d=\"M{x:.1} {:.1} l6 10 h-12 z\" class=\"warning\">", y - 5.0),
        Level::Caution => format!("<path d=\"M{x:.1} {:.1} l5 5 l-5 5 l-5 -5 z\" class=\"caution\">", y - 5.0),
        Level::Advisory => format!("<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"3.5\" class=\"advisory\">"),
    };
    let end = if level == Level::Advisory { "circle" } else { "path" };
    format!("{shape}<title>{}</title></{end}>", html::escape(said))
}

fn rows<'a>(pairs: impl Iterator<Item = (&'a EngineComparison, &'a Pair)>, named: bool, head: &Head<'_>) -> String {
    let row = |(engine, pair): (&EngineComparison, &Pair)| {
        let said = if pair.same() { "the same".to_owned() } else { difference(pair) };
        let whose = if named { format!("<td>{}</td>", html::escape(&whose(engine))) } else { String::new() };
        format!(
            "<tr>{whose}<td>{}</td><td>{}</td><td>{}</td><td>{}</td><td>{}</td></tr>\n",
            html::level(pair.level()),
            pair.kind,
            day(pair.today.as_ref(), head.zone),
            day(pair.other.as_ref(), head.zone),
            html::escape(&said)
        )
    };
    let rows: String = pairs.map(row).collect();
    let whose = if named { "<th>engine</th>" } else { "" };
    format!(
        "<table><thead><tr>{whose}<th>level</th><th>alert</th><th>today</th><th>with the other</th>\
         <th>difference</th></tr></thead><tbody>\n{rows}</tbody></table>\n"
    )
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::judge::Finding;
    use crate::judge::compare::compare;
    use crate::report::sample;

    fn at(kind: Kind, subject: &str, month: u32, day: u32, hours: f64) -> Finding {
        let mut finding = sample::finding(kind, "N0417H", "left", "H-2207", sample::at(month, day, 18, 0));
        finding.subject = subject.to_owned();
        finding.hours = Some(hours);
        finding.settled = None;
        finding.level = kind.usual_level();
        finding
    }

    fn head() -> Head<'static> {
        Head {
            other: "calm.toml",
            from: sample::at(1, 1, 0, 0),
            to: sample::at(6, 30, 0, 0),
            zone: chrono_tz::America::Denver,
        }
    }

    fn example() -> Comparison {
        let today = [
            at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0),
            at(Kind::MetalFound, "filter", 3, 3, 1290.0),
            at(Kind::CoolingFast, "run a", 3, 4, 1291.0),
        ];
        let other = [at(Kind::OilRateRise, "rise 1", 2, 19, 1255.1), at(Kind::CoolingFast, "run a", 3, 4, 1291.0)];
        compare(&today, &other)
    }

    /// Written by hand from the findings above: one moved by 5.1 h and two days, one warning lost, one the same.
    #[test]
    fn the_text_says_what_is_lost_first() {
        let said = text(&example(), &head());
        let lines: Vec<&str> = said.lines().collect();
        assert_eq!(lines[0], "Today's thresholds against calm.toml, 2026-01-01 to 2026-06-30");
        assert_eq!(lines[1], "3 alerts today, 2 with calm.toml: 2 under both, 1 only today, 0 only with calm.toml.");
        assert_eq!(lines[2], "Of those under both 0 come earlier and 1 later; the median shift is +5.1 h and +2 days.");
        assert_eq!(lines[3], "1 warning of today would not come: look at these first.");
        assert!(
            lines[6].starts_with("warning  N0417H left H-2207  metal-found") && lines[6].ends_with("would not come")
        );
        assert!(lines[7].starts_with("caution") && lines[7].ends_with("5.1 h, 2 days later"), "{}", lines[7]);
        assert_eq!(lines.len(), 8);
    }

    #[test]
    fn the_text_fits_one_screen_however_much_differs() {
        let today: Vec<Finding> =
            (0..300).map(|n| at(Kind::TakeoffRpm, &format!("run {n}"), 1 + n % 6, 1 + n % 28, 1000.0)).collect();
        let said = text(&compare(&today, &[]), &head());
        assert!(said.lines().count() <= 40);
        assert!(said.lines().all(|line| line.chars().count() <= 100), "{said}");
        assert!(said.ends_with("and 276 more; --json or --html lists all\n"));
    }

    #[test]
    fn equal_judgements_say_so() {
        let today = [at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0)];
        let c = compare(&today, &today);
        assert_eq!(verdict(&c, "x"), ["No difference: 1 alert under both, at the same moments and levels."]);
    }

    #[test]
    fn programs_and_the_page_get_everything() {
        let c = example();
        let value: serde_json::Value = serde_json::from_str(&json(&c, &head()).unwrap()).unwrap();
        assert_eq!(value["counts"]["only_today"], 1);
        assert_eq!(value["engines"][0]["alerts"][0]["later_h"], 5.1);
        assert_eq!(value["engines"][0]["alerts"][0]["later_days"], 2.0);
        let page = page(&c, &head());
        // Two differences at the top, all three below.
        assert_eq!(page.matches("<tr><td>").count(), 2 + 3);
        // Nothing fetched from elsewhere, no script.
        assert!(!page.contains("http://") && !page.contains("https://") && !page.contains("<script"));
        assert_eq!(page.matches("<title>").count(), 1 + 5);
    }
}
