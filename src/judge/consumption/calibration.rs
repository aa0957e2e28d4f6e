//! Decision limits: how large a statistic must be before somebody is told.
//!
//! A Shiryaev–Roberts sum that is reset by nothing grows by one per flight on a healthy engine, so a
//! limit of `A` flights gives about one false alarm per `A` flights; the table corrects that, by
//! simulation, for the kind of log and the rate.

use super::keeping::Log;

/// Share of the false alarms a user allows that goes to rises; falls are mostly questions about the log.
pub const RISE_SHARE: f64 = 0.9;

/// Rates the table stands at, qt/h.
pub const RATES: [f64; 5] = [1.0 / 20.0, 1.0 / 12.0, 1.0 / 8.0, 1.0 / 5.0, 1.0 / 3.0];

/// Limits by kind of log, side (rise, fall) and rate: what is added to `slope × ln(flights between false alarms)`, and
/// that slope. It is above one where part of the false alarms comes from slips, whose statistics are large: for one e times
/// as rare the limit must rise by more than one. Where readings are logged and little oil is burnt it is below one (found by
/// simulation, since rises are seen over several accounts).
///
/// Rises: half-way between what `cargo run --release --example calibrate -- 600` (seeds from 5,000,001), which corrects
/// the table it runs with, and the pilots of `tests/tools/pilots.py` (seeds k1 to k4, 150 engines each; with readings m1 to
/// m4 too) ask for, of a table made that way before. Additions alone are hard at high rates, where one service runs into the
/// next. Falls: set by hand, up to two above what false alarms ask for: a fall is mostly a question about the log, and is
/// asked on more evidence than the setting would need.
pub const LIMITS: [[[[f64; 2]; 5]; 2]; 3] = [
    [
        [[1.1, 0.7], [0.4, 0.79], [-0.34, 0.88], [-1.44, 1.05], [-2.95, 1.28]],
        [[-1.69, 1.0], [-1.69, 1.0], [-1.69, 1.0], [-1.69, 1.0], [-1.69, 1.0]],
    ],
    [
        [[-2.85, 1.4], [-1.21, 1.17], [-1.91, 1.22], [-1.2, 1.06], [-1.52, 1.06]],
        [[-1.19, 1.0], [-1.19, 1.0], [-1.19, 1.0], [-1.19, 1.0], [-0.36, 1.0]],
    ],
    [
        [[-1.49, 1.08], [-3.22, 1.52], [-3.9, 1.74], [-5.04, 2.13], [-7.82, 2.79]],
        [[-1.69, 1.0], [-1.69, 1.0], [-1.19, 1.0], [-0.69, 1.0], [-0.42, 1.0]],
    ],
];

/// Limit on `ln R`. `per_1000_h`: false alarms allowed, rises and falls together; `flight_h`: mean
/// flight length, hours; `rate`: qt/h.
pub fn limit(log: Log, rise: bool, per_1000_h: f64, flight_h: f64, rate: f64) -> f64 {
    let share = if rise { RISE_SHARE } else { 1.0 - RISE_SHARE };
    let hours_between = 1000.0 / (per_1000_h.max(1e-6) * share);
    let [offset, slope] = between(&LIMITS[log as usize][usize::from(!rise)], rate);
    offset + slope * (hours_between / flight_h.clamp(0.2, 20.0)).ln().max(1.0)
}

/// Linear in the logarithm of the rate, constant beyond the ends.
fn between(table: &[[f64; 2]; 5], rate: f64) -> [f64; 2] {
    match RATES.iter().position(|r| rate < *r) {
        Some(0) => table[0],
        Some(i) => {
            let share = (rate / RATES[i - 1]).ln() / (RATES[i] / RATES[i - 1]).ln();
            [0, 1].map(|k| table[i - 1][k] + share * (table[i][k] - table[i - 1][k]))
        }
        None => table[4],
    }
}
