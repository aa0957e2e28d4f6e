//! A page by itself: what differs, then every engine with its strip of time.

use super::{Head, Row, choice, day, difference, engine_verdict, numbers_rows, reasons, title, weighed, whose};
use crate::judge::compare::{Comparison, EngineComparison, Pair};
use crate::judge::{EngineView, Kind, Level};
use crate::records::Instant;
use crate::report::words::{self, numbers};
use crate::report::{charts, html};

/// A page by itself: nothing is fetched from elsewhere. `views`: the engines under today's and the others.
pub fn page(c: &Comparison, head: &Head<'_>, views: (&[EngineView], &[EngineView])) -> String {
    let mut body = format!("<h1>{}</h1>\n<p class=\"sum\">{}</p>\n", html::escape(&title(head)), choice(c));
    body.push_str(&html::list(&reasons(c)));
    body.push_str(&side_by_side(c));
    let differences = weighed(c);
    if !differences.is_empty() {
        body.push_str("<h2>What differs</h2>\n");
        body.push_str(&rows(differences.into_iter(), true, head));
    }
    body.push_str(&format!("<h2>Engine by engine</h2>\n{LEGEND}"));
    let (differ, same): (Vec<_>, Vec<_>) = c.engines.iter().partition(|e| e.pairs.iter().any(|p| !p.same()));
    for engine in differ.into_iter().chain(same) {
        let alerts = numbers::count(engine.pairs.len(), "alert", "alerts");
        let verdict = html::escape(&engine_verdict(engine, head.zone));
        body.push_str(&format!("<h3>{}</h3>\n<p>{verdict}</p>\n", html::escape(&whose(engine))));
        if engine.pairs.is_empty() {
            continue;
        }
        body.push_str(&strip(engine, head));
        body.push_str(&evidence(engine, head, views));
        let rows = rows(engine.pairs.iter().map(|pair| (engine, pair)), false, head);
        body.push_str(&format!("<details><summary>{alerts}</summary>\n{rows}</details>\n"));
    }
    body.push_str(&format!("<p class=\"foot\">{}</p>\n", html::escape(words::CAUTION)));
    html::document(&title(head), &format!("{}{STYLE}", html::CHART_INKS), &body)
}

/// The numbers of both sides.
fn side_by_side(c: &Comparison) -> String {
    let row = |[what, today, other, remark]: Row| {
        let [what, today, other, remark] = [what, today, other, remark].map(|cell| html::escape(cell.trim()));
        format!("<tr><td>{what}</td><td class=\"n\">{today}</td><td class=\"n\">{other}</td><td>{remark}</td></tr>\n")
    };
    let rows: String = numbers_rows(c).into_iter().map(row).collect();
    format!(
        "<table><thead><tr><th></th><th class=\"n\">today</th><th class=\"n\">other</th><th></th></tr></thead>\
         <tbody>\n{rows}</tbody></table>\n"
    )
}

/// Where rate alerts differ: the evidence and the limits that made the difference.
fn evidence(engine: &EngineComparison, head: &Head<'_>, (today, other): (&[EngineView], &[EngineView])) -> String {
    let mine = |e: &&EngineView| Some(&e.serial) == engine.serial.as_ref();
    let (Some(today), Some(other)) = (today.iter().find(mine), other.iter().find(mine)) else {
        return String::new();
    };
    let mut out = String::new();
    for (kind, rise) in [(Kind::OilRateRise, true), (Kind::OilRateFall, false)] {
        if !engine.pairs.iter().any(|pair| pair.kind == kind && !pair.same()) {
            continue;
        }
        if let Ok(svg) = charts::beside_svg(today, other, rise, head.from) {
            let words = html::escape(&charts::beside_words(today, rise));
            out.push_str(&format!("<figure role=\"img\" aria-label=\"{words}\">\n{svg}\n</figure>\n"));
        }
    }
    out
}

const LEGEND: &str = "<p class=\"soft\">In each strip: above, what today's thresholds raise; below, what the others \
    raise; a line joins the two where both do. Triangle: warning; diamond: caution; circle: advisory.</p>\n";

const STYLE: &str = "td.n, th.n { text-align: right; } td { overflow-wrap: break-word; }
figure { margin: 10px 0; } figure svg { max-width: 100%; height: auto; }
.strip { width: 100%; height: auto; display: block; }
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
