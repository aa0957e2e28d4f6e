//! The tables of `status` and `alerts`, as text of at most a hundred columns.

use chrono_tz::Tz;

use super::Freshness;
use super::break_in_sheet::questions;
use super::text::{Table, wrap};
use super::words::{self, numbers};
use crate::alerts::{Alert, State};
use crate::judge::{Due, EngineView, Level};
use crate::records::Instant;

const WIDTH: usize = 100;

/// `status`: the fleet in one table, with the aircraft that say nothing below it.
pub fn fleet(engines: &[EngineView], alerts: &[Alert], aircraft: &[Freshness], as_of: Instant, zone: Tz) -> String {
    let mut table = Table::new(
        &["engine", "serial", "hours", "phase", "qt/h", "90 %", "h/qt", "base", "next", "alerts"],
        &[2, 4, 6, 7],
    );
    let near = numbers::date_of(as_of, zone);
    for e in engines {
        let place = words::place(&e.tail, e.position.as_deref());
        table.row(vec![
            if e.installed { place } else { format!("({place})") },
            e.serial.to_string(),
            format!("{:.1}", e.hours),
            words::phase(e),
            e.rate.map_or("–".to_owned(), |r| numbers::rate(r.qt_per_h)),
            interval(e),
            e.rate.map_or("–".to_owned(), |r| numbers::hours_per_qt(r.qt_per_h)),
            e.baseline_qt_per_h.map_or("–".to_owned(), numbers::rate),
            e.due.first().map_or(String::new(), |d| next(d, near)),
            open_numbers(e, alerts),
        ]);
    }
    let mut out = format!("As of {}.\n\n", as_of.with_timezone(&zone).format("%a %-d %b %Y %H:%M %Z"));
    out.push_str(&table.text(WIDTH));
    for a in aircraft.iter().filter(|a| a.silent || a.missing) {
        out.push_str(&format!("\n{}\n", silence(a, as_of, zone)));
    }
    out.push_str(&format!("\n{}\n", wrap("qt/h with its 90 % interval; base: the engine's own baseline. Hours are engine hours; `status TAIL` names the clock. No alert means that nothing was computed, not that an engine is good.", WIDTH, 0)));
    out
}

/// `N0617H: nothing new for 12 days, last record 14 Feb 12:00`.
pub fn silence(a: &Freshness, as_of: Instant, zone: Tz) -> String {
    if a.missing {
        return format!("{}: its folder cannot be read", a.tail);
    }
    match a.last_record {
        Some(last) => {
            let days = usize::try_from((as_of - last).num_days()).unwrap_or(0);
            let near = numbers::date_of(as_of, zone);
            let last = numbers::moment(last, near, zone);
            format!("{}: nothing new for {}, last record {last}", a.tail, numbers::count(days, "day", "days"))
        }
        None => format!("{}: no record at all yet", a.tail),
    }
}

fn interval(e: &EngineView) -> String {
    e.rate.map_or(String::new(), |r| {
        let (low, high) = numbers::rates(r.low, r.high);
        format!("{low}–{high}")
    })
}

/// `oil 6.5 h`, `oil 14 Mar`.
fn next(due: &Due, near: chrono::NaiveDate) -> String {
    let what = if due.what.starts_with("oil change") { "oil" } else { due.what.as_str() };
    match (due.hours_left, due.by) {
        (Some(h), _) if h < 0.0 => format!("{what} {} past", numbers::hours(-h)),
        (_, Some(day)) if day < near => format!("{what} by {}", numbers::day(day, near)),
        (Some(h), _) => format!("{what} {}", numbers::hours(h)),
        (None, Some(day)) => format!("{what} {}", numbers::day(day, near)),
        (None, None) => what.to_owned(),
    }
}

/// Numbers of the alerts that are not closed, the most urgent first, each with its shape.
fn open_numbers(e: &EngineView, alerts: &[Alert]) -> String {
    let mut open: Vec<&Alert> = alerts.iter().filter(|a| a.state != State::Closed && about(a, e)).collect();
    open.sort_by_key(|a| (std::cmp::Reverse(a.level()), a.number));
    open.iter().map(|a| format!("{}{}", words::shape(a.level()), a.number)).collect::<Vec<_>>().join(" ")
}

/// True if the alert is about this engine, or about its aircraft as a whole.
pub fn about(alert: &Alert, engine: &EngineView) -> bool {
    match &alert.finding.serial {
        Some(serial) => *serial == engine.serial,
        None => alert.finding.tail == engine.tail && engine.installed,
    }
}

/// `status TAIL`, `status SERIAL`: each engine asked for, in detail.
pub fn detail(engines: &[&EngineView], alerts: &[Alert], as_of: Instant, zone: Tz) -> String {
    engines.iter().map(|e| one(e, alerts, as_of, zone)).collect::<Vec<_>>().join("\n")
}

fn one(e: &EngineView, alerts: &[Alert], as_of: Instant, zone: Tz) -> String {
    let near = numbers::date_of(as_of, zone);
    let mut out = format!("{}, serial {}, model {}\n", words::place(&e.tail, e.position.as_deref()), e.serial, e.model);
    let mut line = |name: &str, value: String| {
        if !value.is_empty() {
            out.push_str(&wrap(&format!("  {name}: {}", value.replace('\n', " ")), WIDTH, 6));
            out.push('\n');
        }
    };
    if !e.installed {
        line("where", "not installed now; it last sat there".to_owned());
    }
    let since = e.hours_since_build.map_or(String::new(), |h| format!(", {h:.1} h since the build"));
    line("hours", format!("{:.1} engine hours{since}", e.hours));
    line("phase", words::phase(e));
    line("oil", e.oil.clone().unwrap_or_default());
    line("consumption", rate_words(e));
    line(
        "baseline",
        e.baseline_qt_per_h.map_or("not known yet".to_owned(), |b| {
            format!("{} qt/h, {} h/qt, from {:.1} quarts seen", numbers::rate(b), numbers::hours_per_qt(b), e.quarts)
        }),
    );
    line("log", e.log.clone());
    line("level", level_words(e));
    line("ceiling", ceiling_words(e));
    for due in &e.due {
        line("due", due_words(due, near));
    }
    for (name, words) in questions(e) {
        line(name, words);
    }
    line("oil wanted", e.break_in.as_ref().map_or(String::new(), |b| b.oil_wanted.clone()));
    line("last record", e.last_record.map_or("none".to_owned(), |t| numbers::moment(t, near, zone)));
    line("unconfirmed", e.unconfirmed.join(", "));
    for a in alerts.iter().filter(|a| a.state != State::Closed && about(a, e)) {
        line("alert", format!("{} {}", words::shape(a.level()), short_line(a, zone)));
    }
    out
}

/// `0.24 qt/h (90 % interval 0.19 to 0.29), tach hours; 4.2 h/qt`.
pub fn rate_words(e: &EngineView) -> String {
    e.rate.map_or("not known yet".to_owned(), |r| {
        let (low, high) = numbers::rates(r.low, r.high);
        format!(
            "{} qt/h (90 % interval {low} to {high}), {}; {} h/qt",
            numbers::rate(r.qt_per_h),
            e.clock,
            numbers::hours_per_qt(r.qt_per_h)
        )
    })
}

fn level_words(e: &EngineView) -> String {
    let level = e.level_qt.map_or(String::new(), |l| format!("about {} qt", numbers::short(l)));
    match e.endurance_h {
        Some(h) if !level.is_empty() => format!("{level}; usable oil for about {}", numbers::hours(h)),
        Some(h) => format!("usable oil for about {}", numbers::hours(h)),
        None => level,
    }
}

fn ceiling_words(e: &EngineView) -> String {
    e.ceiling_qt_per_h.filter(|c| *c > 0.0).map_or(String::new(), |c| {
        let share = e.rate.map_or(String::new(), |r| format!(", {} of it used", numbers::percent(r.qt_per_h / c)));
        format!("{} qt/h{share}", numbers::rate(c))
    })
}

/// `oil change in 6.5 h or by 14 Mar (about 5 days at recent use)`.
pub fn due_words(due: &Due, near: chrono::NaiveDate) -> String {
    let hours = due
        .hours_left
        .map(|h| if h < 0.0 { format!("{} past", numbers::hours(-h)) } else { format!("in {}", numbers::hours(h)) });
    let past = due.hours_left.is_some_and(|h| h < 0.0);
    if let Some(by) = due.by.filter(|by| *by < near && !past) {
        return format!("{} was due by {}", due.what, numbers::day(by, near));
    }
    let by = due.by.filter(|_| !past).map(|d| format!("by {}", numbers::day(d, near)));
    let when = [hours, by].into_iter().flatten().collect::<Vec<_>>().join(" or ");
    // Days of use are told where they, not the date, come first.
    let to_date = due.by.map_or(f64::MAX, |by| (by - near).num_days() as f64);
    let days = due.days_left.filter(|d| *d >= 0.0 && due.hours_left.is_some() && *d < to_date - 1.0);
    let days = days.map_or(String::new(), |d| {
        format!(" (about {} at recent use)", numbers::count(d.round() as usize, "day", "days"))
    });
    format!("{} {when}{days}", due.what)
}

/// `alerts`: those given, most urgent first.
pub fn alerts(alerts: &[Alert], as_of: Instant, zone: Tz) -> String {
    if alerts.is_empty() {
        return "No alerts. This means that nothing was computed, not that an engine is good.\n".to_owned();
    }
    let near = numbers::date_of(as_of, zone);
    let mut sorted: Vec<&Alert> = alerts.iter().collect();
    sorted.sort_by_key(|a| (a.state == State::Closed, std::cmp::Reverse(a.level()), a.number));
    let mut out = String::new();
    for a in sorted {
        let state = if a.state == State::Open { String::new() } else { format!(", {}", words::state_words(a, zone)) };
        out.push_str(&format!(
            "{} {:>4}  {:<9}{}  {}  {}\n",
            words::shape(a.level()),
            a.number,
            a.level().word(),
            words::place(a.tail(), a.finding.position.as_deref()),
            a.kind(),
            numbers::moment(a.finding.raised, near, zone),
        ));
        out.push_str(&wrap(&format!("        {}{state}", words::headline(&a.finding, zone)), WIDTH, 8));
        out.push('\n');
    }
    out
}

/// A paragraph's lines as text, indented by two, steps numbered.
pub fn paragraph(p: &words::Paragraph, width: usize) -> String {
    let mut out = String::new();
    for (i, line) in p.lines.iter().enumerate() {
        let (lead, indent) = if p.steps { (format!("  {:>2}. ", i + 1), 6) } else { ("  ".to_owned(), 2) };
        let first = wrap(line, width - indent, 0);
        for (k, part) in first.lines().enumerate() {
            out.push_str(&if k == 0 { format!("{lead}{part}\n") } else { format!("{}{part}\n", " ".repeat(indent)) });
        }
    }
    out
}

/// `7 caution oil-rate-rise: left engine: …`.
pub fn short_line(a: &Alert, zone: Tz) -> String {
    let state = match a.state {
        State::Open => String::new(),
        _ => format!(" ({})", words::state_words(a, zone)),
    };
    format!("{} {} {}: {}{state}", a.number, a.level().word(), a.kind(), words::headline(&a.finding, zone))
}

/// The highest level among alerts that are open, for `--fail-on`.
pub fn highest(alerts: &[Alert]) -> Option<Level> {
    alerts.iter().filter(|a| a.state == State::Open).map(Alert::level).max()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn tables_fit_a_hundred_columns_and_name_every_engine() {
        let m = sample::morning();
        let text = fleet(&m.engines, &m.alerts, &m.aircraft, m.as_of, m.zone);
        let all: Vec<&EngineView> = m.engines.iter().collect();
        let detail = detail(&all, &m.alerts, m.as_of, m.zone);
        let list = alerts(&m.alerts, m.as_of, m.zone);
        let each: String = m.alerts.iter().map(|a| crate::report::alert::text(a, &m.engines, None, m.zone)).collect();
        for t in [&text, &detail, &list, &each] {
            for line in t.lines() {
                assert!(line.chars().count() <= 100, "{} columns: {line}", line.chars().count());
            }
        }
        for e in &m.engines {
            assert!(text.contains(e.serial.as_ref()) && detail.contains(e.serial.as_ref()));
        }
        for a in &m.alerts {
            assert!(list.contains(&format!(" {}  ", a.number)));
        }
        assert!(text.contains("N0617H: nothing new for 12 days"), "{text}");
    }

    #[test]
    fn failing_looks_at_open_alerts_only() {
        let mut m = sample::morning();
        assert_eq!(highest(&m.alerts), Some(Level::Warning));
        m.alerts.retain(|a| a.state != State::Open);
        assert_eq!(highest(&m.alerts), None);
    }
}
