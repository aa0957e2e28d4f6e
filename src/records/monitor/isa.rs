//! The standard atmosphere up to the tropopause, for power corrections and density altitude.
//!
//! U.S. Standard Atmosphere 1976 (equal to ICAO Doc 7488 here): 288.15 K and 1013.25 hPa at sea level, 6.5 K per
//! geopotential kilometre, exponent g₀M/(R·L) = 5.255 88.

use crate::units::METRES_PER_FOOT;

const T0_K: f64 = 288.15;
const LAPSE_K_PER_M: f64 = 0.0065;
const EXPONENT: f64 = 5.255_88;

/// Standard temperature at a pressure altitude in feet, kelvin.
pub fn temperature_k(altitude_ft: f64) -> f64 {
    T0_K - LAPSE_K_PER_M * altitude_ft * METRES_PER_FOOT
}

/// Pressure over sea-level pressure, δ.
pub fn pressure_ratio(altitude_ft: f64) -> f64 {
    libm::pow(temperature_k(altitude_ft) / T0_K, EXPONENT)
}

/// Density over sea-level density, σ, at a pressure altitude in feet and an air temperature in kelvin.
pub fn density_ratio(altitude_ft: f64, air_k: f64) -> f64 {
    pressure_ratio(altitude_ft) * T0_K / air_k
}

/// The standard altitude with this density ratio, feet.
pub fn density_altitude_ft(density_ratio: f64) -> f64 {
    T0_K / LAPSE_K_PER_M * (1.0 - libm::pow(density_ratio, 1.0 / (EXPONENT - 1.0))) / METRES_PER_FOOT
}

/// °F to kelvin.
pub fn kelvin(f: f64) -> f64 {
    crate::units::fahrenheit_to_celsius(f) + 273.15
}

#[cfg(test)]
mod tests {
    use super::*;

    fn near(got: f64, want: f64, within: f64) {
        assert!((got - want).abs() <= within, "got {got}, want {want}");
    }

    /// U.S. Standard Atmosphere 1976, tables by feet as reprinted in FAA-H-8083-25 (values from the
    /// project's reference notes): °C, hPa, δ, σ.
    #[test]
    fn the_published_table() {
        for (ft, celsius, hpa, delta, sigma) in [
            (0.0, 15.0, 1013.25, 1.0, 1.0),
            (1000.0, 13.02, 977.17, 0.96439, 0.97106),
            (2000.0, 11.04, 942.13, 0.92981, 0.94277),
            (3000.0, 9.06, 908.12, 0.89624, 0.91512),
            (4000.0, 7.08, 875.11, 0.86366, 0.88809),
            (5000.0, 5.09, 843.07, 0.83205, 0.86167),
            (8000.0, -0.85, 752.62, 0.74278, 0.78602),
            (10_000.0, -4.81, 696.82, 0.68770, 0.73848),
            (15_000.0, -14.72, 571.82, 0.56434, 0.62924),
            (20_000.0, -24.62, 465.63, 0.45954, 0.53281),
        ] {
            near(temperature_k(ft) - 273.15, celsius, 0.006);
            near(pressure_ratio(ft) * 1013.25, hpa, 0.01);
            near(pressure_ratio(ft), delta, 1e-5);
            near(density_ratio(ft, temperature_k(ft)), sigma, 1e-5);
            near(density_altitude_ft(sigma), ft, 1.0);
        }
    }

    /// Density altitude worked by hand from the same formulas: 5000 ft and 30 °C give 7801 ft.
    #[test]
    fn density_altitude_off_standard() {
        for (ft, celsius, sigma, altitude) in [
            (5000.0, 30.0, 0.7909, 7801.0),
            (0.0, 35.0, 0.9351, 2275.0),
            (8000.0, 10.0, 0.7559, 9256.0),
            (3000.0, -10.0, 0.9814, 641.0),
        ] {
            let ratio = density_ratio(ft, celsius + 273.15);
            near(ratio, sigma, 5e-5);
            near(density_altitude_ft(ratio), altitude, 1.0);
        }
    }
}
