//! Units, so that a number never travels without one.
//!
//! Logbooks mix quarts and litres, recorders mix °C and °F, and a NaN that slips into a filter
//! poisons every later value. Quantities from outside enter through the constructors here, which
//! refuse what is not finite or cannot be meant; inside, fields carry their unit in the name
//! (`rate_qt_per_h`, `oil_temp_f`).
//!
//! Factors: NIST SP 811 (2008) Appendix B.8; exact by definition unless noted.

use serde::{Deserialize, Serialize};

/// Litres in one US liquid quart (NIST SP 811 B.8: 9.463 529 E-04 m³; 57.75 in³ exactly).
pub const LITRES_PER_QUART: f64 = 0.946_352_946;
/// Pascals in one conventional inch of mercury (NIST SP 811 B.8).
pub const PASCALS_PER_INHG: f64 = 3386.389;
/// Watts in one horsepower of 550 ft·lbf/s (NIST SP 811 B.8).
pub const WATTS_PER_HP: f64 = 745.699_87;
/// Metres in one foot (exact).
pub const METRES_PER_FOOT: f64 = 0.3048;
/// US quarts in one US gallon (exact).
pub const QUARTS_PER_GALLON: f64 = 4.0;

macro_rules! quantity {
    ($(#[$doc:meta])* $name:ident, $low:expr, $high:expr) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(f64);

        impl $name {
            /// The least and the greatest value accepted.
            pub const RANGE: (f64, f64) = ($low, $high);

            /// Refuses NaN, infinities and values outside [`Self::RANGE`].
            pub fn new(value: f64) -> Option<Self> {
                ($low..=$high).contains(&value).then_some(Self(value))
            }

            /// The bare number, in the unit of the type.
            pub fn get(self) -> f64 {
                self.0
            }
        }
    };
}

quantity!(
    /// Hours on a meter or of running, decimal.
    Hours, 0.0, 200_000.0
);
quantity!(
    /// US liquid quarts of oil.
    Quarts, 0.0, 200.0
);

impl Quarts {
    /// From litres.
    pub fn from_litres(litres: f64) -> Option<Self> {
        Self::new(litres / LITRES_PER_QUART)
    }
}

/// °C to °F (a temperature, not a difference).
pub fn celsius_to_fahrenheit(c: f64) -> f64 {
    c * 1.8 + 32.0
}

/// °F to °C (a temperature, not a difference).
pub fn fahrenheit_to_celsius(f: f64) -> f64 {
    (f - 32.0) / 1.8
}

/// A temperature difference in kelvin (or °C) to °F: no offset.
pub fn kelvin_step_to_fahrenheit(k: f64) -> f64 {
    k * 1.8
}

/// The engine maker's style of maximum consumption, quarts per hour:
/// `lb/(bhp·h) × bhp × 4 qt/gal ÷ lb/gal`.
/// Common practice, publicly quoted (160 hp → 0.52 qt/h); confirm the constant against the engine maker's instructions.
pub fn ceiling_qt_per_h(lb_per_bhp_h: f64, rated_hp: f64, oil_lb_per_gal: f64) -> f64 {
    lb_per_bhp_h * rated_hp * QUARTS_PER_GALLON / oil_lb_per_gal
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn constructors_refuse_what_cannot_be_meant() {
        assert_eq!(Quarts::new(f64::NAN), None);
        assert_eq!(Quarts::new(-0.1), None);
        assert_eq!(Hours::new(f64::INFINITY), None);
        assert_eq!(Quarts::new(1.0).map(Quarts::get), Some(1.0));
    }

    /// NIST SP 811 App. B.8 (values from memory, recomputed): 1 L = 1.056 688 2 US qt.
    #[test]
    fn litres_follow_nist_sp_811() {
        let quarts = Quarts::from_litres(1.0).map(Quarts::get).unwrap_or(0.0);
        assert!((quarts - 1.056_688_2).abs() < 1e-7);
    }

    /// Publicly quoted worked value: 160 hp at 0.006 lb/(bhp·h) and 7.4 lb/gal is about 0.52 qt/h.
    #[test]
    fn ceiling_matches_the_quoted_worked_value() {
        assert!((ceiling_qt_per_h(0.006, 160.0, 7.4) - 0.5189).abs() < 5e-5);
        assert!((ceiling_qt_per_h(0.006, 310.0, 7.4) - 1.0054).abs() < 5e-5);
    }

    #[test]
    fn temperatures_and_differences_differ() {
        assert!((celsius_to_fahrenheit(204.444_444) - 400.0).abs() < 1e-5);
        assert!((fahrenheit_to_celsius(-40.0) + 40.0).abs() < 1e-12);
        assert!((kelvin_step_to_fahrenheit(6.0) - 10.8).abs() < 1e-12);
    }
}
