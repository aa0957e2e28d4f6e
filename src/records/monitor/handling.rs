//! How a run was flown, for the break-in profile: power in cruise, the first climb, the first cruise, descents.

use super::RecordedEngine;
use super::channel::{ALT, FUEL_FLOW, GS, IAS, LAT, LON, MANIFOLD, OAT, POWER, RPM};
use super::figures::{middle, units};
use super::power::{Chart, From, Read, Setting, at_most_from_fuel_flow};
use super::summary::Run;
use crate::engine::Model;
use crate::records::run::{Handling, Phase};

/// Power counts as brought back when manifold pressure or rpm falls by this within [`BACK_MS`] and stays.
/// More than an unboosted engine loses by climbing. Thousandths.
const BACK_INHG: i32 = 1_500;
const BACK_RPM: i32 = 75_000;
const BACK_MS: i32 = 15_000;
/// Climb speed is looked at below this height above the field, thousandths of a foot, and from this long after lift-off.
const CLIMB_BELOW_FT: i32 = 3_000_000;
const SETTLED_MS: i32 = 30_000;
/// Farther from the field than this the aircraft no longer stays over it, nautical miles.
const OVER_FIELD_NM: f64 = 5.0;
/// Within this of the setting the initial cruise is flown as planned, thousandths.
const LIKE_INHG: i32 = 1_000;
const LIKE_RPM: i32 = 100_000;
/// Off the setting for this long ends the initial cruise, ms.
const OFF_MS: i32 = 120_000;
/// A propeller cycle: up to within this of the red line, down to within this of 2200 rpm (common practice, no source).
const NEAR_RED_LINE: i32 = 75_000;
const CYCLE_LOW_RPM: i32 = 2_240_000;
/// Rates of descent are taken over this long, ms.
const DESCENT_STEP_MS: i32 = 30_000;

/// The handling of a run; what stood in the way goes to `doubts`.
pub fn handling(run: &Run<'_>, engine: Option<&RecordedEngine>, doubts: &mut Vec<String>) -> Handling {
    let mut handling = Handling::default();
    cruise_power(run, engine.and_then(|e| e.model.as_deref()), &mut handling, doubts);
    first_climb(run, &mut handling);
    if let Some(engine) = engine {
        initial_cruise(run, engine.initial, &mut handling);
    }
    descents(run, &mut handling);
    handling
}

/// Percent power of any sample of a run, in the one way the recording and the model allow.
pub struct PowerReader<'a> {
    run: &'a Run<'a>,
    model: Option<&'a Model>,
    chart: Option<Chart<'a>>,
    pub from: From,
    last: LastRead,
}

impl<'a> PowerReader<'a> {
    /// `None`: nothing tells power.
    pub fn of(run: &'a Run<'a>, model: Option<&'a Model>) -> Option<Self> {
        let trace = run.trace;
        let chart = model.and_then(Chart::of).filter(|_| trace.has(RPM) && trace.has(MANIFOLD));
        let from = if trace.has(POWER) {
            From::Recorded
        } else if chart.is_some() {
            From::Chart
        } else if trace.has(FUEL_FLOW) && model.is_some_and(|m| m.hp_per_gph.is_some()) {
            From::FuelFlow
        } else {
            return None;
        };
        Some(Self { run, model, chart, from, last: None })
    }

    /// `None`: some reading it takes is missing.
    pub fn read(&mut self, i: usize) -> Option<Read> {
        let trace = self.run.trace;
        let units = |channel| trace.value(channel, i).map(|v| f64::from(v) / 1000.0);
        match (self.from, &self.chart, self.model) {
            (From::Recorded, ..) => units(POWER).map(Read::Percent),
            (From::Chart, Some(chart), _) => through_chart(self.run, chart, i, &mut self.last),
            (From::FuelFlow, _, Some(model)) => {
                units(FUEL_FLOW).and_then(|flow| at_most_from_fuel_flow(model, flow)).map(Read::Percent)
            }
            _ => None,
        }
    }
}

fn cruise_power(run: &Run<'_>, model: Option<&Model>, handling: &mut Handling, doubts: &mut Vec<String>) {
    let cruise = run.phase(&[Phase::Cruise]);
    let Some(mut power) = PowerReader::of(run, model) else {
        handling.cruise_unknown_s = run.seconds(&cruise).0 as f32;
        return;
    };
    let mut by_percent = [0i64; 256];
    let (mut unknown, mut outside, mut impossible) = (0i64, 0i64, 0i64);
    for i in cruise.iter().flat_map(|&(a, b)| a..b) {
        let Some(dt) = run.step(i) else { continue };
        let dt = i64::from(dt);
        let slot = match power.read(i) {
            Some(Read::Percent(p)) => &mut by_percent[p.clamp(0.0, 255.0) as usize],
            Some(Read::OutsideTheChart) => &mut outside,
            Some(Read::MoreThanPossible) => &mut impossible,
            None => &mut unknown,
        };
        *slot += dt;
    }
    unknown += outside + impossible;
    for (ms, what) in [(outside, "outside the power chart"), (impossible, "more power than this air allows")] {
        if ms >= 60_000 {
            doubts.push(format!("{what} for {} min of cruise", ms / 60_000));
        }
    }
    let seconds = |ms: i64| (ms as f64 / 1000.0) as f32;
    let found = by_percent.iter().enumerate().filter(|(_, ms)| **ms > 0);
    handling.cruise_power = found.map(|(p, ms)| (p as u8, seconds(*ms))).collect();
    handling.cruise_unknown_s = seconds(unknown);
    handling.power_from = (!handling.cruise_power.is_empty()).then(|| power.from.word().to_owned());
}

type LastRead = Option<([Option<i32>; 4], Option<Read>)>;

/// Percent power by chart; the same setting as before is not looked up again.
fn through_chart(run: &Run<'_>, chart: &Chart<'_>, i: usize, last: &mut LastRead) -> Option<Read> {
    let now = [RPM, MANIFOLD, ALT, OAT].map(|c| run.trace.value(c, i));
    if let Some((_, read)) = last.as_ref().filter(|(key, _)| *key == now) {
        return *read;
    }
    let [rpm, manifold_inhg, altitude_ft, oat_f] = now.map(|v| v.map(|v| f64::from(v) / 1000.0));
    let setting = rpm.zip(manifold_inhg).map(|(rpm, manifold_inhg)| Setting { rpm, manifold_inhg, altitude_ft, oat_f });
    let read = setting.map(|s| chart.read(s));
    *last = Some((now, read));
    read
}

fn first_climb(run: &Run<'_>, handling: &mut Handling) {
    let trace = run.trace;
    // A recording that begins in flight shows no first climb.
    let Some(&(up, down)) = run.air.spans.first().filter(|s| s.0 > 0) else { return };
    let field = trace.value(ALT, up);
    let above = |i: usize| Some(units(trace.value(ALT, i)? - field?));
    if let Some(at) = power_back(run, up, down) {
        handling.full_power_s = Some(trace.seconds(at) - trace.seconds(up));
        handling.power_back_ft = above(at);
    }
    let settled = trace.index_at(trace.t[up] + SETTLED_MS);
    let low = |i: &usize| trace.value(ALT, *i).zip(field).is_some_and(|(alt, field)| alt - field < CLIMB_BELOW_FT);
    let climbs = run.phase(&[Phase::TakeOff, Phase::Climb]);
    let climb = climbs.iter().find(|(a, b)| (*a..*b).contains(&settled) && *a < down).map(|(_, b)| settled..*b);
    let speed = [IAS, GS].into_iter().find(|c| trace.has(*c));
    if let (Some(climb), Some(speed)) = (climb, speed) {
        let top = climb.clone().take_while(low).last();
        handling.climb_kt = top.and_then(|top| run.median(speed, &[(climb.start, top + 1)])).map(units);
    }
    handling.left_field_ft = left_field(run, down).and_then(above);
}

/// The first sample at which power is seen coming off after the take-off.
fn power_back(run: &Run<'_>, up: usize, down: usize) -> Option<usize> {
    let trace = run.trace;
    let t = &trace.t;
    let fell = |channel: usize, i: usize, j: usize, by: i32| {
        let column = trace.column(channel);
        let (Some(a), Some(b)) = (trace.value(channel, j), trace.value(channel, i)) else { return false };
        let stays = || {
            let later = trace.index_at(t[i] + 2 * BACK_MS / 3).min(down - 1);
            trace.value(channel, later).is_none_or(|c| a - c >= by * 2 / 3)
        };
        a - b >= by && stays() && middle(column, j) - middle(column, i) >= by
    };
    let mut j = up;
    for i in up..down {
        while t[i] - t[j] > BACK_MS {
            j += 1;
        }
        for (channel, by) in [(MANIFOLD, BACK_INHG), (RPM, BACK_RPM)] {
            if fell(channel, i, j, by) {
                // Where the fall begins.
                let top = trace.value(channel, j)?;
                return (j..=i).find(|k| trace.value(channel, *k).is_some_and(|v| top - v >= by / 3));
            }
        }
    }
    None
}

/// The first sample farther than [`OVER_FIELD_NM`] from where the run began.
fn left_field(run: &Run<'_>, down: usize) -> Option<usize> {
    let trace = run.trace;
    let position =
        |i: usize| Some((f64::from(trace.value(LAT, i)?) / 1000.0, f64::from(trace.value(LON, i)?) / 1000.0));
    let (lat, lon) = (0..down).find_map(position)?;
    let shrink = libm::cos(lat.to_radians());
    (0..down).find(|i| {
        position(*i).is_some_and(|(a, b)| libm::hypot((a - lat) * 60.0, (b - lon) * 60.0 * shrink) > OVER_FIELD_NM)
    })
}

fn initial_cruise(run: &Run<'_>, [manifold_inhg, rpm]: [f64; 2], handling: &mut Handling) {
    let trace = run.trace;
    let Some((from, to)) = run.phase(&[Phase::Cruise]).first().copied() else { return };
    if !trace.has(MANIFOLD) || run.air.spans.first().is_none_or(|s| s.0 == 0) {
        return;
    }
    let manifold = (manifold_inhg * 1000.0) as i32;
    let low_rpm = ((rpm * 1000.0) as i32 - LIKE_RPM).min(CYCLE_LOW_RPM - LIKE_RPM);
    let (mut like_ms, mut off_since, mut last) = (0i64, None, from);
    let (mut cycles, mut high) = (0u16, false);
    for i in from..to {
        let (Some(inhg), Some(rpm)) = (trace.value(MANIFOLD, i), trace.value(RPM, i)) else { continue };
        let like = (inhg - manifold).abs() <= LIKE_INHG && (low_rpm..=run.red_line + LIKE_RPM).contains(&rpm);
        if !like {
            if trace.t[i] - trace.t[*off_since.get_or_insert(i)] >= OFF_MS {
                break;
            }
            continue;
        }
        (off_since, last) = (None, i);
        like_ms += run.step(i).map_or(0, i64::from);
        if rpm >= run.red_line - NEAR_RED_LINE {
            high = true;
        } else if rpm <= CYCLE_LOW_RPM && high {
            (cycles, high) = (cycles.saturating_add(1), false);
        }
    }
    handling.initial_cruise_s = Some((like_ms as f64 / 1000.0) as f32);
    handling.initial_setting = Some([manifold_inhg as f32, rpm as f32]);
    handling.propeller_cycles = Some(cycles);
    let climbed = run.phase(&[Phase::Climb]);
    let climb = climbed.first().and_then(|c| run.median(FUEL_FLOW, &[*c]));
    handling.fuel_flow_below_climb_gph =
        climb.zip(run.median(FUEL_FLOW, &[(from, last + 1)])).map(|(climb, cruise)| units(climb - cruise));
}

fn descents(run: &Run<'_>, handling: &mut Handling) {
    let trace = run.trace;
    let mut rates: Vec<i32> = Vec::new();
    for (from, to) in run.phase(&[Phase::Descent]) {
        let mut j = from;
        for i in from..to {
            let dt = trace.t[i] - trace.t[j];
            if dt < DESCENT_STEP_MS {
                continue;
            }
            if let (Some(a), Some(b)) = (trace.value(ALT, j), trace.value(ALT, i)) {
                rates.push((i64::from(a - b) * 60_000 / i64::from(dt)) as i32);
            }
            j = i;
        }
    }
    rates.sort_unstable();
    handling.descent_fpm = rates.get(rates.len() / 2).copied().map(units);
    handling.descent_max_fpm = rates.last().copied().map(units);
}
