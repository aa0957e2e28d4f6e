//! The HTML part: what the text part says, in the same order, with a small chart per engine.

use super::content::{Content, Item};
use super::picture_id;
use super::text::{self, clocks};
use crate::judge::{BreakIn, EngineView};
use crate::report::html::{self, escape, rich};
use crate::report::words::{self, numbers};

pub fn lay_out(c: &Content, pictures: &[(String, Vec<u8>, String)]) -> String {
    let mut body = format!("<h1>{}</h1>\n<p class=\"sum\">{}</p>\n", escape(&c.head), escape(&c.summary));
    section(&mut body, "Before the next flight", &c.before_flight);
    section(&mut body, "Soon", &c.soon);
    section(&mut body, "For information", &c.information);
    body.push_str(&known(c));
    due(&mut body, c);
    break_in(&mut body, c);
    records(&mut body, c);
    engines(&mut body, c, pictures);
    silent(&mut body, c);
    lines(&mut body, "Mail not delivered", c.undelivered.as_slice());
    lines(&mut body, "Muted", &text::lines(&c.muted));
    lines(&mut body, "Ended since the last digest", &text::lines(&c.settled));
    full(&mut body, c);
    lines(&mut body, "Not confirmed against the engine maker’s instructions", &c.unconfirmed);
    if !c.nothing_to_answer() {
        answer(&mut body);
    }
    html::letter(&c.subject, &body)
}

fn answer(body: &mut String) {
    let [command, row] = words::HOW_TO_ANSWER.map(rich);
    body.push_str(&format!("<h2>To answer</h2>\n<p class=\"foot\"><code>{command}</code><br>{row}</p>\n"));
}

/// The advisories not listed one by one.
pub fn known(c: &Content) -> String {
    c.known.as_ref().map_or(String::new(), |k| format!("<p class=\"soft\">{}</p>\n", escape(k)))
}

/// Aircraft without fresh data.
pub fn silent(body: &mut String, c: &Content) {
    if c.silent_alerts.is_empty() && c.silent.is_empty() {
        return;
    }
    body.push_str("<h2>Without fresh data</h2>\n");
    c.silent_alerts.iter().for_each(|i| body.push_str(&item(i)));
    if !c.silent.is_empty() {
        body.push_str(&html::list(&c.silent));
    }
}

fn lines(body: &mut String, title: &str, lines: &[String]) {
    if !lines.is_empty() {
        body.push_str(&format!("<h2>{title}</h2>\n{}", html::list(lines)));
    }
}

fn section(body: &mut String, title: &str, items: &[Item]) {
    if items.is_empty() {
        return;
    }
    body.push_str(&format!("<h2>{title}</h2>\n"));
    items.iter().for_each(|i| body.push_str(&item(i)));
}

/// One alert: level by shape and word, mark, place, headline, facts.
pub fn item(i: &Item) -> String {
    let level = i.alert.level();
    let mark = i.mark.as_ref().map_or(String::new(), |m| format!(" <span class=\"mark\">{}</span>", escape(m)));
    let facts: String = i.facts.iter().map(|f| format!("<p class=\"facts\">{}</p>\n", rich(f))).collect();
    format!(
        "<div class=\"item {}\">\n<p>{}{mark} <strong>{}</strong></p>\n<p>{}</p>\n{facts}<p class=\"soft\">{}</p>\n</div>\n",
        level.word(),
        html::level(level),
        escape(&i.place),
        rich(&i.headline),
        escape(&i.tail)
    )
}

fn due(body: &mut String, c: &Content) {
    if c.due.is_empty() {
        return;
    }
    body.push_str("<h2>Due in the next 10 hours or days</h2>\n<ul>\n");
    for (place, what) in &c.due {
        body.push_str(&format!("<li><strong>{}</strong>: {}</li>\n", escape(place), escape(what)));
    }
    body.push_str("</ul>\n");
}

fn break_in(body: &mut String, c: &Content) {
    if c.break_in.is_empty() {
        return;
    }
    body.push_str("<h2>Break-in</h2>\n");
    for (place, words) in &c.break_in {
        body.push_str(&format!("<p><strong>{}</strong></p>\n{}", escape(place), html::list(words)));
    }
}

fn records(body: &mut String, c: &Content) {
    if c.records.is_empty() && c.rejections.is_empty() {
        return;
    }
    body.push_str("<h2>Records in doubt</h2>\n<p class=\"soft\">Here the log is in doubt, not the engine.</p>\n");
    c.records.iter().for_each(|i| body.push_str(&item(i)));
    if !c.rejections.is_empty() {
        body.push_str(&html::list(&c.rejections));
    }
}

fn engines(body: &mut String, c: &Content, pictures: &[(String, Vec<u8>, String)]) {
    body.push_str(
        "<h2>Engines</h2>\n<table>\n<thead><tr><th scope=\"col\">Engine</th>\
         <th scope=\"col\">Consumption</th><th scope=\"col\">Last hours</th></tr></thead>\n<tbody>\n",
    );
    for (i, e) in c.morning.engines.iter().enumerate().filter(|(_, e)| e.installed) {
        let id = picture_id(i);
        let picture = pictures.iter().find(|p| p.0 == id).map_or(String::new(), |(id, _, words)| {
            format!("<img src=\"cid:{id}\" width=\"132\" height=\"44\" alt=\"{}\">", escape(words))
        });
        body.push_str(&row(e, &picture));
    }
    body.push_str(&format!(
        "</tbody>\n</table>\n<p class=\"soft\">{} The dashed line is the engine’s own baseline.</p>\n",
        escape(&clocks(&c.morning.engines))
    ));
}

fn row(e: &EngineView, picture: &str) -> String {
    let oil = e.oil.as_ref().map_or(String::new(), |o| format!(", {o}"));
    let progress =
        e.break_in.as_ref().map_or(String::new(), |b: &BreakIn| format!(" of {} h", numbers::short(b.length_h)));
    let (rate, below) = match e.rate {
        Some(r) => {
            let (low, high) = numbers::rates(r.low, r.high);
            let base =
                e.baseline_qt_per_h.map_or("no baseline yet".to_owned(), |b| format!("baseline {}", numbers::rate(b)));
            (
                format!("{} qt/h", numbers::rate(r.qt_per_h)),
                format!("<small>{low}–{high}</small><small>{} h/qt, {base}</small>", numbers::hours_per_qt(r.qt_per_h)),
            )
        }
        None => ("not known yet".to_owned(), String::new()),
    };
    format!(
        "<tr><th scope=\"row\">{}<small>{}</small><small>{}{}{}</small></th><td>{rate}{below}</td><td>{picture}</td></tr>\n",
        escape(&words::place(&e.tail, e.position.as_deref())),
        escape(&e.serial),
        escape(&words::phase(e)),
        escape(&progress),
        escape(&oil)
    )
}

fn full(body: &mut String, c: &Content) {
    if c.full.is_empty() {
        return;
    }
    body.push_str("<h2>New alerts in full</h2>\n");
    for alert in &c.full {
        body.push_str(&format!("<h3>{} alert {}</h3>\n", html::level(alert.level()), alert.number));
        for p in words::explain(alert, &c.morning.engines, c.morning.zone) {
            if p.title != "Caution" && p.title != "To acknowledge" {
                body.push_str(&html::paragraph(&p, "h4"));
            }
        }
    }
}
