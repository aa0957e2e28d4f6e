//! What a finding shows for itself: numbers, the lines they come from, and what stayed the same.

use super::change::Found;
use super::{Findings, Situation};
use crate::engine::{Event, What};
use crate::judge::consumption::ceiling;
use crate::judge::{Evidence, Rate};
use crate::records::{Instant, Source};

/// Most log lines told with a finding.
const LINES: usize = 12;

impl Findings<'_> {
    pub(super) fn evidence(&self, found: &Found<'_>, now: &Situation) -> Evidence {
        let Found { change, factor, onset, event, limit, .. } = *found;
        let (from, to) = change.rates();
        let (from, to) = (from * factor, (to * factor).max(1e-3));
        let (ratio, low, high) = change.ratio();
        let interval = Rate { qt_per_h: to, low: from * low, high: from * high };
        self.departure(from, interval, (onset.at, onset.hours), event, now)
            .with("ratio", ratio)
            .with("ratio_low", low)
            .with("ratio_high", high)
            .with("ln_statistic", change.ln_statistic)
            .with("limit", limit)
            .with("left_out", found.left_out.clone())
    }

    /// The rate departed from and the new one, qt/h, since a moment and engine hours.
    pub(super) fn departure(
        &self,
        from: f64,
        to: Rate,
        (since, since_h): (Instant, f64),
        event: &Event,
        now: &Situation,
    ) -> Evidence {
        let Rate { qt_per_h: rate, low, high } = to;
        let mut e = Evidence::default()
            .with("from_qt_per_h", from)
            .with("to_qt_per_h", rate)
            .with("from_h_per_qt", 1.0 / from)
            .with("to_h_per_qt", 1.0 / rate)
            .with("since", self.engine.date(since))
            .with("since_hours", since_h)
            .with("hours_since_onset", event.hours - since_h)
            .with("to_low", low)
            .with("to_high", high)
            .with("quarts_baseline", now.quarts)
            .with("baseline_hours", now.quarts / from)
            .with("log", now.log.words())
            .with("used", self.lines(since, event.at))
            .with_some("share_of_ceiling", self.ceiling_qt_per_h().map(|ceiling| rate / ceiling))
            .with_some("endurance_h", self.endurance(now.level_qt, rate))
            .with("level_qt", now.level_qt);
        if let Some(oil) = &now.oil {
            e.set("oil", oil.to_string());
        }
        if !now.witnessed && self.unnamed_since(since, event) {
            e.set("may_mean", "nobody wrote down what was flown: another kind of flying looks the same");
        }
        e.with("unchanged", self.unchanged(since, event, now))
    }

    /// Log lines about the oil over a span, the latest ones.
    pub(super) fn lines(&self, since: Instant, until: Instant) -> Vec<Source> {
        let mut lines: Vec<Source> = Vec::new();
        for e in self.engine.events.iter().rev().skip_while(|e| e.at > until).take_while(|e| e.at >= since) {
            let about_oil = matches!(e.what, What::Level { .. } | What::Added { .. } | What::Changed { .. });
            if about_oil && !lines.contains(&e.source) {
                lines.push(e.source.clone());
                if lines.len() == LINES {
                    break;
                }
            }
        }
        lines.reverse();
        lines
    }

    /// What did not change between onset and now, in a person's words.
    fn unchanged(&self, onset: Instant, event: &Event, now: &Situation) -> Vec<String> {
        let mut said = Vec::new();
        let mut since = onset - chrono::TimeDelta::days(30);
        let mut meter = true;
        let mut services: [Vec<&str>; 2] = [Vec::new(), Vec::new()];
        for e in self.engine.events.iter().take_while(|e| e.at <= event.at) {
            match &e.what {
                What::MeterChanged if e.at >= since => meter = false,
                What::Changed { .. } if e.at < onset => since = since.min(e.at),
                What::Flight { service: Some(word), .. } => {
                    let of = &mut services[usize::from(e.at >= onset)];
                    if !of.contains(&&**word) {
                        of.push(word);
                    }
                }
                _ => {}
            }
        }
        if let Some(oil) = &now.oil {
            said.push(format!("oil {oil}"));
        }
        if meter {
            said.push("the meter".to_owned());
        }
        if !services[1].is_empty() && services[1].iter().all(|s| services[0].contains(s)) {
            said.push(format!("service ({})", services[1].join(", ")));
        }
        said
    }

    /// Most flights since the onset without a word for what was flown, where that cannot be told from the engine.
    fn unnamed_since(&self, onset: Instant, event: &Event) -> bool {
        let since = self.engine.events.iter().filter(|e| e.at >= onset && e.at <= event.at);
        let named = since.filter_map(|e| match &e.what {
            What::Flight { service, inferred: false, .. } => Some(service.is_some()),
            _ => None,
        });
        let (named, unnamed): (Vec<bool>, Vec<bool>) = named.partition(|n| *n);
        unnamed.len() > named.len()
    }

    pub(super) fn ceiling_qt_per_h(&self) -> Option<f64> {
        ceiling(self.engine, self.rules)
    }

    pub(super) fn endurance(&self, level: f64, rate: f64) -> Option<f64> {
        let least = self.engine.model.oil_minimum_qt?;
        (rate > 1e-6).then(|| (level - least).max(0.0) / rate)
    }
}
