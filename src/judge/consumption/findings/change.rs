//! A rise or a fall: told, grown, come back, gone back on.

use super::{Findings, Situation};
use crate::engine::Event;
use crate::judge::consumption::change::{Change, nearly};
use crate::judge::{Finding, Kind, Level};
use crate::records::{Instant, Source};

/// Engine hours after a return to the baseline in which the rest of the way back is no news.
const RETURNED_H: f64 = 100.0;
/// Engine hours for which metal counts together with a rise.
const METAL_H: f64 = 25.0;
/// How near its baseline, of the smallest change's margin, a rate has come back.
const BACK: f64 = 0.4;
/// Quarts that must have been burnt since the change before a rate can be called back.
const BACK_QUARTS: f64 = 2.0;

/// An open rate alert.
#[derive(Clone, Copy, Debug)]
pub(super) struct Open {
    /// Index of its finding.
    pub(super) finding: usize,
    /// The rate it departed from, qt/h.
    baseline: f64,
    /// Engine hours when it was found.
    found_h: f64,
}

/// A baseline that was come back to.
#[derive(Clone, Copy, Debug)]
pub(super) struct Returned {
    baseline: f64,
    /// From a rise.
    rose: bool,
    /// The finding of that change, and when its rate was back.
    finding: usize,
    at: Instant,
    hours: f64,
}

/// A change as it was found.
#[derive(Clone, Debug)]
pub struct Found<'e> {
    pub change: &'e Change,
    /// Factor of the services lately flown on the rate that is followed.
    pub factor: f64,
    /// The flight it began with, and the event that showed it.
    pub onset: &'e Event,
    pub event: &'e Event,
    /// What its statistic had to reach.
    pub limit: f64,
    /// Log lines since then whose value was held to the limit of surprise.
    pub left_out: Vec<Source>,
}

impl Findings<'_> {
    /// The baseline of an open rate alert, or the one that the rate has come back to by `hours`, qt/h.
    pub fn baseline(&self, hours: f64) -> Option<f64> {
        let returned = self.returned.filter(|r| hours - r.hours <= RETURNED_H);
        self.rise.or(self.fall).map(|o| o.baseline).or(returned.map(|r| r.baseline))
    }

    /// The margin within which a rate counts as back at its baseline: a ratio above 1.
    fn back(&self) -> f64 {
        1.0 + BACK * (self.rules.consumption.smallest_change - 1.0)
    }

    /// Open alerts whose rate has come back are settled. True: it came back and went beyond, which is told as a rise.
    pub fn watch_open(&mut self, event: &Event, now: &Situation) -> bool {
        if now.since_change < BACK_QUARTS {
            return false;
        }
        let (rate, back) = (now.rate.qt_per_h, self.back());
        // Near it, and no longer likely to be a change worth telling.
        let far = self.rules.consumption.smallest_change;
        if let Some(o) = self.rise.filter(|o| rate <= o.baseline * back && now.rate.high <= o.baseline * far) {
            self.rise = None;
            self.came_back(o, event, near(rate, o.baseline));
        }
        if let Some(o) = self.fall.filter(|o| rate >= o.baseline / back && now.rate.low >= o.baseline / far) {
            self.fall = None;
            self.came_back(o, event, near(rate, o.baseline));
        }
        self.watch_beyond(event, now)
    }

    /// After a fall the rate is believed loosely, and a rise soon after it, up to the baseline or beyond, is learned
    /// rather than found. So where it goes beyond is watched.
    fn watch_beyond(&mut self, event: &Event, now: &Situation) -> bool {
        let fell = |r: &Returned| !r.rose && event.hours - r.hours <= RETURNED_H;
        let Some(r) = self.returned.filter(fell).filter(|_| self.rise.is_none()) else { return false };
        let (rate, ratio) = (now.rate, now.rate.qt_per_h / r.baseline);
        let (smallest, surely) = (self.rules.consumption.smallest_change, rate.low / r.baseline);
        if ratio < smallest || surely < nearly(smallest) {
            return false;
        }
        self.returned = None;
        let told = self.engine.date(self.all[r.finding].raised);
        let mut finding = self.raise(true, event);
        finding.size = ratio;
        finding.evidence = self
            .departure(r.baseline, rate, (r.at, r.hours), event, now)
            .with("ratio", ratio)
            .with("ratio_low", surely)
            .with("ratio_high", rate.high / r.baseline)
            .with("after_fall", format!("told on {told}; the rate came back and went beyond"));
        self.warn_with_metal(&mut finding, event);
        self.rise = Some(Open { finding: self.all.len(), baseline: r.baseline, found_h: event.hours });
        self.all.push(finding);
        true
    }

    fn came_back(&mut self, open: Open, event: &Event, why: String) {
        let Open { finding, baseline, .. } = open;
        let rose = self.all[finding].kind == Kind::OilRateRise;
        self.returned = Some(Returned { baseline, rose, finding, at: event.at, hours: event.hours });
        self.ended = Some(true);
        self.settle(finding, event.at, why, Some(event.source.clone()));
    }

    /// Puts a finding beside the change told at `at`, if one was.
    pub fn beside_change(&mut self, at: Instant, make: impl FnOnce(&Finding) -> Finding) {
        let change = |f: &&Finding| matches!(f.kind, Kind::OilRateRise | Kind::OilRateFall) && f.raised == at;
        if let Some(finding) = self.all.last().filter(change).map(make) {
            self.all.push(finding);
        }
    }

    /// A sudden change was found.
    pub fn changed(&mut self, found: &Found<'_>, now: &Situation) {
        let Found { change, factor, onset, event, .. } = *found;
        let (from, to) = change.rates();
        let (from, to) = (from * factor, to * factor);
        let back = self.back();
        let other = if change.rise { self.fall.take() } else { self.rise.take() };
        if let Some(o) = other {
            // So soon after a change its size is uncertain: the old baseline within the interval is a return to it.
            let (_, low, high) = change.ratio();
            if from * low <= o.baseline * back && from * high >= o.baseline / back {
                self.came_back(o, event, near(to, o.baseline));
                return;
            }
            if now.rate.low <= o.baseline && o.baseline <= now.rate.high {
                let (low, high) = (now.rate.low, now.rate.high);
                let why =
                    format!("the rate is back: {low:.2} to {high:.2} qt/h, its baseline was {:.2} qt/h", o.baseline);
                self.came_back(o, event, why);
                return;
            }
            let beyond = if change.rise { to > o.baseline } else { to < o.baseline };
            if !beyond {
                self.grow(o.finding, o.baseline, to, [onset, event], now);
                *(if change.rise { &mut self.fall } else { &mut self.rise }) = Some(o);
                return;
            }
            self.settle(
                o.finding,
                event.at,
                format!("the rate changed again, to {to:.2} qt/h"),
                Some(event.source.clone()),
            );
        }
        if let Some(r) = self.returned.take_if(|r| event.hours - r.hours <= RETURNED_H)
            && r.rose != change.rise
        {
            // The way back to a baseline already told is no change of its own; what goes beyond it is.
            let (_, low, high) = change.ratio();
            if from * low <= r.baseline * back && from * high >= r.baseline / back {
                self.returned = Some(r).filter(|r| !r.rose);
                return;
            }
        }
        let open = if change.rise { self.rise } else { self.fall };
        if let Some(o) = open.filter(|o| onset.hours <= o.found_h) {
            self.grow(o.finding, o.baseline, to, [onset, event], now);
            return;
        }
        let mut finding = self.raise(change.rise, event);
        finding.size = size(change.rise, to / from);
        finding.evidence = self.evidence(found, now);
        let mut baseline = from;
        if let Some(o) = open {
            // What began after the open one was found is news of its own; the way back is still the whole way.
            baseline = o.baseline;
            finding.size = size(change.rise, to / baseline);
            finding.evidence.set("baseline_qt_per_h", baseline);
            let again = if change.rise { "rose" } else { "fell" };
            let why = format!("the rate {again} again, from {from:.2} to {to:.2} qt/h; a newer alert tells of it");
            self.settle(o.finding, event.at, why, Some(event.source.clone()));
        }
        if change.rise {
            self.warn_with_metal(&mut finding, event);
        }
        let open = Some(Open { finding: self.all.len(), baseline, found_h: event.hours });
        *(if change.rise { &mut self.rise } else { &mut self.fall }) = open;
        self.all.push(finding);
    }

    fn raise(&mut self, rise: bool, event: &Event) -> Finding {
        let (kind, word, which) = if rise { (Kind::OilRateRise, "rise", 0) } else { (Kind::OilRateFall, "fall", 1) };
        let subject = self.subject(event, word, which);
        Finding::at_event(kind, self.engine, event, subject)
    }

    /// A further change on top of an open one, from its onset to the event that showed it.
    fn grow(&mut self, finding: usize, baseline: f64, to: f64, [onset, event]: [&Event; 2], now: &Situation) {
        let since = self.engine.date(onset.at);
        let rise = self.all[finding].kind == Kind::OilRateRise;
        let f = &mut self.all[finding];
        f.size = size(rise, to / baseline);
        for (name, value) in [
            ("to_qt_per_h", to),
            ("ratio", to / baseline),
            ("to_h_per_qt", 1.0 / to),
            ("to_low", now.rate.low),
            ("to_high", now.rate.high),
        ] {
            f.evidence.set(name, value);
        }
        f.evidence.set("changed_again", event.at);
        f.evidence.set("again_since", since);
    }

    pub(super) fn warn_with_metal(&self, finding: &mut Finding, event: &Event) {
        if let Some((hours, line)) = self.metal.as_ref().filter(|(h, _)| event.hours - h <= METAL_H) {
            finding.level = Level::Warning;
            finding.evidence.set("with", format!("metal found at {hours:.1} h ({line})"));
        }
    }
}

fn near(rate: f64, baseline: f64) -> String {
    format!("the rate is back near its baseline: {rate:.2} qt/h, baseline {baseline:.2} qt/h")
}

/// What "grows by a quarter" is measured on: the ratio of a rise, the inverse of a fall's.
fn size(rise: bool, ratio: f64) -> f64 {
    if rise { ratio } else { 1.0 / ratio.max(0.05) }
}
