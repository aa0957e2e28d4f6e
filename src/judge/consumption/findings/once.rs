//! What is told once and fades by itself.

use super::{Findings, Situation};
use crate::engine::Event;
use crate::judge::{Evidence, Finding, Kind, Settled};

impl Findings<'_> {
    /// An addition of so many quarts (`None`: a refill) seems to have been made before `seen` and not logged.
    /// Returns the finding that asks; `None` where it has been asked already.
    pub fn not_logged(&mut self, seen: &Event, event: &Event, quarts: Option<f64>) -> Option<usize> {
        let subject = format!("before {} at {:.1} h", seen.at.format("%Y-%m-%dT%H:%M"), seen.hours);
        let kind = if quarts.is_some() { Kind::AdditionNotLogged } else { Kind::RefillNotLogged };
        if self.all.iter().any(|f| f.kind == kind && f.subject == subject) {
            return None;
        }
        let mut finding = Finding::at_event(kind, self.engine, event, subject);
        finding.size = quarts.unwrap_or(1.0);
        finding.evidence = Evidence::default()
            .with_some("quarts", quarts)
            .with("since", self.engine.date(seen.at))
            .with("since_hours", seen.hours)
            .with("used", vec![seen.source.clone(), event.source.clone()]);
        self.push_for_a_while(finding);
        Some(self.all.len() - 1)
    }

    /// What was asked about seems not to have been: what was seen since speaks against it.
    pub fn not_so(&mut self, finding: usize, event: &Event) {
        if let Some(settled) = self.all.get_mut(finding).and_then(|f| f.settled.as_mut()).filter(|s| s.at > event.at) {
            *settled = Settled {
                at: event.at,
                why: "what was logged since speaks against it".to_owned(),
                source: Some(event.source.clone()),
            };
        }
    }

    /// The evidence shows that consumption has stabilised; a person decides what that means.
    pub fn stabilised(&mut self, event: &Event, p: f64, since_build: f64, now: &Situation) {
        let subject = format!("build {}", event.build + 1);
        let mut finding = Finding::at_event(Kind::BreakInStabilised, self.engine, event, subject);
        finding.evidence = Evidence::default()
            .with("probability", p)
            .with("hours_since_build", since_build)
            .with("to_qt_per_h", now.rate.qt_per_h)
            .with("to_low", now.rate.low)
            .with("to_high", now.rate.high)
            .with("to_h_per_qt", 1.0 / now.rate.qt_per_h)
            .with("quarts", now.quarts)
            .with("log", now.log.words());
        self.push_for_a_while(finding);
    }

    /// Something told once: it is no longer shown as open after some days.
    pub(super) fn push_for_a_while(&mut self, mut finding: Finding) {
        let days = self.rules.records.event_days;
        let at = finding.raised + chrono::TimeDelta::minutes((days * 24.0 * 60.0) as i64);
        finding.settled = Some(Settled { at, why: format!("told {days:.0} days ago"), source: None });
        self.all.push(finding);
    }
}
