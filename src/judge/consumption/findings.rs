//! What is told of one engine's oil: findings opened, grown and settled along its life.

use super::change::Change;
use super::creep::Creep;
use super::track::Log;
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Closing, Evidence, Finding, Kind, Level, Rate, Settled};
use crate::records::{Inspection, Instant, Oil, Source};
use crate::units::ceiling_qt_per_h;

/// Engine hours after a return to the baseline in which the rest of the way back is no news.
const RETURNED_H: f64 = 100.0;
/// Most log lines told with a finding.
const LINES: usize = 12;
/// Engine hours for which metal counts together with a rise.
const METAL_H: f64 = 25.0;
/// How near its baseline, of the smallest change's margin, a rate has come back.
const BACK: f64 = 0.4;
/// Quarts that must have been burnt since the change before a rate can be called back.
const BACK_QUARTS: f64 = 2.0;

/// The state of things at an event.
#[derive(Clone, Debug)]
pub struct Situation {
    pub rate: Rate,
    pub level_qt: f64,
    pub level_sd: f64,
    pub log: Log,
    /// Quarts burnt since the records began, since the baseline, since the last change.
    pub burnt: f64,
    pub quarts: f64,
    pub since_change: f64,
    pub oil: Option<Oil>,
}

/// An open rate alert.
#[derive(Clone, Copy, Debug)]
struct Open {
    /// Index of its finding.
    finding: usize,
    /// The rate it departed from, qt/h.
    baseline: f64,
    /// Engine hours when it was found.
    found_h: f64,
}

/// A change of grade waiting for quarts before it can be told what it did.
#[derive(Clone, Debug)]
struct Grade {
    event: Event,
    from: Option<Oil>,
    to: Oil,
    before: Rate,
    burnt: f64,
}

/// All findings of one engine's oil, and which are open.
#[derive(Debug)]
pub struct Findings<'a> {
    engine: &'a Engine,
    rules: &'a Rules,
    closings: Vec<&'a Closing>,
    all: Vec<Finding>,
    rise: Option<Open>,
    fall: Option<Open>,
    /// The baseline last come back to, whether from a rise, and the engine hours then.
    returned: Option<(f64, bool, f64)>,
    ceiling: Option<usize>,
    endurance: Option<usize>,
    creep: Option<usize>,
    grade: Option<Grade>,
    metal: Option<(f64, Source)>,
    counts: [u32; 6],
    build: usize,
}

impl<'a> Findings<'a> {
    pub fn new(engine: &'a Engine, rules: &'a Rules, closings: &'a [Closing]) -> Self {
        let mine = format!("|{}|", engine.serial);
        let mut closings: Vec<_> = closings.iter().filter(|c| c.key.contains(&mine)).collect();
        closings.sort_by_key(|c| c.at);
        Self {
            engine,
            rules,
            closings,
            all: Vec::new(),
            rise: None,
            fall: None,
            returned: None,
            ceiling: None,
            endurance: None,
            creep: None,
            grade: None,
            metal: None,
            counts: [0; 6],
            build: 0,
        }
    }

    pub fn into_all(self) -> Vec<Finding> {
        self.all
    }

    /// The baseline of an open rate alert.
    pub fn open_baseline(&self) -> Option<f64> {
        self.rise.or(self.fall).map(|o| o.baseline)
    }

    fn subject(&mut self, event: &Event, word: &str, which: usize) -> String {
        if event.build != self.build {
            self.build = event.build;
            self.counts = [0; 6];
        }
        self.counts[which] += 1;
        format!("build {} {word} {}", event.build + 1, self.counts[which])
    }

    fn settle(&mut self, finding: usize, at: Instant, why: String, source: Option<Source>) {
        let settled = &mut self.all[finding].settled;
        if settled.is_none() {
            *settled = Some(Settled { at, why, source });
        }
    }

    /// Everything open is settled by an event.
    pub fn settle_all(&mut self, event: &Event, why: &str) {
        let open = [
            self.rise.take().map(|o| o.finding),
            self.fall.take().map(|o| o.finding),
            self.ceiling.take(),
            self.creep.take(),
        ];
        for finding in open.into_iter().flatten() {
            self.settle(finding, event.at, why.to_owned(), Some(event.source.clone()));
        }
        self.grade = None;
    }

    /// Takes in what people closed up to a moment: the rate since the onset is the baseline from then on.
    pub fn close_up_to(&mut self, at: Instant) {
        while let Some(closing) = self.closings.first().copied().filter(|c| c.at <= at) {
            self.closings.remove(0);
            for side in [true, false] {
                let open = if side { &mut self.rise } else { &mut self.fall };
                if let Some(o) = *open
                    && self.all[o.finding].key() == closing.key
                {
                    *open = None;
                    self.settle(
                        o.finding,
                        closing.at,
                        "closed; the rate since the onset is the new baseline".into(),
                        None,
                    );
                }
            }
        }
    }

    /// The margin within which a rate counts as back at its baseline: a ratio above 1.
    fn back(&self) -> f64 {
        1.0 + BACK * (self.rules.consumption.smallest_change - 1.0)
    }

    /// Open alerts whose rate has come back are settled; those that grew are told.
    pub fn watch_open(&mut self, event: &Event, now: &Situation) {
        if now.since_change < BACK_QUARTS {
            return;
        }
        let (rate, back) = (now.rate.qt_per_h, self.back());
        if let Some(o) = self.rise.filter(|o| rate <= o.baseline * back) {
            self.rise = None;
            self.came_back(o, event, rate);
        }
        if let Some(o) = self.fall.filter(|o| rate >= o.baseline / back) {
            self.fall = None;
            self.came_back(o, event, rate);
        }
    }

    fn came_back(&mut self, open: Open, event: &Event, rate: f64) {
        let rose = self.all[open.finding].kind == Kind::OilRateRise;
        self.returned = Some((open.baseline, rose, event.hours));
        let why = format!("the rate is back near its baseline: {rate:.2} qt/h, baseline {:.2} qt/h", open.baseline);
        self.settle(open.finding, event.at, why, Some(event.source.clone()));
    }

    /// A sudden change was found.
    #[expect(clippy::too_many_arguments, reason = "one moment described from its two ends")]
    pub fn changed(
        &mut self,
        change: &Change,
        factor: f64,
        onset: &Event,
        event: &Event,
        limit: f64,
        left_out: Vec<Source>,
        now: &Situation,
    ) {
        let (from, to) = change.rates();
        let (from, to) = (from * factor, to * factor);
        let back = self.back();
        let other = if change.rise { self.fall.take() } else { self.rise.take() };
        if let Some(o) = other {
            // So soon after a change its size is uncertain: the old baseline within the interval is a return to it.
            let (_, low, high) = change.ratio();
            if from * low <= o.baseline * back && from * high >= o.baseline / back {
                self.came_back(o, event, to);
                return;
            }
            if now.rate.low <= o.baseline && o.baseline <= now.rate.high {
                let (low, high) = (now.rate.low, now.rate.high);
                let why =
                    format!("the rate is back: {low:.2} to {high:.2} qt/h, its baseline was {:.2} qt/h", o.baseline);
                self.settle(o.finding, event.at, why, Some(event.source.clone()));
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
        if let Some((baseline, rose, _)) = self.returned.take_if(|(.., h)| event.hours - *h <= RETURNED_H)
            && rose != change.rise
        {
            // The way back to a baseline already told is no change of its own.
            let (_, low, high) = change.ratio();
            if from * low <= baseline * back && from * high >= baseline / back {
                return;
            }
        }
        let open = if change.rise { self.rise } else { self.fall };
        if let Some(o) = open.filter(|o| onset.hours <= o.found_h) {
            self.grow(o.finding, o.baseline, to, [onset, event], now);
            return;
        }
        let mut finding = self.raise(change, event);
        finding.size = size(change.rise, to / from);
        finding.evidence = self.evidence(change, factor, onset, event, limit, left_out, now);
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

    fn raise(&mut self, change: &Change, event: &Event) -> Finding {
        let (kind, word, which) =
            if change.rise { (Kind::OilRateRise, "rise", 0) } else { (Kind::OilRateFall, "fall", 1) };
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

    #[expect(clippy::too_many_arguments, reason = "one moment described from its two ends")]
    fn evidence(
        &self,
        change: &Change,
        factor: f64,
        onset: &Event,
        event: &Event,
        limit: f64,
        left_out: Vec<Source>,
        now: &Situation,
    ) -> Evidence {
        let (from, to) = change.rates();
        let (from, to) = (from * factor, (to * factor).max(1e-3));
        let (ratio, low, high) = change.ratio();
        let mut e = Evidence::default()
            .with("from_qt_per_h", from)
            .with("to_qt_per_h", to)
            .with("ratio", ratio)
            .with("ratio_low", low)
            .with("ratio_high", high)
            .with("from_h_per_qt", 1.0 / from)
            .with("to_h_per_qt", 1.0 / to)
            .with("since", self.engine.date(onset.at))
            .with("since_hours", onset.hours)
            .with("hours_since_onset", event.hours - onset.hours)
            .with("to_low", from * low)
            .with("to_high", from * high)
            .with("quarts_baseline", now.quarts)
            .with("baseline_hours", now.quarts / from)
            .with("log", now.log.words())
            .with("ln_statistic", change.ln_statistic)
            .with("limit", limit)
            .with("used", self.lines(onset, event))
            .with("left_out", left_out);
        if let Some(ceiling) = self.ceiling_qt_per_h() {
            e.set("share_of_ceiling", to / ceiling);
        }
        if let Some(hours) = self.endurance(now.level_qt, to) {
            e.set("endurance_h", hours);
        }
        e.set("level_qt", now.level_qt);
        if let Some(oil) = &now.oil {
            e.set("oil", oil.to_string());
        }
        e.with("unchanged", self.unchanged(onset, event, now))
    }

    /// Log lines about the oil since the onset, the latest ones.
    fn lines(&self, onset: &Event, event: &Event) -> Vec<Source> {
        let mut lines: Vec<Source> = Vec::new();
        for e in self.engine.events.iter().rev().skip_while(|e| e.at > event.at).take_while(|e| e.at >= onset.at) {
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
    fn unchanged(&self, onset: &Event, event: &Event, now: &Situation) -> Vec<String> {
        let mut said = Vec::new();
        let mut since = onset.at - chrono::TimeDelta::days(30);
        let mut meter = true;
        let mut services: [Vec<&str>; 2] = [Vec::new(), Vec::new()];
        for e in self.engine.events.iter().take_while(|e| e.at <= event.at) {
            match &e.what {
                What::MeterChanged if e.at >= since => meter = false,
                What::Changed { .. } if e.at < onset.at => since = since.min(e.at),
                What::Flight { service: Some(word), .. } => {
                    let of = &mut services[usize::from(e.at >= onset.at)];
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

    /// The configured ceiling, where rated power is known.
    fn ceiling_qt_per_h(&self) -> Option<f64> {
        let c = &self.rules.consumption;
        let power = self.engine.model.rated_hp;
        (power > 0.0).then(|| ceiling_qt_per_h(c.ceiling_lb_per_bhp_h, power, c.oil_lb_per_gal))
    }

    fn endurance(&self, level: f64, rate: f64) -> Option<f64> {
        let least = self.engine.model.oil_minimum_qt?;
        (rate > 1e-6).then(|| (level - least).max(0.0) / rate)
    }

    fn warn_with_metal(&self, finding: &mut Finding, event: &Event) {
        if let Some((hours, line)) = self.metal.as_ref().filter(|(h, _)| event.hours - h <= METAL_H) {
            finding.level = Level::Warning;
            finding.evidence.set("with", format!("metal found at {hours:.1} h ({line})"));
        }
    }

    /// Notes what else the event says.
    pub fn see(&mut self, event: &Event, now: &Situation) {
        if let What::Filter { result: Some(Inspection::Metal) } | What::Screen { result: Some(Inspection::Metal) } =
            event.what
        {
            self.metal = Some((event.hours, event.source.clone()));
            if let Some(o) = self.rise {
                let mut finding = self.all[o.finding].clone();
                self.warn_with_metal(&mut finding, event);
                self.all[o.finding] = finding;
            }
        }
        if let What::Flight { .. } = event.what {
            self.watch_ceiling(event, now);
            self.watch_grade(event, now);
        }
    }

    fn watch_ceiling(&mut self, event: &Event, now: &Situation) {
        let Some(ceiling) = self.ceiling_qt_per_h() else { return };
        let rate = now.rate;
        match self.ceiling {
            None if now.quarts >= 2.0 && rate.qt_per_h >= ceiling && rate.low >= 0.8 * ceiling => {
                let subject = self.subject(event, "ceiling", 2);
                let mut finding = Finding::at_event(Kind::OilRateCeiling, self.engine, event, subject);
                finding.size = rate.qt_per_h / ceiling;
                finding.evidence = Evidence::default()
                    .with("to_qt_per_h", rate.qt_per_h)
                    .with("to_low", rate.low)
                    .with("to_high", rate.high)
                    .with("to_h_per_qt", 1.0 / rate.qt_per_h)
                    .with("ceiling_qt_per_h", ceiling)
                    .with("share_of_ceiling", rate.qt_per_h / ceiling)
                    .with_some("endurance_h", self.endurance(now.level_qt, rate.qt_per_h))
                    .with("level_qt", now.level_qt)
                    .with("log", now.log.words());
                self.ceiling = Some(self.all.len());
                self.all.push(finding);
            }
            Some(open) if rate.qt_per_h < 0.8 * ceiling => {
                self.ceiling = None;
                let why = format!("the rate is {:.2} qt/h, ceiling {ceiling:.2} qt/h", rate.qt_per_h);
                self.settle(open, event.at, why, Some(event.source.clone()));
            }
            Some(open) => {
                let f = &mut self.all[open];
                f.size = f.size.max(rate.qt_per_h / ceiling);
            }
            None => {}
        }
    }

    /// Oil of another grade or kind went in.
    pub fn grade_changed(&mut self, event: &Event, from: Option<Oil>, to: Oil, before: Rate, burnt: f64) {
        self.settle_all(event, "the oil was changed to another grade; the baseline starts anew");
        self.grade = Some(Grade { event: event.clone(), from, to, before, burnt });
    }

    /// After some quarts of another grade: what it did to the rate, as a possibility.
    fn watch_grade(&mut self, event: &Event, now: &Situation) {
        let Some(grade) = self.grade.take_if(|g| now.burnt - g.burnt >= GRADE_QUARTS) else { return };
        let subject = self.subject(event, "grade", 3);
        let mut finding = Finding::at_event(Kind::OilGradeChanged, self.engine, event, subject);
        let ratio = now.rate.qt_per_h / grade.before.qt_per_h;
        let spread = |r: Rate| (r.high - r.low) / 2.0 / r.qt_per_h;
        let half = spread(now.rate).hypot(spread(grade.before));
        finding.size = ratio;
        finding.evidence = Evidence::default()
            .with("from_oil", grade.from.as_ref().map(Oil::to_string).unwrap_or_default())
            .with("to_oil", grade.to.to_string())
            .with("from_qt_per_h", grade.before.qt_per_h)
            .with("to_qt_per_h", now.rate.qt_per_h)
            .with("ratio", ratio)
            .with("ratio_low", ratio * (1.0 - half).max(0.0))
            .with("ratio_high", ratio * (1.0 + half))
            .with("since", self.engine.date(grade.event.at))
            .with("since_hours", grade.event.hours)
            .with("quarts", now.burnt - grade.burnt)
            .with("used", vec![grade.event.source.clone()])
            .with_some("may_mean", may_mean(&grade, ratio, half));
        self.push_for_a_while(finding);
    }

    /// An addition of so many quarts (`None`: a refill) seems to have been made before `seen` and not logged.
    pub fn not_logged(&mut self, seen: &Event, event: &Event, quarts: Option<f64>) {
        let subject = format!("before {} at {:.1} h", seen.at.format("%Y-%m-%dT%H:%M"), seen.hours);
        let kind = if quarts.is_some() { Kind::AdditionNotLogged } else { Kind::RefillNotLogged };
        if self.all.iter().any(|f| f.kind == kind && f.subject == subject) {
            return;
        }
        let mut finding = Finding::at_event(kind, self.engine, event, subject);
        finding.size = quarts.unwrap_or(1.0);
        finding.evidence = Evidence::default()
            .with_some("quarts", quarts)
            .with("since", self.engine.date(seen.at))
            .with("since_hours", seen.hours)
            .with("used", vec![seen.source.clone(), event.source.clone()]);
        self.push_for_a_while(finding);
    }

    /// Something told once: it is no longer shown as open after some days.
    fn push_for_a_while(&mut self, mut finding: Finding) {
        let days = self.rules.records.event_days;
        let at = finding.raised + chrono::TimeDelta::minutes((days * 24.0 * 60.0) as i64);
        finding.settled = Some(Settled { at, why: format!("told {days:.0} days ago"), source: None });
        self.all.push(finding);
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

/// What must be known before usable oil is judged: quarts burnt, and the level's standard deviation, qt.
const ENDURANCE_QUARTS: f64 = 4.0;
const ENDURANCE_SD: f64 = 0.45;
/// Quarts of the new oil before its effect is told.
const GRADE_QUARTS: f64 = 4.0;

/// What "grows by a quarter" is measured on: the ratio of a rise, the inverse of a fall's.
fn size(rise: bool, ratio: f64) -> f64 {
    if rise { ratio } else { 1.0 / ratio.max(0.05) }
}

/// Common practice, no source: single grade to multigrade, down points past the rings, up to guides or leaks.
fn may_mean(grade: &Grade, ratio: f64, half: f64) -> Option<String> {
    let to_multigrade = grade.to.multigrade() && !grade.from.as_ref()?.multigrade();
    if !to_multigrade {
        return None;
    }
    let words = if ratio * (1.0 + half) < 1.0 {
        "possibly most oil was passing the rings"
    } else if ratio * (1.0 - half) > 1.0 {
        "possibly worn intake guides or outside leaks"
    } else {
        "no clear change: small flows, or several paths"
    };
    Some(words.to_owned())
}
