//! What stands in the records of a build's break-in, line by line: oil changes, filters, runs, rate.
//!
//! The evidence sheet is made of it; nothing is judged here.

use serde::{Deserialize, Serialize};

use super::band_min;
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::running;
use crate::judge::{Rate, RatePoint};
use crate::records::run::AirBasis;
use crate::records::{Inspection, Instant, Source};

/// Engine hours back at which the rate is told beside today's.
const EARLIER_H: f64 = 10.0;
/// Lines kept of each kind.
const MOST: usize = 120;

/// An oil change, addition or look into a filter or screen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct OilLine {
    pub at: Instant,
    /// Since the build.
    pub hours: f64,
    /// `oil changed, AD 50`, `filter: clean`.
    pub what: String,
    pub remarks: Option<String>,
    pub source: Source,
}

/// A recorded run.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct RunLine {
    pub start: Instant,
    /// Since the build, when it ended.
    pub hours: f64,
    pub ground_min: f64,
    pub air_min: f64,
    pub flights: u16,
    /// Ground and air are inferred from power alone, or not known.
    pub inferred: bool,
    pub cht_f: Option<f32>,
    pub cylinder: Option<u8>,
    pub oil_temp_f: Option<f32>,
    /// Cruise minutes within, below and above the band, and unknown.
    pub band_min: [f64; 4],
    pub source: Source,
}

/// The record of the present build.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Record {
    pub oil: Vec<OilLine>,
    pub runs: Vec<RunLine>,
    /// Quarts added since the build.
    pub added_qt: f64,
    /// The rate some hours before, and how many.
    pub earlier: Option<(f64, Rate)>,
}

/// Everything of the engine's present build up to `as_of`.
pub fn record(engine: &Engine, rules: &Rules, points: &[RatePoint], as_of: Instant) -> Record {
    let build = engine.builds.len().saturating_sub(1);
    let zero = engine.build().zero_hours;
    let mine = || engine.events.iter().filter(move |e| e.build == build && e.at <= as_of);
    let mut oil: Vec<OilLine> = mine().filter_map(|e| oil_line(e, zero)).collect();
    let mut runs = runs(engine, rules, build, as_of);
    oil.drain(..oil.len().saturating_sub(MOST));
    runs.drain(..runs.len().saturating_sub(MOST));
    let added = |e: &Event| if let What::Added { qt, .. } = e.what { qt } else { 0.0 };
    Record { oil, runs, added_qt: mine().map(added).sum(), earlier: earlier(points, zero) }
}

fn oil_line(event: &Event, zero: f64) -> Option<OilLine> {
    let result = |part: &str, result: Option<Inspection>| {
        format!("{part}: {}", result.map_or("looked at, result not written", Inspection::word))
    };
    let what = match &event.what {
        What::Changed { oil: Some(oil), .. } => format!("oil changed, {oil}"),
        What::Changed { oil: None, .. } => "oil changed, kind not written".to_owned(),
        What::Filter { result: r } => result("filter", *r),
        What::Screen { result: r } => result("screen", *r),
        _ => return None,
    };
    Some(OilLine {
        at: event.at,
        hours: event.hours - zero,
        what,
        remarks: event.remarks.as_ref().map(ToString::to_string),
        source: event.source.clone(),
    })
}

fn runs(engine: &Engine, rules: &Rules, build: usize, as_of: Instant) -> Vec<RunLine> {
    let zero = engine.build().zero_hours;
    let recorded = running::recorded(engine, as_of).into_iter().filter(|r| r.event.build == build);
    recorded
        .map(|r| RunLine {
            start: r.run.start,
            hours: r.event.hours - zero,
            ground_min: r.run.ground_s() / 60.0,
            air_min: r.run.air_s / 60.0,
            flights: r.run.flights,
            inferred: matches!(r.run.basis, AirBasis::Power | AirBasis::Unknown),
            cht_f: r.run.cht_f.map(|p| p.value),
            cylinder: r.run.cht_f.and_then(|p| p.cylinder),
            oil_temp_f: r.run.oil_temp_f.map(|p| p.value),
            band_min: band_min(r.run, rules),
            source: r.run.source(),
        })
        .collect()
}

/// The rate as it was believed some hours ago, within the build.
fn earlier(points: &[RatePoint], zero: f64) -> Option<(f64, Rate)> {
    let now = points.last()?.hours;
    let then = points.iter().rev().find(|p| p.hours <= now - EARLIER_H)?;
    (then.hours >= zero).then_some((now - then.hours, then.rate))
}
