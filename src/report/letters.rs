//! Letters of their own: one per aircraft for what cannot wait, a test, a notice about the program itself.

use chrono_tz::Tz;

use super::html::{self, escape};
use super::status::{about, paragraph};
use super::text::{cut, wrap};
use super::words::{self, Paragraph, numbers};
use super::{Letter, Morning, charts};
use crate::alerts::Alert;
use crate::records::Instant;

const WIDTH: usize = 78;
/// Subjects longer than this are cut by most phones.
const SUBJECT: usize = 110;

/// One letter about one aircraft, with everything known of each alert. `escalated`: nobody has
/// acknowledged it in time, and this goes to those named for that case.
pub fn single(alerts: &[&Alert], escalated: bool, morning: &Morning) -> Letter {
    let zone = morning.zone;
    let subject = subject(alerts, escalated, zone);
    let mut text = format!("{}\n\n", head(morning.operator.as_deref(), morning.as_of, zone));
    let mut body = format!("<h1>{}</h1>\n", escape(&head(morning.operator.as_deref(), morning.as_of, zone)));
    if escalated {
        let line = "Nobody has acknowledged this yet; you are named for that case.";
        text.push_str(&format!("{}\n\n", wrap(line, WIDTH, 0)));
        body.push_str(&format!("<p><strong>{line}</strong></p>\n"));
    }
    let mut pictures = Vec::new();
    for alert in alerts {
        let engine = morning.engines.iter().find(|e| about(alert, e));
        let place = words::place(alert.tail(), alert.finding.position.as_deref());
        let sentence = words::sentence(&alert.finding, zone);
        let shape = words::shape(alert.level());
        text.push_str(&wrap(&format!("{shape} {}: {place}: {sentence}", alert.level().word()), WIDTH, 2));
        text.push_str("\n\n");
        body.push_str(&format!(
            "<p class=\"sum\">{} {}: {}</p>\n",
            html::level(alert.level()),
            escape(&place),
            escape(&sentence)
        ));
        if let Some(engine) = engine.filter(|_| charts::about_consumption(alert.kind())) {
            let id = format!("engine-{}", alert.number);
            if let Ok(png) = charts::consumption_png(engine, &morning.alerts) {
                let words = charts::consumption_words(engine);
                body.push_str(&format!("<p><img src=\"cid:{id}\" width=\"680\" alt=\"{}\"></p>\n", escape(&words)));
                pictures.push((id, png, words));
            }
        }
        for p in words::explain(alert, &morning.engines, zone).iter().filter(|p| p.title != "Caution") {
            text.push_str(&text_paragraph(p));
            body.push_str(&html::paragraph(p, "h2"));
        }
    }
    text.push_str(&wrap(words::CAUTION, WIDTH, 0));
    text.push('\n');
    Letter { html: html::letter(&subject, &body), subject, text, pictures }
}

fn text_paragraph(p: &Paragraph) -> String {
    format!("{}\n{}\n", p.title, paragraph(p, WIDTH))
}

fn head(operator: Option<&str>, as_of: Instant, zone: Tz) -> String {
    let local = as_of.with_timezone(&zone);
    let when = format!("{} {}", numbers::long_day(local.date_naive()), local.format("%H:%M"));
    operator.map_or_else(|| format!("cowlwatch, {when}"), |o| format!("{o}, {when}"))
}

/// `cowlwatch warning: N0317H left: consumption 0.11 → 0.24 qt/h …`.
fn subject(alerts: &[&Alert], escalated: bool, zone: Tz) -> String {
    let Some(first) = alerts.iter().max_by_key(|a| (a.level(), std::cmp::Reverse(a.number))) else {
        return "cowlwatch".to_owned();
    };
    let place = words::place(first.tail(), first.finding.position.as_deref());
    let more = if alerts.len() > 1 { format!(" (and {} more)", alerts.len() - 1) } else { String::new() };
    let not = if escalated { "not acknowledged, " } else { "" };
    let sentence = words::sentence(&first.finding, zone);
    let text = format!("cowlwatch {not}{}: {place}: {sentence}", first.level().word());
    let text: String = text.chars().filter(|c| !c.is_control()).collect();
    format!("{}{more}", cut(&text, SUBJECT - more.chars().count()))
}

/// The letter of `mail-test`.
pub fn test(operator: Option<&str>, as_of: Instant, zone: Tz) -> Letter {
    notice(
        "test message",
        &[
            "This is a test. If you can read it, the mail server, the sender and this address work.".to_owned(),
            "Nothing is asked of you.".to_owned(),
        ],
        operator,
        as_of,
        zone,
    )
}

/// A letter about the program itself: a refused configuration, files set aside.
pub fn notice(what: &str, lines: &[String], operator: Option<&str>, as_of: Instant, zone: Tz) -> Letter {
    let subject = cut(&format!("cowlwatch: {what}"), SUBJECT);
    let head = head(operator, as_of, zone);
    let mut text = format!("{head}\n\n");
    let mut body = format!("<h1>{}</h1>\n<p class=\"sum\">{}</p>\n", escape(&head), escape(what));
    for line in lines {
        text.push_str(&format!("{}\n", wrap(line, WIDTH, 2)));
        body.push_str(&format!("<p>{}</p>\n", html::rich(line)));
    }
    text.push_str(&format!("\n{}\n", wrap(words::CAUTION, WIDTH, 0)));
    Letter { html: html::letter(&subject, &body), subject, text, pictures: Vec::new() }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::report::sample;

    #[test]
    fn one_letter_tells_all_alerts_of_an_aircraft() {
        let m = sample::morning();
        let alerts: Vec<&Alert> = m.alerts.iter().filter(|a| a.number == 11 || a.number == 12).collect();
        let letter = single(&alerts, false, &m);
        assert!(letter.subject.starts_with("cowlwatch warning: N0817H: metal found"), "{}", letter.subject);
        assert!(letter.subject.ends_with("(and 1 more)") && letter.subject.chars().count() <= 110);
        for wanted in
            ["H-2801", "H-2311", "0.11 → 0.24 qt/h", "acknowledge 12", "acknowledge 11", "do not fly until inspected"]
        {
            assert!(letter.text.contains(wanted) && letter.html.contains(&escape(wanted)), "{wanted}");
        }
        assert!(letter.text.lines().all(|l| l.chars().count() <= 78));
        for (id, png, words) in &letter.pictures {
            assert!(letter.html.contains(&format!("cid:{id}")) && !png.is_empty() && !words.is_empty());
        }
        assert_eq!(letter.pictures.len(), 1);
        assert!(single(&alerts, true, &m).subject.contains("not acknowledged"));
    }

    /// A remark pasted into a log must not be able to add header lines or markup.
    #[test]
    fn a_subject_is_one_line() {
        let m = sample::morning();
        let mut alert = m.alerts.first().unwrap().clone();
        alert.finding.evidence.set("remarks", "slivers\r\nBcc: someone@example.org <script>");
        let letter = single(&[&alert], false, &m);
        assert!(!letter.subject.contains(['\r', '\n']), "{:?}", letter.subject);
        assert!(!letter.html.contains("<script>"));
    }
}
