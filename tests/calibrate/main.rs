//! Makes the table of decision limits: `cargo run --release --example calibrate -- 300`.
//!
//! Healthy engines are simulated (seeds from 5,000,001 on) for every kind of log and rate, judged at
//! several settings; a straight line through the logarithms of what was allowed and what came gives the
//! limits at which the two would be the same.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

#[path = "../sim/mod.rs"]
mod sim;

use chrono::DateTime;
use cowlwatch::config::Rules;
use cowlwatch::engine::What;
use cowlwatch::judge::consumption::calibration::{LIMITS, RATES, RISE_SHARE};
use cowlwatch::judge::{Kind, consumption};
use sim::{Case, Kept};

const HOURS: f64 = 1000.0;
/// False alarms per 1000 h beyond which nobody would set.
const FAR_ABOVE: f64 = 1.6;
const SETTINGS: [f64; 7] = [0.075, 0.15, 0.3, 0.6, 1.2, 2.4, 4.8];

fn counts(kept: Kept, rate: f64, engines: u64, setting: f64) -> [f64; 2] {
    let mut rules = Rules::default();
    rules.consumption.false_alarms_per_1000_h = setting;
    let mut sides = [0.0; 2];
    for seed in 0..engines {
        let mut case = Case::realistic(5_000_001 + seed, kept);
        case.rate = rate;
        case.hours = HOURS;
        let engine = sim::engine(&case, &sim::fly(&case));
        let later = DateTime::from_timestamp(4_000_000_000, 0).unwrap();
        for finding in consumption::follow(&engine, &[], &rules, &[], later).findings {
            match finding.kind {
                Kind::OilRateRise => sides[0] += 1.0,
                Kind::OilRateFall => sides[1] += 1.0,
                _ => {}
            }
        }
    }
    sides.map(|n| n / (engines as f64 * HOURS / 1000.0))
}

/// Mean hours of a flight as the log gives it: where only additions are logged, those between two of them.
fn flight_h(kept: Kept, rate: f64) -> f64 {
    let case = Case { rate, hours: HOURS, ..Case::realistic(5_000_001, kept) };
    let events = sim::engine(&case, &sim::fly(&case)).events;
    let flown = events.iter().filter_map(|e| if let What::Flight { hours, .. } = e.what { Some(hours) } else { None });
    let (hours, flights) = flown.fold((0.0, 0.0), |a, h| (a.0 + h, a.1 + 1.0));
    hours / flights
}

/// A straight line through ln(alarms) over ln(setting): its slope, and the means of x and of y. Points count by their
/// alarms; those far above anything a user would set are left out.
fn line(measured: &[f64]) -> [f64; 3] {
    let points = SETTINGS.iter().zip(measured).filter(|(_, m)| **m > 0.0 && **m < FAR_ABOVE);
    let points: Vec<[f64; 3]> = points.map(|(s, m)| [*m, s.ln(), m.ln()]).collect();
    let weight: f64 = points.iter().map(|p| p[0]).sum();
    let mean = |i: usize| points.iter().map(|p| p[0] * p[i]).sum::<f64>() / weight;
    let (x, y) = (mean(1), mean(2));
    let over: f64 = points.iter().map(|p| p[0] * (p[1] - x) * (p[2] - y)).sum();
    [over / points.iter().map(|p| p[0] * (p[1] - x).powi(2)).sum::<f64>(), x, y]
}

fn main() {
    let engines: u64 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(300);
    let allowed = Rules::default().consumption.false_alarms_per_1000_h;
    let rounded = |v: f64| (v * 100.0).round() / 100.0;
    for (l, kept) in [Kept::Levels, Kept::Flights, Kept::Additions].into_iter().enumerate() {
        for (r, rate) in RATES.into_iter().enumerate() {
            let measured: Vec<[f64; 2]> = SETTINGS.iter().map(|s| counts(kept, rate, engines, *s)).collect();
            let [told, x, y] = line(&measured.iter().map(|m| m[0]).collect::<Vec<_>>());
            // ln of the flights between false rises at the default setting.
            let flights = (1000.0 / (allowed * RISE_SHARE) / flight_h(kept, rate)).ln();
            // The setting that gives, with the table in force, what is allowed; its limit is wanted at `allowed`.
            let setting = x + ((allowed * RISE_SHARE).ln() - y) / told;
            let [offset, old] = LIMITS[l][0][r];
            let (limit, slope) = (offset + old * (flights + allowed.ln() - setting), rounded(old / told));
            println!("{kept:?} {rate:.3}: {measured:.3?} [{:?}, {slope:?}]", rounded(limit - slope * flights));
        }
    }
}
