//! Which runs were recorded, and how each was flown.

use chrono::{Datelike, NaiveDate, NaiveDateTime};

use super::random::Random;
use super::recording::{self, Step};
use super::season::{Season, Slot};
use super::world::{Entry, Tenths, day};

/// A run without flight.
pub struct Ground {
    pub minutes: f64,
    /// Highest rpm, and highest cylinder head temperature reached, °F.
    pub rpm: f64,
    pub cht: f64,
}

/// How a flight was flown.
#[derive(Clone, Copy, PartialEq)]
enum Manner {
    Ordinary,
    /// First flight of a build: over the field, initial cruise with propeller cycles.
    First,
    /// In break-in: short on the ground, firm cruise power, stepped descent.
    BreakIn,
    /// In break-in, but high and therefore with little power.
    Low,
    /// In break-in, with one abrupt power reduction.
    Abrupt,
    /// Short, and the oil never warm.
    Cold,
}

fn manner(tail: &str, slot: &Slot, breaking_in: bool) -> Option<(Manner, f64)> {
    let between = |a: NaiveDate, b: NaiveDate| slot.date >= a && slot.date <= b;
    let on = |m, d| slot.date == day(2026, m, d);
    let fine = 5.0;
    let coarse = 10.0;
    match tail {
        "N02KM" if on(3, 6) => Some((Manner::Low, fine)),
        "N02KM" if on(3, 8) => Some((Manner::Abrupt, fine)),
        "N02KM" if between(day(2026, 3, 4), day(2026, 3, 20)) => Some((Manner::BreakIn, coarse)),
        "N05KM" if between(day(2025, 9, 16), day(2025, 9, 24)) => Some((Manner::BreakIn, coarse)),
        "N06KM" if between(day(2026, 1, 27), day(2026, 2, 4)) => Some((Manner::BreakIn, coarse)),
        "N08KM" if between(day(2026, 8, 4), day(2026, 8, 10)) => Some((Manner::BreakIn, coarse)),
        "N07KM" if between(day(2026, 1, 8), day(2026, 1, 20)) && slot.place == 0 => Some((Manner::Cold, coarse)),
        "N03KM" if (on(2, 6) || on(2, 16) || on(2, 19)) && slot.place == 0 => Some((Manner::Ordinary, coarse)),
        _ => {
            let one_in = if matches!(tail, "N03KM" | "N04KM" | "N06KM") { 70 } else { 45 };
            let mut random = Random::of(tail, i64::from(slot.date.num_days_from_ce()) + 2_000_000);
            let usual = if breaking_in { Manner::BreakIn } else { Manner::Ordinary };
            (slot.place == 0 && random.whole(1, one_in) == 1).then_some((usual, coarse))
        }
    }
}

/// Field elevation of Brindlemoor, ft.
pub const FIELD_FT: f64 = 4200.0;

fn step(seconds: f64, rpm: f64, manifold: f64, fpm: f64, kt: f64) -> Step {
    Step { seconds, rpm, manifold, fpm, kt, extra_cooling: 0.0, ground: false, away: kt > 0.0 }
}

fn on_ground(seconds: f64, rpm: f64, kt: f64) -> Step {
    Step { ground: true, away: false, ..step(seconds, rpm, 0.0, 0.0, kt) }
}

/// Start, taxi and run-up, minutes in all.
fn out(steps: &mut Vec<Step>, minutes: f64) {
    steps.push(on_ground(minutes * 60.0 * 0.35, 1000.0, 0.0));
    steps.push(on_ground(minutes * 60.0 * 0.40, 1050.0, 12.0));
    steps.push(on_ground(minutes * 60.0 * 0.17, 1800.0, 0.0));
    steps.push(on_ground(minutes * 60.0 * 0.08, 1050.0, 8.0));
}

/// From cruise height down in small steps of power, pattern, landing and taxi in.
fn home(steps: &mut Vec<Step>, height: f64, cruise: f64, taxi_min: f64) {
    let mut left = height;
    let mut manifold = cruise;
    while left > 900.0 {
        manifold = (manifold - 2.0).max(15.0);
        let feet = (left - 900.0).min(900.0);
        steps.push(step(feet / 500.0 * 60.0, 2300.0, manifold, -500.0, 150.0));
        left -= feet;
    }
    while manifold > 18.0 {
        manifold -= 2.0;
        steps.push(step(75.0, 2300.0, manifold, 0.0, 130.0));
    }
    steps.push(step(150.0, 2350.0, 16.0, 0.0, 105.0));
    steps.push(step(left / 450.0 * 60.0, 2400.0, 14.0, -450.0, 85.0));
    steps.push(on_ground(25.0, 1100.0, 35.0));
    steps.push(on_ground(taxi_min * 60.0 - 25.0, 1000.0, 11.0));
}

/// Take-off and climb with full power to 1,000 ft above the field, then less, to `height` above it.
fn up(steps: &mut Vec<Step>, turbo: bool, full: f64, height: f64, climb_kt: f64) {
    let lower = if turbo { full - 3.0 } else { full };
    steps.push(Step { ground: true, away: false, ..step(22.0, 2690.0, full, 0.0, 55.0) });
    steps.push(Step { away: false, ..step(1000.0 / 900.0 * 60.0, 2690.0, full, 900.0, climb_kt) });
    let over = (height.min(3000.0) - 1000.0).max(0.0);
    steps.push(Step { away: false, ..step(over / 700.0 * 60.0, 2500.0, lower, 700.0, climb_kt) });
    steps.push(step((height - 1000.0 - over).max(0.0) / 600.0 * 60.0, 2500.0, lower, 600.0, climb_kt + 10.0));
}

/// Power taken off in small steps, `from` down to near `to`.
fn ease(steps: &mut Vec<Step>, from: f64, to: f64) {
    let mut manifold = from - 2.0;
    while manifold > to {
        steps.push(Step { away: false, ..step(75.0, 2450.0, manifold, 0.0, 140.0) });
        manifold -= 2.0;
    }
}

/// Twenty minutes over the field near 24 inHg and 2300 rpm, the propeller cycled twice every five minutes.
fn initial_cruise(steps: &mut Vec<Step>, manifold: f64) {
    for _ in 0..8 {
        steps.push(Step { away: false, ..step(110.0, 2300.0, manifold, 0.0, 140.0) });
        steps.push(Step { away: false, ..step(20.0, 2650.0, manifold, 0.0, 140.0) });
        steps.push(Step { away: false, ..step(20.0, 2200.0, manifold, 0.0, 140.0) });
    }
}

/// Cruise setting (rpm, inHg) and height above the field for a manner of flying.
fn cruise_setting(manner: Manner, turbo: bool, full: f64, random: &mut Random) -> (f64, f64, f64) {
    match (manner, turbo) {
        (Manner::Low, _) => (2400.0, 40.0, 7300.0),
        (Manner::Cold, _) => (2300.0, 20.5, 1500.0),
        (Manner::First, false) => (2500.0, 22.0, 3000.0),
        // Near 70 % of rated power.
        (Manner::First, true) => (2450.0, 8.0 + 0.78 * (full - 7.4), 3000.0),
        (_, true) => (2450.0, 8.0 + random.between(0.76, 0.79) * (full - 7.4), 1500.0 * random.whole(3, 6) as f64),
        (Manner::Ordinary, _) => (2400.0, 22.0, 1000.0 * random.whole(2, 4) as f64),
        _ => (2500.0, 22.0, 1000.0 * random.whole(3, 4) as f64),
    }
}

fn flown(manner: Manner, turbo: bool, full: f64, minutes: f64, random: &mut Random) -> Vec<Step> {
    let mut steps = Vec::new();
    let short = !matches!(manner, Manner::Ordinary | Manner::Cold);
    let (before, after) = if short { (5.6, 2.8) } else { (random.between(7.0, 10.0), random.between(3.0, 5.0)) };
    out(&mut steps, before);
    let (rpm, manifold, height) = cruise_setting(manner, turbo, full, random);
    let climb_kt = if short { 115.0 } else { 100.0 };
    if manner == Manner::First {
        up(&mut steps, turbo, full, 1000.0, climb_kt);
        ease(&mut steps, if turbo { full } else { 0.0 }, manifold);
        initial_cruise(&mut steps, if turbo { manifold } else { 24.0 });
        steps.push(Step { away: false, ..step((height - 1000.0) / 500.0 * 60.0, 2500.0, manifold, 500.0, 120.0) });
    } else {
        up(&mut steps, turbo, full, height, climb_kt);
        ease(&mut steps, if turbo { full - 3.0 } else { 0.0 }, manifold);
    }
    let spent: f64 = steps.iter().map(|s| s.seconds).sum();
    let mut homeward = Vec::new();
    if manner == Manner::Abrupt {
        // 24 to 16 inHg in twenty seconds at high speed.
        homeward.push(step(120.0, 2500.0, 24.0, -300.0, 150.0));
        homeward.push(Step { extra_cooling: 130.0, ..step(150.0, 2300.0, 16.0, -700.0, 175.0) });
    }
    let lost: f64 = homeward.iter().map(|s| -s.fpm * s.seconds / 60.0).sum();
    home(&mut homeward, height - lost, if turbo { manifold } else { 21.0 }, after);
    let back: f64 = homeward.iter().map(|s| s.seconds).sum();
    steps.push(step((minutes * 60.0 - spent - back).max(240.0), rpm, manifold, 0.0, 150.0));
    steps.extend(homeward);
    steps
}

/// Records a flight, if the story or chance has it recorded.
pub fn record(season: &mut Season, tail: usize, slot: &Slot, length: Tenths) {
    let name = season.tails[tail].name;
    let breaking_in =
        season.seated(tail).iter().any(|&e| season.engines[e].fresh && season.engines[e].since_build < 500);
    let Some((mut manner, every_s)) = manner(name, slot, breaking_in) else { return };
    if season.seated(tail).iter().any(|&e| season.engines[e].fresh && season.engines[e].since_build <= 2) {
        manner = Manner::First;
    }
    let mut random = Random::of(name, i64::from(slot.date.num_days_from_ce()) * 10 + slot.place as i64);
    let seated = season.seated(tail);
    let Some(&first) = seated.first() else { return };
    let model = super::models::model(season.engines[first].model);
    // Beyond what the air gives at height: the recording takes full throttle then.
    let full = if model.turbocharged { model.manifold_max - 0.6 } else { 40.0 };
    let minutes = length as f64 * 6.0 + if manner == Manner::Cold { 1.0 } else { 4.0 };
    let steps = flown(manner, model.turbocharged, full, minutes, &mut random);
    let start = slot.date.and_hms_opt(0, 0, 0).unwrap_or_default() + chrono::Duration::minutes(slot.off);
    let cold = manner == Manner::Cold;
    keep(season, tail, start, slot.place + 1, &recording::Run { steps, every_s, cold, cht_to: None }, false);
}

/// Logs and records a run on the ground that takes the meter on by `tenths`.
pub fn ground(season: &mut Season, tail: usize, (date, minute): (NaiveDate, i64), run: &Ground, tenths: Tenths) {
    let seconds = run.minutes * 60.0;
    let steps = vec![
        on_ground(seconds * 0.5, run.rpm.min(1200.0) - 200.0, 0.0),
        on_ground(seconds * 0.3, run.rpm, 0.0),
        on_ground(seconds * 0.2, run.rpm.min(1200.0) - 200.0, 0.0),
    ];
    let start = date.and_hms_opt(0, 0, 0).unwrap_or_default() + chrono::Duration::minutes(minute);
    let every_s = 5.0;
    keep(season, tail, start, 0, &recording::Run { steps, every_s, cold: false, cht_to: Some(run.cht) }, true);
    let seat = if season.tails[tail].twin() { "right" } else { "" };
    season.run(tail, tenths);
    let remarks = format!("ground run, {:.0} min", run.minutes.round());
    let minute = minute + run.minutes as i64 + 2;
    let length = Some(tenths);
    season.note(tail, Entry { date, minute, seat, what: "ground-run", length, remarks, ..Entry::default() });
}

fn keep(season: &mut Season, tail: usize, start: NaiveDateTime, place: usize, run: &recording::Run, right_only: bool) {
    let seats = &season.tails[tail].seats;
    let engines: Vec<(&str, &str)> = seats
        .iter()
        .filter(|seat| !right_only || seats.len() == 1 || seat.0 == "right")
        .filter_map(|seat| seat.1.map(|engine| (seat.0, season.engines[engine].model)))
        .collect();
    let (name, bytes) = recording::file(season.tails[tail].name, &engines, start, place, run);
    season.tails[tail].recordings.push((name, bytes));
}
