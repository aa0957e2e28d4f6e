//! Decision limits: how large a statistic must be before somebody is told.
//!
//! A Shiryaev–Roberts sum that is reset by nothing grows by one per flight on a healthy engine, so a
//! limit of `A` flights gives about one false alarm per `A` flights; the table corrects that, by
//! simulation, for the kind of log and the rate.

use super::track::Log;

/// Share of the false alarms a user allows that goes to rises; falls are mostly questions about the log.
pub const RISE_SHARE: f64 = 0.8;

/// Rates the table stands at, qt/h.
pub const RATES: [f64; 5] = [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0];

/// What is added to `ln(flights between false alarms)`, by kind of log, side (rise, fall) and rate.
/// Made by `cargo run --release --example calibrate -- 600`.
pub const OFFSETS: [[[f64; 5]; 2]; 3] = [
    [[-1.05, -0.65, -0.7, -0.9, -0.63], [0.08, 1.1, 1.42, 1.07, 0.08]],
    [[0.35, -0.07, 0.11, -0.93, -1.03], [0.32, 0.89, 2.45, 1.7, 1.97]],
    [[-1.86, 0.98, 4.55, 5.0, 5.0], [-2.0, -1.05, 1.98, 5.0, 5.0]],
];

/// Limit on `ln R`. `per_1000_h`: false alarms allowed, rises and falls together; `flight_h`: mean
/// flight length, hours; `rate`: qt/h.
pub fn limit(log: Log, rise: bool, per_1000_h: f64, flight_h: f64, rate: f64) -> f64 {
    let share = if rise { RISE_SHARE } else { 1.0 - RISE_SHARE };
    let hours_between = 1000.0 / (per_1000_h.max(1e-6) * share);
    let table = &OFFSETS[log as usize][usize::from(!rise)];
    (hours_between / flight_h.clamp(0.2, 20.0)).ln().max(1.0) + between(table, rate)
}

/// Linear in the logarithm of the rate, constant beyond the ends.
fn between(table: &[f64; 5], rate: f64) -> f64 {
    let above = RATES.iter().position(|r| rate < *r).unwrap_or(RATES.len());
    match above {
        0 => table[0],
        5 => table[4],
        i => {
            let share = (rate / RATES[i - 1]).ln() / (RATES[i] / RATES[i - 1]).ln();
            table[i - 1] + share * (table[i] - table[i - 1])
        }
    }
}
