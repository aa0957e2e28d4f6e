//! Break-in in one place: for the director of maintenance, the chief pilot and the overhaul shop.
//!
//! A sheet of evidence, made to be printed. It decides nothing and is signed by nobody.

use super::html::{self, escape};
use super::status::{about, rate_words};
use super::words::{self, numbers};
use super::{Morning, charts};
use crate::alerts::Alert;
use crate::judge::break_in::{OilLine, RunLine};
use crate::judge::{BreakIn, EngineView};

/// How far a break-in has come: a name and a line for each question; nothing for an engine not in break-in.
pub fn questions(e: &EngineView) -> Vec<(&'static str, String)> {
    let Some(b) = &e.break_in else { return Vec::new() };
    let mut out =
        vec![("break-in", format!("{} of {} since {}", numbers::hours(b.hours), numbers::hours(b.length_h), b.kind))];
    if !b.points.is_empty() {
        out.push(("oil changes", points(b)));
    }
    out.extend(band(b).map(|line| ("power", line)));
    out.extend(trend(e, b).map(|line| ("trend", line)));
    out.push((
        "stabilised",
        match b.stabilised_p {
            Some(p) => format!("consumption stabilised with probability {}", numbers::probability(p)),
            None => "not enough evidence yet to say whether consumption has stabilised".to_owned(),
        },
    ));
    if !b.missing.is_empty() {
        out.push(("still missing", b.missing.join(", ")));
    }
    out
}

/// The same as lines that stand alone.
pub fn progress(e: &EngineView) -> Vec<String> {
    let named = |(name, line): (&str, String)| match name {
        "oil changes" | "still missing" => format!("{name}: {line}"),
        _ => line,
    };
    questions(e).into_iter().map(named).collect()
}

/// `5 h done at 4.8 h, 25 h in 13.1 h (about 9 days at recent use), 50 h ahead`.
fn points(b: &BreakIn) -> String {
    let mut next = true;
    let mut point = |at: f64, done: Option<f64>| match done {
        Some(h) => format!("{} done at {}", numbers::hours(at), numbers::hours(h)),
        None if b.hours > at => format!("{} not recorded", numbers::hours(at)),
        None if std::mem::take(&mut next) => {
            let left = at - b.hours;
            let days = b.use_h_per_day.map(|d| (left / d).ceil() as usize);
            let days =
                days.map_or(String::new(), |d| format!(" (about {} at recent use)", numbers::count(d, "day", "days")));
            format!("{} in {}{days}", numbers::hours(at), numbers::hours(left))
        }
        None => format!("{} ahead", numbers::hours(at)),
    };
    b.points.iter().map(|(at, done)| point(*at, *done)).collect::<Vec<_>>().join(", ")
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
    let [low, high] = b.power_pct;
    Some(format!(
        "cruise at {low:.0} to {high:.0} % power for {within:.0} of {known:.0} min ({}; below {below:.0} min, above {above:.0} min{not})",
        numbers::percent(within / known)
    ))
}

/// The rate now, beside that of some hours before. It falls or rises only where the intervals bear it out.
fn trend(e: &EngineView, b: &BreakIn) -> Option<String> {
    let now = e.rate?;
    let rate = numbers::rate(now.qt_per_h);
    let Some((hours, then)) = b.record.earlier else { return Some(format!("consumption now {rate} qt/h")) };
    let way = if now.high < then.qt_per_h && now.qt_per_h < then.low {
        "falling"
    } else if now.low > then.qt_per_h && now.qt_per_h > then.high {
        "rising"
    } else {
        "no clear change yet"
    };
    Some(format!("consumption now {rate} qt/h, {hours:.0} h earlier {} qt/h: {way}", numbers::rate(then.qt_per_h)))
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
    body.push_str(&format!("<h2>Where it stands</h2>\n{}", html::list(&capitals(progress(e)))));
    body.push_str(&table("The engine", &engine(m, e, b)));
    body.push_str(&format!("<h2>Oil changes planned and made, hours since the build</h2>\n{}", changes(b)));
    body.push_str(&format!("<h2>Oil, filter and screens as logged</h2>\n{}", oil(m, b)));
    body.push_str(&format!("<h2>Recorded runs</h2>\n{}", runs(m, b)));
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
p.soft, p.foot { margin: 12px 0; } td.n, th.n { text-align: right; } .wide { overflow-x: auto; }
table.runs { font-size: .85rem; } .runs th, .runs td { padding: 3px 6px 3px 0; } .runs tbody th { white-space: nowrap; }
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

/// What the log says of oil, filter and screens.
fn oil(m: &Morning, b: &BreakIn) -> String {
    let note = "<p class=\"soft\">Results of oil analysis are not judged in break-in: the metals vary then \
                (common practice).</p>\n";
    if b.record.oil.is_empty() {
        return format!("<p>No oil change, filter or screen is logged since the build.</p>\n{note}");
    }
    let near = numbers::date_of(m.as_of, m.zone);
    let row = |l: &OilLine| {
        format!(
            "<tr><th scope=\"row\">{}</th><td>{}</td><td>{}</td><td>{}</td></tr>\n",
            numbers::day(numbers::date_of(l.at, m.zone), near),
            numbers::hours(l.hours),
            escape(&l.what),
            escape(l.remarks.as_deref().unwrap_or_default())
        )
    };
    let rows: String = b.record.oil.iter().map(row).collect();
    format!(
        "<table>\n<thead><tr><th scope=\"col\">Date</th><th scope=\"col\">Since build</th><th scope=\"col\">Entry</th>\
         <th scope=\"col\">Remarks</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n{note}"
    )
}

/// One row for each recorded run.
fn runs(m: &Morning, b: &BreakIn) -> String {
    let runs = &b.record.runs;
    let Some(first) = runs.first() else {
        return "<p>No recording of a run since the build.</p>\n".to_owned();
    };
    let near = numbers::date_of(m.as_of, m.zone);
    let [low, high] = b.power_pct;
    let degrees = |v: Option<f32>| v.map_or("–".to_owned(), |v| format!("{v:.0}"));
    let row = |r: &RunLine| {
        let [within, below, above, unknown] = r.band_min;
        let head = r.cylinder.map_or(String::new(), |c| format!(" ({c})"));
        let cruise = if within + below + above + unknown <= 0.0 {
            "<td class=\"n\">–</td><td class=\"n\">–</td><td class=\"n\">–</td>".to_owned()
        } else if within + below + above <= 0.0 {
            format!("<td colspan=\"3\">{unknown:.0} min, power not told</td>")
        } else {
            format!("<td class=\"n\">{within:.0}</td><td class=\"n\">{below:.0}</td><td class=\"n\">{above:.0}</td>")
        };
        let inferred = if r.inferred { "*" } else { "" };
        let air = if r.flights == 0 { "–".to_owned() } else { format!("{:.0}{inferred}", r.air_min) };
        format!(
            "<tr><th scope=\"row\">{}</th><td class=\"n\">{:.1}</td><td class=\"n\">{:.0}{inferred}</td><td class=\"n\">{air}</td>\
             {cruise}<td class=\"n\">{}{head}</td><td class=\"n\">{}</td></tr>\n",
            numbers::moment(r.start, near, m.zone),
            r.hours,
            r.ground_min,
            degrees(r.cht_f),
            degrees(r.oil_temp_f)
        )
    };
    let rows: String = runs.iter().map(row).collect();
    let star = if runs.iter().any(|r| r.inferred) {
        " * Inferred from power alone: neither speed nor height is recorded."
    } else {
        ""
    };
    let ground: f64 = runs.iter().map(|r| r.ground_min).sum();
    let air: f64 = runs.iter().map(|r| r.air_min).sum();
    let (n, h) = (numbers::count(runs.len(), "recorded run", "recorded runs"), numbers::hours((ground + air) / 60.0));
    let one = if first.flights == 0 {
        format!("; the first one {:.0} min on the ground", first.ground_min)
    } else {
        String::new()
    };
    format!(
        "<p>{n} of {h} in all by the recorder, {ground:.0} min of it on the ground{one}.</p>\n\
         <div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Recorded runs\">\n\
         <table class=\"runs\">\n<thead><tr><th scope=\"col\">Began</th><th scope=\"col\" class=\"n\">h since build</th>\
         <th scope=\"col\" class=\"n\">Ground, min</th><th scope=\"col\" class=\"n\">Air, min</th>\
         <th scope=\"col\" class=\"n\">Cruise at {low:.0}–{high:.0} %, min</th><th scope=\"col\" class=\"n\">below</th>\
         <th scope=\"col\" class=\"n\">above</th><th scope=\"col\" class=\"n\">Hottest head, °F (cylinder)</th>\
         <th scope=\"col\" class=\"n\">Oil, °F</th></tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n</div>\n\
         <p class=\"soft\">Ground and air are told from speed, height or power: a recording has no switch on the wheels. \
         Air time counts from leaving the surface to touching it, as time in service does.{star}</p>\n"
    )
}

fn capitals(lines: Vec<String>) -> Vec<String> {
    lines.iter().map(|l| words::capital(l)).collect()
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
    let mut out = vec![rate_words(e)];
    out.extend(trend(e, b));
    out.push(format!(
        "{} qt added since the build; {:.1} quarts seen to be used",
        numbers::short(b.record.added_qt),
        e.quarts
    ));
    out.push(match b.stabilised_p {
        Some(p) => format!("probability that less than a quarter of the excess remains: {}", numbers::probability(p)),
        None => "not enough evidence yet to say whether it has stabilised".to_owned(),
    });
    out.extend(b.missing.iter().map(|m| format!("still missing: {m}")));
    capitals(out)
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
