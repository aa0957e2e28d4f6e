//! The figures of one run, taken from its cleaned trace.

use std::sync::Arc;

use chrono::DateTime;

use super::air::{self, Air};
use super::cell::is_value;
use super::channel::{CHT, CYLINDERS, Channel, GS, MANIFOLD, OAT, OIL_PRESS, OIL_TEMP, RPM};
use super::phases::{self, Piece, STANDING_KT};
use super::recorder::Recorder;
use super::trace::Trace;
use super::{ReduceContext, clean};
use crate::engine::Model;
use crate::records::run::{AirBasis, Handling, Peak, Phase, RunSummary, Segment};

/// Used where no model names the red line: common practice, no source.
const USUAL_RED_LINE: f64 = 2700.0;
/// A peak is what was held over this long and at least three samples, ms.
const HELD_MS: i32 = 2_000;
/// Recorder silence from which time is not counted as running, ms and typical spacings.
const GAP_MS: i32 = 15_000;
const GAP_SPACINGS: i32 = 5;
/// Above idle, where oil pressure must stand, thousandths of an rpm.
const ABOVE_IDLE_RPM: i32 = 1_500_000;
/// Lower oil pressure in a running cruise is a lost probe, thousandths of a psi.
const NO_PRESSURE: i32 = 5_000;
/// Cooling and steps of manifold pressure are looked at over this long, ms.
const MINUTE_MS: i32 = 60_000;
/// The end of a flight, where power comes off to land, ms.
const LANDING_MS: i32 = 120_000;

/// A cleaned run with what was found out about it.
pub struct Run<'a> {
    pub trace: &'a Trace,
    pub air: Air,
    pub pieces: Vec<Piece>,
    /// Typical spacing, ms.
    pub spacing_ms: i32,
    /// Thousandths of an rpm.
    pub red_line: i32,
    pub gap_ms: i32,
}

/// Takes the run the recorder holds.
pub fn summarise(
    recorder: &mut Recorder,
    file: &Arc<str>,
    model: Option<&Model>,
    context: &ReduceContext,
) -> RunSummary {
    let mut doubts = clean::clean(&mut recorder.trace);
    let trace = &recorder.trace;
    let rated = model.map(|m| m.rated_rpm).filter(|rpm| *rpm > 0.0);
    let red_line = (rated.unwrap_or(USUAL_RED_LINE) * 1000.0) as i32;
    let air = air::tell(trace, red_line);
    doubts.extend(air.doubts.iter().cloned());
    let pieces = phases::cut(trace, &air, &mut doubts);
    let spacing_ms = spacing(trace);
    let gap_ms = GAP_MS.max(GAP_SPACINGS * spacing_ms);
    let run = Run { trace, air, pieces, spacing_ms, red_line, gap_ms };
    let handling = super::handling::handling(&run, model, context, &mut doubts);
    run.summary(recorder, file, handling, doubts)
}

/// Median spacing of the first samples, ms.
fn spacing(trace: &Trace) -> i32 {
    let mut steps: Vec<i32> = trace.t.windows(2).take(1001).map(|w| w[1] - w[0]).collect();
    let middle = steps.len() / 2;
    if steps.is_empty() { 1000 } else { *steps.select_nth_unstable(middle).1 }
}

impl Run<'_> {
    fn summary(&self, recorder: &Recorder, file: &Arc<str>, handling: Handling, mut doubts: Vec<String>) -> RunSummary {
        let trace = self.trace;
        let n = trace.len();
        let moment = |ms: i64| DateTime::from_timestamp_millis(ms).unwrap_or_default();
        let last_ms = trace.t.last().copied().unwrap_or(0);
        let all = [(0, n)];
        let (air, ground) = (&self.air.spans[..], self.ground());
        let (running, gap) = self.seconds(&all);
        let times = self.ground_seconds();
        let oil_press_min_psi = self.lowest_oil_pressure();
        let cruise = self.phase(&[Phase::Cruise]);
        let oil_press_cruise = self.median(OIL_PRESS, &cruise);
        if oil_press_cruise.is_some_and(|p| p < NO_PRESSURE) {
            doubts.push("oil pressure reads nothing throughout a cruise: the probe is taken to be lost".into());
        }
        RunSummary {
            file: file.clone(),
            line: trace.line,
            engine: recorder.position.clone(),
            start: moment(trace.start_ms),
            end: moment(trace.start_ms + i64::from(last_ms)),
            running_s: running,
            gap_s: gap,
            sample_s: f64::from(self.spacing_ms) / 1000.0,
            cut_start: recorder.cut.start,
            cut_end: recorder.cut.end,
            basis: self.air.basis,
            flights: air.len().min(usize::from(u16::MAX)) as u16,
            ground_before_s: times[0],
            ground_between_s: times[1],
            ground_after_s: times[2],
            air_s: self.seconds(air).0,
            segments: self.segments(),
            cht_ground_f: self.hottest_head(&ground),
            cht_f: self.hottest_head(&all),
            oil_temp_f: self.held(OIL_TEMP, &all).map(|p| self.peak(p, None)),
            rpm_standing: self.rpm_standing(&ground),
            rpm_ground: self.held(RPM, &ground).map(|p| self.peak(p, None)),
            rpm_takeoff: self.rpm_takeoff(),
            manifold_inhg: self.held(MANIFOLD, &all).map(|p| self.peak(p, None)),
            oil_press_min_psi,
            oil_press_cruise_psi: oil_press_cruise.filter(|p| *p >= NO_PRESSURE).map(units),
            oil_temp_cruise_f: self.median(OIL_TEMP, &cruise).map(units),
            rpm_cruise: self.median(RPM, &cruise).map(units),
            cooling_f_per_min: self.cooling(),
            power_step_inhg: self.power_step(),
            oat_ground_f: self.held(OAT, &ground).map(|(v, _)| units(v)),
            handling,
            doubts,
        }
    }

    /// The parts on the ground; none where ground cannot be told from air.
    pub fn ground(&self) -> Vec<(usize, usize)> {
        if self.air.basis == AirBasis::Unknown {
            return Vec::new();
        }
        let (mut from, mut ground) = (0, Vec::new());
        for &(up, down) in &self.air.spans {
            ground.push((from, up));
            from = down;
        }
        ground.push((from, self.trace.len()));
        ground.retain(|(a, b)| a < b);
        ground
    }

    /// Ranges of the samples in any of the phases.
    pub fn phase(&self, phases: &[Phase]) -> Vec<(usize, usize)> {
        self.pieces.iter().filter(|p| phases.contains(&p.phase)).map(|p| (p.from, p.to)).collect()
    }

    /// Milliseconds sample `i` stands for: until the next one; `None` at the end and where the recorder was silent.
    pub fn step(&self, i: usize) -> Option<i32> {
        let dt = self.trace.t.get(i + 1)? - self.trace.t[i];
        (dt <= self.gap_ms).then_some(dt)
    }

    /// Seconds recorded and seconds missing in the ranges; a sample stands for the time until the next.
    pub fn seconds(&self, ranges: &[(usize, usize)]) -> (f64, f64) {
        let t = &self.trace.t;
        let (mut there, mut missing) = (0i64, 0i64);
        for &(from, to) in ranges {
            let to = to.min(t.len().saturating_sub(1));
            if from >= to {
                continue;
            }
            there += i64::from(t[to] - t[from]);
            let steps = t[from..=to].windows(2).map(|w| w[1] - w[0]);
            missing += steps.filter(|s| *s > self.gap_ms).map(i64::from).sum::<i64>();
        }
        ((there - missing) as f64 / 1000.0, missing as f64 / 1000.0)
    }

    /// Seconds on the ground before, between and after flights.
    fn ground_seconds(&self) -> [f64; 3] {
        let mut sums = [0.0; 3];
        let last_down = self.air.spans.last().map_or(0, |s| s.1);
        let flew = !self.air.spans.is_empty();
        for range in self.ground() {
            let which = match range.0 {
                0 => 0,
                from if flew && from >= last_down => 2,
                _ => 1,
            };
            sums[which] += self.seconds(&[range]).0;
        }
        sums
    }

    fn segments(&self) -> Vec<Segment> {
        let last = self.trace.len() - 1;
        let at = |i: usize| self.trace.seconds(i.min(last));
        self.pieces.iter().map(|p| Segment { phase: p.phase, from_s: at(p.from), to_s: at(p.to) }).collect()
    }

    fn peak(&self, (value, at): (i32, usize), cylinder: Option<u8>) -> Peak {
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
            for i in from..to.min(column.len()) {
                let beats = |v: i32| is_value(v) && best.is_none_or(|(b, _)| sign(v) > b);
                if beats(column[i]) && counts(i) {
                    if let Some(v) = self.least_back(column, from, i, &sign, &counts) {
                        if best.is_none_or(|(b, _)| v > b) {
                            best = Some((v, i));
                        }
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

    fn hottest_head(&self, ranges: &[(usize, usize)]) -> Option<Peak> {
        let heads = (0..CYLINDERS).filter_map(|c| Some((self.held(CHT + c, ranges)?, c as u8 + 1)));
        heads.max_by_key(|((v, at), _)| (*v, usize::MAX - at)).map(|(p, cylinder)| self.peak(p, Some(cylinder)))
    }

    fn rpm_standing(&self, ground: &[(usize, usize)]) -> Option<Peak> {
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
    fn rpm_takeoff(&self) -> Option<Peak> {
        let up = self.air.spans.first().map(|s| s.0).filter(|up| *up > 0)?;
        let rolls: Vec<_> = self.phase(&[Phase::TakeOff]).into_iter().skip_while(|(_, to)| *to < up).take(1).collect();
        self.held(RPM, &rolls).map(|p| self.peak(p, None))
    }

    fn lowest_oil_pressure(&self) -> Option<Peak> {
        let rpm = self.trace.column(RPM);
        let above_idle = |i: usize| is_value(rpm[i]) && rpm[i] >= ABOVE_IDLE_RPM;
        self.held_where(OIL_PRESS, &[(0, self.trace.len())], |v| -v, above_idle).map(|p| self.peak(p, None))
    }

    /// Median over the ranges, of at most some two thousand samples.
    pub fn median(&self, channel: Channel, ranges: &[(usize, usize)]) -> Option<i32> {
        let column = self.trace.column(channel);
        let n: usize = ranges.iter().map(|(a, b)| b - a).sum();
        let picked = ranges.iter().flat_map(|&(a, b)| column.get(a..b).unwrap_or_default());
        let mut values: Vec<i32> = picked.step_by(n / 2000 + 1).copied().filter(|v| is_value(*v)).collect();
        let middle = values.len() / 2;
        (!values.is_empty()).then(|| *values.select_nth_unstable(middle).1)
    }

    /// Fastest fall of any head over a minute in flight.
    fn cooling(&self) -> Option<Peak> {
        let t = &self.trace.t;
        let mut best: Option<(i32, usize, u8)> = None;
        for cylinder in 0..CYLINDERS {
            let column = self.trace.column(CHT + cylinder);
            if column.is_empty() {
                continue;
            }
            for &(up, down) in &self.air.spans {
                let mut j = up;
                for i in up..down {
                    while j + 1 < i && t[i] - t[j + 1] >= MINUTE_MS {
                        j += 1;
                    }
                    let span = t[i] - t[j];
                    if span < MINUTE_MS || span > MINUTE_MS + self.gap_ms {
                        continue;
                    }
                    let fall = column[j].saturating_sub(column[i]);
                    if is_value(column[i]) && is_value(column[j]) && fall > best.map_or(0, |b| b.0) {
                        // Both ends as the middle of three, so that no single reading makes a fall.
                        let (a, b) = (middle(column, j), middle(column, i));
                        let rate = (i64::from(a - b) * i64::from(MINUTE_MS) / i64::from(span)) as i32;
                        if rate > best.map_or(0, |b| b.0) {
                            best = Some((rate, i, cylinder as u8 + 1));
                        }
                    }
                }
            }
        }
        best.map(|(v, i, cylinder)| self.peak((v, i), Some(cylinder)))
    }

    /// Largest fall of manifold pressure within a minute in cruise and descent, the landing left out.
    fn power_step(&self) -> Option<Peak> {
        let t = &self.trace.t;
        let column = self.trace.column(MANIFOLD);
        if column.is_empty() {
            return None;
        }
        let mut best: Option<(i32, usize)> = None;
        let downs: Vec<i32> = self.air.spans.iter().map(|s| t[s.1.min(t.len() - 1)]).collect();
        let mut window: std::collections::VecDeque<(usize, i32)> = std::collections::VecDeque::new();
        let mut last = 0;
        for (from, to) in self.phase(&[Phase::Cruise, Phase::Descent]) {
            if from != last {
                window.clear();
            }
            last = to;
            for i in from..to {
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
                if fall > best.map_or(0, |b| b.0) {
                    best = Some((fall, i));
                }
            }
        }
        best.map(|p| self.peak(p, None))
    }
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
