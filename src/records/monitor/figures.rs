//! Peaks, medians and falls of a run: each held over several samples, so that a spike is none.

use std::collections::VecDeque;

use super::cell::is_value;
use super::channel::{CHT, CYLINDERS, Channel, GS, MANIFOLD, OIL_PRESS, RPM};
use super::phases::STANDING_KT;
use super::summary::Run;
use crate::records::run::{Peak, Phase};

/// A peak is what was held over this long and at least three samples, ms.
const HELD_MS: i32 = 2_000;
/// Above idle, where oil pressure must stand, thousandths of an rpm.
const ABOVE_IDLE_RPM: i32 = 1_500_000;
/// A rate is not told from a stretch where more than one reading in so many is missing.
const LOST_ONE_IN: usize = 10;
/// Cooling and steps of manifold pressure are looked at over this long, ms.
const MINUTE_MS: i32 = 60_000;
/// The end of a flight, where power comes off to land, ms.
const LANDING_MS: i32 = 120_000;

impl Run<'_> {
    pub fn peak(&self, (value, at): (i32, usize), cylinder: Option<u8>) -> Peak {
        Peak { value: units(value), at_s: self.trace.seconds(at), cylinder }
    }

    /// How many samples before a sample make it held.
    fn back(&self) -> usize {
        (HELD_MS + self.spacing_ms - 1).checked_div(self.spacing_ms).map_or(2, |k| k.max(2)) as usize
    }

    /// The highest value held: every one of three or more samples over two seconds is at least this.
    pub fn held(&self, channel: Channel, ranges: &[(usize, usize)]) -> Option<(i32, usize)> {
        self.held_where(channel, ranges, |v| v, |_| true)
    }

    fn held_where(
        &self,
        channel: Channel,
        ranges: &[(usize, usize)],
        sign: impl Fn(i32) -> i32,
        counts: impl Fn(usize) -> bool,
    ) -> Option<(i32, usize)> {
        let column = self.trace.column(channel);
        let mut best: Option<(i32, usize)> = None;
        for &(from, to) in ranges {
            for (start, part) in pieces(column, from, to) {
                // Most pieces hold nothing higher. No early end, so that the compiler takes many at once.
                if best.is_some_and(|(b, _)| part.iter().fold(true, |none, v| none & (!is_value(*v) | (sign(*v) <= b))))
                {
                    continue;
                }
                for i in start..start + part.len() {
                    let beats = |v: i32| is_value(v) && best.is_none_or(|(b, _)| sign(v) > b);
                    if beats(column[i])
                        && counts(i)
                        && let Some(v) = self.least_back(column, from, i, &sign, &counts)
                        && best.is_none_or(|(b, _)| v > b)
                    {
                        best = Some((v, i));
                    }
                }
            }
        }
        best.map(|(v, i)| (sign(v), i))
    }

    /// The least of the values that make sample `i` held; `None` if there are too few close enough.
    fn least_back(
        &self,
        column: &[i32],
        from: usize,
        i: usize,
        sign: impl Fn(i32) -> i32,
        counts: impl Fn(usize) -> bool,
    ) -> Option<i32> {
        let t = &self.trace.t;
        let back = self.back();
        let reach = HELD_MS + 2 * self.spacing_ms * (back as i32 + 1);
        let (mut least, mut n) = (i32::MAX, 0);
        for j in (from..=i).rev() {
            if t[i] - t[j] > reach || !counts(j) {
                return None;
            }
            if is_value(column[j]) {
                least = least.min(sign(column[j]));
                n += 1;
                if n > back {
                    return Some(least);
                }
            }
        }
        None
    }

    pub fn hottest_head(&self, ranges: &[(usize, usize)]) -> Option<Peak> {
        let heads = (0..CYLINDERS).filter_map(|c| Some((self.held(CHT + c, ranges)?, c as u8 + 1)));
        heads.max_by_key(|((v, at), _)| (*v, usize::MAX - at)).map(|(p, cylinder)| self.peak(p, Some(cylinder)))
    }

    pub fn rpm_standing(&self, ground: &[(usize, usize)]) -> Option<Peak> {
        let speed = self.trace.column(GS);
        if speed.is_empty() {
            return None;
        }
        let run_up = self.phase(&[Phase::RunUp]);
        let stands = |i: usize| {
            is_value(speed[i]) && speed[i] < STANDING_KT && !run_up.iter().any(|(a, b)| (*a..*b).contains(&i))
        };
        self.held_where(RPM, ground, |v| v, stands).map(|p| self.peak(p, None))
    }

    /// In the first take-off only; a recording that begins in flight has none.
    pub fn rpm_takeoff(&self) -> Option<Peak> {
        let up = self.air.spans.first().map(|s| s.0).filter(|up| *up > 0)?;
        let rolls: Vec<_> = self.phase(&[Phase::TakeOff]).into_iter().skip_while(|(_, to)| *to < up).take(1).collect();
        self.held(RPM, &rolls).map(|p| self.peak(p, None))
    }

    pub fn lowest_oil_pressure(&self) -> Option<Peak> {
        let rpm = self.trace.column(RPM);
        let above_idle = |i: usize| is_value(rpm[i]) && rpm[i] >= ABOVE_IDLE_RPM;
        self.held_where(OIL_PRESS, &[(0, self.trace.len())], i32::wrapping_neg, above_idle).map(|p| self.peak(p, None))
    }

    /// Median over the ranges, of at most some two thousand samples.
    pub fn median(&self, channel: Channel, ranges: &[(usize, usize)]) -> Option<i32> {
        let column = self.trace.column(channel);
        let n: usize = ranges.iter().map(|(a, b)| b - a).sum();
        let (every, mut skip) = (n / 2000 + 1, 0);
        let mut values: Vec<i32> = Vec::new();
        for &(a, b) in ranges {
            let part = column.get(a..b).unwrap_or_default();
            let picks = part.get(skip..).unwrap_or_default().chunks(every).map(|piece| piece[0]);
            values.extend(picks.filter(|v| is_value(*v)));
            // How far the next pick reaches into what follows.
            skip = (skip + every - part.len() % every) % every;
        }
        let middle = values.len() / 2;
        (!values.is_empty()).then(|| *values.select_nth_unstable(middle).1)
    }

    /// Fastest fall of any head over a minute in flight.
    pub fn cooling(&self) -> Option<Peak> {
        let t = &self.trace.t;
        let mut best: Option<(i32, usize, u8)> = None;
        let heads: Vec<(u8, &[i32])> =
            (0..CYLINDERS).map(|c| (c as u8 + 1, self.trace.column(CHT + c))).filter(|h| !h.1.is_empty()).collect();
        for &(up, down) in &self.air.spans {
            let mut j = up;
            for (start, part) in pieces(t, up, down) {
                let last = start + part.len() - 1;
                let mut reach = j;
                while reach + 1 < last && t[last] - t[reach + 1] >= MINUTE_MS {
                    reach += 1;
                }
                let least = best.map_or(0, |b| b.0);
                // The most any head can have fallen here; missing values make it large.
                let may = |column: &[i32]| {
                    let high = column[j..=reach].iter().fold(i32::MIN, |m, v| m.max(*v));
                    let low = column[start..=last].iter().fold(i32::MAX, |m, v| m.min(*v));
                    high.saturating_sub(low) > least
                };
                if !heads.iter().any(|(_, column)| may(column)) {
                    j = reach;
                    continue;
                }
                for i in start..=last {
                    while j + 1 < i && t[i] - t[j + 1] >= MINUTE_MS {
                        j += 1;
                    }
                    let span = t[i] - t[j];
                    if !(MINUTE_MS..=MINUTE_MS + self.gap_ms).contains(&span) {
                        continue;
                    }
                    for &(cylinder, column) in &heads {
                        let fall = column[j].saturating_sub(column[i]);
                        if fall <= best.map_or(0, |b| b.0) || !is_value(column[i]) || !is_value(column[j]) {
                            continue;
                        }
                        // A minute with readings taken out or lost shows no rate.
                        let lost = column[j..=i].iter().filter(|v| !is_value(**v)).count();
                        if lost * LOST_ONE_IN > i - j {
                            continue;
                        }
                        // Both ends as the middle of three, so that no single reading makes a fall.
                        let fall = middle(column, j) - middle(column, i);
                        let rate = (i64::from(fall) * i64::from(MINUTE_MS) / i64::from(span)) as i32;
                        if rate > best.map_or(0, |b| b.0) {
                            best = Some((rate, i, cylinder));
                        }
                    }
                }
            }
        }
        best.map(|(v, i, cylinder)| self.peak((v, i), Some(cylinder)))
    }

    /// Largest fall of manifold pressure within a minute in cruise and descent, the landing left out.
    pub fn power_step(&self) -> Option<Peak> {
        let t = &self.trace.t;
        let column = self.trace.column(MANIFOLD);
        if column.is_empty() {
            return None;
        }
        let mut best: Option<(i32, usize)> = None;
        let downs: Vec<i32> = self.air.spans.iter().map(|s| t[s.1.min(t.len() - 1)]).collect();
        let mut stretches: Vec<(usize, usize)> = Vec::new();
        for (from, to) in self.phase(&[Phase::Cruise, Phase::Descent]) {
            match stretches.last_mut() {
                Some(last) if last.1 == from => last.1 = to,
                _ => stretches.push((from, to)),
            }
        }
        let mut window: VecDeque<(usize, i32)> = VecDeque::new();
        for (from, to) in stretches {
            for (start, part) in pieces(column, from, to) {
                let since = self.trace.index_at(t[start] - MINUTE_MS).max(from);
                // The most it can have fallen here, with the neighbours a middle is taken of; missing values make it large.
                let end = start + part.len();
                let around = &column[since.saturating_sub(1)..(end + 1).min(column.len())];
                let high = around.iter().fold(i32::MIN, |m, v| m.max(*v));
                let low =
                    column[start.saturating_sub(1)..].iter().take(part.len() + 2).fold(i32::MAX, |m, v| m.min(*v));
                if high.saturating_sub(low) <= best.map_or(0, |b| b.0) {
                    continue;
                }
                window.clear();
                for i in since..end {
                    if !is_value(column[i]) || downs.iter().any(|d| (0..LANDING_MS).contains(&(d - t[i]))) {
                        continue;
                    }
                    let v = middle(column, i);
                    while window.front().is_some_and(|(j, _)| t[i] - t[*j] > MINUTE_MS) {
                        window.pop_front();
                    }
                    while window.back().is_some_and(|(_, w)| *w <= v) {
                        window.pop_back();
                    }
                    window.push_back((i, v));
                    let fall = window.front().map_or(0, |(_, w)| w - v);
                    if i >= start && fall > best.map_or(0, |b| b.0) {
                        best = Some((fall, i));
                    }
                }
            }
        }
        best.map(|p| self.peak(p, None))
    }
}

/// The range in pieces short enough that one odd value does not cost much, with where each starts.
pub fn pieces(column: &[i32], from: usize, to: usize) -> impl Iterator<Item = (usize, &[i32])> {
    const LENGTH: usize = 64;
    let column = column.get(from..to.min(column.len())).unwrap_or_default();
    column.chunks(LENGTH).enumerate().map(move |(k, part)| (from + k * LENGTH, part))
}

/// The middle one of a sample and its neighbours.
pub fn middle(column: &[i32], i: usize) -> i32 {
    let v = column[i];
    let side = |j: Option<usize>| j.and_then(|j| column.get(j)).copied().filter(|v| is_value(*v)).unwrap_or(v);
    let (a, b) = (side(i.checked_sub(1)), side(i.checked_add(1)));
    a.max(b).min(a.min(b).max(v))
}

/// Thousandths to units.
pub fn units(v: i32) -> f32 {
    (f64::from(v) / 1000.0) as f32
}
