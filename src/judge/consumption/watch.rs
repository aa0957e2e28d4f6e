//! Goes through an engine's life once, and notes what its oil says on the way.

mod accounts;
mod again;
mod beside;
mod first;
mod settling;

use std::collections::VecDeque;
use std::sync::Arc;

use super::Followed;
use super::calibration::limit;
use super::change::{Change, Ratios, Statistics, accept, nearly, statistics};
use super::creep::Creep;
use super::evidence::Evidence;
use super::findings::{Findings, Found, Situation};
use super::keeping::Log;
use super::seating::Seating;
use super::steps::Step;
use super::sump::Who;
use super::track::Track;
use super::unlogged::suspect;
use crate::config::Rules;
use crate::engine::services::Services;
use crate::engine::{Engine, Event, What};
use crate::judge::{Closing, RatePoint};
use crate::records::{Instant, Oil, Source};
use accounts::Accounts;
use again::{KEPT, Kept};
use beside::{Beside, likelier};

/// Quarts to be burnt after a change before the next is looked for.
const QUARTS_AFTER_CHANGE: f64 = 2.0;
/// Relative spread of the rate after a change of oil grade.
const GRADE_SD: f64 = 0.25;

/// One engine being followed.
#[derive(Debug)]
pub struct Watch<'a> {
    engine: &'a Engine,
    rules: &'a Rules,
    mates: Vec<&'a Engine>,
    steps: Vec<Step<'a>>,
    track: Track,
    /// The mate followed with it.
    beside: Option<Beside>,
    /// The last look at the engine's own oil since it flew, and whether the mate's was looked at after it.
    last_look: Option<&'a Event>,
    beside_looked: bool,
    kept: VecDeque<Kept>,
    accounts: Accounts,
    ratios: Ratios,
    findings: Findings<'a>,
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
    /// What `stats` were judged against, for rises and for falls.
    judged_against: Option<(f64, f64)>,
    seating: Option<Seating>,
    stabilised: bool,
    /// What break-in took off the rate, by event.
    decays: Vec<Option<(f64, f64)>>,
    creep: Creep,
    /// Events taken in.
    seen: usize,
    /// Engine hours of the last oil change known.
    changed_h: Option<f64>,
    services: Arc<Services>,
    /// The first quarts have been gone through again, or need not be.
    first_again: bool,
}

impl<'a> Watch<'a> {
    /// `steps`: its events and those beside it, in order; `mates`: the engines that ever flew beside it.
    pub fn new(
        steps: Vec<Step<'a>>,
        engine: &'a Engine,
        mates: &[&'a Engine],
        services: &Arc<Services>,
        rules: &'a Rules,
        closings: &'a [Closing],
    ) -> Self {
        let track = Track::new(engine, services.clone());
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
            accounts: Accounts::default(),
            ratios: Ratios::new(rules.consumption.smallest_change),
            findings: Findings::new(engine, rules, closings),
            points: Vec::with_capacity(steps.len()),
            oil: engine.oil_at_start.clone(),
            burnt_at_base: 0.0,
            burnt_at_change: f64::NEG_INFINITY,
            clipped: VecDeque::new(),
            flights: Vec::with_capacity(steps.len()),
            added: 0.0,
            stats: Statistics { ln_rise: f64::NEG_INFINITY, ln_fall: f64::NEG_INFINITY },
            judged_against: None,
            seating,
            stabilised: false,
            decays: vec![None; steps.len()],
            steps,
            creep: Creep::default(),
            seen: 0,
            changed_h: engine.last_change_hours,
            services: services.clone(),
            first_again: false,
        }
    }

    /// Goes through the events up to `as_of`.
    pub fn run(mut self, as_of: Instant) -> Followed {
        for k in 0..self.steps.len() {
            if self.steps[k].event.at > as_of {
                break;
            }
            self.step(k);
            self.seen = k + 1;
        }
        self.findings.close_up_to(as_of);
        self.finish()
    }

    fn step(&mut self, k: usize) {
        let step = self.steps[k];
        match step.mate {
            None => self.event(k, step),
            Some(mate) => self.beside(k, mate, step.event),
        }
    }

    fn event(&mut self, k: usize, step: Step<'a>) {
        let event = step.event;
        self.findings.close_up_to(event.at);
        self.restart_for(event);
        if let Some((look, evidence)) = self.look(Who::Own, event) {
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
            let situation = self.situation();
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
        self.go(k, step, mate_h);
        if let What::Changed { .. } = event.what {
            self.changed_h = Some(event.hours);
        }
        if let What::Flight { .. } = event.what {
            self.keep(k, self.track.clone());
            self.first_quarts_again(k);
        }
        self.note_oil(event);
        self.after(event);
    }

    /// What follows from the state after an event.
    fn after(&mut self, event: &Event) {
        let situation = self.situation();
        self.findings.see(event, &situation);
        if let Some(came_back) = self.findings.take_ended() {
            self.creep.change_ended(came_back);
        }
        if let What::Flight { .. } = event.what {
            self.ask_if_settled(event, &situation);
            if self.seating.is_none() || self.stabilised {
                self.creep.note(event.hours, &situation);
                self.findings.watch_creep(event, &self.creep, &situation);
            }
        }
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
        self.forget_past();
        self.creep = Creep::default();
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
            let before = self.estimate();
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

    /// The limits when last judged: a change that was found moves the rate, and them with it.
    fn last_limits(&self) -> (f64, f64) {
        self.judged_against.unwrap_or_else(|| self.limits())
    }

    /// Looks for a change, and for an addition not logged, after an observation.
    fn judge(&mut self, k: usize, event: &'a Event) {
        let log = self.track.log();
        if self.judging() {
            self.stats = statistics(&self.track.sump.own, &self.ratios, log == Log::Levels);
            let (rise, fall) = self.limits();
            self.judged_against = Some((rise, fall));
            let (ln_rise, account) = self.ln_rise_in_all(self.stats.ln_rise);
            self.stats.ln_rise = ln_rise;
            if ln_rise >= rise {
                if let Some(which) = account {
                    self.believe(k, which);
                }
                if self.change(event, true) {
                    return;
                }
            }
            if self.stats.ln_fall >= fall && self.change(event, false) {
                return;
            }
        }
        let sump = &self.track.sump;
        match log {
            Log::Levels => self.weigh_accounts(k),
            Log::FlightsAndAdditions => {
                self.accounts.clear();
                if let Some(found) = suspect(&sump.own, sump.flights, false)
                    && self.go_back(k, Who::Own, &found).is_some()
                {
                    self.tell_not_logged(k, &found);
                }
            }
            Log::AdditionsOnly => self.accounts.clear(),
        }
        let situation = self.situation();
        if self.findings.watch_open(event, &situation) {
            self.creep.set_aside();
        }
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
        self.forget_past();
        if !rise && self.breaking_in() {
            return true;
        }
        self.creep.set_aside();
        let (up, down) = self.last_limits();
        let situation = self.situation();
        let left_out = self.clipped.iter().filter(|(h, _)| *h >= onset.hours).map(|(_, s)| s.clone()).collect();
        let limit = if rise { up } else { down };
        let told = Found { change: &change, factor, onset, event, limit, left_out };
        self.findings.changed(&told, &situation);
        if let Some(mirror) = mirror.filter(|m| m.ln_ratio > found.ln_ratio) {
            self.tell_apart(event, &mirror);
        }
        true
    }

    /// The change is as large as the user wants to hear of, or nearly.
    pub(super) fn large_enough(&self, rise: bool, ratio: f64) -> bool {
        let least = nearly(self.rules.consumption.smallest_change);
        if rise { ratio >= least } else { ratio <= 1.0 / least }
    }

    fn situation(&self) -> Situation {
        Situation {
            rate: self.estimate(),
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
        let (rise_limit, fall_limit) = self.last_limits();
        self.points.push(RatePoint {
            at: event.at,
            hours: event.hours,
            rate: self.estimate(),
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
        let own = self.steps[..self.seen].iter().rev().find(|s| s.mate.is_none());
        let hours = own.map_or(self.engine.hours_at_start, |s| s.event.hours);
        let baseline = self.findings.baseline(hours).unwrap_or_else(|| self.baseline());
        let seating = self.seating.as_ref();
        Followed {
            rate: known.then(|| self.estimate()),
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
