//! One engine: its state, its pictures, the evidence of its alerts.

use super::{figure, frame};
use crate::alerts::{Alert, State};
use crate::judge::{EngineView, Kind};
use crate::report::break_in_sheet::progress;
use crate::report::html::{self, escape};
use crate::report::status::{about, due_words, rate_words};
use crate::report::words::{self, numbers};
use crate::report::{Morning, RunPicture, charts};

/// Points told as numbers, for who cannot use the picture.
const POINTS: usize = 15;

pub fn page(m: &Morning, e: &EngineView, name: &str) -> String {
    let place = words::place(&e.tail, e.position.as_deref());
    let title = format!("{place}, {}", e.serial);
    let mut body =
        format!("<h1>{} {}</h1>\n<p class=\"sum\">{}</p>\n", escape(&e.model), escape(&e.serial), escape(&place));
    body.push_str(&facts(m, e));
    let (mine, ended): (Vec<&Alert>, Vec<&Alert>) =
        m.alerts.iter().filter(|a| about(a, e)).partition(|a| a.state != State::Closed);
    body.push_str(&figure(charts::consumption_svg(e, &m.alerts), &charts::consumption_words(e)));
    body.push_str(&figure(charts::statistic_svg(e), &charts::statistic_words(e)));
    if e.break_in.is_some() {
        body.push_str(&format!("<h2>Break-in</h2>\n{}", html::list(&progress(e))));
        body.push_str(&figure(charts::break_in_svg(e), &charts::break_in_words(e)));
        body.push_str(&format!("<p><a href=\"../break-in/{name}.html\">Sheet to print</a></p>\n"));
    }
    body.push_str(&latest_run(m, e));
    let mut shown = Vec::new();
    for alert in mine {
        body.push_str(&format!(
            "<h2 id=\"alert-{0}\">{1} alert {0}: {2}</h2>\n",
            alert.number,
            html::level(alert.level()),
            escape(&words::sentence(&alert.finding, m.zone))
        ));
        body.push_str(&course(alert, e));
        for p in words::explain(alert, &m.engines, m.zone).iter().filter(|p| p.title != "Caution") {
            body.push_str(&html::paragraph(p, "h3"));
        }
        for run in m.pictures.iter().filter(|r| r.serial == e.serial && r.alerts.contains(&alert.number)) {
            body.push_str(&shown_run(m, run, &mut shown));
        }
        body.push_str(&history(alert, m));
    }
    if !ended.is_empty() {
        let lines: Vec<String> = ended
            .iter()
            .map(|a| {
                format!(
                    "alert {}: {} ({})",
                    a.number,
                    words::sentence(&a.finding, m.zone),
                    words::state_words(a, m.zone)
                )
            })
            .collect();
        body.push_str(&format!("<h2>Ended lately</h2>\n{}", html::list(&lines)));
    }
    body.push_str(&points(m, e));
    frame(&title, "../index.html", &body)
}

/// The picture of a run, once; where it comes again, a pointer to it.
fn shown_run<'a>(m: &Morning, run: &'a RunPicture, shown: &mut Vec<&'a RunPicture>) -> String {
    let words = charts::run_words(run, m.zone);
    if run.latest || shown.contains(&run) {
        return format!("<p class=\"soft\">The picture of this run stands above: {}.</p>\n", escape(&words));
    }
    shown.push(run);
    figure(charts::run_svg(run, m.zone), &words)
}

fn latest_run(m: &Morning, e: &EngineView) -> String {
    let mine = m.pictures.iter().find(|r| r.latest && r.serial == e.serial);
    mine.map_or(String::new(), |run| {
        let drawn = figure(charts::run_svg(run, m.zone), &charts::run_words(run, m.zone));
        format!("<h2>Latest recorded run</h2>\n{drawn}<p class=\"soft\">From {}.</p>\n", escape(&run.file))
    })
}

fn facts(m: &Morning, e: &EngineView) -> String {
    let near = numbers::date_of(m.as_of, m.zone);
    let mut out = String::from("<dl>\n");
    let mut fact = |name: &str, value: String| {
        if !value.is_empty() {
            out.push_str(&format!("<dt>{name}</dt><dd>{}</dd>\n", escape(&value)));
        }
    };
    let since = e.hours_since_build.map_or(String::new(), |h| format!(", {h:.1} h since the build"));
    fact("Hours", format!("{:.1} engine hours{since}", e.hours));
    fact("State", if e.installed { words::phase(e) } else { format!("{}, not installed", words::phase(e)) });
    fact("Oil", e.oil.clone().unwrap_or_default());
    fact("Consumption", rate_words(e));
    let quarts = format!("from {:.1} quarts seen", e.quarts);
    fact(
        "Baseline",
        e.baseline_qt_per_h
            .map_or(format!("not known yet, {quarts}"), |b| format!("{} qt/h, {quarts}", numbers::rate(b))),
    );
    fact("Kind of log", e.log.clone());
    fact("Level", e.level_qt.map_or(String::new(), |l| format!("about {} qt", numbers::short(l))));
    fact(
        "Usable oil",
        e.endurance_h.map_or(String::new(), |h| format!("for about {} at this rate", numbers::hours(h))),
    );
    let share =
        |c: f64| e.rate.map_or(String::new(), |r| format!("; the rate is {} of it", numbers::percent(r.qt_per_h / c)));
    let ceiling = e.ceiling_qt_per_h.filter(|c| *c > 0.0);
    fact(
        "Ceiling",
        ceiling.map_or(String::new(), |c| format!("{} qt/h, a limit, not a target{}", numbers::rate(c), share(c))),
    );
    for d in &e.due {
        fact("Due", due_words(d, near));
    }
    fact("Last record", e.last_record.map_or("none".to_owned(), |t| numbers::moment(t, near, m.zone)));
    fact("Not confirmed", e.unconfirmed.join(", "));
    out.push_str("</dl>\n");
    out
}

/// How the evidence of a rate alert came to its limit.
fn course(alert: &Alert, e: &EngineView) -> String {
    let finding = &alert.finding;
    if !matches!(finding.kind, Kind::OilRateRise | Kind::OilRateFall) {
        return String::new();
    }
    let course = crate::report::alert::course(finding, std::slice::from_ref(e));
    let Some((course, hours)) = course.zip(finding.hours) else { return String::new() };
    let words = format!("alert {}: {}", alert.number, course.what.to_lowercase());
    figure(charts::alert_svg(e, alert.number, hours, course.points), &words)
}

fn history(alert: &Alert, m: &Morning) -> String {
    if alert.history.is_empty() {
        return String::new();
    }
    let near = numbers::date_of(m.as_of, m.zone);
    let lines: Vec<String> = alert
        .history
        .iter()
        .map(|h| format!("{}, {}: {}", numbers::moment(h.at, near, m.zone), h.by, h.what))
        .collect();
    format!("<h3>History</h3>\n{}", html::list(&lines))
}

fn points(m: &Morning, e: &EngineView) -> String {
    if e.points.is_empty() {
        return String::new();
    }
    let near = numbers::date_of(m.as_of, m.zone);
    let rows: String = e
        .points
        .iter()
        .rev()
        .take(POINTS)
        .map(|p| {
            let (low, high) = numbers::rates(p.rate.low, p.rate.high);
            let added = if p.added_qt > 0.0 { numbers::plain(f64::from(p.added_qt)) } else { String::new() };
            format!(
                "<tr><th scope=\"row\">{}</th><td class=\"n\">{:.1}</td><td class=\"n\">{}</td><td>{low}–{high}</td>\
                 <td class=\"n\">{:.1}</td><td class=\"n\">{added}</td></tr>\n",
                numbers::moment(p.at, near, m.zone),
                p.hours,
                numbers::rate(p.rate.qt_per_h),
                p.level_qt
            )
        })
        .collect();
    format!(
        "<h2>Last points as numbers</h2>\n<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Last points\">\n<table>\n\
         <thead><tr><th scope=\"col\">When</th><th scope=\"col\" class=\"n\">Engine hours</th><th scope=\"col\" class=\"n\">qt/h</th>\
         <th scope=\"col\">90 %</th><th scope=\"col\" class=\"n\">Level, qt</th><th scope=\"col\" class=\"n\">Added, qt</th></tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n</div>\n"
    )
}
