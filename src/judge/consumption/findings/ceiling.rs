//! The rate against the maker's maximum: reached by the filter's estimate, or by the plain balance of the last looks.

use super::{Findings, Situation};
use crate::engine::{Event, What};
use crate::judge::consumption::balance::{Gone, NEAR};
use crate::judge::{Evidence, Finding, Kind, Rate};

/// Share of the ceiling below which the rate is no longer near it.
const AWAY: f64 = 0.8;
/// Engine hours after which, without looks, the filter's estimate alone says so.
const AWAY_H: f64 = 25.0;
/// Quarts burnt before the estimate is held to the ceiling.
const KNOWN_QUARTS: f64 = 2.0;

/// An open ceiling alert.
#[derive(Clone, Copy, Debug)]
pub(super) struct OpenCeiling {
    /// Index of its finding.
    pub(super) finding: usize,
    raised_h: f64,
    /// Raised on the balance of the last looks; the filter's estimate has not confirmed it yet.
    by_balance: bool,
}

impl Findings<'_> {
    pub(super) fn watch_ceiling(&mut self, event: &Event, now: &Situation) {
        let Some(ceiling) = self.ceiling_qt_per_h() else { return };
        let rate = now.rate;
        let reached = now.quarts >= KNOWN_QUARTS && rate.qt_per_h >= ceiling && rate.low >= AWAY * ceiling;
        match self.ceiling {
            None if reached => {
                let finding = self.raise_ceiling(event, false);
                self.estimated(finding, ceiling, now);
            }
            Some(open) if open.by_balance && reached => {
                self.ceiling = Some(OpenCeiling { by_balance: false, ..open });
                self.estimated(open.finding, ceiling, now);
            }
            Some(open) if rate.qt_per_h < AWAY * ceiling && self.balance_away(open, event, ceiling) => {
                self.ceiling = None;
                self.balance.forget();
                let why = format!("the rate is {:.2} qt/h, ceiling {ceiling:.2} qt/h", rate.qt_per_h);
                self.settle(open.finding, event.at, why, Some(event.source.clone()));
            }
            Some(OpenCeiling { finding, by_balance: false, .. }) => {
                let f = &mut self.all[finding];
                f.size = f.size.max(rate.qt_per_h / ceiling);
            }
            _ => {}
        }
    }

    /// A look at the oil: an engine that suddenly loses it near the ceiling is not waited for.
    pub(super) fn watch_balance(&mut self, event: &Event, now: &Situation) {
        let looked = self.balance.note(event, now.log, now.rate.high, now.noise);
        let Some(ceiling) = self.ceiling_qt_per_h() else { return };
        match self.ceiling {
            None if looked => {
                if let Some(gone) = self.balance.near(ceiling) {
                    self.lost(event, &gone, ceiling, now);
                }
            }
            // What was poured after the reading, in the same row, is aboard too.
            Some(OpenCeiling { finding, by_balance: true, .. }) if self.all[finding].raised == event.at => {
                if let What::Added { qt, .. } = event.what {
                    let level = self.all[finding].evidence.number("level_qt").unwrap_or(now.level_qt);
                    self.aboard(finding, level + qt);
                }
            }
            _ => {}
        }
    }

    /// The looks since the alert agree that the rate is away from the ceiling.
    fn balance_away(&self, open: OpenCeiling, event: &Event, ceiling: f64) -> bool {
        let flown = event.hours - open.raised_h;
        self.balance.at_most(open.raised_h).map_or(flown >= AWAY_H, |most| most < NEAR * ceiling)
    }

    fn raise_ceiling(&mut self, event: &Event, by_balance: bool) -> usize {
        let subject = self.subject(event, "ceiling", 2);
        let finding = self.all.len();
        self.all.push(Finding::at_event(Kind::OilRateCeiling, self.engine, event, subject));
        self.ceiling = Some(OpenCeiling { finding, raised_h: event.hours, by_balance });
        finding
    }

    fn lost(&mut self, event: &Event, gone: &Gone, ceiling: f64, now: &Situation) {
        let finding = self.raise_ceiling(event, true);
        let used = self.lines(gone.since, event.at);
        let rate = Rate { qt_per_h: gone.qt_per_h(), low: gone.low(), high: gone.high() };
        self.all[finding].evidence = against(rate, ceiling)
            .with("gone_qt", gone.quarts)
            .with("over_h", gone.hours)
            .with("usual_qt_per_h", gone.usual_qt_per_h)
            .with("since", self.engine.date(gone.since))
            .with("since_hours", gone.since_hours)
            .with("log", now.log.words())
            .with("used", used);
        self.all[finding].size = rate.qt_per_h / ceiling;
        self.aboard(finding, gone.level_qt.unwrap_or(now.level_qt));
    }

    /// The filter's estimate as what the finding shows.
    fn estimated(&mut self, finding: usize, ceiling: f64, now: &Situation) {
        let shown = &mut self.all[finding];
        for (name, fact) in against(now.rate, ceiling).with("log", now.log.words()).0 {
            shown.evidence.set(&name, fact);
        }
        shown.size = shown.size.max(now.rate.qt_per_h / ceiling);
        self.aboard(finding, now.level_qt);
    }

    /// How far the oil aboard goes at the finding's rate.
    fn aboard(&mut self, finding: usize, level_qt: f64) {
        let rate = self.all[finding].evidence.number("to_qt_per_h").unwrap_or(0.0);
        let hours = self.endurance(level_qt, rate);
        let evidence = &mut self.all[finding].evidence;
        if let Some(hours) = hours {
            evidence.set("endurance_h", hours);
        }
        evidence.set("level_qt", level_qt);
    }
}

fn against(rate: Rate, ceiling: f64) -> Evidence {
    Evidence::default()
        .with("to_qt_per_h", rate.qt_per_h)
        .with("to_low", rate.low)
        .with("to_high", rate.high)
        .with("to_h_per_qt", 1.0 / rate.qt_per_h)
        .with("ceiling_qt_per_h", ceiling)
        .with("share_of_ceiling", rate.qt_per_h / ceiling)
}
