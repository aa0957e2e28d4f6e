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
/// A log that keeps block times fits to so many minutes.
const CLOSELY_MIN: i64 = 6;
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
    let (by_end, by_start) = (Fits::of(logged, runs, |r| r.end), Fits::of(logged, runs, |r| r.start));
    // A log gives the end of a flight or its start: whichever fits its minutes, else its times as they stand.
    let rank = |fits: &Fits| (fits.closely, fits.as_is);
    stretches(if rank(&by_start) > rank(&by_end) { &by_start.shifts } else { &by_end.shifts })
}

/// How the runs fit the log under one reading of its times.
struct Fits {
    /// The shifts under which each run fits a logged flight, the smallest first.
    shifts: Vec<Vec<i64>>,
    /// Runs that fit to some minutes under any shift, and runs that fit as they stand.
    closely: usize,
    as_is: usize,
}

impl Fits {
    fn of(logged: &[Logged], runs: &[&RunSummary], time: impl Fn(&RunSummary) -> Instant) -> Self {
        let mut fits = Self { shifts: Vec::new(), closely: 0, as_is: 0 };
        let most = TimeDelta::hours(MOST_H) + TimeDelta::minutes(NEAR_MIN);
        for run in runs {
            let (at, hours) = (time(run), run.running_s / 3600.0);
            let from = logged.partition_point(|l| l.at < at - most);
            let near = logged[from..].iter().take_while(|l| l.at <= at + most && run.flights > 0);
            let off: Vec<i64> = near
                .filter(|l| (l.hours - hours).abs() <= LENGTH_WITHIN_H)
                .map(|l| (l.at - at).num_minutes())
                .collect();
            // Minutes off the nearest whole hour.
            let beside = |m: i64| (m - whole_hours(m) * 60).abs();
            fits.closely += usize::from(off.iter().any(|m| beside(*m) <= CLOSELY_MIN));
            let mut shifts: Vec<i64> =
                off.iter().filter(|m| beside(**m) <= NEAR_MIN).map(|m| whole_hours(*m)).collect();
            shifts.sort_unstable_by_key(|s| (s.abs(), *s));
            shifts.dedup();
            fits.as_is += usize::from(shifts.first() == Some(&0));
            fits.shifts.push(shifts);
        }
        fits
    }
}

/// The nearest whole hours to some minutes.
fn whole_hours(minutes: i64) -> i64 {
    (minutes + 30).div_euclid(60)
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
