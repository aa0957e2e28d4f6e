//! A recorder's clock against the logbook: flights are joined though one of the two is off by whole hours.
//!
//! A recorder left on another zone, or not told of daylight saving, writes the same flights some whole
//! hours early or late. Length and minutes still fit, flight after flight; that is how it is known. The
//! recording keeps its own times; only its place among the log's entries moves, and it is said once.

use chrono::TimeDelta;

use crate::records::{Instant, RunSummary};

/// Most a clock is taken to be off, hours: a recorder on UTC, anywhere.
const MOST_H: i64 = 14;
/// A logged time is this near the recorded one, minutes: people write down round times.
const NEAR_MIN: i64 = 25;
/// A logged length is this near the recorded one, hours.
const LENGTH_WITHIN_H: f64 = 0.25;
/// Flights that must agree, with none that speaks against it, before a clock is called off.
const AGREE: usize = 3;

/// A flight as logged: when, and how long if that is said.
#[derive(Clone, Copy, Debug)]
pub struct Logged {
    pub at: Instant,
    pub hours: f64,
}

/// A stretch of recordings whose clock is off.
#[derive(Clone, Debug, PartialEq)]
pub struct Off {
    /// To be added to the recorder's time, hours.
    pub hours: i64,
    /// First flight that showed it, and the one that made it sure.
    pub first: usize,
    pub sure: usize,
    /// The first flight afterwards whose time fits the log again.
    pub until: Option<usize>,
    pub agree: usize,
}

/// Stretches of `runs` (of one engine, in order of time) whose clock is off against the log.
pub fn off(logged: &[Logged], runs: &[&RunSummary]) -> Vec<Off> {
    let by_end = |r: &RunSummary| r.end;
    let by_start = |r: &RunSummary| r.start;
    // A log gives the end of a flight or its start; the reading that fits more of it as it stands is meant.
    let (ends, starts) = (fits(logged, runs, by_end), fits(logged, runs, by_start));
    let as_is = |fits: &[Vec<i64>]| fits.iter().filter(|f| f.contains(&0)).count();
    let (first, second) = if as_is(&starts) > as_is(&ends) { (starts, ends) } else { (ends, starts) };
    if as_is(&first) * 2 > first.iter().filter(|f| !f.is_empty()).count() {
        return stretches(&first);
    }
    let found = stretches(&first);
    if found.is_empty() { stretches(&second) } else { found }
}

/// The shifts under which each run fits a logged flight.
fn fits(logged: &[Logged], runs: &[&RunSummary], time: impl Fn(&RunSummary) -> Instant) -> Vec<Vec<i64>> {
    let near = TimeDelta::minutes(NEAR_MIN);
    let one = |run: &&RunSummary| {
        if run.flights == 0 {
            return Vec::new();
        }
        let (at, hours) = (time(run), run.running_s / 3600.0);
        let from = logged.partition_point(|l| l.at < at - TimeDelta::hours(MOST_H) - near);
        let close = logged[from..].iter().take_while(|l| l.at <= at + TimeDelta::hours(MOST_H) + near);
        let mut shifts: Vec<i64> = close
            .filter(|l| (l.hours - hours).abs() <= LENGTH_WITHIN_H)
            .filter_map(|l| {
                let shift = ((l.at - at).num_minutes() as f64 / 60.0).round() as i64;
                (l.at - at - TimeDelta::hours(shift)).abs().le(&near).then_some(shift)
            })
            .collect();
        shifts.sort_unstable_by_key(|s| (s.abs(), *s));
        shifts.dedup();
        shifts
    };
    runs.iter().map(one).collect()
}

fn stretches(fits: &[Vec<i64>]) -> Vec<Off> {
    let mut found = Vec::new();
    let mut open: Option<(Vec<i64>, Vec<usize>)> = None;
    let close = |open: &mut Option<(Vec<i64>, Vec<usize>)>, until: Option<usize>, found: &mut Vec<Off>| {
        if let Some((shifts, runs)) = open.take()
            && runs.len() >= AGREE
            && let Some(&hours) = shifts.first()
        {
            found.push(Off { hours, first: runs[0], sure: runs[AGREE - 1], until, agree: runs.len() });
        }
    };
    for (i, shifts) in fits.iter().enumerate().filter(|(_, s)| !s.is_empty()) {
        if shifts.contains(&0) {
            close(&mut open, Some(i), &mut found);
            continue;
        }
        let shared = open.as_ref().map(|(known, _)| known.iter().copied().filter(|s| shifts.contains(s)).collect());
        match (shared, &mut open) {
            (Some(shared), Some((known, runs))) if !Vec::is_empty(&shared) => {
                *known = shared;
                runs.push(i);
            }
            _ => {
                close(&mut open, Some(i), &mut found);
                open = Some((shifts.clone(), vec![i]));
            }
        }
    }
    close(&mut open, None, &mut found);
    found
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(text: &str) -> Instant {
        chrono::DateTime::parse_from_rfc3339(text).map(|t| t.to_utc()).unwrap_or_default()
    }

    /// A flight of `minutes` that ends at this time, as logged.
    fn logged(end: &str, minutes: f64) -> Logged {
        Logged { at: at(end), hours: (minutes / 6.0).round() / 10.0 }
    }

    fn flown(start: &str, minutes: f64) -> RunSummary {
        let (start, length) = (at(start), TimeDelta::minutes(minutes as i64));
        RunSummary { start, end: start + length, running_s: minutes * 60.0, flights: 1, ..RunSummary::default() }
    }

    /// Four days of one flight, logged by its end.
    fn log() -> Vec<Logged> {
        vec![
            logged("2026-03-03T16:10:00Z", 70.0),
            logged("2026-03-04T18:35:00Z", 95.0),
            logged("2026-03-05T15:50:00Z", 50.0),
            logged("2026-03-06T17:20:00Z", 80.0),
        ]
    }

    fn runs(by_h: i64, days: usize) -> Vec<RunSummary> {
        let truth = [("03T15:00", 70.0), ("04T17:00", 95.0), ("05T15:00", 50.0), ("06T16:00", 80.0)];
        let shifted = |mut r: RunSummary| {
            r.start += TimeDelta::hours(by_h);
            r.end += TimeDelta::hours(by_h);
            r
        };
        truth[..days].iter().map(|(d, m)| shifted(flown(&format!("2026-03-{d}:00Z"), *m))).collect()
    }

    fn told(runs: &[RunSummary]) -> Vec<Off> {
        off(&log(), &runs.iter().collect::<Vec<_>>())
    }

    #[test]
    fn a_clock_off_by_whole_hours_is_known_after_three_flights() {
        for by in [-7, -1, 1, 6] {
            assert_eq!(told(&runs(by, 2)), [], "{by}");
            let found = told(&runs(by, 4));
            assert_eq!(found, [Off { hours: -by, first: 0, sure: 2, until: None, agree: 4 }]);
        }
        assert_eq!(told(&runs(0, 4)), []);
    }

    #[test]
    fn a_clock_set_right_ends_the_stretch() {
        let mut all = runs(1, 3);
        all.extend(runs(0, 4).split_off(3));
        assert_eq!(told(&all), [Off { hours: -1, first: 0, sure: 2, until: Some(3), agree: 3 }]);
    }

    #[test]
    fn a_log_kept_by_the_start_is_right_too() {
        let starts: Vec<Logged> =
            log().iter().map(|l| Logged { at: l.at - TimeDelta::minutes((l.hours * 60.0) as i64), ..*l }).collect();
        let all = runs(0, 4);
        assert_eq!(off(&starts, &all.iter().collect::<Vec<_>>()), []);
    }
}
