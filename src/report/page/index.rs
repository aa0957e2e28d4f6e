//! The fleet on one page.

use super::frame;
use crate::alerts::State;
use crate::judge::EngineView;
use crate::report::Morning;
use crate::report::digest::{Content, Item, item_html, known_html, silent_html};
use crate::report::html::{self, escape};
use crate::report::status::{about, due_words};
use crate::report::words::{self, numbers};

pub fn page(m: &Morning, names: &[String]) -> String {
    let c = Content::of(m);
    let title = m.operator.as_deref().unwrap_or("Fleet");
    let near = numbers::date_of(m.as_of, m.zone);
    let made = m.as_of.with_timezone(&m.zone).format("%H:%M");
    let mut body = format!(
        "<h1>{}, as of {} {made}</h1>\n<p class=\"sum\">{}</p>\n",
        escape(title),
        numbers::long_day(near),
        escape(&c.summary)
    );
    alerts(&mut body, "Before the next flight", &c.before_flight);
    alerts(&mut body, "Soon", &c.soon);
    alerts(&mut body, "For information", &c.information);
    body.push_str(&known_html(&c));
    body.push_str("<h2>Engines</h2>\n");
    body.push_str(&table(m, names));
    break_in(&mut body, m, names, &c);
    if !c.records.is_empty() || !m.rejections.is_empty() {
        body.push_str("<h2>Records in doubt</h2>\n<p class=\"soft\">Here the log is in doubt, not the engine.</p>\n");
        c.records.iter().for_each(|i| body.push_str(&item_html(i)));
        let all: Vec<String> = m.rejections.iter().map(ToString::to_string).collect();
        if !all.is_empty() {
            body.push_str(&format!("<h3>Rows and files that could not be read</h3>\n{}", html::list(&all)));
        }
    }
    silent_html(&mut body, &c);
    for (title, lines) in [
        ("Mail not delivered", c.undelivered.as_slice()),
        ("Not confirmed against the engine maker’s instructions", c.unconfirmed.as_slice()),
    ] {
        if !lines.is_empty() {
            body.push_str(&format!("<h2>{title}</h2>\n{}", html::list(lines)));
        }
    }
    alerts(&mut body, "Muted", &c.muted);
    frame(title, "", &body)
}

fn alerts(body: &mut String, title: &str, items: &[Item]) {
    if !items.is_empty() {
        body.push_str(&format!("<h2>{title}</h2>\n"));
        items.iter().for_each(|i| body.push_str(&item_html(i)));
    }
}

fn table(m: &Morning, names: &[String]) -> String {
    let head: String = [
        ("Engine", ""),
        ("Serial", ""),
        ("Hours", " class=\"n\""),
        ("State", ""),
        ("Oil", ""),
        ("qt/h (90 %)", " class=\"n\""),
        ("Baseline", " class=\"n\""),
        ("h/qt", " class=\"n\""),
        ("Next due", ""),
        ("Alerts", ""),
    ]
    .iter()
    .map(|(word, class)| format!("<th scope=\"col\"{class}>{word}</th>"))
    .collect();
    let rows: String = m.engines.iter().zip(names).map(|(e, name)| row(m, e, name)).collect();
    let clocks = crate::report::digest::clocks(&m.engines);
    format!(
        "<div class=\"wide\" tabindex=\"0\" role=\"region\" aria-label=\"Engines\">\n<table>\n<thead><tr>{head}</tr></thead>\n\
         <tbody>\n{rows}</tbody>\n</table>\n</div>\n<p class=\"soft\">{}</p>\n",
        escape(&clocks)
    )
}

fn row(m: &Morning, e: &EngineView, name: &str) -> String {
    let near = numbers::date_of(m.as_of, m.zone);
    let rate = e.rate.map_or("–".to_owned(), |r| {
        let (low, high) = numbers::rates(r.low, r.high);
        format!("{}<small>{low}–{high}</small>", numbers::rate(r.qt_per_h))
    });
    let place = words::place(&e.tail, e.position.as_deref());
    let place = if e.installed { escape(&place) } else { format!("{}<small>not installed</small>", escape(&place)) };
    let open: Vec<String> = m
        .alerts
        .iter()
        .filter(|a| a.state != State::Closed && about(a, e))
        .map(|a| {
            format!("<span class=\"level {0}\">{1} {0} {2}</span>", a.level().word(), words::shape(a.level()), a.number)
        })
        .collect();
    format!(
        "<tr><th scope=\"row\"><a href=\"engine/{name}.html\">{place}</a></th><td class=\"k\">{}</td><td class=\"n\">{:.1}</td><td>{}</td>\
         <td>{}</td><td class=\"n\">{rate}</td><td class=\"n\">{}</td><td class=\"n\">{}</td><td>{}</td><td>{}</td></tr>\n",
        escape(&e.serial),
        e.hours,
        escape(&words::phase(e)),
        escape(e.oil.as_deref().unwrap_or("–")),
        e.baseline_qt_per_h.map_or("–".to_owned(), numbers::rate),
        e.rate.map_or("–".to_owned(), |r| numbers::hours_per_qt(r.qt_per_h)),
        escape(&e.due.first().map_or(String::new(), |d| due_words(d, near))),
        open.join("<br>")
    )
}

fn break_in(body: &mut String, m: &Morning, names: &[String], c: &Content) {
    if c.break_in.is_empty() {
        return;
    }
    body.push_str("<h2>Break-in</h2>\n");
    for (e, name) in m.engines.iter().zip(names) {
        if e.break_in.is_none() {
            continue;
        }
        body.push_str(&format!(
            "<h3>{}, {}</h3>\n{}<p><a href=\"break-in/{name}.html\">Sheet to print</a></p>\n",
            escape(&words::place(&e.tail, e.position.as_deref())),
            escape(&e.serial),
            html::list(&crate::report::break_in_sheet::progress(e))
        ));
    }
}
