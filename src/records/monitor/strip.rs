//! A run thinned to what a picture shows: a few hundred points of a few channels, some kilobytes.
//!
//! Made while the samples are at hand, so that no picture needs a gigabyte read again. Temperatures keep
//! the highest of the samples looked at, and the summary's peaks stand beside them, so that thinning
//! never hides the moment a finding is about.

use std::ops::Range;
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::cell::{MISSING, is_value};
use super::channel::{ALT, CHT, CYLINDERS, MANIFOLD, OIL_TEMP, RPM};
use super::handling::PowerReader;
use super::power::Read;
use super::summary::Run;
use crate::engine::Model;
use crate::records::run::{AirBasis, Peak, Segment};
use crate::records::{Instant, RunSummary};

/// Points of a strip at most.
const POINTS: usize = 240;
/// Samples looked at for one point.
const LOOKED_AT: usize = 6;

/// One channel: a whole number per point, nothing where the recording has nothing.
pub type Series = Vec<Option<i16>>;

/// See the module.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Strip {
    /// Line of the run's first sample.
    pub line: u32,
    pub engine: Option<Arc<str>>,
    pub start: Instant,
    pub end: Instant,
    pub cut_start: bool,
    pub cut_end: bool,
    pub basis: AirBasis,
    pub segments: Vec<Segment>,
    /// Seconds from one point to the next; the first one stands for the time from the start on.
    pub every_s: f32,
    /// Percent of rated power, and how it was found.
    pub power_pct: Series,
    pub power_from: Option<String>,
    /// Tenths of an inHg.
    pub manifold: Series,
    /// Tens of rpm.
    pub rpm: Series,
    /// Hottest cylinder head, °F.
    pub cht_f: Series,
    pub oil_temp_f: Series,
    /// Tens of feet.
    pub altitude: Series,
    pub cht_peak_f: Option<Peak>,
    pub oil_temp_peak_f: Option<Peak>,
}

impl Strip {
    /// Of a run and its summary.
    pub(super) fn of(run: &Run<'_>, model: Option<&Model>, summary: &RunSummary) -> Self {
        let trace = run.trace;
        let n = trace.len();
        let length_ms = trace.t.last().copied().unwrap_or(0).max(1);
        // No more points than spacings, or a point would have no sample of its own.
        let points = (length_ms / run.spacing_ms.max(1)).clamp(1, POINTS as i32);
        let every_ms = f64::from(length_ms) / f64::from(points);
        let mut strip = Self {
            line: summary.line,
            engine: summary.engine.clone(),
            start: summary.start,
            end: summary.end,
            cut_start: summary.cut_start,
            cut_end: summary.cut_end,
            basis: summary.basis,
            segments: summary.segments.clone(),
            every_s: (every_ms / 1000.0) as f32,
            cht_peak_f: summary.cht_f,
            oil_temp_peak_f: summary.oil_temp_f,
            ..Self::default()
        };
        let (mut picks, mut from) = (Picks::default(), 0);
        for point in 1..=points {
            let end_ms = (f64::from(point) * every_ms) as i32;
            let to = if point == points { n } else { trace.index_at(end_ms).max(from) };
            picks.point(from, to);
            from = to;
        }
        if let Some(mut power) = PowerReader::of(run, model) {
            strip.power_from = Some(power.from.word().to_owned());
            strip.power_pct = picks.each(|at| match picks.at[at].iter().find_map(|i| power.read(*i as usize)) {
                Some(Read::Percent(p)) => Some(p.round().clamp(0.0, 255.0) as i16),
                _ => None,
            });
        }
        strip.manifold = picks.middles(trace.column(MANIFOLD), 100);
        strip.rpm = picks.middles(trace.column(RPM), 10_000);
        strip.cht_f = picks.highest((CHT..CHT + CYLINDERS).map(|c| trace.column(c)));
        strip.oil_temp_f = picks.highest([trace.column(OIL_TEMP)]);
        strip.altitude = picks.middles(trace.column(ALT), 10_000);
        for series in strip.series() {
            if series.iter().all(Option::is_none) {
                series.clear();
            }
        }
        strip
    }

    fn series(&mut self) -> [&mut Series; 6] {
        [
            &mut self.power_pct,
            &mut self.manifold,
            &mut self.rpm,
            &mut self.cht_f,
            &mut self.oil_temp_f,
            &mut self.altitude,
        ]
    }
}

/// The samples looked at, point by point.
#[derive(Default)]
struct Picks {
    at: Vec<u32>,
    /// Where in `at` each point ends.
    ends: Vec<usize>,
}

impl Picks {
    /// Adds the point of the samples `from..to`.
    fn point(&mut self, from: usize, to: usize) {
        let step = (to.saturating_sub(from) / LOOKED_AT).max(1);
        self.at.extend((from..to).step_by(step).map(|i| i as u32));
        self.ends.push(self.at.len());
    }

    /// By point, of where its samples stand in `at`.
    fn each(&self, mut point: impl FnMut(Range<usize>) -> Option<i16>) -> Series {
        let mut from = 0;
        let next = |end: &usize| point(std::mem::replace(&mut from, *end)..*end);
        self.ends.iter().map(next).collect()
    }

    /// The middle values, in units of so many thousandths.
    fn middles(&self, column: &[i32], per: i32) -> Series {
        self.each(|at| {
            let (mut values, mut n) = ([0; 2 * LOOKED_AT], 0);
            let there = self.at[at].iter().filter_map(|i| column.get(*i as usize)).filter(|v| is_value(**v));
            for (value, v) in values.iter_mut().zip(there) {
                (*value, n) = (*v, n + 1);
            }
            values[..n].sort_unstable();
            values[..n].get(n / 2).and_then(|v| whole(*v, per))
        })
    }

    /// The highest value in any of the columns, in units.
    fn highest<'a>(&self, columns: impl IntoIterator<Item = &'a [i32]>) -> Series {
        let mut highest = vec![MISSING; self.at.len()];
        for column in columns.into_iter().filter(|c| !c.is_empty()) {
            for (highest, i) in highest.iter_mut().zip(&self.at) {
                *highest = column.get(*i as usize).map_or(*highest, |v| (*highest).max(*v));
            }
        }
        self.each(|at| highest[at].iter().max().filter(|v| is_value(**v)).and_then(|v| whole(*v, 1000)))
    }
}

fn whole(v: i32, per: i32) -> Option<i16> {
    i16::try_from((v + per / 2) / per).ok()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::super::made::{Made, flight};
    use super::super::{RecordedEngine, ReduceContext, reduce};

    /// The made flight: 400 s on the ground, 600 s of climb to 11,000 ft, half an hour at 2400 rpm and 22 inHg.
    #[test]
    fn a_strip_shows_the_run_it_was_made_from() {
        let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, None)]);
        for every_s in [0.2, 1.0, 10.0] {
            let csv = Made { every_s, ..Made::default() }.csv(&flight(400.0, 600.0, 1800.0, 600.0, 240.0));
            let run = &reduce(csv.as_bytes(), "a.csv", None, &context).0[0];
            let strip = run.strip.as_ref().unwrap();
            assert_eq!((strip.start, strip.line, strip.rpm.len()), (run.start, run.line, 240), "{every_s}");
            let at = |seconds: f32| (seconds / strip.every_s) as usize;
            assert_eq!((strip.rpm[at(1500.0)], strip.manifold[at(1500.0)]), (Some(240), Some(220)));
            assert_eq!(strip.altitude[at(1500.0)], Some(1100));
            // The climb ends at 390 °F, and the summary's peak says so too.
            let hottest = strip.cht_f.iter().flatten().max().unwrap();
            assert!((386..=390).contains(hottest), "{hottest}");
            assert_eq!(strip.cht_peak_f, run.cht_f);
            assert!(strip.power_pct.is_empty() && strip.power_from.is_none());
        }
    }

    #[test]
    fn a_strip_is_small() {
        let context = ReduceContext::new(chrono_tz::UTC, vec![RecordedEngine::new(None, None)]);
        let csv = Made::default().csv(&flight(400.0, 600.0, 18_000.0, 600.0, 240.0));
        let run = &reduce(csv.as_bytes(), "a.csv", None, &context).0[0];
        let bytes = postcard::to_stdvec(run.strip.as_ref().unwrap()).unwrap();
        assert!(bytes.len() < 5_000, "{}", bytes.len());
        let back: super::Strip = postcard::from_bytes(&bytes).unwrap();
        assert_eq!(back, **run.strip.as_ref().unwrap());
    }
}
