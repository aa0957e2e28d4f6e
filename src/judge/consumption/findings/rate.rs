//! The rate itself, whatever it was before: too high for the oil aboard, creeping up.

use super::{Findings, Situation};
use crate::engine::Event;
use crate::judge::consumption::creep::Creep;
use crate::judge::{Evidence, Finding, Kind};

/// What must be known before usable oil is judged: quarts burnt, and the level's standard deviation, qt.
const ENDURANCE_QUARTS: f64 = 4.0;
const ENDURANCE_SD: f64 = 0.45;

impl Findings<'_> {
    /// Before a flight: will the usable oil last for one?
    pub fn before_flight(&mut self, event: &Event, now: &Situation) {
        let wanted = self.rules.consumption.endurance_h;
        if now.quarts < ENDURANCE_QUARTS || now.level_sd > ENDURANCE_SD {
            return;
        }
        let Some(hours) = self.endurance(now.level_qt, now.rate.qt_per_h) else { return };
        match self.endurance {
            None if hours < wanted => {
                let subject = self.subject(event, "endurance", 4);
                let mut finding = Finding::at_event(Kind::OilEndurance, self.engine, event, subject);
                finding.size = wanted / hours.max(0.1);
                finding.evidence = Evidence::default()
                    .with("endurance_h", hours)
                    .with("wanted_h", wanted)
                    .with("level_qt", now.level_qt)
                    .with_some("minimum_qt", self.engine.model.oil_minimum_qt)
                    .with("to_qt_per_h", now.rate.qt_per_h)
                    .with("log", now.log.words());
                self.endurance = Some(self.all.len());
                self.all.push(finding);
            }
            Some(open) if hours > 1.2 * wanted => {
                self.endurance = None;
                self.settle(open, event.at, format!("usable oil for {hours:.1} h"), Some(event.source.clone()));
            }
            _ => {}
        }
    }

    /// A slow rise over hundreds of hours is told apart from a sudden one.
    pub fn watch_creep(&mut self, event: &Event, creep: &Creep, now: &Situation) {
        let ratio = self.rules.consumption.creep_ratio;
        let since = creep.reference.filter(|(_, r)| now.rate.qt_per_h >= ratio * r && now.rate.low > r * 1.15);
        let before = creep.before(event.hours);
        match (self.creep, since) {
            (None, Some((hours, reference))) if self.rise.is_none() => {
                let subject = self.subject(event, "creep", 5);
                let mut finding = Finding::at_event(Kind::OilRateCreep, self.engine, event, subject);
                finding.size = now.rate.qt_per_h / reference;
                finding.evidence = Evidence::default()
                    .with("from_qt_per_h", reference)
                    .with("to_qt_per_h", now.rate.qt_per_h)
                    .with("to_low", now.rate.low)
                    .with("to_high", now.rate.high)
                    .with("ratio", now.rate.qt_per_h / reference)
                    .with("from_h_per_qt", 1.0 / reference)
                    .with("to_h_per_qt", 1.0 / now.rate.qt_per_h)
                    .with("since_hours", hours)
                    .with_some("qt_per_h_200_h_ago", before)
                    .with_some("share_of_ceiling", self.ceiling_qt_per_h().map(|c| now.rate.qt_per_h / c))
                    .with("log", now.log.words());
                self.creep = Some(self.all.len());
                self.all.push(finding);
            }
            (Some(open), None)
                if creep.reference.is_some_and(|(_, r)| now.rate.qt_per_h < r * (1.0 + 0.6 * (ratio - 1.0))) =>
            {
                self.creep = None;
                let why = format!("the rate is {:.2} qt/h again", now.rate.qt_per_h);
                self.settle(open, event.at, why, Some(event.source.clone()));
            }
            (Some(open), Some((_, reference))) => {
                let f = &mut self.all[open];
                f.size = f.size.max(now.rate.qt_per_h / reference);
            }
            _ => {}
        }
    }
}
