//! The paragraphs that explain an alert, in the order in which a director of maintenance asks:
//! which engine, what, since when and how sure, from which lines, what did not change, how far to
//! the limit, what to look at first, what happens next, how to answer.

use chrono_tz::Tz;

use super::brief::{engine_of, mate_words};
use super::facts::Facts;
use super::others::others;
use super::{CAUTION, DO_NOT_FLY, checks, consumption, headline, numbers, urgency};
use crate::alerts::{Alert, State};
use crate::judge::{EngineView, Fact, Finding, Kind, Level};

/// A titled paragraph or list. The caller lays it out as text or HTML.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Paragraph {
    pub title: String,
    pub lines: Vec<String>,
    /// Lines are steps in order, to be numbered.
    pub steps: bool,
}

impl Paragraph {
    fn new(title: &str, lines: Vec<String>) -> Self {
        Self { title: title.to_owned(), lines, steps: false }
    }
}

/// Explains an alert. Among `engines`, its own gives model, level and ceiling, and its mate what did not change.
pub fn explain(alert: &Alert, engines: &[EngineView], zone: Tz) -> Vec<Paragraph> {
    let f = Facts { finding: &alert.finding, zone };
    let engine = engine_of(&alert.finding, engines);
    let mut unchanged = f.items(&["unchanged"]);
    unchanged.extend(mate_words(&alert.finding, engines));
    let mut out = vec![what(alert, engine, &f)];
    out.push(Paragraph::new("Since when, and how sure", sure(&f)));
    out.push(Paragraph::new("From these records", used(&f)));
    out.push(Paragraph::new("What did not change", unchanged));
    out.push(Paragraph::new("Against the limits", limits(&f, engine)));
    out.push(Paragraph::new("Also recorded", others(&f)));
    let shown = f.text(&["may_mean"]).map(|t| stopped(&format!("These records: {t}")));
    let general = checks::may_mean(alert.kind()).map(str::to_owned);
    out.push(Paragraph::new("May mean", shown.into_iter().chain(general).collect()));
    let steps = checks::first_checks(alert.kind()).iter().map(|s| (*s).to_owned()).collect();
    out.push(Paragraph {
        title: "First checks, cheapest first (common practice)".to_owned(),
        lines: steps,
        steps: true,
    });
    out.push(Paragraph::new("What happens next", next(alert, &f)));
    if alert.state != State::Closed {
        out.push(Paragraph::new("To acknowledge", acknowledge(alert)));
    }
    out.push(Paragraph::new("Caution", vec![CAUTION.to_owned()]));
    out.retain(|p| !p.lines.is_empty());
    out
}

/// `N0417H, left engine, serial H-2207, model H6-350T, at 1254.1 h`.
pub fn identity(finding: &Finding, engine: Option<&EngineView>) -> String {
    let mut parts = vec![finding.tail.to_string()];
    if let Some(p) = finding.position.as_ref().filter(|p| !p.is_empty()) {
        parts.push(format!("{p} engine"));
    }
    if let Some(s) = &finding.serial {
        parts.push(format!("serial {s}"));
    }
    if let Some(model) = engine.map(|e| e.model.as_ref()).or_else(|| finding.evidence.text("model")) {
        parts.push(format!("model {model}"));
    }
    if let Some(h) = finding.hours {
        parts.push(format!("at {h:.1} engine hours"));
    }
    parts.join(", ")
}

fn what(alert: &Alert, engine: Option<&EngineView>, f: &Facts) -> Paragraph {
    let finding = &alert.finding;
    let mut lines = vec![identity(finding, engine), stopped(&headline(finding, f.zone))];
    if stop(finding) {
        lines.push(DO_NOT_FLY.to_owned());
    }
    lines.push(format!(
        "{} ({}), alert {}, {}, raised {}.",
        capital(finding.level.word()),
        urgency(finding.level),
        alert.number,
        finding.kind,
        f.moment(finding.raised)
    ));
    if finding.kind.about_records() {
        lines.push("This is a question about the records: the log is in doubt, not the engine.".to_owned());
    }
    lines.push(stopped(&state_words(alert, f.zone)));
    Paragraph::new("What", lines)
}

/// Metal, or a rise together with metal or falling oil pressure, as a warning.
pub(super) fn stop(finding: &Finding) -> bool {
    finding.level == Level::Warning
        && (finding.kind == Kind::MetalFound
            || (finding.kind == Kind::OilRateRise && finding.evidence.get("with").is_some())
            || finding.kind == Kind::OilPressureFalling)
}

/// Where the alert stands, with who and until when.
pub fn state_words(alert: &Alert, zone: Tz) -> String {
    let near = numbers::date_of(alert.finding.raised, zone);
    match alert.state {
        State::Open => "open".to_owned(),
        State::Acknowledged => alert.acknowledged.as_ref().map_or("acknowledged".to_owned(), |a| {
            let until = a.until.map_or(String::new(), |u| format!(", until {}", numbers::moment(u, near, zone)));
            let note = if a.note.is_empty() { String::new() } else { format!(": “{}”", a.note) };
            format!("acknowledged by {} on {}{until}{note}", a.by, numbers::moment(a.at, near, zone))
        }),
        State::Muted => {
            alert.muted_until.map_or("muted".to_owned(), |u| format!("muted until {}", numbers::moment(u, near, zone)))
        }
        State::Closed => alert.closed.as_ref().map_or("closed".to_owned(), |c| {
            let by = c.by.as_ref().map_or(String::new(), |b| format!(" by {b}"));
            format!("closed{by} on {}: {}", numbers::moment(c.at, near, zone), c.why)
        }),
    }
}

fn sure(f: &Facts) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(day) = f.date(&["since"]) {
        let at = f.number(&["since_hours"]).map_or(String::new(), |h| format!(", at {h:.1} engine hours"));
        let ago = f.number(&["hours_since_onset"]);
        let ago = ago.map_or(String::new(), |h| format!("; {} flown since", numbers::hours(h)));
        lines.push(format!("Most likely since {}{at}{ago}.", f.day(day)));
    }
    lines.extend(consumption::ratio(f));
    if let (Some((quarts, hours)), Some(usual)) = (consumption::gone(f), f.number(&["usual_qt_per_h"])) {
        lines.push(format!(
            "{quarts} of oil gone in {hours} by the last looks, unsmoothed; at most {} qt/h was usual.",
            numbers::rate(usual)
        ));
    }
    if let (Some(low), Some(high)) = (f.number(&["to_low"]), f.number(&["to_high"])) {
        let (low, high) = numbers::rates(low, high);
        lines.push(format!("New rate, 90 % interval: {low} to {high} qt/h, {}.", f.clock()));
    }
    if let Some(h) = f.number(&["last_change_h"]).filter(|h| *h > 0.0) {
        lines.push(format!("The oil was last changed at {h:.1} engine hours."));
    }
    if let (Some(quarts), Some(hours)) = (f.number(&["quarts_baseline"]), f.number(&["baseline_hours"])) {
        lines.push(format!("The old rate rests on {quarts:.1} quarts over {hours:.0} h."));
    }
    if let (Some(now), Some(limit)) = (f.number(&["ln_statistic"]), f.number(&["limit"])) {
        lines.push(format!("Weight of the evidence (ln of the change statistic): {now:.1}, alert at {limit:.1}."));
    }
    if let Some(log) = f.text(&["log"]) {
        let means = match log {
            "levels" => " (a dipstick reading before most flights)",
            "flights and additions" => " (oil is logged when it is added)",
            _ => "",
        };
        lines.push(format!("Kind of log: {log}{means}."));
    }
    if let Some(basis) = f.text(&["basis"]) {
        lines.push(format!("Ground and air told apart by {basis}."));
    }
    if let Some(from) = f.text(&["limit_from"]) {
        lines.push(format!("The limit comes from {from}."));
    }
    lines
}

fn used(f: &Facts) -> Vec<String> {
    let mut lines = Vec::new();
    let used = f.items(&["used", "lines"]);
    if !used.is_empty() {
        lines.push(format!("Used: {}.", shortened(&used)));
    }
    let left = f.items(&["left_out"]);
    if !left.is_empty() {
        lines.push(format!("Left out: {}.", shortened(&left)));
    }
    let doubts = f.items(&["doubts"]);
    if !doubts.is_empty() {
        lines.push(format!("Doubts about the recording: {}.", doubts.join("; ")));
    }
    lines
}

/// Consecutive lines of one file as a range, so that sixty rows do not fill the screen.
fn shortened(items: &[String]) -> String {
    let mut out: Vec<(String, u32, u32)> = Vec::new();
    let mut words = Vec::new();
    for item in items {
        match item.rsplit_once(':').and_then(|(file, n)| Some((file, n.parse::<u32>().ok()?))) {
            Some((file, n)) => match out.last_mut() {
                Some(last) if last.0 == file && (n == last.2 || n == last.2 + 1) => last.2 = n,
                _ => out.push((file.to_owned(), n, n)),
            },
            None => words.push(item.clone()),
        }
    }
    let mut file = "";
    for (name, from, to) in &out {
        let span = if from == to { from.to_string() } else { format!("{from}–{to}") };
        words.push(if name == file { span } else { format!("{name}:{span}") });
        file = name;
    }
    words.join(", ")
}

fn limits(f: &Facts, engine: Option<&EngineView>) -> Vec<String> {
    let mut lines = Vec::new();
    if let Some(share) = consumption::share(f) {
        let ceiling = f.number(&["ceiling_qt_per_h"]).or_else(|| engine.and_then(|e| e.ceiling_qt_per_h));
        let of = ceiling.map_or(String::new(), |c| format!(" of {} qt/h", numbers::rate(c)));
        lines.push(format!(
            "{} of the configured ceiling{of}. The ceiling is a limit, not a target.",
            numbers::percent(share)
        ));
    }
    if let Some(h) = f.number(&["endurance_h"]) {
        let level = f.number(&["level_qt"]).or_else(|| engine.and_then(|e| e.level_qt));
        let level = level.map_or(String::new(), |l| format!(" from a level of about {} qt", numbers::short(l)));
        lines.push(format!("Usable oil at this rate: about {}{level}.", numbers::hours(h)));
    }
    if let Some(grace) = f.number(&["grace_h"]) {
        lines.push(format!("{} past the point are tolerated by the configuration.", numbers::hours(grace)));
    }
    let unconfirmed = engine.map(|e| e.unconfirmed.as_slice()).unwrap_or_default();
    match f.finding.evidence.get("confirmed") {
        Some(Fact::Flag(true)) => {}
        Some(Fact::Flag(false)) if f.text(&["limit_from"]).is_some_and(|l| l.contains("confirm")) => {}
        Some(Fact::Flag(false)) => {
            lines.push("The limit is not confirmed: confirm it against the engine maker's instructions.".to_owned());
        }
        _ if unconfirmed.is_empty() || lines.is_empty() => {}
        _ => lines.push(format!("Not confirmed against the engine maker's instructions: {}.", unconfirmed.join(", "))),
    }
    lines
}

fn next(alert: &Alert, f: &Facts) -> Vec<String> {
    if let Some(settled) = &alert.finding.settled {
        let source = settled.source.as_ref().map_or(String::new(), |s| format!(" ({s})"));
        return vec![format!("Settled {}: {}{source}.", f.moment(settled.at), settled.why)];
    }
    if alert.state == State::Closed {
        return Vec::new();
    }
    let ends = match alert.kind() {
        Kind::OilRateCeiling => {
            "It is worked out anew with every record. It ends when the rate is well below the ceiling again, or when \
             somebody closes it."
        }
        Kind::OilRateRise | Kind::OilRateFall | Kind::EnginesDiverged | Kind::OilRateCreep => {
            "It is worked out anew with every record. It ends when the rate is back at the baseline, or when somebody closes it; \
             closing it makes the new rate the baseline."
        }
        Kind::OilEndurance => "It ends when the level or the rate leaves enough oil for a flight.",
        Kind::OilChangeDue | Kind::OilChangeOverdue => "It ends with an `oil-changed` entry for this engine.",
        Kind::FilterNotInspected => "It ends with a `filter-inspected` or `screen-cleaned` entry and its result.",
        Kind::MetalFound | Kind::OilWrong => "It does not end by itself: somebody has to close it and say why.",
        k if k.about_records() => "It ends by itself when the records are put right.",
        _ => "It is shown for some days, then ends by itself.",
    };
    vec![
        ends.to_owned(),
        "You hear of it again when it grows by a quarter, changes level, or an acknowledgement runs out, and as a \
         reminder at growing intervals."
            .to_owned(),
    ]
}

fn acknowledge(alert: &Alert) -> Vec<String> {
    let n = alert.number;
    vec![
        format!("cowlwatch acknowledge {n} --by NAME --note \"…\""),
        format!("or an `action` row in the logbook with {n} in its `result` column and the words in `remarks`."),
    ]
}

/// First letter large, a full stop at the end.
fn stopped(text: &str) -> String {
    let text = capital(text);
    if text.ends_with(['.', '?', '!']) { text } else { format!("{text}.") }
}

pub(in crate::report) fn capital(text: &str) -> String {
    let mut chars = text.chars();
    chars.next().map_or(String::new(), |c| c.to_uppercase().collect::<String>() + chars.as_str())
}
