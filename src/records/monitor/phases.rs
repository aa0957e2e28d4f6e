//! Cuts a run into phases: taxi, run-up, take-off, climb, cruise, descent, taxi.
//!
//! In the air the rate of climb over half a minute tells; the boundary is then set to the bend in
//! the height curve, so that minutes of cruise come out to the sample. Numbers are common practice,
//! no source.

use super::air::Air;
use super::cell::is_value;
use super::channel::{ALT, GS, RPM};
use super::trace::Trace;
use crate::records::run::Phase;

/// Half the window for the rate of climb, ms.
const HALF_MS: i32 = 15_000;
/// Steeper than this is a climb or descent, thousandths of ft/min.
const STEEP_FPM: i64 = 250_000;
/// Shorter pieces belong to what went before, ms.
const SHORT_MS: i32 = 45_000;
/// The take-off ends this long after lift-off, and its roll is no longer than [`ROLL_MS`], ms.
const TAKE_OFF_MS: i32 = 30_000;
const ROLL_MS: i32 = 90_000;
/// A run-up: standing, faster than this, for this long; dips and pauses count in; no longer than a few minutes.
const RUN_UP_RPM: i32 = 1_500_000;
const RUN_UP_MS: i32 = 5_000;
const PAUSE_MS: i32 = 20_000;
const RUN_UP_MOST_MS: i32 = 240_000;
/// Slower than this is standing, thousandths of a knot.
pub const STANDING_KT: i32 = 2_500;
/// Without height, climb and descent are taken to last this long, ms.
const WITHOUT_HEIGHT_MS: i32 = 600_000;

/// A phase as a range of sample indices.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Piece {
    pub phase: Phase,
    pub from: usize,
    pub to: usize,
}

/// The phases of a run in order, without overlap. Empty if ground cannot be told from air.
pub fn cut(trace: &Trace, air: &Air, doubts: &mut Vec<String>) -> Vec<Piece> {
    let n = trace.len();
    let mut pieces = Vec::new();
    if air.basis == crate::records::run::AirBasis::Unknown {
        return pieces;
    }
    if air.spans.is_empty() {
        return vec![Piece { phase: Phase::Ground, from: 0, to: n }];
    }
    let height = trace.has(ALT);
    if !height {
        doubts.push(
            "no height recorded: the first and last 10 minutes of a flight are taken as climb and descent".into(),
        );
    }
    let mut ground_from = 0;
    for (k, &(up, down)) in air.spans.iter().enumerate() {
        before(trace, ground_from, up, k == 0, &mut pieces);
        let climbed = trace.index_at(trace.t[up] + TAKE_OFF_MS).clamp(up, down);
        // A recording that begins in flight shows no take-off.
        let climbed = if up == 0 { 0 } else { climbed };
        add(&mut pieces, Phase::TakeOff, up, climbed);
        if height {
            by_height(trace, climbed, down, &mut pieces)
        } else {
            by_time(trace, climbed, down, &mut pieces)
        }
        ground_from = down;
    }
    add(&mut pieces, Phase::TaxiIn, ground_from, n);
    pieces
}

fn add(pieces: &mut Vec<Piece>, phase: Phase, from: usize, to: usize) {
    if from >= to {
        return;
    }
    match pieces.last_mut() {
        Some(last) if last.phase == phase && last.to == from => last.to = to,
        _ => pieces.push(Piece { phase, from, to }),
    }
}

/// The ground part before a take-off: taxi, the last run-up, taxi, the roll.
fn before(trace: &Trace, from: usize, up: usize, first: bool, pieces: &mut Vec<Piece>) {
    let taxi = if first { Phase::TaxiOut } else { Phase::Ground };
    let roll = roll(trace, from, up);
    match run_up(trace, from, roll) {
        Some((a, b)) => {
            add(pieces, taxi, from, a);
            add(pieces, Phase::RunUp, a, b);
            add(pieces, taxi, b, roll);
        }
        None => add(pieces, taxi, from, roll),
    }
    add(pieces, Phase::TakeOff, roll, up);
}

/// Where the take-off roll begins: power is set and stays until lift-off.
fn roll(trace: &Trace, from: usize, up: usize) -> usize {
    let rpm = trace.column(RPM);
    let Some(at_lift_off) = trace.value(RPM, up) else { return up };
    let set = (i64::from(at_lift_off) * 9 / 10) as i32;
    let mut at = up;
    while at > from && trace.t[up] - trace.t[at - 1] <= ROLL_MS && (rpm[at - 1] >= set || !is_value(rpm[at - 1])) {
        at -= 1;
    }
    at
}

/// The last run-up before `to`.
fn run_up(trace: &Trace, from: usize, to: usize) -> Option<(usize, usize)> {
    let stands = |i: usize| trace.value(GS, i).is_none_or(|v| v < STANDING_KT);
    let high = |i: usize| trace.value(RPM, i).is_some_and(|v| v >= RUN_UP_RPM);
    let last = (from..to).rev().find(|i| high(*i) && stands(*i))?;
    let (mut first, mut at) = (last, last);
    while at > from {
        at -= 1;
        let within = trace.t[first] - trace.t[at] <= PAUSE_MS && trace.t[last] - trace.t[at] <= RUN_UP_MOST_MS;
        if !within || !stands(at) {
            break;
        }
        if high(at) {
            first = at;
        }
    }
    (trace.t[last] - trace.t[first] >= RUN_UP_MS).then_some((first, last + 1))
}

fn by_time(trace: &Trace, from: usize, to: usize, pieces: &mut Vec<Piece>) {
    if from >= to {
        return;
    }
    let climbed = trace.index_at(trace.t[from].saturating_add(WITHOUT_HEIGHT_MS)).min(to);
    let descends = trace.index_at(trace.t[to - 1] - WITHOUT_HEIGHT_MS).max(climbed).min(to);
    add(pieces, Phase::Climb, from, climbed);
    add(pieces, Phase::Cruise, climbed, descends);
    add(pieces, Phase::Descent, descends, to);
}

fn by_height(trace: &Trace, from: usize, to: usize, pieces: &mut Vec<Piece>) {
    if from >= to {
        return;
    }
    let alt = filled(trace, from, to);
    let t = &trace.t[from..to];
    let mut own: Vec<Piece> = Vec::new();
    let (mut low, mut high) = (0, 0);
    for (i, now) in t.iter().enumerate() {
        while t[low] < now - HALF_MS {
            low += 1;
        }
        while high + 1 < t.len() && t[high] < now + HALF_MS {
            high += 1;
        }
        let dt = i64::from(t[high] - t[low]).max(1);
        let (rise, steep) = (i64::from(alt[high] - alt[low]) * 60_000, (STEEP_FPM + 1) * dt);
        let phase = match rise {
            _ if rise >= steep => Phase::Climb,
            _ if rise <= -steep => Phase::Descent,
            _ => Phase::Cruise,
        };
        add(&mut own, phase, from + i, from + i + 1);
    }
    let mut merged: Vec<Piece> = Vec::new();
    for piece in own {
        let short = trace.t[piece.to - 1] - trace.t[piece.from] < SHORT_MS;
        let phase = match merged.last() {
            Some(last) if short => last.phase,
            _ => piece.phase,
        };
        add(&mut merged, phase, piece.from, piece.to);
    }
    for k in 1..merged.len() {
        let bend = bend(trace, &alt, from, &merged, k);
        (merged[k - 1].to, merged[k].from) = (bend, bend);
    }
    for piece in merged {
        add(pieces, piece.phase, piece.from, piece.to);
    }
}

/// The height at each sample, gaps filled with the last known.
fn filled(trace: &Trace, from: usize, to: usize) -> Vec<i32> {
    let column = &trace.column(ALT)[from..to];
    let mut last = column.iter().copied().find(|v| is_value(*v)).unwrap_or(0);
    let fill = |v: &i32| {
        if is_value(*v) {
            last = *v;
        }
        last
    };
    column.iter().map(fill).collect()
}

/// The sample near the boundary before piece `k` that lies farthest from the chord of the height curve there.
fn bend(trace: &Trace, alt: &[i32], from: usize, pieces: &[Piece], k: usize) -> usize {
    let at = pieces[k].from;
    let reach = HALF_MS * 4 / 3;
    let a = trace.index_at(trace.t[at] - reach).max(pieces[k - 1].from);
    let b = trace.index_at(trace.t[at] + reach).min(pieces[k].to - 1);
    if b <= a + 1 {
        return at;
    }
    let (ya, yb) = (i64::from(alt[a - from]), i64::from(alt[b - from]));
    let (ta, tb) = (i64::from(trace.t[a]), i64::from(trace.t[b]));
    let off = |i: usize| {
        let chord = (yb - ya) * (i64::from(trace.t[i]) - ta);
        ((i64::from(alt[i - from]) - ya) * (tb - ta) - chord).abs()
    };
    (a + 1..b).max_by_key(|i| (off(*i), usize::MAX - i)).unwrap_or(at)
}
