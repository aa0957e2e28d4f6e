//! The plain-text part: at most 78 columns, readable alone.

use super::content::{Content, Item};
use crate::judge::EngineView;
use crate::report::status::paragraph;
use crate::report::text::{Table, wrap};
use crate::report::words::{self, numbers};

const WIDTH: usize = 78;

pub fn lay_out(c: &Content) -> String {
    let mut out = String::new();
    line(&mut out, &c.head, 0);
    out.push('\n');
    line(&mut out, &c.summary, 0);
    items(&mut out, "BEFORE THE NEXT FLIGHT", &c.before_flight);
    items(&mut out, "SOON", &c.soon);
    items(&mut out, "FOR INFORMATION", &c.information);
    if let Some(known) = &c.known {
        line(&mut out, &format!("  {known}"), 4);
    }
    if !c.due.is_empty() {
        title(&mut out, "DUE IN THE NEXT 10 HOURS OR DAYS");
        for (place, what) in &c.due {
            line(&mut out, &format!("  {place}: {what}"), 4);
        }
    }
    if !c.break_in.is_empty() {
        title(&mut out, "BREAK-IN");
        for (place, words) in &c.break_in {
            let (first, rest) = words.split_first().map_or(("", &[][..]), |(first, rest)| (first.as_str(), rest));
            line(&mut out, &format!("  {place}: {first}"), 4);
            for words in rest {
                line(&mut out, &format!("    {words}"), 6);
            }
        }
    }
    if !c.records.is_empty() || !c.rejections.is_empty() {
        title(&mut out, "RECORDS IN DOUBT (the log, not the engine)");
        c.records.iter().for_each(|i| item(&mut out, i));
        for r in &c.rejections {
            line(&mut out, &format!("  {r}"), 4);
        }
    }
    engines(&mut out, c);
    if !c.silent_alerts.is_empty() || !c.silent.is_empty() {
        title(&mut out, "WITHOUT FRESH DATA");
        c.silent_alerts.iter().for_each(|i| item(&mut out, i));
        for s in &c.silent {
            line(&mut out, &format!("  {s}"), 4);
        }
    }
    list(&mut out, "MAIL NOT DELIVERED", c.undelivered.as_slice());
    list(&mut out, "MUTED", &lines(&c.muted));
    list(&mut out, "ENDED SINCE THE LAST DIGEST", &lines(&c.settled));
    full(&mut out, c);
    list(&mut out, "NOT CONFIRMED AGAINST THE ENGINE MAKER'S INSTRUCTIONS", &c.unconfirmed);
    if !c.nothing_to_answer() {
        title(&mut out, "TO ANSWER");
        for l in words::HOW_TO_ANSWER {
            line(&mut out, &format!("  {l}"), 2);
        }
    }
    out.push('\n');
    line(&mut out, words::CAUTION, 0);
    out
}

fn line(out: &mut String, text: &str, indent: usize) {
    out.push_str(&wrap(text, WIDTH, indent));
    out.push('\n');
}

fn title(out: &mut String, text: &str) {
    out.push_str(&format!("\n{text}\n"));
}

fn list(out: &mut String, heading: &str, lines: &[String]) {
    if lines.is_empty() {
        return;
    }
    title(out, heading);
    for l in lines {
        line(out, &format!("  {l}"), 4);
    }
}

fn items(out: &mut String, heading: &str, items: &[Item]) {
    if items.is_empty() {
        return;
    }
    title(out, heading);
    items.iter().for_each(|i| item(out, i));
}

/// Each as one plain line: nothing is asked of the reader.
pub fn lines(items: &[Item]) -> Vec<String> {
    items.iter().map(|i| format!("{}: {} ({})", i.place, i.headline, i.tail)).collect()
}

fn item(out: &mut String, i: &Item) {
    let mark = i.mark.as_ref().map_or(String::new(), |m| format!("{m}, "));
    let shape = words::shape(i.alert.level());
    line(out, &format!("{shape} {mark}{}: {} ({})", i.place, i.headline, i.tail), 2);
    for fact in &i.facts {
        line(out, &format!("    {fact}"), 6);
    }
}

fn engines(out: &mut String, c: &Content) {
    title(out, "ENGINES");
    let mut table = Table::new(&["engine", "qt/h", "90 %", "baseline", "h/qt", "state"], &[1, 3, 4]);
    for e in c.morning.engines.iter().filter(|e| e.installed) {
        table.row(vec![
            words::place(&e.tail, e.position.as_deref()),
            e.rate.map_or("–".to_owned(), |r| numbers::rate(r.qt_per_h)),
            e.rate.map_or(String::new(), |r| {
                let (low, high) = numbers::rates(r.low, r.high);
                format!("{low}–{high}")
            }),
            e.baseline_qt_per_h.map_or("–".to_owned(), numbers::rate),
            e.rate.map_or("–".to_owned(), |r| numbers::hours_per_qt(r.qt_per_h)),
            words::phase(e),
        ]);
    }
    out.push_str(&table.text(WIDTH));
    line(out, &clocks(&c.morning.engines), 0);
}

/// Which clock the rates are in: one sentence where all agree, else each.
pub fn clocks(engines: &[EngineView]) -> String {
    let mut clocks: Vec<(&str, Vec<String>)> = Vec::new();
    for e in engines.iter().filter(|e| e.installed) {
        let place = words::place(&e.tail, e.position.as_deref());
        match clocks.iter_mut().find(|(c, _)| *c == e.clock) {
            Some((_, places)) => places.push(place),
            None => clocks.push((&e.clock, vec![place])),
        }
    }
    clocks.sort_by_key(|(_, places)| std::cmp::Reverse(places.len()));
    match clocks.as_slice() {
        [] => String::new(),
        [(clock, _)] => format!("Hours are {clock}."),
        [(clock, _), rest @ ..] => {
            let rest: Vec<String> = rest.iter().map(|(c, p)| format!("{c} for {}", p.join(", "))).collect();
            format!("Hours are {clock}, but {}.", rest.join("; "))
        }
    }
}

fn full(out: &mut String, c: &Content) {
    for alert in &c.full {
        title(out, &format!("ALERT {} IN FULL", alert.number));
        for p in words::explain(alert, &c.morning.engines, c.morning.zone) {
            // Said once for the whole mail below.
            if p.title == "Caution" || p.title == "To acknowledge" {
                continue;
            }
            if p.title != "What" {
                line(out, &p.title, 0);
            }
            out.push_str(&paragraph(&p, WIDTH));
        }
    }
}
