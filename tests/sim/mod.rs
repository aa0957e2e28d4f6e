//! A simulated engine and its pilots, for tests: flights, readings, additions, drains, slips, wear and faults.
//!
//! Written from the description of realistic logs (common practice, no source): 0.25 qt dipstick
//! noise read to a quarter, 3 % gross reading errors, ±25 % by service, 4 % of additions not logged,
//! 1 % of hours mis-keyed, 0.3 qt refill error, drains every 50 h, slow wear.
#![allow(
    dead_code,
    clippy::unwrap_used,
    clippy::expect_used,
    reason = "test support; each program uses the part it needs"
)]

pub mod charts;

use std::fmt::Write as _;
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, TimeZone, Utc};
use cowlwatch::engine::{self, Build, Engine, Event, Model, Models, Placement, What};
use cowlwatch::records::aircraft::{BuildKind, Meter};
use cowlwatch::records::layout::{Layouts, Shape};
use cowlwatch::records::table::Sheet;
use cowlwatch::records::{self, Source, TailRecords, aircraft_file};

/// Reproducible random numbers (SplitMix64).
#[derive(Clone, Debug)]
pub struct Dice(pub u64);

impl Dice {
    pub fn bits(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    /// Uniform in 0..1.
    pub fn unit(&mut self) -> f64 {
        (self.bits() >> 11) as f64 / (1_u64 << 53) as f64
    }

    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Standard normal (Box–Muller).
    pub fn normal(&mut self) -> f64 {
        let radius = (-2.0 * self.unit().max(1e-300).ln()).sqrt();
        radius * (std::f64::consts::TAU * self.unit()).cos()
    }

    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }
}

/// What a log holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Kept {
    Levels,
    Flights,
    Additions,
}

/// What is simulated.
#[derive(Clone, Debug)]
pub struct Case {
    pub seed: u64,
    /// Rate over the mean mix of services, qt/h.
    pub rate: f64,
    pub hours: f64,
    /// From these engine hours on the rate is `ratio` times itself.
    pub fault_at: f64,
    pub ratio: f64,
    pub kept: Kept,
    /// Services are written down.
    pub service_logged: bool,
    /// Half the spread between services, of the mean.
    pub service_spread: f64,
    pub unlogged: f64,
    pub miskeyed: f64,
    pub gross: f64,
    /// Relative spread of consumption from flight to flight.
    pub flight_spread: f64,
    /// Relative growth of the rate per hour.
    pub wear: f64,
    /// Excess at zero hours and its time constant, for an engine just overhauled.
    pub break_in: Option<(f64, f64)>,
    pub fill: f64,
    pub mark: f64,
    pub mark_told: bool,
}

impl Case {
    /// Realistic: 8 h/qt, everything that goes wrong.
    pub fn realistic(seed: u64, kept: Kept) -> Self {
        Self {
            seed,
            rate: 0.125,
            hours: 500.0,
            fault_at: f64::INFINITY,
            ratio: 1.0,
            kept,
            service_logged: true,
            service_spread: 0.25,
            unlogged: 0.04,
            miskeyed: 0.01,
            gross: 0.03,
            flight_spread: 0.3,
            wear: 2e-4,
            break_in: None,
            fill: 7.0,
            mark: 6.0,
            mark_told: true,
        }
    }
}

/// One flight, as it was and as it was written down.
#[derive(Clone, Debug)]
pub struct Flight {
    pub at: DateTime<Utc>,
    pub hours: f64,
    /// Engine hours at its end.
    pub meter: f64,
    pub meter_written: f64,
    pub service: usize,
    pub refilled: bool,
    pub reading: f64,
    pub added: f64,
    pub added_written: f64,
    /// True rate over the mean mix of services, qt/h.
    pub rate: f64,
    /// Factor of this flight's service.
    pub factor: f64,
    /// Quarts truly burnt.
    pub burnt: f64,
}

pub const SERVICES: [&str; 2] = ["training", "charter"];

/// Services flown, flight by flight: shared by the engines of a twin.
pub fn schedule(dice: &mut Dice, hours: f64) -> Vec<(f64, usize)> {
    let mut flown = 0.0;
    let mut service = 0;
    let mut out = Vec::new();
    while flown < hours {
        if dice.chance(0.08) {
            service = 1 - service;
        }
        let h = if service == 0 { dice.between(0.6, 1.25) } else { dice.between(1.25, 2.55) };
        let h = (h * 10.0).round() / 10.0;
        flown += h;
        out.push((h, service));
    }
    out
}

/// Runs the engine and its pilots.
pub fn fly(case: &Case) -> Vec<Flight> {
    let mut dice = Dice(case.seed.wrapping_mul(0x5851_f42d_4c95_7f2d) ^ 0x1234);
    let plan = schedule(&mut dice, case.hours);
    fly_plan(case, &plan, &mut dice)
}

pub fn fly_plan(case: &Case, plan: &[(f64, usize)], dice: &mut Dice) -> Vec<Flight> {
    fly_plan_with(case, plan, dice, &|meter| if meter >= case.fault_at { case.ratio } else { 1.0 })
}

/// The same, with the fault's factor on the rate by engine hours.
pub fn fly_plan_with(case: &Case, plan: &[(f64, usize)], dice: &mut Dice, fault: &dyn Fn(f64) -> f64) -> Vec<Flight> {
    let by = |s: usize| plan.iter().filter(|p| p.1 == s).map(|p| p.0).sum::<f64>();
    let raw = [1.0 + case.service_spread, 1.0 - case.service_spread];
    let mean = (by(0) * raw[0] + by(1) * raw[1]) / (by(0) + by(1)).max(1e-9);
    let mut level = case.fill + 0.3 * dice.normal();
    let mut meter = 0.0;
    let mut since_drain = 0.0;
    let mut at = Utc.with_ymd_and_hms(2024, 1, 2, 9, 0, 0).unwrap();
    let mut out = Vec::with_capacity(plan.len());
    for &(hours, service) in plan {
        let refilled = since_drain >= 50.0;
        if refilled {
            level = case.fill + 0.3 * dice.normal();
            since_drain = 0.0;
        }
        let mut seen = level + 0.25 * dice.normal();
        if dice.chance(case.gross) {
            seen += if dice.chance(0.5) { 1.0 } else { -1.0 } * dice.between(0.5, 1.5);
        }
        let reading = (seen * 4.0).round() / 4.0;
        let added = match case.mark - reading {
            below if below < 0.0 => 0.0,
            below if below >= 0.75 && dice.chance(0.7) => 2.0,
            _ if dice.chance(0.1) => 0.5,
            _ => 1.0,
        };
        let written = if dice.chance(case.unlogged) { 0.0 } else { added };
        level += added;
        let seating = case.break_in.map_or(1.0, |(b, tau)| 1.0 + b * (-(meter + hours / 2.0) / tau).exp());
        let rate = case.rate * fault(meter) * seating * (1.0 + case.wear * meter);
        let factor = raw[service] / mean;
        let spread = (case.flight_spread.powi(2) + 1.0).ln().sqrt();
        let burnt = rate * factor * hours * (spread * dice.normal() - 0.5 * spread * spread).exp();
        level -= burnt;
        meter = ((meter + hours) * 10.0).round() / 10.0;
        since_drain += hours;
        let slip = if dice.chance(case.miskeyed) { dice.between(-20.0, 90.0).round() } else { 0.0 };
        out.push(Flight {
            at,
            hours,
            meter,
            meter_written: meter + slip,
            service,
            refilled,
            reading,
            added,
            added_written: written,
            rate,
            factor,
            burnt,
        });
        at += TimeDelta::minutes((hours * 60.0) as i64 + if dice.chance(0.4) { 90 } else { 60 * 26 });
    }
    out
}

/// The two engines of a twin on the same flights; only the first has the fault. With the engine hours at which that
/// began to fly.
pub fn twin(case: &Case) -> ([Engine; 2], f64) {
    let mut dice = Dice(case.seed.wrapping_mul(0x5851_f42d_4c95_7f2d) ^ 0x1234);
    let plan = schedule(&mut dice, case.hours);
    let flights = fly_plan(case, &plan, &mut dice);
    let healthy = Case { ratio: 1.0, ..case.clone() };
    let mut beside = fly_plan(&healthy, &plan, &mut dice);
    beside.iter_mut().zip(&flights).for_each(|(b, f)| b.at = f.at);
    let mut mate = engine(&healthy, &beside);
    mate.serial = "H-2208".into();
    let first = flights.iter().find(|f| f.meter - f.hours >= case.fault_at - 1e-6);
    ([engine(case, &flights), mate], first.map_or(f64::INFINITY, |f| f.meter - f.hours))
}

/// A plain engine model: no ceiling in reach.
pub fn model() -> Arc<Model> {
    let source = Source { file: "engines.toml".into(), line: 1 };
    let mut model = Model::unknown("H6-300".into(), source);
    model.rated_hp = 300.0;
    model.oil_capacity_qt = Some(8.0);
    model.oil_minimum_qt = Some(4.0);
    model.into()
}

/// The engine as the records would give it.
pub fn engine(case: &Case, flights: &[Flight]) -> Engine {
    let mut events = Vec::with_capacity(flights.len() * 3);
    let tail: Arc<str> = "N0417H".into();
    let file: Arc<str> = "N0417H/logbook.csv".into();
    let mut unflown = 0.0;
    for (i, f) in flights.iter().enumerate() {
        let mut add = |what, hours| {
            let source = Source { file: file.clone(), line: i as u32 * 3 + 2 };
            events.push(Event {
                at: f.at,
                hours,
                build: 0,
                tail: tail.clone(),
                position: None,
                source,
                remarks: None,
                what,
            });
        };
        let before = f.meter - f.hours;
        let inferred = case.kept == Kept::Additions;
        if inferred && (f.refilled || f.added_written > 0.0) && unflown > 0.0 {
            add(What::Flight { hours: unflown, service: None, inferred: true }, before);
            unflown = 0.0;
        }
        if f.refilled {
            add(What::Changed { level_after_qt: None, oil: None }, before);
        }
        if case.kept == Kept::Levels {
            add(What::Level { qt: f.reading }, before);
        }
        if f.added_written > 0.0 {
            add(What::Added { qt: f.added_written, oil: None }, before);
        }
        if inferred {
            unflown += f.hours;
        } else {
            let service = case.service_logged.then(|| Arc::from(SERVICES[f.service]));
            add(What::Flight { hours: f.hours, service, inferred: false }, f.meter);
        }
    }
    let kind = case.break_in.map(|_| BuildKind::Overhaul);
    Engine {
        serial: "H-2207".into(),
        model: model(),
        clock_h: flights.last().map_or(0.0, |f| f.meter),
        events,
        builds: vec![Build {
            kind,
            began: None,
            zero_hours: if kind.is_some() { 0.0 } else { -500.0 },
            zero_known: kind.is_some(),
            source: Source { file: "N0417H/aircraft.toml".into(), line: 4 },
        }],
        placements: vec![Placement { tail: tail.clone(), position: None, meter: Meter::Tach, from: None, to: None }],
        hours_at_start: 0.0,
        hours_since_new_known: false,
        oil_at_start: None,
        last_change_hours: Some(0.0),
        fill_qt: Some(case.fill),
        add_mark_qt: case.mark_told.then_some(case.mark),
        zone: chrono_tz::UTC,
    }
}

/// The logbook in the standard layout.
pub fn logbook(case: &Case, flights: &[Flight]) -> String {
    let mut out = String::from("date,time,hours,entry,quantity,level,oil,flight_hours,service,result,remarks\n");
    for f in flights {
        let before = f.meter_written - f.hours;
        let (date, time) = (f.at.format("%Y-%m-%d"), f.at.format("%H:%M"));
        if f.refilled {
            writeln!(out, "{date},{time},{before:.1},oil-changed,,,,,,,").unwrap();
        }
        match case.kept {
            Kept::Levels if f.added_written > 0.0 => {
                writeln!(out, "{date},{time},{before:.1},oil-added,{},{},,,,,", f.added_written, f.reading).unwrap();
            }
            Kept::Levels => writeln!(out, "{date},{time},{before:.1},oil-level,,{},,,,,", f.reading).unwrap(),
            _ if f.added_written > 0.0 => {
                writeln!(out, "{date},{time},{before:.1},oil-added,{},,,,,,", f.added_written).unwrap();
            }
            _ => {}
        }
        if case.kept != Kept::Additions {
            let service = if case.service_logged { SERVICES[f.service] } else { "" };
            writeln!(out, "{date},{time},{:.1},flight,,,,{:.1},{service},,", f.meter_written, f.hours).unwrap();
        }
    }
    out
}

/// The engine as read from its logbook, with whatever was mis-keyed in it.
pub fn read(case: &Case, flights: &[Flight]) -> Engine {
    let mark = if case.mark_told { format!("add_mark_qt = {}\n", case.mark) } else { String::new() };
    let aircraft = format!(
        "tail = \"N0417H\"\nmeter = \"tach\"\nmeter_at_start = 0.0\n[[engine]]\nserial = \"H-2207\"\n\
         model = \"H6-300\"\nhours_at_start = 0.0\nfill_qt = {}\n{mark}",
        case.fill
    );
    let aircraft = aircraft_file::parse(&aircraft, "N0417H/aircraft.toml", &Layouts::default()).0.unwrap();
    let sheet = Sheet::from_text(logbook(case, flights).as_bytes(), &Shape::default());
    let (entries, _) = records::logbook::read(&sheet, "N0417H/logbook.csv", None, &aircraft, chrono_tz::UTC);
    let models = Models::from([("H6-300".into(), model())]);
    let as_of = flights.last().map(|f| f.at + TimeDelta::days(1)).unwrap();
    let tails = [TailRecords { aircraft, entries, runs: Vec::new() }];
    engine::build(&tails, &models, chrono_tz::UTC, as_of, 0.3).engines.remove(0)
}
