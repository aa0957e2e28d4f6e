//! How `consumption.smallest_change` moves the rate of false alarms on healthy engines:
//! `cargo run --release --example expected [-- ENGINES]`. Prints the table of src/judge/compare/expect.rs.
//!
//! The decision limits are calibrated at the usual smallest change of 1.5; `replay` tells what false alarms to
//! expect under another. Simulated engines of 1000 h, at 8 and 12 h/qt, each kind of log, setting 1 per 1000 h.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

#[path = "../sim/mod.rs"]
mod sim;

use chrono::DateTime;
use cowlwatch::config::Rules;
use cowlwatch::judge::{Kind, consumption};
use sim::{Case, Kept};

const SMALLEST: [f64; 9] = [1.1, 1.3, 1.5, 1.75, 2.0, 2.5, 3.0, 4.0, 5.0];

fn main() {
    let engines: u64 = std::env::args().nth(1).map_or(200, |n| n.parse().unwrap());
    let as_of = DateTime::from_timestamp(4_000_000_000, 0).unwrap();
    let mut alarms = [[0_u32; 3]; SMALLEST.len()];
    for (log, kept) in [Kept::Levels, Kept::Flights, Kept::Additions].into_iter().enumerate() {
        for seed in 0..engines {
            let mut case = Case::realistic(seed + 3_000_001, kept);
            case.hours = 1000.0;
            case.rate = if seed % 2 == 0 { 1.0 / 8.0 } else { 1.0 / 12.0 };
            case.wear = 5e-5;
            let engine = sim::engine(&case, &sim::fly(&case));
            for (row, smallest) in SMALLEST.into_iter().enumerate() {
                let mut rules = Rules::default();
                rules.consumption.false_alarms_per_1000_h = 1.0;
                rules.consumption.smallest_change = smallest;
                let followed = consumption::follow(&engine, &[], &rules, &[], as_of);
                let rate = |k: Kind| matches!(k, Kind::OilRateRise | Kind::OilRateFall);
                alarms[row][log] += followed.findings.iter().filter(|f| rate(f.kind)).count() as u32;
            }
        }
    }
    let usual = SMALLEST.iter().position(|s| *s == 1.5).unwrap();
    println!("smallest_change   per 1000 h: levels, flights, additions   factor, levels and flights together");
    for (smallest, counts) in SMALLEST.iter().zip(alarms) {
        let per = counts.map(|n| f64::from(n) / engines as f64);
        let factor = f64::from(counts[0] + counts[1]) / f64::from(alarms[usual][0] + alarms[usual][1]);
        println!("{smallest:>15}   {:>8.3} {:>8.3} {:>8.3}   {factor:>6.2}", per[0], per[1], per[2]);
    }
}
