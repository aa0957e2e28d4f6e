//! The figures of one run, taken from its cleaned trace.

use std::sync::Arc;

use chrono::DateTime;

use super::air::{self, Air};
use super::channel::{MANIFOLD, OAT, OIL_PRESS, OIL_TEMP, RPM};
use super::figures::units;
use super::phases::{self, Piece};
use super::recorder::Recorder;
use super::trace::Trace;
use super::{RecordedEngine, clean, strip};
use crate::records::run::{AirBasis, Handling, Phase, RunSummary, Segment};

/// Used where no model names the red line: common practice, no source.
const USUAL_RED_LINE: f64 = 2700.0;
/// Recorder silence from which time is not counted as running, ms and typical spacings.
const GAP_MS: i32 = 15_000;
const GAP_SPACINGS: i32 = 5;
/// Lower oil pressure in a running cruise is a lost probe, thousandths of a psi.
const NO_PRESSURE: i32 = 5_000;

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
pub fn summarise(recorder: &mut Recorder, file: &Arc<str>, engine: Option<&RecordedEngine>) -> RunSummary {
    let model = engine.and_then(|e| e.model.as_deref());
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
    let handling = super::handling::handling(&run, engine, &mut doubts);
    let mut summary = run.summary(recorder, file, handling, doubts);
    summary.strip = Some(Box::new(strip::Strip::of(&run, model, &summary)));
    summary
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
            strip: None,
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
}
