//! Reads one engine's logbook into its sump, whatever the kind of log.
//!
//! A log with a dipstick reading before most flights, one with flights and oil only when it is
//! added, and one with nothing but additions are followed by the same sump; each entry is used for
//! what it is, and the kind is told from what came lately, so that an engine may change from one to
//! another. Only the past is used: the same records up to a moment give the same state, whenever asked.

mod fleet;

use std::sync::Arc;

use super::belief::UNKNOWNS;
use super::evidence::{Evidence, Look};
use super::keeping::{Keeping, Log, REFILL_VAR};
use super::steps;
use super::sump::{LEAST_RATE, LEVEL, Leg, RATE, Sump, USUAL_FLIGHT_H, Who};
use crate::engine::services::{Services, month};
use crate::engine::{Engine, Event, What};
use crate::records::Instant;
use crate::records::aircraft::BuildKind;

/// Kinds of service told apart; later ones count as the last.
pub const SERVICES: usize = 7;
/// No service: the event is not a flight.
pub const NO_SERVICE: u8 = u8::MAX;
/// A flight whose service nobody wrote down.
pub const UNNAMED: u8 = u8::MAX - 1;

/// Level of a sump nothing is known of, qt.
const UNKNOWN_FILL_QT: f64 = 8.0;
/// What a flight counts among those named or not.
const UNNAMED_FADE: f64 = 0.05;
/// Relative standard deviation from which the rate is roughly known.
const ROUGHLY: f64 = 0.2;
/// Hours after which the mix of services counts half.
const MIX_HALF_H: f64 = 1000.0;
/// Idle days after which level and rate may have moved by themselves.
const LONG_IDLE_DAYS: i64 = 60;
/// Consumption of a ground run, of that in flight.
const GROUND_SHARE: f64 = 0.3;
/// Rate believed of rings that have yet to seat, qt/h, and its standard deviation.
const BREAK_IN_RATE: f64 = 0.3;
const BREAK_IN_RATE_SD: f64 = 0.25;

/// The sump of an engine, and of its mate where they are followed together, with what the log around them is like.
/// A clone is a snapshot.
#[derive(Clone, Debug)]
pub struct Track {
    pub sump: Sump,
    pub own: Keeping,
    pub mate: Option<Keeping>,
    /// Unknown of each service, by order of first mention.
    services: [Option<usize>; SERVICES],
    known_services: usize,
    /// Their words, and what the fleet knows of them.
    words: Arc<[Arc<str>]>,
    fleet: Arc<Services>,
    /// What it told of each: against which other, ln of the ratio, precision; and the month it was last asked.
    told: [Option<(usize, f64, f64)>; SERVICES],
    asked: i32,
    /// Unknown of what flights nobody named have in common with the one before.
    unnamed: Option<usize>,
    /// Share of flights nobody named, fading.
    unnamed_share: f64,
    /// Hours by service, fading.
    mix: [f64; SERVICES],
    /// Mean flight hours, fading.
    pub flight_h: f64,
    last: Option<Instant>,
    /// Quarts burnt since the records began, and by the mate since it is followed.
    pub burnt: f64,
    pub mate_burnt: f64,
}

/// The level believed before any entry, and its variance.
fn first_level(engine: &Engine) -> (f64, f64) {
    let at_fill = engine.fill_qt.or(engine.model.oil_capacity_qt).unwrap_or(UNKNOWN_FILL_QT);
    (at_fill - 0.5, if engine.fill_qt.is_some() { 0.4 } else { 4.0 })
}

impl Track {
    /// As the records begin.
    pub fn new(engine: &Engine, fleet: Arc<Services>) -> Self {
        let fresh = engine.last_change_hours.is_some_and(|h| engine.hours_at_start - h < 1.0);
        let (level, variance) = match engine.fill_qt {
            Some(fill) if fresh => (fill, REFILL_VAR),
            _ => first_level(engine),
        };
        let mut track = Self {
            sump: Sump::new(level, variance),
            own: Keeping::new(Who::Own, engine),
            mate: None,
            services: [None; SERVICES],
            known_services: 0,
            words: steps::words(engine),
            fleet,
            told: [None; SERVICES],
            asked: i32::MIN,
            unnamed: None,
            unnamed_share: 0.5,
            mix: [0.0; SERVICES],
            flight_h: USUAL_FLIGHT_H,
            last: None,
            burnt: 0.0,
            mate_burnt: 0.0,
        };
        if let Some(build) = engine.builds.first()
            && let (Some(_), true) = (build.kind, build.zero_known)
            && engine.hours_at_start - build.zero_hours < 25.0
        {
            track.sump.forget_rate(BREAK_IN_RATE, BREAK_IN_RATE_SD);
        }
        track
    }

    /// Follows the mate's oil too from now on, from the beginning. Without room for it, it is left out.
    pub fn follow_mate(&mut self, mate: &Engine) {
        let (level, variance) = first_level(mate);
        self.mate = self.sump.follow_mate(level, variance).then(|| Keeping::new(Who::Mate, mate));
        self.mate_burnt = 0.0;
    }

    /// The mate is followed no more.
    pub fn leave_mate(&mut self) {
        self.mate = None;
    }

    /// What kind of log this has been lately.
    pub fn log(&self) -> Log {
        self.own.log()
    }

    /// The mark as believed, if the log has needed one.
    pub fn mark_qt(&self) -> Option<f64> {
        self.own.mark_qt(&self.sump)
    }

    /// What the event shows of the oil, before it moves anything. `None`: nothing.
    pub fn look(&mut self, who: Who, event: &Event) -> Option<(Look, Evidence)> {
        let keeping = match who {
            Who::Own => &mut self.own,
            Who::Mate => self.mate.as_mut()?,
        };
        let look = keeping.look(event, &mut self.sump)?;
        Some((look, self.sump.look(who, look)?))
    }

    /// The event moves level and rate. `service` numbers a flight's kind of service; `decay` is what
    /// break-in takes off the rate during it, with its relative standard deviation; `mate_h` are the hours of
    /// the same flight on the mate, where it is followed.
    pub fn go(&mut self, event: &Event, service: u8, decay: Option<(f64, f64)>, mate_h: Option<f64>) {
        match &event.what {
            What::Flight { hours, inferred, .. } => {
                self.flight(event.at, *hours, *inferred, service, decay, mate_h);
                self.rest(event.at);
            }
            What::GroundRun { hours } => self.burnt += self.sump.fly(Who::Own, ground(*hours)),
            What::Added { qt, .. } => self.own.pour(&mut self.sump, *qt),
            What::Changed { level_after_qt, .. } => self.own.refill(&mut self.sump, *level_after_qt),
            What::BuildBegan(kind) => self.new_build(*kind),
            What::Installed => self.sump.belief.cov[LEVEL][LEVEL] += 0.5,
            _ => {}
        }
    }

    /// An event other than a flight moves what is believed of the mate.
    pub fn mate_goes(&mut self, event: &Event) {
        let Some(keeping) = &mut self.mate else { return };
        match &event.what {
            What::GroundRun { hours } => self.mate_burnt += self.sump.fly(Who::Mate, ground(*hours)),
            What::Added { qt, .. } => keeping.pour(&mut self.sump, *qt),
            What::Changed { level_after_qt, .. } => keeping.refill(&mut self.sump, *level_after_qt),
            _ => {}
        }
    }

    fn unnamed_share_with(&self, unnamed: bool) -> f64 {
        self.unnamed_share + UNNAMED_FADE * (f64::from(u8::from(unnamed)) - self.unnamed_share)
    }

    /// With a further flight, named or not, most flights lately are not named.
    pub fn mostly_unnamed(&self, unnamed: bool) -> bool {
        self.unnamed_share_with(unnamed) > 0.5
    }

    fn flight(
        &mut self,
        at: Instant,
        hours: f64,
        inferred: bool,
        service: u8,
        decay: Option<(f64, f64)>,
        mate_h: Option<f64>,
    ) {
        let named = (service != UNNAMED).then(|| self.service(at, service));
        let unknown = match named {
            Some(slot) => self.services[slot],
            None if inferred => None,
            None => self.unnamed(),
        };
        self.unnamed_share = self.unnamed_share_with(named.is_none());
        let mate_odds = self.mate.as_mut().map_or(0.0, |m| m.forgotten(&self.sump));
        let forgotten = [self.own.forgotten(&self.sump), mate_odds];
        self.sump.begin_flight(forgotten);
        let flights = inferred.then(|| (hours / USUAL_FLIGHT_H).max(1.0));
        let leg = Leg { hours, factor: 1.0, service: unknown, inferred: flights };
        self.burnt += self.sump.fly(Who::Own, leg);
        if let (Some(hours), Some(mate)) = (mate_h, &mut self.mate) {
            self.mate_burnt += self.sump.fly(Who::Mate, Leg { hours, ..leg });
            mate.flew(hours, inferred);
        }
        if let Some((factor, sd)) = decay {
            self.sump.scale_rate(factor, sd);
        }
        let fade = (-hours * std::f64::consts::LN_2 / MIX_HALF_H).exp();
        self.mix.iter_mut().for_each(|h| *h *= fade);
        if let Some(slot) = named {
            self.mix[slot] += hours;
        }
        self.flight_h += 0.03 * (hours - self.flight_h);
        self.own.flew(hours, inferred);
    }

    /// The slot of a service. Services are followed once there are two and the rate is roughly known:
    /// a product of two things nobody knows yet teaches nothing.
    fn service(&mut self, at: Instant, number: u8) -> usize {
        let slot = usize::from(number).min(SERVICES - 1);
        self.known_services = self.known_services.max(slot + 1);
        let (rate, sd) = (self.sump.rate(), self.sump.belief.cov[RATE][RATE].max(0.0).sqrt());
        if self.known_services > 1 && (self.services[0].is_some() || sd < ROUGHLY * rate) {
            let total = self.mix.iter().sum::<f64>().max(1e-9);
            for s in 0..self.known_services {
                if self.services[s].is_none() {
                    self.services[s] = self.sump.follow_service(self.mix[s] / total);
                    self.ask_fleet(at, s);
                }
            }
            if self.asked != month(at) {
                self.asked = month(at);
                (0..self.known_services).for_each(|s| self.ask_fleet(at, s));
            }
        }
        slot
    }

    /// The unknown of flights without a word, moved on to the next flight: what is flown runs on for a while.
    fn unnamed(&mut self) -> Option<usize> {
        if self.unnamed.is_none() {
            self.unnamed = self.sump.follow_unnamed();
        }
        let i = self.unnamed?;
        self.sump.run_on(i);
        Some(i)
    }

    fn rest(&mut self, at: Instant) {
        if let Some(last) = self.last
            && (at - last).num_days() > LONG_IDLE_DAYS
        {
            let belief = &mut self.sump.belief;
            belief.cov[LEVEL][LEVEL] += REFILL_VAR;
            belief.cov[RATE][RATE] += (0.1 * belief.mean[RATE]).powi(2);
        }
        self.last = Some(at);
    }

    /// Rings seat anew: what was learned of the rate is of another engine.
    fn new_build(&mut self, _kind: BuildKind) {
        self.sump.forget_rate(BREAK_IN_RATE, BREAK_IN_RATE_SD);
        self.sump.belief.cov[LEVEL][LEVEL] += 0.5;
    }

    /// The rate over the mix of services lately flown, and its standard deviation, qt/h.
    pub fn mean_rate(&self) -> (f64, f64) {
        let (factor, slope) = self.mean_factor();
        let b = &self.sump.belief;
        let mut variance = 0.0;
        for i in 0..b.n {
            for k in 0..b.n {
                variance += slope[i] * slope[k] * b.cov[i][k];
            }
        }
        ((b.mean[RATE] * factor).max(LEAST_RATE), variance.max(0.0).sqrt())
    }

    /// Factor of a kind of service, as believed.
    pub fn service_factor(&self, number: u8) -> f64 {
        let unknown = match number {
            UNNAMED => self.unnamed,
            _ => self.services[usize::from(number).min(SERVICES - 1)],
        };
        unknown.map_or(1.0, |i| 1.0 + self.sump.belief.mean[i])
    }

    /// Mean service factor over the mix lately flown, and the slope of the mean rate in every unknown.
    pub fn mean_factor(&self) -> (f64, [f64; UNKNOWNS]) {
        let mut slope = [0.0; UNKNOWNS];
        let total = self.mix.iter().sum::<f64>();
        let mut factor = 1.0;
        if total > 0.0 {
            for (hours, service) in self.mix.iter().zip(self.services) {
                if let Some(i) = service {
                    factor += hours / total * self.sump.belief.mean[i];
                    slope[i] = hours / total * self.sump.rate();
                }
            }
        }
        slope[RATE] = factor;
        (factor, slope)
    }

    /// Standard deviation of the level, qt.
    pub fn level_sd(&self) -> f64 {
        self.sump.belief.cov[LEVEL][LEVEL].max(0.0).sqrt()
    }
}

/// Hours run on the ground.
fn ground(hours: f64) -> Leg {
    Leg { hours, factor: GROUND_SHARE, service: None, inferred: None }
}

/// Numbers service words by order of first mention.
#[derive(Debug, Default)]
pub struct Numbering<'a>(Vec<&'a Arc<str>>);

impl<'a> Numbering<'a> {
    /// The number of an event's service, if it is a flight.
    pub fn number(&mut self, what: &'a What) -> u8 {
        let What::Flight { service, .. } = what else { return NO_SERVICE };
        let Some(word) = service else { return UNNAMED };
        let found = self.0.iter().position(|w| *w == word).unwrap_or(self.0.len());
        if found == self.0.len() {
            self.0.push(word);
        }
        u8::try_from(found.min(SERVICES - 1)).unwrap_or(0)
    }

    /// The words numbered so far; of those beyond the last number the first.
    pub fn words(&self) -> Arc<[Arc<str>]> {
        self.0.iter().take(SERVICES).map(|word| (*word).clone()).collect()
    }
}
