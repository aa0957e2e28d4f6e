//! Decision limits: how large a statistic must be before somebody is told.
//!
//! A Shiryaev–Roberts sum that is reset by nothing grows by one per flight on a healthy engine, so a
//! limit of `A` flights gives about one false alarm per `A` flights; the table corrects that, by
//! simulation, for the kind of log and the rate.

use super::keeping::Log;

/// Share of the false alarms a user allows that goes to rises; falls are mostly questions about the log.
pub const RISE_SHARE: f64 = 0.8;

/// Rates the table stands at, qt/h.
pub const RATES: [f64; 5] = [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0];

/// What is added to `ln(flights between false alarms)`, by kind of log, side (rise, fall) and rate.
///
/// Rises: made by `cargo run --release --example calibrate -- 300` (seeds from 5,000,001), each pass correcting the
/// table it runs with; the mean of the last two passes. Additions alone are hard at high rates, where one service runs
/// into the next. Falls: set by hand, up to two above what that program asks for: a fall is mostly a question about
/// the log, and is asked on more evidence than the setting would need.
pub const OFFSETS: [[[f64; 5]; 2]; 3] = [
    [[-1.28, -0.97, -1.12, -0.96, -0.38], [-1.0, -1.0, -1.0, -1.0, -1.0]],
    [[0.66, 0.22, 0.3, -0.78, -0.92], [-0.5, -0.5, -0.5, -0.5, 0.33]],
    [[-1.68, -0.9, 1.15, 3.92, 4.89], [-1.0, -1.0, -0.5, 0.0, 0.27]],
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
