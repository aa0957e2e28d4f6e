//! Reads one engine's logbook into its sump, whatever the kind of log.
//!
//! A log with a dipstick reading before most flights, one with flights and oil only when it is
//! added, and one with nothing but additions are followed by the same sump; each entry is used for
//! what it is, and the kind is told from what came lately, so that an engine may change from one to
//! another. Only the past is used: the same records up to a moment give the same state, whenever asked.

use super::belief::UNKNOWNS;
use super::evidence::{Evidence, Look, Mark};
use super::sump::{LEVEL, Leg, RATE, REFILL_VAR, Sump};
use super::unlogged::{Habit, forgotten_at};
use crate::engine::{Engine, Event, What};
use crate::records::Instant;
use crate::records::aircraft::BuildKind;

/// What a log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Log {
    Levels,
    FlightsAndAdditions,
    AdditionsOnly,
}

impl Log {
    /// As people read it.
    pub fn words(self) -> &'static str {
        match self {
            Self::Levels => "levels",
            Self::FlightsAndAdditions => "flights and additions",
            Self::AdditionsOnly => "additions only",
        }
    }
}

/// Kinds of service told apart; later ones count as the last.
pub const SERVICES: usize = 7;
/// No service: the event is not a flight.
pub const NO_SERVICE: u8 = u8::MAX;

/// Flights without a reading after which a log no longer counts as one with levels.
const FLIGHTS_WITHOUT_READING: u32 = 5;
/// Level of a sump nothing is known of, qt, and how far below it oil is added.
const UNKNOWN_FILL_QT: f64 = 8.0;
const MARK_BELOW_FILL_QT: f64 = 1.0;
/// Variance of a mark to be learned, qt².
const MARK_VAR: f64 = 0.36;
/// Hours each service counts before any are flown, so that a fortnight of one kind does not pass for the usual mix.
const MIX_PRIOR_H: f64 = 60.0;
/// Relative standard deviation from which the rate is roughly known.
const ROUGHLY: f64 = 0.2;
/// Hours after which the mix of services counts half.
const MIX_HALF_H: f64 = 1000.0;
/// A reading right after a refill, qt² (its own error).
const REFILL_READ_VAR: f64 = 0.07;
/// Idle days after which level and rate may have moved by themselves.
const LONG_IDLE_DAYS: i64 = 60;
/// Length of a flight where the log does not give it, hours.
const USUAL_FLIGHT_H: f64 = 1.3;
/// Consumption of a ground run, of that in flight.
const GROUND_SHARE: f64 = 0.3;
/// Rate believed of rings that have yet to seat, qt/h, and its standard deviation.
const BREAK_IN_RATE: f64 = 0.3;
const BREAK_IN_RATE_SD: f64 = 0.25;

/// Odds of an addition not logged beside one that was, and where nothing is known of the level.
const TWICE: f64 = 3e-4;
const UNSEEN: f64 = 7e-3;

/// One sump and what the log around it is like. Copying it is taking a snapshot.
#[derive(Clone, Copy, Debug)]
pub struct Track {
    pub sump: Sump,
    /// Somebody looked at the oil since the last flight.
    pub looked: bool,
    mark: Option<Mark>,
    fill: Option<f64>,
    /// Unknown of each service, by order of first mention.
    services: [Option<usize>; SERVICES],
    known_services: usize,
    /// Hours by service, fading.
    mix: [f64; SERVICES],
    since_reading: u32,
    logged_h: f64,
    inferred_h: f64,
    /// Mean flight hours, fading.
    pub flight_h: f64,
    last: Option<Instant>,
    /// Quarts burnt since the records began.
    pub burnt: f64,
    habit: Habit,
    /// The reading since the last flight, and whether oil was added since.
    reading: Option<f64>,
    added: bool,
}

impl Track {
    /// As the records begin.
    pub fn new(engine: &Engine) -> Self {
        let fill = engine.fill_qt;
        let fresh = engine.last_change_hours.is_some_and(|h| engine.hours_at_start - h < 1.0);
        let at_fill = fill.or(engine.model.oil_capacity_qt).unwrap_or(UNKNOWN_FILL_QT);
        let sump = match (fill, fresh) {
            (Some(level), true) => Sump::new(level, REFILL_VAR),
            _ => Sump::new(at_fill - 0.5, if fill.is_some() { 0.4 } else { 4.0 }),
        };
        let mut track = Self {
            sump,
            looked: false,
            mark: engine.add_mark_qt.map(Mark::At),
            fill,
            services: [None; SERVICES],
            known_services: 0,
            mix: [0.0; SERVICES],
            since_reading: FLIGHTS_WITHOUT_READING + 1,
            logged_h: 0.0,
            inferred_h: 0.0,
            flight_h: USUAL_FLIGHT_H,
            last: None,
            burnt: 0.0,
            habit: Habit::NONE,
            reading: None,
            added: false,
        };
        if let Some(build) = engine.builds.first()
            && let (Some(_), true) = (build.kind, build.zero_known)
            && engine.hours_at_start - build.zero_hours < 25.0
        {
            track.sump.forget_rate(BREAK_IN_RATE, BREAK_IN_RATE_SD);
        }
        track
    }

    /// What kind of log this has been lately.
    pub fn log(&self) -> Log {
        if self.since_reading <= FLIGHTS_WITHOUT_READING {
            Log::Levels
        } else if self.inferred_h > self.logged_h {
            Log::AdditionsOnly
        } else {
            Log::FlightsAndAdditions
        }
    }

    fn mark(&mut self) -> Mark {
        if let Some(mark) = self.mark {
            return mark;
        }
        let guess = self.fill.map_or(self.sump.level() - 0.5, |f| f - MARK_BELOW_FILL_QT);
        let mark = self.sump.belief.push(guess, MARK_VAR).map_or(Mark::At(guess), Mark::Unknown);
        if let Mark::Unknown(i) = mark {
            self.sump.changes.settle(i);
            self.sump.top_ups.settle(i);
        }
        self.mark = Some(mark);
        mark
    }

    /// The mark as believed, if the log has needed one.
    pub fn mark_qt(&self) -> Option<f64> {
        self.mark.map(|m| m.at(&self.sump.belief))
    }

    /// What the event shows of the oil, before it moves anything. `None`: nothing.
    pub fn look(&mut self, event: &Event) -> Option<(Look, Evidence)> {
        let look = match event.what {
            What::Level { qt } => {
                self.since_reading = 0;
                self.looked = true;
                self.reading = Some(qt);
                Look::Reading(qt)
            }
            What::Added { qt, .. } if !self.looked => {
                self.looked = true;
                match self.log() {
                    Log::Levels => return None,
                    Log::FlightsAndAdditions => Look::Added(self.mark(), qt),
                    Log::AdditionsOnly => Look::AddedAlone(self.mark(), qt),
                }
            }
            What::Flight { inferred: false, .. } if !self.looked && self.log() == Log::FlightsAndAdditions => {
                Look::NoneAdded(self.mark())
            }
            _ => return None,
        };
        Some((look, self.sump.look(look)))
    }

    /// The event moves level and rate. `service` numbers a flight's kind of service; `decay` is what
    /// break-in takes off the rate during it, with its relative standard deviation.
    pub fn go(&mut self, event: &Event, service: u8, decay: Option<(f64, f64)>) {
        match &event.what {
            What::Flight { hours, inferred, .. } => {
                self.flight(*hours, *inferred, usize::from(service), decay);
                self.rest(event.at);
            }
            What::GroundRun { hours } => {
                self.burnt += self.sump.fly(Leg { hours: *hours, factor: GROUND_SHARE, service: None, inferred: None });
            }
            What::Added { qt, .. } => {
                self.added = true;
                self.sump.pour(*qt);
            }
            What::Changed { level_after_qt, .. } => self.refill(*level_after_qt),
            What::BuildBegan(kind) => self.new_build(*kind),
            What::Installed => self.sump.belief.cov[LEVEL][LEVEL] += 0.5,
            _ => {}
        }
    }

    fn flight(&mut self, hours: f64, inferred: bool, service: usize, decay: Option<(f64, f64)>) {
        let service = self.service(service);
        let forgotten = self.forgotten();
        self.sump.begin_flight(forgotten);
        let flights = inferred.then(|| (hours / USUAL_FLIGHT_H).max(1.0));
        let leg = Leg { hours, factor: 1.0, service: self.services[service], inferred: flights };
        self.burnt += self.sump.fly(leg);
        if let Some((factor, sd)) = decay {
            self.sump.scale_rate(factor, sd);
        }
        let fade = (-hours * std::f64::consts::LN_2 / MIX_HALF_H).exp();
        self.mix.iter_mut().for_each(|h| *h *= fade);
        self.mix[service] += hours;
        let keep = 0.9;
        let of = if inferred { &mut self.inferred_h } else { &mut self.logged_h };
        *of += hours;
        self.inferred_h *= keep;
        self.logged_h *= keep;
        self.flight_h += 0.03 * (hours - self.flight_h);
        self.looked = false;
        self.since_reading = self.since_reading.saturating_add(1);
    }

    /// Odds that oil was added before this flight and nobody logged it.
    fn forgotten(&mut self) -> f64 {
        let (reading, added) = (self.reading.take(), std::mem::take(&mut self.added));
        let odds = match (reading, self.mark) {
            _ if added => TWICE,
            (Some(y), _) => self.habit.forgotten(y),
            (None, Some(mark)) => {
                let (seen, at) = mark.against(LEVEL);
                let above = seen.take(&self.sump.belief.mean) - at;
                forgotten_at(&self.sump.belief, seen, above)
            }
            (None, None) => UNSEEN,
        };
        if let Some(y) = reading {
            self.habit.note(y, added);
        }
        odds
    }

    /// The slot of a service. Services are followed once there are two and the rate is roughly known:
    /// a product of two things nobody knows yet teaches nothing.
    fn service(&mut self, number: usize) -> usize {
        let slot = number.min(SERVICES - 1);
        self.known_services = self.known_services.max(slot + 1);
        let (rate, sd) = (self.sump.rate(), self.sump.belief.cov[RATE][RATE].max(0.0).sqrt());
        if self.known_services > 1 && (self.services[0].is_some() || sd < ROUGHLY * rate) {
            let total = self.mix.iter().sum::<f64>().max(1e-9);
            for s in 0..self.known_services {
                if self.services[s].is_none() {
                    self.services[s] = self.sump.follow_service(self.mix[s] / total);
                }
            }
        }
        slot
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

    fn refill(&mut self, level: Option<f64>) {
        match (level, self.fill) {
            (Some(level), _) => {
                self.sump.refill(level, REFILL_READ_VAR);
                self.fill.get_or_insert(level);
            }
            (None, Some(fill)) => self.sump.refill(fill, REFILL_VAR),
            (None, None) => self.sump.refill(self.sump.level(), 1.0),
        }
        self.looked = false;
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
        (b.mean[RATE] * factor, variance.max(0.0).sqrt())
    }

    /// Factor of a kind of service, as believed.
    pub fn service_factor(&self, number: u8) -> f64 {
        let slot = usize::from(number).min(SERVICES - 1);
        self.services[slot].map_or(1.0, |i| 1.0 + self.sump.belief.mean[i])
    }

    /// Mean service factor over the mix lately flown, and the slope of the mean rate in every unknown.
    pub fn mean_factor(&self) -> (f64, [f64; UNKNOWNS]) {
        let mut slope = [0.0; UNKNOWNS];
        let followed = self.services.iter().flatten().count();
        let total = self.mix.iter().sum::<f64>() + followed as f64 * MIX_PRIOR_H;
        let mut factor = 1.0;
        if total > 0.0 {
            for (hours, service) in self.mix.iter().zip(self.services) {
                if let Some(i) = service {
                    let hours = hours + MIX_PRIOR_H;
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

/// Numbers the service words of an engine's flights by order of first mention, one per event.
pub fn number_services(engine: &Engine) -> Vec<u8> {
    let mut words: Vec<Option<&str>> = Vec::new();
    let mut numbers = Vec::with_capacity(engine.events.len());
    for event in &engine.events {
        let What::Flight { service, .. } = &event.what else {
            numbers.push(NO_SERVICE);
            continue;
        };
        let service = service.as_deref();
        let found = words.iter().position(|w| *w == service).unwrap_or(words.len());
        if found == words.len() {
            words.push(service);
        }
        numbers.push(u8::try_from(found.min(SERVICES - 1)).unwrap_or(0));
    }
    numbers
}
