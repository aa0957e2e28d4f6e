//! Goes through an engine's life once, and notes what its oil says on the way.

use std::collections::VecDeque;

use super::beside::{Beside, likelier};
use super::calibration::limit;
use super::change::{Change, Ratios, Statistics, accept, statistics};
use super::creep::Creep;
use super::evidence::Evidence;
use super::findings::{Findings, Situation};
use super::keeping::Log;
use super::seating::Seating;
use super::steps::{self, Step};
use super::sump::Who;
use super::track::Track;
use super::unlogged::{Unlogged, suspect};
use super::{Followed, estimate};
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Closing, RatePoint};
use crate::records::{Instant, Oil, Source};

/// Flights that can be gone through again when an addition turns out not to have been logged.
const KEPT: usize = 16;
/// Quarts to be burnt after a change before the next is looked for.
pub(super) const QUARTS_AFTER_CHANGE: f64 = 2.0;
/// Relative spread of the rate after a change of oil grade.
const GRADE_SD: f64 = 0.25;

/// A moment that can be gone back to: right after the flight with number `flight`, which was step `step`.
#[derive(Clone, Debug)]
pub(super) struct Kept {
    flight: u32,
    step: usize,
    track: Track,
}

/// One engine being followed.
#[derive(Debug)]
pub struct Watch<'a> {
    pub(super) engine: &'a Engine,
    pub(super) rules: &'a Rules,
    pub(super) mates: Vec<&'a Engine>,
    steps: Vec<Step<'a>>,
    pub(super) track: Track,
    /// The mate followed with it.
    pub(super) beside: Option<Beside>,
    /// The last look at the engine's own oil since it flew, and whether the mate's was looked at after it.
    pub(super) last_look: Option<&'a Event>,
    pub(super) beside_looked: bool,
    pub(super) kept: VecDeque<Kept>,
    pub(super) ratios: Ratios,
    pub(super) findings: Findings<'a>,
    points: Vec<RatePoint>,
    oil: Option<Oil>,
    /// `track.burnt` when the present baseline began, and when judging began anew.
    burnt_at_base: f64,
    burnt_at_change: f64,
    /// Log lines whose value was held to the limit, with engine hours.
    clipped: VecDeque<(f64, Source)>,
    /// Event of each flight number.
    flights: Vec<usize>,
    added: f32,
    stats: Statistics,
    seating: Option<Seating>,
    stabilised: bool,
    /// What break-in took off the rate, by event.
    decays: Vec<Option<(f64, f64)>>,
    creep: Creep,
    /// Events taken in.
    seen: usize,
    /// Engine hours of the last oil change known.
    changed_h: Option<f64>,
}

impl<'a> Watch<'a> {
    /// `mates`: the engines that ever flew beside it.
    pub fn new(engine: &'a Engine, mates: &[&'a Engine], rules: &'a Rules, closings: &'a [Closing]) -> Self {
        let steps = steps::of(engine, mates);
        let track = Track::new(engine);
        let seating = engine.builds.first().filter(|b| b.kind.is_some() && b.zero_known).map(|b| b.zero_hours);
        let seating = seating
            .filter(|zero| engine.hours_at_start - zero < rules.break_in.length_h)
            .map(|zero| Seating::new(zero, track.sump.level(), track.level_sd().powi(2)));
        Self {
            engine,
            rules,
            mates: mates.to_vec(),
            beside: None,
            last_look: None,
            beside_looked: false,
            track,
            kept: VecDeque::with_capacity(KEPT + 1),
            ratios: Ratios::new(rules.consumption.smallest_change),
            findings: Findings::new(engine, rules, closings),
            points: Vec::with_capacity(engine.events.len()),
            oil: engine.oil_at_start.clone(),
            burnt_at_base: 0.0,
            burnt_at_change: f64::NEG_INFINITY,
            clipped: VecDeque::new(),
            flights: Vec::with_capacity(engine.events.len()),
            added: 0.0,
            stats: Statistics { ln_rise: f64::NEG_INFINITY, ln_fall: f64::NEG_INFINITY },
            seating,
            stabilised: false,
            decays: vec![None; steps.len()],
            steps,
            creep: Creep::default(),
            seen: 0,
            changed_h: engine.last_change_hours,
        }
    }

    /// Goes through the events up to `as_of`.
    pub fn run(mut self, as_of: Instant) -> Followed {
        for k in 0..self.steps.len() {
            let step = self.steps[k];
            if step.event.at > as_of {
                break;
            }
            match step.mate {
                None => self.event(k, step),
                Some(mate) => self.beside(k, mate, step.event),
            }
            self.seen = k + 1;
        }
        self.findings.close_up_to(as_of);
        self.finish()
    }

    fn event(&mut self, k: usize, step: Step<'a>) {
        let event = step.event;
        self.findings.close_up_to(event.at);
        self.restart_for(event);
        if let Some((look, evidence)) = self.track.look(Who::Own, event) {
            self.note_clipped(event, evidence);
            if let Some(seating) = &mut self.seating {
                let noise = self.track.sump.own.noise;
                seating.look(look, self.track.mark_qt(), noise);
            }
            self.last_look = Some(event);
            self.judge(k, event);
        }
        if let What::Flight { .. } = event.what {
            self.point(event);
            self.flights.push(k);
            let situation = self.situation(event);
            self.findings.before_flight(event, &situation);
        }
        if let What::Added { qt, .. } = event.what {
            self.added += qt as f32;
        }
        self.seat(k, step);
        let mate_h = self.fly_beside(k, step);
        if let What::Flight { .. } = event.what {
            (self.last_look, self.beside_looked) = (None, false);
        }
        self.track.go(event, step.service, self.decays[k], mate_h);
        if let What::Changed { .. } = event.what {
            self.changed_h = Some(event.hours);
        }
        if let What::Flight { .. } = event.what {
            self.keep(k);
        }
        self.note_oil(event);
        self.after(event);
    }

    /// What follows from the state after an event.
    fn after(&mut self, event: &Event) {
        let situation = self.situation(event);
        self.findings.see(event, &situation);
        if let What::Flight { .. } = event.what {
            self.ask_if_settled(event, &situation);
            if self.seating.is_none() || self.stabilised {
                self.creep.note(event.hours, &situation);
                self.findings.watch_creep(event, &self.creep, &situation);
            }
        }
    }

    /// The break-in grid takes the event in.
    fn seat(&mut self, k: usize, step: Step<'_>) {
        let event = step.event;
        let service = self.track.service_factor(step.service);
        let (level, variance) = (self.track.sump.level(), self.track.level_sd().powi(2));
        let Some(seating) = &mut self.seating else { return };
        match &event.what {
            What::Flight { hours, .. } => self.decays[k] = Some(seating.fly(*hours, event.hours, service)),
            What::Added { qt, .. } => seating.pour(*qt, 1e-3),
            What::Changed { level_after_qt, .. } => {
                let fill = level_after_qt.or(self.engine.fill_qt).unwrap_or(level);
                seating.refill(fill, if level_after_qt.is_some() { 0.07 } else { 0.09_f64.max(variance * 0.5) });
            }
            _ => {}
        }
        if event.hours - seating.zero_hours > SEATING_LENGTHS * self.rules.break_in.length_h {
            self.seating = None;
        }
    }

    /// Says once per build that consumption has stabilised, when the evidence shows it.
    fn ask_if_settled(&mut self, event: &Event, now: &Situation) {
        let Some(seating) = &self.seating else { return };
        if self.stabilised || !self.missing(seating, event.hours, now.quarts).is_empty() {
            return;
        }
        self.stabilised = true;
        let p = seating.settled_probability(event.hours);
        let since = event.hours - seating.zero_hours;
        self.findings.stabilised(event, p, since, now);
    }

    /// What stands between this build and "stabilised", in a person's words.
    fn missing(&self, seating: &Seating, hours: f64, quarts: f64) -> Vec<String> {
        let rules = &self.rules.break_in;
        let (since, least) = (hours - seating.zero_hours, rules.length_h / 2.0);
        let p = seating.settled_probability(hours);
        let mut missing = Vec::new();
        if since < least {
            missing.push(format!("{least:.0} h since the build (now {since:.1} h)"));
        }
        if quarts < SETTLED_QUARTS {
            missing.push(format!("{SETTLED_QUARTS:.0} quarts burnt and seen (now {quarts:.1})"));
        }
        if p < rules.stabilised_p {
            missing.push(format!(
                "a probability of {:.0} % that less than a quarter of the excess remains (now {:.0} %): more flights with the oil logged",
                rules.stabilised_p * 100.0,
                p * 100.0
            ));
        }
        missing
    }

    fn breaking_in(&self) -> bool {
        self.seating.is_some() && !self.stabilised
    }

    /// A new build makes a new baseline, and open questions about the old one are settled.
    fn restart_for(&mut self, event: &Event) {
        if let What::BuildBegan(kind) = event.what {
            self.findings.settle_all(event, &format!("a new build began: {}", kind.word()));
            let zero = self.engine.builds.get(event.build).map_or(event.hours, |b| b.zero_hours);
            self.seating = Some(Seating::new(zero, self.track.sump.level(), self.track.level_sd().powi(2) + 0.5));
            self.stabilised = false;
            self.base_anew();
        }
    }

    fn base_anew(&mut self) {
        self.burnt_at_base = self.track.burnt;
        self.burnt_at_change = f64::NEG_INFINITY;
        self.kept.clear();
        self.creep = Creep::default();
    }

    fn keep(&mut self, step: usize) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        let flight = self.track.sump.flights - 1;
        self.kept.push_back(Kept { flight, step, track: self.track.clone() });
    }

    fn note_clipped(&mut self, event: &Event, evidence: Evidence) {
        if evidence.clipped {
            if self.clipped.len() == 32 {
                self.clipped.pop_front();
            }
            self.clipped.push_back((event.hours, event.source.clone()));
        }
    }

    /// Another grade or kind in the sump: the baseline starts anew, the level stays.
    fn note_oil(&mut self, event: &Event) {
        let What::Changed { oil: Some(oil), .. } = &event.what else { return };
        if self.oil.as_ref().is_some_and(|old| old != oil) {
            let before = estimate(&self.track);
            let b = &mut self.track.sump.belief;
            let rate = super::sump::RATE;
            b.cov[rate][rate] += (GRADE_SD * b.mean[rate]).powi(2);
            self.track.sump.clear();
            // While rings seat, consumption falls by itself: before and after would say nothing about the oil.
            if !self.breaking_in() {
                self.findings.grade_changed(event, self.oil.clone(), oil.clone(), before, self.track.burnt);
            }
            self.base_anew();
        }
        self.oil = Some(oil.clone());
    }

    fn judging(&self) -> bool {
        let c = &self.rules.consumption;
        self.track.burnt - self.burnt_at_base >= c.quarts_before_judging
            && self.track.burnt - self.burnt_at_change >= QUARTS_AFTER_CHANGE
    }

    fn limits(&self) -> (f64, f64) {
        let (rate, _) = self.track.mean_rate();
        let allowed = self.rules.consumption.false_alarms_per_1000_h;
        let at = |rise| limit(self.track.log(), rise, allowed, self.track.flight_h, rate);
        (at(true), at(false))
    }

    /// Looks for a change, and for an addition not logged, after an observation.
    pub(super) fn judge(&mut self, k: usize, event: &'a Event) {
        let log = self.track.log();
        if self.judging() {
            self.stats = statistics(&self.track.sump.own, &self.ratios, log == Log::Levels);
            let (rise, fall) = self.limits();
            if self.stats.ln_rise >= rise && self.change(event, true) {
                return;
            }
            if self.stats.ln_fall >= fall && self.change(event, false) {
                return;
            }
        }
        let sump = &self.track.sump;
        if log != Log::AdditionsOnly
            && let Some(found) = suspect(&sump.own, sump.flights, log == Log::Levels)
        {
            self.not_logged(k, found);
        }
        let situation = self.situation(event);
        self.findings.watch_open(event, &situation);
    }

    fn change(&mut self, event: &'a Event, rise: bool) -> bool {
        let Some(found) = self.track.sump.own.changes.best(rise) else { return false };
        let change = Change { rise, found, ln_statistic: if rise { self.stats.ln_rise } else { self.stats.ln_fall } };
        let ratio = change.ratio().0;
        if !self.large_enough(rise, ratio) {
            return false;
        }
        let mirror = self.mirror(rise);
        if let Some(mirror) = mirror.filter(|m| likelier(m, &found, !rise)) {
            self.accept_beside(&mirror);
            return true;
        }
        if !rise && self.refill_instead(event) {
            return true;
        }
        let onset = self.flights.get(found.flight as usize).map_or(event, |&i| self.steps[i].event);
        let factor = self.track.mean_factor().0;
        accept(&mut self.track.sump, Who::Own, &found);
        self.burnt_at_change = self.track.burnt;
        self.kept.clear();
        if !rise && self.breaking_in() {
            return true;
        }
        self.creep = Creep::default();
        let (up, down) = self.limits();
        let situation = self.situation(event);
        let lost = self.clipped.iter().filter(|(h, _)| *h >= onset.hours).map(|(_, s)| s.clone()).collect();
        self.findings.changed(&change, factor, onset, event, if rise { up } else { down }, lost, &situation);
        if let Some(mirror) = mirror.filter(|m| m.ln_ratio > found.ln_ratio) {
            self.tell_apart(event, &mirror);
        }
        true
    }

    /// The change is as large as the user wants to hear of, or nearly.
    pub(super) fn large_enough(&self, rise: bool, ratio: f64) -> bool {
        let least = 1.0 + 0.5 * (self.rules.consumption.smallest_change - 1.0);
        if rise { ratio >= least } else { ratio <= 1.0 / least }
    }

    /// Without readings a refill nobody logged looks like a fall: where a change was due, that is asked first.
    fn refill_instead(&mut self, event: &Event) -> bool {
        let due = self.change_due(event);
        let Some(fill) = self.engine.fill_qt.filter(|_| due && self.track.log() != Log::Levels) else { return false };
        self.track.sump.refill(Who::Own, fill, 0.25);
        self.track.sump.own.changes.clear();
        self.kept.clear();
        self.changed_h = Some(event.hours);
        self.findings.not_logged(event, event, None);
        true
    }

    /// An oil change would have been due by now.
    fn change_due(&self, event: &Event) -> bool {
        self.changed_h.is_some_and(|h| event.hours - h >= 0.9 * self.rules.oil_change.every_h)
    }

    /// An addition seems to have been made and not logged: takes it as made, and asks.
    fn not_logged(&mut self, now: usize, found: Unlogged) {
        let Some(from) = self.go_back(now, Who::Own, found) else { return };
        let event = self.steps[now].event;
        let own = self.steps[from + 1..=now].iter().filter(|s| s.mate.is_none()).map(|s| s.event);
        let next = own.clone().find(|e| matches!(e.what, What::Level { .. }));
        if let Some(seating) = &mut self.seating {
            seating.pour(found.quarts, 0.02);
        }
        let refilled =
            self.change_due(event) && self.engine.fill_qt.is_some_and(|fill| self.track.sump.level() > fill - 0.5);
        if refilled {
            self.changed_h = Some(event.hours);
        }
        self.findings.not_logged(next.unwrap_or(event), event, (!refilled).then_some(found.quarts));
    }

    /// Takes an addition as made, and goes through the flights since again. Returns the step gone back to.
    pub(super) fn go_back(&mut self, now: usize, who: Who, found: Unlogged) -> Option<usize> {
        let at = self.kept.iter().position(|kept| kept.flight == found.flight)?;
        self.kept.truncate(at + 1);
        let kept = self.kept.back_mut()?;
        kept.track.sump.pour_unlogged(who, found.quarts);
        let from = kept.step;
        self.track = kept.track.clone();
        for k in from + 1..=now {
            let step = self.steps[k];
            let of = if step.mate.is_none() { Who::Own } else { Who::Mate };
            if of == Who::Mate && step.mate != self.beside.map(|b| b.mate) {
                continue;
            }
            self.track.look(of, step.event);
            if k == now {
                // A flight is a look at both engines' oil: the mate's comes second.
                if of == Who::Own && self.beside_looked {
                    self.look_beside(step);
                }
                break;
            }
            if of == Who::Mate {
                self.track.mate_goes(step.event);
                continue;
            }
            let mate_h = self.look_beside(step);
            self.track.go(step.event, step.service, self.decays[k], mate_h);
            if let What::Flight { .. } = step.event.what {
                self.keep(k);
            }
        }
        Some(from)
    }

    fn situation(&self, _event: &Event) -> Situation {
        Situation {
            rate: estimate(&self.track),
            level_qt: self.track.sump.level(),
            level_sd: self.track.level_sd(),
            log: self.track.log(),
            noise: self.track.sump.own.noise,
            burnt: self.track.burnt,
            quarts: self.track.burnt - self.burnt_at_base,
            since_change: self.track.burnt - self.burnt_at_change.max(self.burnt_at_base),
            oil: self.oil.clone(),
            witnessed: self.beside.is_some(),
        }
    }

    /// The rate of some time ago, which a change would be judged against.
    fn baseline(&self) -> f64 {
        let (factor, _) = self.track.mean_factor();
        self.track.sump.own.changes.oldest_rate().unwrap_or_else(|| self.track.sump.rate()) * factor
    }

    fn point(&mut self, event: &Event) {
        let (rise_limit, fall_limit) = self.limits();
        self.points.push(RatePoint {
            at: event.at,
            hours: event.hours,
            rate: estimate(&self.track),
            level_qt: self.track.sump.level(),
            ln_rise: self.stats.ln_rise.max(-30.0) as f32,
            ln_fall: self.stats.ln_fall.max(-30.0) as f32,
            rise_limit: rise_limit as f32,
            fall_limit: fall_limit as f32,
            added_qt: std::mem::take(&mut self.added),
        });
    }

    fn finish(self) -> Followed {
        let quarts = self.track.burnt - self.burnt_at_base;
        let known = quarts >= 1.0;
        let baseline = self.findings.open_baseline().unwrap_or_else(|| self.baseline());
        let own = self.steps[..self.seen].iter().rev().find(|s| s.mate.is_none());
        let hours = own.map_or(self.engine.hours_at_start, |s| s.event.hours);
        let seating = self.seating.as_ref();
        Followed {
            rate: known.then(|| estimate(&self.track)),
            baseline_qt_per_h: known.then_some(baseline),
            quarts,
            log: self.track.log().words().to_owned(),
            level_qt: (self.track.level_sd() < 0.8).then(|| self.track.sump.level()),
            stabilised_p: seating.filter(|_| known).map(|s| s.settled_probability(hours)),
            stabilised_missing: seating
                .filter(|_| !self.stabilised)
                .map(|s| self.missing(s, hours, quarts))
                .unwrap_or_default(),
            findings: self.findings.into_all(),
            points: self.points,
        }
    }
}

/// Quarts of a build before its consumption can be called stabilised.
const SETTLED_QUARTS: f64 = 4.0;
/// Break-in lengths after which a build counts as settled one way or the other.
pub(super) const SEATING_LENGTHS: f64 = 3.0;
