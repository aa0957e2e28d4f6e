//! What a digest tells, and in which order.

use std::cmp::Reverse;

use chrono::NaiveDate;

use crate::alerts::{Alert, State};
use crate::judge::{EngineView, Kind, Level};
use crate::report::status::{about, due_words, silence};
use crate::report::words::{self, numbers};
use crate::report::{Morning, break_in_sheet};

/// Engine hours or days within which something due is listed.
const AHEAD: f64 = 10.0;
/// New alerts told in full in one digest; the rest is a command away.
const IN_FULL: usize = 12;
/// Advisories listed one by one, beyond the new ones.
const INFORMATION: usize = 6;
/// The mark of an alert that only reminds.
const REMINDER: &str = "reminder";
/// Unreadable rows listed one by one.
const REJECTIONS: usize = 6;

/// An alert as one entry of a section.
#[derive(Clone, Debug)]
pub struct Item<'a> {
    pub alert: &'a Alert,
    /// Why it speaks today (`new`, `grew`, `reminder`); `None`: told before and unchanged.
    pub mark: Option<String>,
    /// `N0417H left`.
    pub place: String,
    /// The headline without the engine in front, since the place names it.
    pub headline: String,
    /// Facts below it, only where it speaks.
    pub facts: Vec<String>,
    /// State and number: `alert 7, raised 25 Feb, acknowledged by …`.
    pub tail: String,
}

/// Everything a digest says.
#[derive(Clone, Debug)]
pub struct Content<'a> {
    pub morning: &'a Morning,
    pub subject: String,
    /// `Brindlemoor Air Charter, morning digest 58, Fri 27 Feb 2026 06:30`.
    pub head: String,
    /// The one line on top.
    pub summary: String,
    pub before_flight: Vec<Item<'a>>,
    pub soon: Vec<Item<'a>>,
    pub information: Vec<Item<'a>>,
    /// Advisories not listed one by one.
    pub known: Option<String>,
    pub due: Vec<(String, String)>,
    pub break_in: Vec<(String, Vec<String>)>,
    pub records: Vec<Item<'a>>,
    pub rejections: Vec<String>,
    /// Alerts about aircraft that say nothing, then those silent without an alert.
    pub silent_alerts: Vec<Item<'a>>,
    pub silent: Vec<String>,
    pub undelivered: Option<String>,
    pub muted: Vec<Item<'a>>,
    pub settled: Vec<Item<'a>>,
    /// Alerts explained in full at the end.
    pub full: Vec<&'a Alert>,
    pub unconfirmed: Vec<String>,
}

impl<'a> Content<'a> {
    pub fn of(m: &'a Morning) -> Self {
        let near = numbers::date_of(m.as_of, m.zone);
        let mut c = Self {
            morning: m,
            subject: String::new(),
            head: head(m, near),
            summary: String::new(),
            before_flight: Vec::new(),
            soon: Vec::new(),
            information: Vec::new(),
            known: None,
            due: due(m, near),
            break_in: break_in(m),
            records: Vec::new(),
            rejections: Vec::new(),
            silent_alerts: Vec::new(),
            silent: Vec::new(),
            undelivered: undelivered(m, near),
            muted: Vec::new(),
            settled: Vec::new(),
            full: Vec::new(),
            unconfirmed: unconfirmed(m),
        };
        for alert in &m.alerts {
            c.place(alert);
        }
        for section in
            [&mut c.before_flight, &mut c.soon, &mut c.information, &mut c.records, &mut c.muted, &mut c.settled]
        {
            section.sort_by_key(|i| {
                (!tells(i.mark.as_deref()), i.mark.is_none(), Reverse(i.alert.finding.raised), i.alert.number)
            });
        }
        let said = |tail: &str| c.silent_alerts.iter().any(|i| i.alert.tail().as_ref() == tail);
        let quiet = m.aircraft.iter().filter(|a| (a.silent || a.missing) && !said(&a.tail));
        c.silent = quiet.map(|a| silence(a, m.as_of, m.zone)).collect();
        c.rejections = rejections(m, &c.records);
        c.shorten_information();
        if !m.first {
            let told = c.before_flight.iter().chain(&c.soon).chain(&c.information);
            c.full = told.filter(|i| tells(i.mark.as_deref())).map(|i| i.alert).take(IN_FULL).collect();
        }
        c.summary = c.sum_up();
        c.subject = c.subject(near);
        c
    }

    /// Puts an alert in its section.
    fn place(&mut self, alert: &'a Alert) {
        let item = Item::of(alert, self.morning);
        match alert.state {
            State::Closed if self.morning.first => {}
            State::Closed => self.settled.push(item),
            State::Muted => self.muted.push(item),
            _ if matches!(alert.kind(), Kind::DataSilent | Kind::AircraftMissing) => self.silent_alerts.push(item),
            _ if alert.kind().about_records() => self.records.push(item),
            _ if alert.kind() == Kind::OilChangeDue && self.listed_as_due(alert) => {}
            _ => match alert.level() {
                Level::Warning => self.before_flight.push(item),
                Level::Caution => self.soon.push(item),
                Level::Advisory => self.information.push(item),
            },
        }
    }

    /// Advisories told before and unchanged are counted beyond the first few.
    fn shorten_information(&mut self) {
        let known = self.information.iter().position(|i| i.mark.is_none()).unwrap_or(self.information.len());
        let keep = known.max(INFORMATION);
        if self.information.len() > keep + 1 {
            let rest: Vec<String> = self.information.drain(keep..).map(|i| i.alert.number.to_string()).collect();
            self.known = Some(format!("and {} more known and unchanged: alerts {}", rest.len(), numbers::list(&rest)));
        }
    }

    /// True where nothing asks for an answer.
    pub fn nothing_to_answer(&self) -> bool {
        let sections = [&self.before_flight, &self.soon, &self.information, &self.records, &self.silent_alerts];
        sections.iter().all(|s| s.is_empty())
    }

    fn listed_as_due(&self, alert: &Alert) -> bool {
        let place = words::place(alert.tail(), alert.finding.position.as_deref());
        self.due.iter().any(|(p, what)| *p == place && what.starts_with("oil change"))
    }
}

impl<'a> Item<'a> {
    pub fn of(alert: &'a Alert, m: &Morning) -> Self {
        let mark = mark(alert, m);
        let told = tells(mark.as_deref()) && alert.state != State::Closed && !m.first;
        Self {
            alert,
            place: words::place(alert.tail(), alert.finding.position.as_deref()),
            headline: words::sentence(&alert.finding, m.zone),
            facts: if told { words::brief(alert, &m.engines, m.zone) } else { Vec::new() },
            tail: tail(alert, m),
            mark,
        }
    }
}

/// True where there is something to tell beyond one line: a reminder has nothing new.
pub(super) fn tells(mark: Option<&str>) -> bool {
    mark.is_some_and(|m| m != REMINDER)
}

/// Why an alert speaks today: it is new since the last digest, or something was said of it since.
fn mark(alert: &Alert, m: &Morning) -> Option<String> {
    if m.first {
        return None;
    }
    let since = |at| m.previous.is_none_or(|p| at > p);
    if since(alert.first_seen) {
        return Some("new".to_owned());
    }
    let told = alert.told.as_ref()?;
    if !since(told.at) {
        return None;
    }
    let said = alert.history.iter().rev().find(|h| since(h.at) && h.what.starts_with("told: "));
    let said = said.and_then(|h| h.what.strip_prefix("told: ")).and_then(|w| w.split(',').next());
    match said {
        Some(why) if why.starts_with("grew") => Some("grew".to_owned()),
        Some(why) => Some(why.to_owned()),
        // A person acted since; that stands in its last line.
        None if alert.state != State::Open => None,
        None if told.reminders > 0 => Some(REMINDER.to_owned()),
        None => Some("again".to_owned()),
    }
}

fn tail(alert: &Alert, m: &Morning) -> String {
    let near = numbers::date_of(m.as_of, m.zone);
    let raised = numbers::date_of(alert.finding.raised, m.zone);
    let mut out = format!("alert {}", alert.number);
    if alert.state != State::Closed && raised != near {
        out.push_str(&format!(", raised {}", numbers::day(raised, near)));
    }
    if alert.state != State::Open {
        out.push_str(&format!(", {}", words::state_words(alert, m.zone)));
    }
    out
}

fn head(m: &Morning, near: NaiveDate) -> String {
    let operator = m.operator.as_ref().map_or(String::new(), |o| format!("{o}, "));
    let what = if m.first { "first look at the records, digest" } else { "morning digest" };
    let time = m.as_of.with_timezone(&m.zone).format("%H:%M");
    format!("{operator}{what} {}, {} {time}", m.sequence, numbers::long_day(near))
}

fn due(m: &Morning, near: NaiveDate) -> Vec<(String, String)> {
    let mut out = Vec::new();
    for e in m.engines.iter().filter(|e| e.installed) {
        for d in &e.due {
            let close = |left: Option<f64>| left.is_some_and(|l| l <= AHEAD);
            let past = d.hours_left.is_some_and(|h| h < 0.0) || d.by.is_some_and(|by| by < near);
            if past && said_overdue(m, e) {
                continue;
            }
            if d.soon || close(d.hours_left) || close(d.days_left) {
                let left = d.days_left.or(d.hours_left).unwrap_or(0.0);
                out.push((left, words::place(&e.tail, e.position.as_deref()), due_words(d, near)));
            }
        }
    }
    out.sort_by(|a, b| a.0.total_cmp(&b.0).then_with(|| a.1.cmp(&b.1)));
    out.into_iter().map(|(_, place, what)| (place, what)).collect()
}

/// An alert says already that a change is past its point.
fn said_overdue(m: &Morning, e: &EngineView) -> bool {
    m.alerts.iter().any(|a| a.kind() == Kind::OilChangeOverdue && a.state != State::Closed && about(a, e))
}

fn break_in(m: &Morning) -> Vec<(String, Vec<String>)> {
    m.engines
        .iter()
        .filter_map(|e| {
            e.break_in.as_ref()?;
            Some((words::place(&e.tail, e.position.as_deref()), break_in_sheet::progress(e)))
        })
        .collect()
}

/// Rows and files not read and answers not carried out, less those an alert above tells already.
fn rejections(m: &Morning, records: &[Item]) -> Vec<String> {
    let told = |line: &String| records.iter().any(|i| i.headline.contains(line.as_str()));
    let mut out: Vec<String> =
        m.rejections.iter().chain(&m.unplaced).map(ToString::to_string).filter(|l| !told(l)).collect();
    if out.len() > REJECTIONS + 1 {
        let more = out.len() - REJECTIONS;
        out.truncate(REJECTIONS);
        out.push(format!("and {more} more; `cowlwatch check` lists them all"));
    }
    out
}

fn undelivered(m: &Morning, near: NaiveDate) -> Option<String> {
    let u = &m.undelivered;
    (u.letters > 0).then(|| {
        let letters = numbers::count(u.letters as usize, "letter", "letters");
        let oldest =
            u.oldest.map_or(String::new(), |o| format!(", the oldest of {}", numbers::moment(o, near, m.zone)));
        let error = u.last_error.as_ref().map_or(String::new(), |e| format!("; at the last try: {e}"));
        format!("{letters} not delivered{oldest}{error}")
    })
}

/// Rules nobody has confirmed, each once, with the engines' models they hold for.
fn unconfirmed(m: &Morning) -> Vec<String> {
    let mut rules: Vec<(String, Vec<&str>)> = Vec::new();
    for e in m.engines.iter().filter(|e| e.installed) {
        for rule in &e.unconfirmed {
            let slot = match rules.iter().position(|(r, _)| r == rule) {
                Some(i) => i,
                None => {
                    rules.push((rule.clone(), Vec::new()));
                    rules.len() - 1
                }
            };
            if !rules[slot].1.contains(&e.model.as_ref()) {
                rules[slot].1.push(&e.model);
            }
        }
    }
    let mut by_models: Vec<(Vec<&str>, Vec<String>)> = Vec::new();
    for (rule, models) in rules {
        match by_models.iter_mut().find(|(m, _)| *m == models) {
            Some((_, list)) => list.push(rule),
            None => by_models.push((models, vec![rule])),
        }
    }
    by_models.into_iter().map(|(models, rules)| format!("{}: {}", models.join(", "), rules.join(", "))).collect()
}
