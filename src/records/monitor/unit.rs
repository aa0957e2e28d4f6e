//! Recorders' units into ours.

use crate::units::{LITRES_PER_QUART, METRES_PER_FOOT, PASCALS_PER_INHG, QUARTS_PER_GALLON};

/// Pascals in one pound-force per square inch (NIST SP 811 B.8, from memory).
const PASCALS_PER_PSI: f64 = 6_894.757;

/// What a channel measures.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Measure {
    Plain,
    /// Absolute pressure, inHg.
    Manifold,
    /// Oil pressure, psi.
    Pressure,
    /// °F.
    Temperature,
    /// US gallons per hour.
    Flow,
    /// Knots.
    Speed,
    /// Feet.
    Height,
}

/// Factor and offset from a recorder's unit to ours. Factors: NIST SP 811 (2008) App. B.8 (from memory).
pub fn conversion(measure: Measure, unit: &str) -> Option<(f64, f64)> {
    let pascals = |unit: &str| {
        Some(match unit {
            "pa" => 1.0,
            "hpa" | "mbar" => 100.0,
            "kpa" => 1000.0,
            "bar" => 100_000.0,
            "psi" => PASCALS_PER_PSI,
            "inhg" => PASCALS_PER_INHG,
            _ => return None,
        })
    };
    let factor = match measure {
        Measure::Plain => return None,
        Measure::Manifold if unit == "inhg" => 1.0,
        Measure::Manifold => pascals(unit)? / PASCALS_PER_INHG,
        Measure::Pressure if unit == "psi" => 1.0,
        Measure::Pressure => pascals(unit)? / PASCALS_PER_PSI,
        Measure::Temperature => {
            return match unit {
                "f" => Some((1.0, 0.0)),
                "c" => Some((1.8, 32.0)),
                "k" => Some((1.8, -459.67)),
                _ => None,
            };
        }
        Measure::Flow => match unit {
            "gph" => 1.0,
            "l_h" => 1.0 / (QUARTS_PER_GALLON * LITRES_PER_QUART),
            _ => return None,
        },
        Measure::Speed => match unit {
            "kt" => 1.0,
            "kmh" => 1.0 / 1.852,
            "ms" => 3.6 / 1.852,
            "mph" => 1.609_344 / 1.852,
            _ => return None,
        },
        Measure::Height => match unit {
            "ft" => 1.0,
            "m" => 1.0 / METRES_PER_FOOT,
            _ => return None,
        },
    };
    Some((factor, 0.0))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    /// NIST SP 811 (2008) App. B.8 and B.9 (from memory): inHg 3.386 389 E+03 Pa, psi 6.894 757 E+03 Pa,
    /// gallon 3.785 412 E-03 m³, knot 1.852 km/h, mile 1.609 344 km, foot 0.3048 m.
    #[test]
    fn factors_follow_nist_sp_811() {
        for (measure, unit, value, want) in [
            (Measure::Manifold, "hpa", 1013.25, 29.9213),
            (Measure::Manifold, "kpa", 100.0, 29.5300),
            (Measure::Manifold, "psi", 14.696, 29.9213),
            (Measure::Pressure, "bar", 4.0, 58.0151),
            (Measure::Pressure, "kpa", 400.0, 58.0151),
            (Measure::Temperature, "c", 204.444_444, 400.0),
            (Measure::Temperature, "k", 288.15, 59.0),
            (Measure::Flow, "l_h", 37.854_12, 10.0),
            (Measure::Speed, "kmh", 185.2, 100.0),
            (Measure::Speed, "mph", 115.077_945, 100.0),
            (Measure::Speed, "ms", 51.444_444, 100.0),
            (Measure::Height, "m", 3048.0, 10_000.0),
        ] {
            let (factor, offset) = conversion(measure, unit).unwrap();
            assert!((value * factor + offset - want).abs() < 1e-4 * want, "{unit}");
        }
        assert_eq!(conversion(Measure::Speed, "c"), None);
    }
}
