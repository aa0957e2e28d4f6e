//! The one line on top of a digest, and its subject.

use chrono::NaiveDate;

use super::content::{Content, Item, tells};
use crate::alerts::State;
use crate::judge::{EngineView, Level};
use crate::report::text::cut;
use crate::report::words::numbers;

impl Content<'_> {
    pub(super) fn sum_up(&self) -> String {
        let open = |items: &[Item]| items.iter().filter(|i| i.alert.state == State::Open).count();
        let mut parts = Vec::new();
        match (open(&self.before_flight), open(&self.soon)) {
            (0, 0) => parts.push("Nothing to act on".to_owned()),
            (0, n) => parts.push(format!("{n} soon")),
            (n, 0) => parts.push(format!("{n} before the next flight")),
            (n, k) => parts.push(format!("{n} before the next flight, {k} soon")),
        }
        let acting = || self.before_flight.iter().chain(&self.soon).filter(|i| i.alert.state == State::Open);
        let fresh = acting().filter(|i| tells(i.mark.as_deref())).count();
        if acting().count() > 0 && !self.morning.first {
            parts.push(if fresh == 0 { "nothing new".to_owned() } else { format!("{fresh} of these new or grown") });
        }
        let acknowledged = |i: &&Item| i.alert.state == State::Acknowledged;
        let known = self.before_flight.iter().chain(&self.soon).filter(acknowledged).count();
        if known > 0 {
            parts.push(format!("{known} acknowledged"));
        }
        let first = match self.morning.first {
            true => " What the records say of the past is shown here once; from now on you hear of what is new.",
            false => "",
        };
        format!("{}. {}.{first}", parts.join(", "), self.reported())
    }

    /// `11 engines reported, 1 silent`.
    fn reported(&self) -> String {
        let m = self.morning;
        let quiet = |e: &&EngineView| m.aircraft.iter().any(|a| a.tail == e.tail && (a.silent || a.missing));
        let installed: Vec<&EngineView> = m.engines.iter().filter(|e| e.installed).collect();
        let silent = installed.iter().filter(|e| quiet(e)).count();
        let reported = numbers::count(installed.len() - silent, "engine", "engines");
        let missing = m.aircraft.iter().filter(|a| a.missing).count();
        let mut out = format!("{reported} reported");
        if silent > 0 {
            out.push_str(&format!(", {silent} silent"));
        }
        if missing > 0 {
            out.push_str(&format!(", {} cannot be read", numbers::count(missing, "aircraft", "aircraft")));
        }
        match m.aircraft.iter().filter(|a| a.spoilt && !a.missing).map(|a| &a.tail).collect::<Vec<_>>().as_slice() {
            [] => {}
            [tail] => out.push_str(&format!(", a file of {tail} cannot be read")),
            tails => out.push_str(&format!(", files of {} aircraft cannot be read", tails.len())),
        }
        out
    }

    /// What is new and most urgent stands in the subject, so that it shows on a locked phone.
    pub(super) fn subject(&self, near: NaiveDate) -> String {
        const LONG: usize = 120;
        let day = near.format("%-d %b");
        let open = || self.before_flight.iter().chain(&self.soon).filter(|i| i.alert.state == State::Open);
        let count = open().count();
        let what = match open().find(|i| tells(i.mark.as_deref())) {
            _ if count == 0 => format!("nothing to act on, {}", self.reported()),
            Some(first) => {
                let mark = first.mark.as_deref().unwrap_or_default();
                let urgent = if first.alert.level() == Level::Warning { "before the next flight, " } else { "" };
                let more = if count > 1 { format!(" (and {} more open)", count - 1) } else { String::new() };
                let words = format!("{urgent}{mark} {}: {}", first.place, first.headline);
                return format!("{}{more}", cut(&format!("cowlwatch {day}: {}", one_line(&words)), LONG - more.len()));
            }
            None if self.morning.first => format!("first look, {}", self.waiting()),
            None => format!("nothing new, {}", self.waiting()),
        };
        format!("cowlwatch {day}: {what}")
    }

    /// `before the next flight N0817H; soon N0217H, N0317H`.
    fn waiting(&self) -> String {
        let tails = |items: &[Item]| {
            let mut tails: Vec<String> = Vec::new();
            for i in items.iter().filter(|i| i.alert.state == State::Open) {
                if !tails.contains(&i.alert.tail().to_string()) {
                    tails.push(i.alert.tail().to_string());
                }
            }
            match tails.as_slice() {
                [a, b, _, _, ..] => format!("{a}, {b} and {} more", tails.len() - 2),
                few => few.join(", "),
            }
        };
        let (now, soon) = (tails(&self.before_flight), tails(&self.soon));
        match (now.is_empty(), soon.is_empty()) {
            (true, _) => format!("soon {soon}"),
            (false, true) => format!("before the next flight {now}"),
            (false, false) => format!("before the next flight {now}; soon {soon}"),
        }
    }
}

/// Free text from a log must not add lines to a mail's head.
fn one_line(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect()
}
