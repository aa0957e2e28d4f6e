//! Runs that go over several files, and runs recorded twice.
//!
//! A recorder may start a new file in mid-flight, and an operator may keep a day's file beside the
//! runs cut out of it. Both must count as one run. Pure, over summaries: the files are long gone.

use chrono::TimeDelta;

use crate::records::run::{AirBasis, Handling, Peak, Phase, Segment};
use crate::records::{Instant, RunSummary};

/// Longest silence between files within a run: on the ground, and in flight.
const ON_THE_GROUND: TimeDelta = TimeDelta::minutes(2);
const IN_FLIGHT: TimeDelta = TimeDelta::minutes(30);
/// A run that lies within another by this share is the same one.
const SAME_SHARE: f64 = 0.9;

/// Puts the runs of one aircraft in order, drops repetitions and joins what is one run over several files.
pub fn join(mut runs: Vec<RunSummary>) -> Vec<RunSummary> {
    // Longest first at the same start, so that a whole day's file wins over a piece of it.
    runs.sort_by(|a, b| {
        let key = |r: &RunSummary| (r.engine.clone(), r.start, -r.end.timestamp_millis(), r.file.clone());
        key(a).cmp(&key(b))
    });
    let mut joined: Vec<RunSummary> = Vec::with_capacity(runs.len());
    for run in runs {
        let same_engine = joined.last_mut().filter(|last| last.engine == run.engine);
        match same_engine {
            Some(last) if repeats(last, &run) => {
                if last.file != run.file {
                    last.doubts.push(format!("the same run stands in {} too", run.file));
                }
            }
            Some(last) if run_goes_on(last, &run) => append(last, run),
            _ => joined.push(run),
        }
    }
    joined.sort_by(|a, b| a.end.cmp(&b.end).then_with(|| a.engine.cmp(&b.engine)));
    joined
}

fn repeats(last: &RunSummary, run: &RunSummary) -> bool {
    let overlap = (last.end.min(run.end) - run.start).num_milliseconds() as f64;
    let length = (run.end - run.start).num_milliseconds() as f64;
    overlap > 0.0 && overlap >= SAME_SHARE * length
}

fn airborne(segment: Option<&Segment>) -> bool {
    segment.is_some_and(|s| matches!(s.phase, Phase::TakeOff | Phase::Climb | Phase::Cruise | Phase::Descent))
}

/// The end of one piece of a recording, or the beginning of another.
#[derive(Clone, Copy, Debug)]
pub struct Edge<'a> {
    pub at: Instant,
    pub cut: bool,
    pub segment: Option<&'a Segment>,
}

/// The second piece goes on where the first one ends.
pub fn goes_on(end: Edge<'_>, start: Edge<'_>) -> bool {
    let flies = airborne(end.segment) || airborne(start.segment);
    let silence = start.at - end.at;
    let longest = if flies { IN_FLIGHT } else { ON_THE_GROUND };
    end.cut && start.cut && silence >= TimeDelta::zero() && silence <= longest
}

fn run_goes_on(last: &RunSummary, run: &RunSummary) -> bool {
    let end = Edge { at: last.end, cut: last.cut_end, segment: last.segments.last() };
    goes_on(end, Edge { at: run.start, cut: run.cut_start, segment: run.segments.first() })
}

/// Appends a run's continuation.
fn append(run: &mut RunSummary, next: RunSummary) {
    let by = (next.start - run.start).num_milliseconds() as f64 / 1000.0;
    let silence = (next.start - run.end).num_milliseconds() as f64 / 1000.0;
    // One sample's time is the recorder going on, not silence.
    let (running, gap) = if silence <= 5.0 * run.sample_s { (silence, 0.0) } else { (0.0, silence) };
    let in_flight = airborne(run.segments.last()) && airborne(next.segments.first());
    let later = |p: Option<Peak>| p.map(|p| Peak { at_s: (f64::from(p.at_s) + by) as f32, ..p });
    let higher = |a: Option<Peak>, b: Option<Peak>| match (a, later(b)) {
        (Some(a), Some(b)) if b.value > a.value => Some(b),
        (a, b) => a.or(b),
    };
    if in_flight {
        run.air_s += running;
    }
    ground(run, &next, if in_flight { 0.0 } else { running });
    let joint = u16::from(in_flight && run.flights > 0 && next.flights > 0);
    let cruise_before = cruise_s(&run.segments);
    run.segments.extend(next.segments.iter().map(|s| Segment {
        phase: s.phase,
        from_s: (f64::from(s.from_s) + by) as f32,
        to_s: (f64::from(s.to_s) + by) as f32,
    }));
    if cruise_s(&next.segments) > cruise_before {
        run.oil_press_cruise_psi = next.oil_press_cruise_psi.or(run.oil_press_cruise_psi);
        run.oil_temp_cruise_f = next.oil_temp_cruise_f.or(run.oil_temp_cruise_f);
        run.rpm_cruise = next.rpm_cruise.or(run.rpm_cruise);
    }
    run.rpm_takeoff = run.rpm_takeoff.or(later(next.rpm_takeoff));
    run.cht_ground_f = higher(run.cht_ground_f, next.cht_ground_f);
    run.cht_f = higher(run.cht_f, next.cht_f);
    run.oil_temp_f = higher(run.oil_temp_f, next.oil_temp_f);
    run.rpm_standing = higher(run.rpm_standing, next.rpm_standing);
    run.rpm_ground = higher(run.rpm_ground, next.rpm_ground);
    run.manifold_inhg = higher(run.manifold_inhg, next.manifold_inhg);
    run.cooling_f_per_min = higher(run.cooling_f_per_min, next.cooling_f_per_min);
    run.power_step_inhg = higher(run.power_step_inhg, next.power_step_inhg);
    run.oil_press_min_psi = match (run.oil_press_min_psi, later(next.oil_press_min_psi)) {
        (Some(a), Some(b)) if b.value < a.value => Some(b),
        (a, b) => a.or(b),
    };
    run.oat_ground_f = match (run.oat_ground_f, next.oat_ground_f) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
    run.flights = run.flights.saturating_add(next.flights).saturating_sub(joint);
    run.air_s += next.air_s;
    run.running_s += next.running_s + running;
    run.gap_s += next.gap_s + gap;
    run.basis = weaker(run.basis, next.basis);
    (run.end, run.cut_end) = (next.end, next.cut_end);
    handling(&mut run.handling, next.handling);
    for doubt in next.doubts {
        if !run.doubts.contains(&doubt) {
            run.doubts.push(doubt);
        }
    }
    run.doubts.push(format!("the recording goes on in {}", next.file));
}

/// Ground time before, between and after, with `extra` seconds at the seam.
fn ground(run: &mut RunSummary, next: &RunSummary, extra: f64) {
    match (run.flights > 0, next.flights > 0) {
        (false, _) => {
            run.ground_before_s += extra + next.ground_before_s;
            run.ground_between_s = next.ground_between_s;
            run.ground_after_s = next.ground_after_s;
        }
        (true, false) => run.ground_after_s += extra + next.ground_s(),
        (true, true) => {
            run.ground_between_s += run.ground_after_s + extra + next.ground_before_s + next.ground_between_s;
            run.ground_after_s = next.ground_after_s;
        }
    }
}

fn cruise_s(segments: &[Segment]) -> f32 {
    segments.iter().filter(|s| s.phase == Phase::Cruise).map(|s| s.to_s - s.from_s).sum()
}

fn weaker(a: AirBasis, b: AirBasis) -> AirBasis {
    let rank = |basis: &AirBasis| match basis {
        AirBasis::Speed => 0,
        AirBasis::Height => 1,
        AirBasis::Power => 2,
        AirBasis::Unknown => 3,
    };
    [a, b].into_iter().max_by_key(rank).unwrap_or(a)
}

fn handling(run: &mut Handling, next: Handling) {
    for (percent, seconds) in next.cruise_power {
        match run.cruise_power.iter_mut().find(|(p, _)| *p == percent) {
            Some(slot) => slot.1 += seconds,
            None => run.cruise_power.push((percent, seconds)),
        }
    }
    run.cruise_power.sort_by_key(|(p, _)| *p);
    run.cruise_unknown_s += next.cruise_unknown_s;
    run.power_from = run.power_from.take().or(next.power_from);
    run.full_power_s = run.full_power_s.or(next.full_power_s);
    run.power_back_ft = run.power_back_ft.or(next.power_back_ft);
    run.climb_kt = run.climb_kt.or(next.climb_kt);
    run.left_field_ft = run.left_field_ft.or(next.left_field_ft);
    run.initial_cruise_s = run.initial_cruise_s.or(next.initial_cruise_s);
    run.initial_setting = run.initial_setting.or(next.initial_setting);
    run.propeller_cycles = run.propeller_cycles.or(next.propeller_cycles);
    run.fuel_flow_below_climb_gph = run.fuel_flow_below_climb_gph.or(next.fuel_flow_below_climb_gph);
    run.descent_fpm = run.descent_fpm.or(next.descent_fpm);
    run.descent_max_fpm = match (run.descent_max_fpm, next.descent_max_fpm) {
        (Some(a), Some(b)) => Some(a.max(b)),
        (a, b) => a.or(b),
    };
}

#[cfg(test)]
mod tests {
    use super::super::made::{Made, flight};
    use super::super::{RecordedEngine, ReduceContext, reduce};
    use super::*;

    fn runs(csv: &str, file: &str) -> Vec<RunSummary> {
        let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, None)]);
        reduce(csv.as_bytes(), file, None, &context).0
    }

    /// Cut at every hundredth line or so, both halves joined tell the same times as the whole.
    #[test]
    fn a_run_over_two_files_is_one() {
        let csv = Made::default().csv(&flight(400.0, 600.0, 1800.0, 600.0, 240.0));
        let whole = &runs(&csv, "whole.csv")[0];
        let lines: Vec<&str> = csv.lines().collect();
        for cut in [100, 300, 430, 700, 1500, 2900, 3200, 3500, 3640] {
            let first = lines[..cut].join("\n");
            let second = format!("{}\n{}", lines[0], lines[cut..].join("\n"));
            let mut halves = runs(&second, "b.csv");
            halves.extend(runs(&first, "a.csv"));
            let joined = join(halves);
            assert_eq!(joined.len(), 1, "cut at {cut}");
            let run = &joined[0];
            assert_eq!((run.start, run.end, run.flights), (whole.start, whole.end, 1), "cut at {cut}");
            for (got, want) in [
                (run.ground_before_s, whole.ground_before_s),
                (run.ground_after_s, whole.ground_after_s),
                (run.air_s, whole.air_s),
                (run.running_s, whole.running_s),
                (run.ground_between_s, 0.0),
            ] {
                assert!((got - want).abs() <= 2.0, "cut at {cut}: {got} for {want}");
            }
        }
    }

    #[test]
    fn a_day_and_its_runs_count_once() {
        let legs = flight(400.0, 600.0, 600.0, 600.0, 240.0);
        let csv = Made::default().csv(&[legs.clone(), legs.clone()].concat());
        let one = Made::default().csv(&legs);
        let mut all = runs(&one, "run.csv");
        all.extend(runs(&csv, "day.csv"));
        assert_eq!(join(all).len(), 2);
    }

    #[test]
    fn two_runs_stay_two() {
        let legs = flight(400.0, 600.0, 600.0, 600.0, 240.0);
        let csv = Made::default().csv(&[legs.clone(), legs].concat());
        assert_eq!(join(runs(&csv, "day.csv")).len(), 2);
    }
}
