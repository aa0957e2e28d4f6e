//! Makes the table of decision limits: `cargo run --release --example calibrate -- 600 > offsets`.
//!
//! Healthy engines are simulated (seeds from 5,000,001 on) for every kind of log and rate, judged at
//! several settings; where measured false alarms per side meet what the default setting allows, the
//! difference of the settings' logarithms is the correction to the table in force.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

#[path = "../sim/mod.rs"]
mod sim;

use chrono::DateTime;
use cowlwatch::config::Rules;
use cowlwatch::judge::consumption::calibration::{OFFSETS, RATES, RISE_SHARE};
use cowlwatch::judge::{Kind, consumption};
use sim::{Case, Kept};

const HOURS: f64 = 1000.0;
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

/// ln of the setting at which the measured rate meets `wanted`, between the settings tried.
fn meets(measured: &[f64], wanted: f64) -> f64 {
    let ln = |i: usize| SETTINGS[i].ln();
    if measured[0] >= wanted {
        return ln(0) - ((measured[0] / wanted).ln() / 0.6).min(1.5);
    }
    for i in 1..measured.len() {
        if measured[i] >= wanted {
            let (a, b) = (measured[i - 1].max(1e-3).ln(), measured[i].ln());
            let share = ((wanted.ln() - a) / (b - a)).clamp(0.0, 1.0);
            return ln(i - 1) + share * (ln(i) - ln(i - 1));
        }
    }
    ln(SETTINGS.len() - 1)
}

fn main() {
    let engines: u64 = std::env::args().nth(1).and_then(|a| a.parse().ok()).unwrap_or(600);
    let allowed = Rules::default().consumption.false_alarms_per_1000_h;
    for (l, kept) in [Kept::Levels, Kept::Flights, Kept::Additions].into_iter().enumerate() {
        let mut rows = [[0.0; 5]; 2];
        for (r, rate) in RATES.into_iter().enumerate() {
            let measured: Vec<[f64; 2]> = SETTINGS.iter().map(|s| counts(kept, rate, engines, *s)).collect();
            for (side, share) in [RISE_SHARE, 1.0 - RISE_SHARE].into_iter().enumerate() {
                let one: Vec<f64> = measured.iter().map(|m| m[side]).collect();
                let shift = allowed.ln() - meets(&one, allowed * share);
                rows[side][r] = ((OFFSETS[l][side][r] + shift).clamp(-4.0, 5.0) * 100.0).round() / 100.0;
            }
            eprintln!("{kept:?} {rate:.3}: {measured:.3?}");
        }
        println!("    [{:?}, {:?}],", rows[0], rows[1]);
    }
}
