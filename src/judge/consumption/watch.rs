//! Goes through an engine's life once, and notes what its oil says on the way.

use std::collections::VecDeque;

use super::calibration::limit;
use super::change::{Change, Ratios, Statistics, accept, statistics};
use super::evidence::{Evidence, Look};
use super::findings::{Findings, Situation};
use super::track::{Log, Track, number_services};
use super::unlogged::suspect;
use super::{Followed, estimate};
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Closing, RatePoint};
use crate::records::{Instant, Oil, Source};

/// Flights that can be gone through again when an addition turns out not to have been logged.
const KEPT: usize = 12;
/// Quarts to be burnt after a change before the next is looked for.
const QUARTS_AFTER_CHANGE: f64 = 2.0;
/// Relative spread of the rate after a change of oil grade.
const GRADE_SD: f64 = 0.25;

/// A moment that can be gone back to: right after the flight with number `flight`.
#[derive(Clone, Copy, Debug)]
struct Kept {
    flight: u32,
    event: usize,
    track: Track,
}

/// One engine being followed.
#[derive(Debug)]
pub struct Watch<'a> {
    engine: &'a Engine,
    rules: &'a Rules,
    track: Track,
    services: Vec<u8>,
    kept: VecDeque<Kept>,
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
}

impl<'a> Watch<'a> {
    pub fn new(engine: &'a Engine, rules: &'a Rules, closings: &'a [Closing]) -> Self {
        let track = Track::new(engine);
        Self {
            engine,
            rules,
            track,
            services: number_services(engine),
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
        }
    }

    /// Goes through the events up to `as_of`.
    pub fn run(mut self, as_of: Instant) -> Followed {
        for k in 0..self.engine.events.len() {
            let event = &self.engine.events[k];
            if event.at > as_of {
                break;
            }
            self.event(k, event);
        }
        self.findings.close_up_to(as_of);
        self.finish()
    }

    fn event(&mut self, k: usize, event: &'a Event) {
        self.findings.close_up_to(event.at);
        self.restart_for(event);
        let look = self.track.look(event);
        if let Some((_, evidence)) = look {
            self.note_clipped(event, evidence);
            self.judge(k, event);
        }
        if let What::Flight { .. } = event.what {
            self.point(event);
            self.flights.push(k);
        }
        if let What::Added { qt, .. } = event.what {
            self.added += qt as f32;
        }
        self.track.go(event, self.services[k], None);
        if let What::Flight { .. } = event.what {
            self.keep(k);
        }
        self.note_oil(event);
        self.findings.see(event, look.is_some_and(|(l, _)| matches!(l, Look::Reading(_))), &self.situation(event));
    }

    /// A new build makes a new baseline, and open questions about the old one are settled.
    fn restart_for(&mut self, event: &Event) {
        if let What::BuildBegan(kind) = event.what {
            self.findings.settle_all(event, &format!("a new build began: {}", kind.word()));
            self.base_anew();
        }
    }

    fn base_anew(&mut self) {
        self.burnt_at_base = self.track.burnt;
        self.burnt_at_change = f64::NEG_INFINITY;
        self.kept.clear();
    }

    fn keep(&mut self, event: usize) {
        if self.kept.len() == KEPT {
            self.kept.pop_front();
        }
        self.kept.push_back(Kept { flight: self.track.sump.flights - 1, event, track: self.track });
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
            self.track.sump.changes.clear();
            self.track.sump.top_ups.clear();
            self.findings.grade_changed(event, self.oil.clone(), oil.clone(), before, self.track.burnt);
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
        let at =
            |rise| limit(self.track.log(), rise, self.rules.consumption.false_alarms_per_1000_h, self.track.flight_h);
        (at(true), at(false))
    }

    /// Looks for a change, and for an addition not logged, after an observation.
    fn judge(&mut self, k: usize, event: &'a Event) {
        let levels = self.track.log() == Log::Levels;
        self.stats = statistics(&self.track.sump, &self.ratios, levels);
        if self.judging() {
            let (rise, fall) = self.limits();
            if self.stats.ln_rise >= rise && self.change(event, true) {
                return;
            }
            if self.stats.ln_fall >= fall && self.change(event, false) {
                return;
            }
        }
        if levels && let Some(found) = suspect(&self.track.sump) {
            self.go_back(k, found.flight, found.quarts);
        }
        let situation = self.situation(event);
        self.findings.watch_open(event, &situation);
    }

    fn change(&mut self, event: &'a Event, rise: bool) -> bool {
        let Some(found) = self.track.sump.changes.best(rise) else { return false };
        let change = Change { rise, found, ln_statistic: if rise { self.stats.ln_rise } else { self.stats.ln_fall } };
        let ratio = change.ratio().0;
        let least = 1.0 + 0.5 * (self.rules.consumption.smallest_change - 1.0);
        if rise && ratio < least || !rise && ratio > 1.0 / least {
            return false;
        }
        let onset = self.flights.get(found.flight as usize).map_or(event, |&i| &self.engine.events[i]);
        let factor = self.track.mean_factor().0;
        accept(&mut self.track.sump, &found);
        self.burnt_at_change = self.track.burnt;
        self.kept.clear();
        let (up, down) = self.limits();
        let situation = self.situation(event);
        let lost = self.clipped.iter().filter(|(h, _)| *h >= onset.hours).map(|(_, s)| s.clone()).collect();
        self.findings.changed(&change, factor, onset, event, if rise { up } else { down }, lost, &situation);
        true
    }

    /// An addition before the flight after `flight` seems to have been made: takes it as made and goes through the flights since again.
    fn go_back(&mut self, now: usize, flight: u32, quarts: f64) {
        let Some(at) = self.kept.iter().position(|kept| kept.flight == flight) else { return };
        let from = self.kept[at];
        self.kept.truncate(at);
        self.track = from.track;
        self.track.sump.pour_unlogged(quarts);
        self.kept.push_back(Kept { track: self.track, ..from });
        for k in from.event + 1..=now {
            let event = &self.engine.events[k];
            self.track.look(event);
            if k < now {
                self.track.go(event, self.services[k], None);
                if let What::Flight { .. } = event.what {
                    self.keep(k);
                }
            }
        }
        let next = self.engine.events[from.event + 1..=now].iter().find(|e| matches!(e.what, What::Level { .. }));
        let event = &self.engine.events[now];
        self.findings.not_logged(next.unwrap_or(event), event, quarts);
    }

    fn situation(&self, _event: &Event) -> Situation {
        Situation {
            rate: estimate(&self.track),
            level_qt: self.track.sump.level(),
            level_sd: self.track.level_sd(),
            log: self.track.log(),
            burnt: self.track.burnt,
            quarts: self.track.burnt - self.burnt_at_base,
            since_change: self.track.burnt - self.burnt_at_change.max(self.burnt_at_base),
            baseline_qt_per_h: self.baseline(),
            oil: self.oil.clone(),
        }
    }

    /// The rate of some time ago, which a change would be judged against.
    fn baseline(&self) -> f64 {
        let (factor, _) = self.track.mean_factor();
        self.track.sump.changes.oldest_rate().unwrap_or_else(|| self.track.sump.rate()) * factor
    }

    fn point(&mut self, event: &Event) {
        self.points.push(RatePoint {
            at: event.at,
            hours: event.hours,
            rate: estimate(&self.track),
            level_qt: self.track.sump.level(),
            ln_rise: self.stats.ln_rise.max(-30.0) as f32,
            ln_fall: self.stats.ln_fall.max(-30.0) as f32,
            limit: self.limits().0 as f32,
            added_qt: std::mem::take(&mut self.added),
        });
    }

    fn finish(self) -> Followed {
        let quarts = self.track.burnt - self.burnt_at_base;
        let known = quarts >= 1.0;
        let baseline = self.findings.open_baseline().unwrap_or_else(|| self.baseline());
        Followed {
            rate: known.then(|| estimate(&self.track)),
            baseline_qt_per_h: known.then_some(baseline),
            quarts,
            log: self.track.log().words().to_owned(),
            level_qt: (self.track.level_sd() < 0.8).then(|| self.track.sump.level()),
            findings: self.findings.into_all(),
            points: self.points,
            stabilised_p: None,
            stabilised_missing: Vec::new(),
        }
    }
}
