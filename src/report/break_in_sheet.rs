//! Break-in in one place: for the director of maintenance, the chief pilot and the overhaul shop.
//!
//! A sheet of evidence, made to be printed. It decides nothing and is signed by nobody.

use super::html::{self, escape};
use super::status::{about, rate_words};
use super::words::{self, numbers};
use super::{Morning, charts};
use crate::alerts::Alert;
use crate::judge::{BreakIn, EngineView};

/// How far a break-in has come, one line per question.
pub fn progress(b: &BreakIn) -> Vec<String> {
    let mut out = vec![format!("{} of {} since {}", numbers::hours(b.hours), numbers::hours(b.length_h), b.kind)];
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
        Some(h) => format!("{} done at {}", numbers::hours(at), numbers::hours(h)),
        None if now > at => format!("{} not recorded", numbers::hours(at)),
        None => format!("{} ahead", numbers::hours(at)),
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
    let not = if unknown >= 0.5 { format!(", {unknown:.0} min not told") } else { String::new() };
    Some(format!(
        "cruise within the power band {} of {known:.0} min (below {below:.0} min, above {above:.0} min{not})",
        numbers::percent(within / known)
    ))
}

/// The sheet of an engine in break-in, as a page to print; `None` for any other engine.
pub fn sheet(m: &Morning, e: &EngineView) -> Option<String> {
    let b = e.break_in.as_ref()?;
    let near = numbers::date_of(m.as_of, m.zone);
    let place = words::place(&e.tail, e.position.as_deref());
    let title = format!("Break-in of {} ({place})", e.serial);
    let operator = m.operator.as_ref().map_or(String::new(), |o| format!("{o}, "));
    let mut body = format!(
        "<a class=\"skip\" href=\"#main\">To the content</a>\n<main id=\"main\">\n<h1>{}as of {}</h1>\n<p class=\"sum\">{}</p>\n",
        escape(&operator),
        numbers::long_day(near),
        escape(&title)
    );
    body.push_str(&table("The engine", &engine(m, e, b)));
    body.push_str(&format!("<h2>Oil changes</h2>\n{}", changes(b)));
    let mut power: Vec<String> = band(b).into_iter().collect();
    if power.is_empty() {
        power.push("no recording of a cruise yet".to_owned());
    }
    body.push_str(&format!("<h2>Power in cruise</h2>\n{}", html::list(&power)));
    body.push_str(&format!("<h2>Consumption</h2>\n{}", html::list(&consumption(e, b))));
    if let Ok(svg) = charts::break_in_svg(e) {
        let words = escape(&charts::break_in_words(e));
        body.push_str(&format!("<figure role=\"img\" tabindex=\"0\" aria-label=\"{words}\">\n{svg}\n</figure>\n"));
    }
    body.push_str(&told(m, e, b));
    if !e.unconfirmed.is_empty() {
        let line = format!("Not confirmed against the engine maker’s instructions: {}", e.unconfirmed.join(", "));
        body.push_str(&format!("<p class=\"soft\">{}</p>\n", escape(&line)));
    }
    body.push_str(&format!(
        "<p class=\"soft\">Whether break-in is over is decided by an authorised person and entered in the engine’s own records, \
         not here.</p>\n<p class=\"foot\">{}</p>\n</main>\n",
        escape(words::CAUTION)
    ));
    Some(html::document(&title, STYLE, &body))
}

const STYLE: &str =
    "figure { margin: 10px 0; overflow-x: auto; } figure svg { max-width: 100%; min-width: 600px; height: auto; }
p.soft, p.foot { margin: 12px 0; }
.skip { position: absolute; left: -999px; } .skip:focus { position: static; }
@media screen and (prefers-color-scheme: dark) { figure { background: #f8f9f6; } }
@media print { :root { --ground: #fff; --raised: #fff; --ink: #000; --soft: #333; --rule: #999; }
  body { max-width: none; font-size: 11pt; } .item, figure, table { break-inside: avoid; } .skip { display: none; } }
";

fn engine(m: &Morning, e: &EngineView, b: &BreakIn) -> Vec<(&'static str, String)> {
    let near = numbers::date_of(m.as_of, m.zone);
    let began = b.began.map_or("before the records".to_owned(), |t| numbers::long_day(numbers::date_of(t, m.zone)));
    vec![
        ("Tail and position", words::place(&e.tail, e.position.as_deref())),
        ("Serial, model", format!("{}, {}", e.serial, e.model)),
        ("Since", format!("{}, {began}", b.kind)),
        (
            "Hours",
            format!("{} since then, of {}; clock: {}", numbers::hours(b.hours), numbers::hours(b.length_h), e.clock),
        ),
        ("Oil in the engine", e.oil.clone().unwrap_or_else(|| "not recorded".to_owned())),
        ("Oil wanted", b.oil_wanted.clone()),
        ("Last record", e.last_record.map_or("none".to_owned(), |t| numbers::moment(t, near, m.zone))),
    ]
}

fn table(title: &str, rows: &[(&str, String)]) -> String {
    let rows: String = rows
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(name, value)| format!("<tr><th scope=\"row\">{name}</th><td>{}</td></tr>\n", escape(value)))
        .collect();
    format!("<h2>{title}</h2>\n<table>\n<tbody>\n{rows}</tbody>\n</table>\n")
}

fn changes(b: &BreakIn) -> String {
    let rows: String = b
        .points
        .iter()
        .map(|(at, done)| {
            let (made, off) = match done {
                Some(h) if h > at => (numbers::hours(*h), format!("{} past the point", numbers::hours(h - at))),
                Some(h) => (numbers::hours(*h), format!("{} before the point", numbers::hours(at - h))),
                None if b.hours > *at => {
                    ("not recorded".to_owned(), format!("{} past the point", numbers::hours(b.hours - at)))
                }
                None => ("ahead".to_owned(), format!("in {}", numbers::hours(at - b.hours))),
            };
            format!("<tr><th scope=\"row\">{}</th><td>{made}</td><td>{off}</td></tr>\n", numbers::hours(*at))
        })
        .collect();
    format!(
        "<table>\n<thead><tr><th scope=\"col\">Planned</th><th scope=\"col\">Made at</th><th scope=\"col\">Difference</th></tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n"
    )
}

fn consumption(e: &EngineView, b: &BreakIn) -> Vec<String> {
    let mut out = vec![rate_words(e), format!("{:.1} quarts seen", e.quarts)];
    out.push(match b.stabilised_p {
        Some(p) => format!("probability that less than a quarter of the excess remains: {}", numbers::probability(p)),
        None => "not enough evidence yet to say whether it has stabilised".to_owned(),
    });
    out.extend(b.missing.iter().map(|m| format!("missing: {m}")));
    out
}

/// What has been told about this build, ended or not.
fn told(m: &Morning, e: &EngineView, b: &BreakIn) -> String {
    let mine: Vec<&Alert> =
        m.alerts.iter().filter(|a| about(a, e) && b.began.is_none_or(|began| a.finding.raised >= began)).collect();
    if mine.is_empty() {
        return "<h2>Alerts</h2>\n<p>None now. This means that nothing was computed, not that the engine is good.</p>\n".to_owned();
    }
    let lines: Vec<String> = mine
        .iter()
        .map(|a| {
            let state = words::state_words(a, m.zone);
            format!("{} {} ({state}): {}", a.level().word(), a.number, words::sentence(&a.finding, m.zone))
        })
        .collect();
    format!("<h2>Alerts</h2>\n{}", html::list(&lines))
}
