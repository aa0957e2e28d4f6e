//! What each engine of a fleet has learned of its kinds of service, and what the fleet makes of it.
//!
//! The sump of every engine is followed by itself, without looking for changes, with a rate that may drift freely: what
//! remains are contrasts between flights of one service and of another near in time. Fleet: the engines' ratios are
//! drawn from a common normal distribution (random effects).

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use super::steps;
use super::sump::{RATE, SERVICE_SD, Who};
use super::track::Track;
use crate::engine::services::{Pair, Ratio, Services, month};
use crate::engine::{Engine, What};
use crate::records::Instant;

/// Relative drift of the rate per square root of an hour: a change of the engine is forgotten within some fifty hours.
const DRIFT: f64 = 0.02;
/// Spread of the ratio from engine to engine, of its logarithm, before a fleet has shown its own; how many engines' word
/// that counts for; and the least that is believed.
const BETWEEN: f64 = 0.1;
const SHOWN: f64 = 4.0;
const LEAST_BETWEEN: f64 = 0.03;
/// Variance of the logarithm of a ratio of which nothing is known.
const UNKNOWN_VAR: f64 = 2.0 * SERVICE_SD * SERVICE_SD;
/// Precision below which an engine has nothing to say.
const LEAST: f64 = 1.0;
/// Engine hours after a build during which the rate falls by itself.
const SEATING_H: f64 = 50.0;

/// What one engine knew at the beginning of each month: of each pair of services the logarithm of the ratio by its own
/// records alone, and the precision of that.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Learned {
    months: BTreeMap<i32, Vec<(Pair, [f64; 2])>>,
}

/// Goes through an engine's life for what its services cost.
pub fn learn(engine: &Engine) -> Learned {
    let mut learned = Learned::default();
    let mut track = Track::new(engine, Arc::default());
    if track.words().len() < 2 {
        return learned;
    }
    let seated = engine.builds.first().filter(|b| b.kind.is_some()).map_or(f64::MIN, |b| b.zero_hours + SEATING_H);
    let mut now = None;
    for step in steps::of(engine, &[]).iter().filter(|s| s.event.hours >= seated) {
        let month = month(step.event.at);
        if let Some(before) = now.replace(month).filter(|before| *before < month) {
            learned.note(before + 1, &track);
        }
        track.look(Who::Own, step.event);
        track.go(step.event, step.service, None, None);
        if let What::Flight { hours, .. } = step.event.what {
            track.sump.clear();
            let belief = &mut track.sump.belief;
            belief.cov[RATE][RATE] += (DRIFT * belief.mean[RATE]).powi(2) * hours;
        }
    }
    if let Some(last) = now {
        learned.note(last + 1, &track);
    }
    learned
}

impl Learned {
    fn note(&mut self, month: i32, track: &Track) {
        let (mut known, words) = (Vec::new(), track.words());
        for a in 0..words.len() {
            for b in 0..a {
                let Some((ln, variance)) = track.service_ratio(a, b) else { continue };
                // What was believed before any flight is taken out again.
                let precision = 1.0 / variance - 1.0 / UNKNOWN_VAR;
                if precision > LEAST {
                    known.push(((words[a].clone(), words[b].clone()), [ln / variance / precision, precision]));
                }
            }
        }
        if !known.is_empty() {
            self.months.insert(month, known);
        }
    }
}

/// Sums over engines from which a ratio and its spread follow; what some of them added can be taken out again.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
struct Sums {
    engines: f64,
    /// Of weights w, w², w·y, w·y², w·v, w²·v; y: ln ratio of an engine, v: its variance.
    sums: [f64; 6],
}

impl Sums {
    fn of(y: f64, precision: f64) -> Self {
        let v = 1.0 / precision;
        let w = 1.0 / (v + BETWEEN * BETWEEN);
        Self { engines: 1.0, sums: [w, w * w, w * y, w * y * y, w * v, w * w * v] }
    }

    fn add(&mut self, other: Self, times: f64) {
        self.engines += times * other.engines;
        self.sums.iter_mut().zip(other.sums).for_each(|(sum, x)| *sum += times * x);
    }

    /// The ratio for an engine nothing else is known of. The variance between engines is the moment estimate for given
    /// weights (DerSimonian and Kacker 2007, Contemporary Clinical Trials 28, their equation 6; from memory), drawn
    /// towards `BETWEEN` as if some engines had shown that already.
    fn ratio(self) -> Option<Ratio> {
        let [w, ww, wy, wyy, wv, wwv] = self.sums;
        if self.engines < 0.5 {
            return None;
        }
        let (q, free) = (wyy - wy * wy / w, w - ww / w);
        let between = if self.engines > 1.5 { ((q - (wv - wwv / w)) / free).max(0.0) } else { 0.0 };
        let shown = self.engines - 1.0;
        let between = (SHOWN * BETWEEN * BETWEEN + shown * between) / (SHOWN + shown);
        let w = w + 1.0 / UNKNOWN_VAR;
        Some(Ratio { ln: wy / w, sd: (1.0 / w + between.max(LEAST_BETWEEN * LEAST_BETWEEN)).sqrt() })
    }
}

/// What the engines of a fleet have learned, summed up by month and pair.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Pool {
    months: BTreeMap<i32, BTreeMap<Pair, Sums>>,
}

/// What the engines know together, up to the month of `until`: what they learn in it serves the next.
pub fn pool<'a>(engines: impl Iterator<Item = &'a Learned> + Clone, until: Instant) -> Pool {
    let months = engines.clone().flat_map(|e| e.months.keys().copied()).filter(|m| *m <= month(until));
    let months: BTreeSet<i32> = months.collect();
    let mut pool = Pool::default();
    for month in months {
        let all = pool.months.entry(month).or_default();
        engines.clone().for_each(|engine| add(all, engine, month, 1.0));
    }
    pool
}

/// Adds what an engine knew at the beginning of a month, or takes it out.
fn add(all: &mut BTreeMap<Pair, Sums>, engine: &Learned, month: i32, times: f64) {
    let Some((_, known)) = engine.months.range(..=month).next_back() else { return };
    for ((a, b), [ln, precision]) in known {
        let (pair, ln) = if a <= b { ((a.clone(), b.clone()), *ln) } else { ((b.clone(), a.clone()), -ln) };
        all.entry(pair).or_default().add(Sums::of(ln, *precision), times);
    }
}

impl Pool {
    /// What all but these engines know: an engine is no witness of itself.
    pub fn without(&self, engines: &[Learned]) -> Services {
        let rest = |(month, all): (&i32, &BTreeMap<Pair, Sums>)| {
            let mut all = all.clone();
            engines.iter().for_each(|engine| add(&mut all, engine, *month, -1.0));
            (*month, all.into_iter().filter_map(|(pair, sums)| Some((pair, sums.ratio()?))).collect())
        };
        Services::new(self.months.iter().map(rest).collect())
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn learned(ln: f64, precision: f64) -> Learned {
        let pair: Pair = ("survey".into(), "charter".into());
        Learned { months: BTreeMap::from([(month(at()), vec![(pair, [ln, precision])])]) }
    }

    fn at() -> Instant {
        Instant::from_timestamp(1_750_000_000, 0).unwrap()
    }

    /// Five engines of variance 0.0025 whose ratios have the sample variance 0.025: 0.0225 is between them, and with four
    /// engines' worth of 0.01 for the four degrees of freedom 0.01625. Weights of 80 each, and 8 for no knowledge:
    /// 160 / 408, variance 1 / 408 + 0.01625.
    #[test]
    fn a_ratio_by_hand() {
        let engines: Vec<Learned> = [0.2, 0.3, 0.4, 0.5, 0.6].map(|y| learned(y, 400.0)).into();
        let ratio = pool(engines.iter(), at()).without(&[]).ratio(at(), "survey", "charter").unwrap();
        assert!((ratio.ln - 160.0 / 408.0).abs() < 1e-12, "{ratio:?}");
        assert!((ratio.sd - (1.0_f64 / 408.0 + 0.01625).sqrt()).abs() < 1e-12, "{ratio:?}");
    }

    #[test]
    fn the_other_way_round_it_is_the_inverse_and_before_the_month_nothing_is_known() {
        let services = pool([learned(0.3, 400.0)].iter(), at()).without(&[]);
        let [one, other] =
            [("survey", "charter"), ("charter", "survey")].map(|(a, b)| services.ratio(at(), a, b).unwrap());
        assert!(one.ln > 0.2 && (one.ln + other.ln).abs() < 1e-12 && one.sd.to_bits() == other.sd.to_bits());
        let before = at() - chrono::TimeDelta::days(31);
        assert_eq!(services.ratio(before, "survey", "charter"), None);
        assert_eq!(pool([learned(0.3, 400.0)].iter(), before), Pool::default());
    }

    #[test]
    fn an_engine_is_no_witness_of_itself() {
        let engines = [learned(0.1, 50.0), learned(0.4, 200.0), learned(0.9, 300.0)];
        let rest = pool(engines[..2].iter(), at()).without(&[]);
        let all = pool(engines.iter(), at()).without(&engines[2..]);
        let [a, b] = [rest, all].map(|s| s.ratio(at(), "charter", "survey").unwrap());
        assert!((a.ln - b.ln).abs() < 1e-9 && (a.sd - b.sd).abs() < 1e-9, "{a:?} {b:?}");
        assert_eq!(pool(engines[..1].iter(), at()).without(&engines[..1]).ratio(at(), "charter", "survey"), None);
    }
}
