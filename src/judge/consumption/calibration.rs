//! Decision limits: how large a statistic must be before somebody is told.
//!
//! A Shiryaev–Roberts sum that is reset by nothing grows by one per flight on a healthy engine, so a
//! limit of `A` flights gives about one false alarm per `A` flights; the table corrects that, by
//! simulation, for the kind of log and the rate.

use super::track::Log;

/// Share of the false alarms a user allows that goes to rises; falls are mostly questions about the log.
pub const RISE_SHARE: f64 = 0.8;

/// Limit on `ln R`. `per_1000_h`: false alarms allowed, rises and falls together; `flight_h`: mean
/// flight length, hours.
pub fn limit(log: Log, rise: bool, per_1000_h: f64, flight_h: f64) -> f64 {
    let share = if rise { RISE_SHARE } else { 1.0 - RISE_SHARE };
    let hours_between = 1000.0 / (per_1000_h.max(1e-6) * share);
    let offset = match log {
        Log::Levels => 0.0,
        Log::FlightsAndAdditions => 0.5,
        Log::AdditionsOnly => 0.5,
    };
    (hours_between / flight_h.clamp(0.2, 10.0)).ln().max(1.0) + offset
}
