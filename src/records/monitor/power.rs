//! Percent of rated power, and how it was found: recorded, from the model's chart, or from fuel flow.
//!
//! A chart is never extrapolated. Fuel flow gives power only lean of peak; since a recording does not
//! say which side of the peak the mixture is on, it gives an upper bound and no more.

use super::isa;
use crate::engine::{Model, PowerPoint};

/// How percent power was found. The word is what summaries and evidence carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum From {
    Recorded,
    Chart,
    /// An upper bound: true power is at most this.
    FuelFlow,
}

impl From {
    /// The word in a summary.
    pub fn word(self) -> &'static str {
        match self {
            Self::Recorded => "recorded",
            Self::Chart => "chart",
            Self::FuelFlow => "fuel flow",
        }
    }
}

/// Percent power from a chart, or why there is none.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Read {
    Percent(f64),
    OutsideTheChart,
    /// More than an unboosted engine can give in this air: some reading is wrong.
    MoreThanPossible,
}

/// What a chart is entered with.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Setting {
    pub rpm: f64,
    pub manifold_inhg: f64,
    /// Pressure altitude.
    pub altitude_ft: Option<f64>,
    pub oat_f: Option<f64>,
}

/// A model's power chart, ready to be read between its rows.
#[derive(Clone, Debug)]
pub struct Chart<'a> {
    points: &'a [PowerPoint],
    rpm: Vec<f64>,
    manifold: Vec<f64>,
    altitude: Vec<f64>,
    turbocharged: bool,
}

impl<'a> Chart<'a> {
    /// `None` if the model has no chart.
    pub fn of(model: &'a Model) -> Option<Self> {
        let axis = |get: fn(&PowerPoint) -> f64| {
            let mut values: Vec<f64> = model.power.iter().map(get).collect();
            values.sort_by(f64::total_cmp);
            values.dedup();
            values
        };
        (!model.power.is_empty()).then(|| Self {
            points: &model.power,
            rpm: axis(|p| p.rpm),
            manifold: axis(|p| p.manifold_inhg),
            altitude: axis(|p| p.altitude_ft),
            turbocharged: model.turbocharged,
        })
    }

    /// Percent of rated power at a setting: linear between rows in rpm, manifold pressure and pressure
    /// altitude (a chart of one altitude holds at any), then corrected for air temperature.
    ///
    /// `P = P_chart · √(T_std / T)`: power at fixed manifold pressure and rpm goes with the inverse root of
    /// absolute intake temperature (textbook; about 1 % for 6 °C). Not applied to a turbocharged engine,
    /// whose intake air is not outside air.
    pub fn read(&self, at: Setting) -> Read {
        let altitude = if self.altitude.len() == 1 { Some(self.altitude[0]) } else { at.altitude_ft };
        let Some(percent) = altitude.and_then(|altitude| self.between(at.rpm, at.manifold_inhg, altitude)) else {
            return Read::OutsideTheChart;
        };
        let (Some(altitude_ft), false) = (at.altitude_ft, self.turbocharged) else { return Read::Percent(percent) };
        let standard_k = isa::temperature_k(altitude_ft);
        let air_k = at.oat_f.map_or(standard_k, isa::kelvin);
        let percent = percent * libm::sqrt(standard_k / air_k);
        if percent > full_throttle_pct(isa::density_ratio(altitude_ft, air_k)) + 5.0 {
            return Read::MoreThanPossible;
        }
        Read::Percent(percent)
    }

    fn between(&self, rpm: f64, manifold: f64, altitude: f64) -> Option<f64> {
        let (r, m, a) =
            (bracket(&self.rpm, rpm)?, bracket(&self.manifold, manifold)?, bracket(&self.altitude, altitude)?);
        let mut sum = 0.0;
        for (r_at, r_share) in r {
            for (m_at, m_share) in m {
                for (a_at, a_share) in a {
                    let share = r_share * m_share * a_share;
                    if share > 0.0 {
                        sum += share * self.at(r_at, m_at, a_at)?;
                    }
                }
            }
        }
        Some(sum)
    }

    fn at(&self, rpm: f64, manifold: f64, altitude: f64) -> Option<f64> {
        let same = |p: &&PowerPoint| p.rpm == rpm && p.manifold_inhg == manifold && p.altitude_ft == altitude;
        self.points.iter().find(same).map(|p| p.percent)
    }
}

/// The two values of an axis around `x` with their shares; `None` outside.
fn bracket(axis: &[f64], x: f64) -> Option<[(f64, f64); 2]> {
    let above = axis.iter().position(|v| *v >= x)?;
    let high = axis[above];
    if high == x {
        return Some([(high, 1.0), (high, 0.0)]);
    }
    let low = axis[above.checked_sub(1)?];
    let share = (x - low) / (high - low);
    Some([(low, 1.0 - share), (high, share)])
}

/// Most power an unboosted engine gives at full throttle, percent of sea level: Gagg and Farrar (SAE, 1934), `1.132σ − 0.132`.
pub fn full_throttle_pct(density_ratio: f64) -> f64 {
    100.0 * (1.132 * density_ratio - 0.132)
}

/// Upper bound of percent power from fuel flow, if the model has a factor and a rating.
pub fn at_most_from_fuel_flow(model: &Model, fuel_flow_gph: f64) -> Option<f64> {
    let factor = model.hp_per_gph?;
    (model.rated_hp > 0.0).then(|| fuel_flow_gph * factor / model.rated_hp * 100.0)
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::sync::Arc;

    use super::*;
    use crate::records::Source;

    fn model(rows: &[(f64, f64, f64, f64)]) -> Model {
        let mut model = Model::unknown(Arc::from("Q6-300"), Source { file: Arc::from("engines.toml"), line: 1 });
        model.power = rows
            .iter()
            .map(|&(rpm, manifold_inhg, altitude_ft, percent)| PowerPoint { rpm, manifold_inhg, altitude_ft, percent })
            .collect();
        model
    }

    /// An invented chart; the values between its rows are worked by hand.
    fn chart_rows() -> Vec<(f64, f64, f64, f64)> {
        let table = [[48.0, 54.0, 61.0, 67.0], [53.0, 60.0, 67.0, 74.0], [58.0, 65.0, 73.0, 81.0]];
        let mut rows = Vec::new();
        for (i, rpm) in [2200.0, 2400.0, 2600.0].into_iter().enumerate() {
            for (j, manifold) in [20.0, 22.0, 24.0, 26.0].into_iter().enumerate() {
                rows.push((rpm, manifold, 0.0, table[i][j]));
            }
        }
        rows
    }

    fn at(rpm: f64, manifold_inhg: f64, altitude_ft: Option<f64>, oat_f: Option<f64>) -> Setting {
        Setting { rpm, manifold_inhg, altitude_ft, oat_f }
    }

    fn percent(read: Read) -> f64 {
        if let Read::Percent(p) = read { p } else { f64::NAN }
    }

    /// By hand: at 2200 rpm 57.5 %, at 2400 rpm 63.5 %; three quarters of the way 62.0 %. At 6000 ft and
    /// ISA + 10 °C (13.11 °C): × √(276.26 / 286.26) = 0.98238 → 60.91 %.
    #[test]
    fn between_the_rows_and_off_standard() {
        let model = model(&chart_rows());
        let chart = Chart::of(&model).unwrap();
        assert!((percent(chart.read(at(2350.0, 23.0, None, None))) - 62.0).abs() < 1e-9);
        let oat = crate::units::celsius_to_fahrenheit(isa::temperature_k(6000.0) - 273.15 + 10.0);
        assert!((percent(chart.read(at(2350.0, 23.0, Some(6000.0), Some(oat)))) - 60.91).abs() < 0.005);
    }

    /// `√(T_std / T)` against the pilot's rule of 1 % for 6 °C (10.8 °F), worked by hand: 40 °F colder than standard at
    /// 2000 ft 1.0415 (rule 1.0400), 69, 49 and 99 °F at sea level .9905, 1.0098, .9635, and 67.6 °F at 6000 ft .9711.
    #[test]
    fn cold_air_gives_more_and_warm_air_less() {
        let mut model = model(&[(2400.0, 22.0, 0.0, 60.0)]);
        model.power.push(PowerPoint { rpm: 2500.0, manifold_inhg: 22.0, altitude_ft: 0.0, percent: 60.0 });
        let chart = Chart::of(&model).unwrap();
        for (ft, oat_f, factor, rule) in [
            (2000.0, 11.87, 1.0415, 1.04),
            (0.0, 69.0, 0.9905, 0.99),
            (0.0, 49.0, 1.0098, 1.01),
            (0.0, 99.0, 0.9635, 0.96),
            (6000.0, 67.6, 0.9711, 0.97),
        ] {
            let got = percent(chart.read(at(2400.0, 22.0, Some(ft), Some(oat_f)))) / 60.0;
            assert!((got - factor).abs() < 6e-5, "{ft} ft {oat_f} °F: {got}");
            assert!((got - rule).abs() < 4e-3, "{ft} ft {oat_f} °F: {got}");
        }
        // Not of a turbocharged engine, whose intake air is not outside air.
        model.turbocharged = true;
        assert_eq!(percent(Chart::of(&model).unwrap().read(at(2400.0, 22.0, Some(0.0), Some(99.0)))), 60.0);
    }

    #[test]
    fn never_beyond_the_rows() {
        let model = model(&chart_rows());
        let chart = Chart::of(&model).unwrap();
        for setting in [
            at(2100.0, 23.0, None, None),
            at(2610.0, 23.0, None, None),
            at(2400.0, 19.9, None, None),
            at(2400.0, 26.1, None, None),
        ] {
            assert_eq!(chart.read(setting), Read::OutsideTheChart);
        }
        assert!((percent(chart.read(at(2600.0, 26.0, None, None))) - 81.0).abs() < 1e-9);
        let mut holed = chart_rows();
        holed.retain(|r| !(r.0 == 2400.0 && r.1 == 24.0));
        let model = self::model(&holed);
        assert_eq!(Chart::of(&model).unwrap().read(at(2350.0, 23.0, None, None)), Read::OutsideTheChart);
    }

    /// Gagg and Farrar's line at standard altitudes, and 75 % at 8283 ft, 65 % at 12 107 ft (worked by hand).
    #[test]
    fn full_throttle_by_gagg_and_farrar() {
        for (ft, share) in [(0.0, 1.0), (2000.0, 0.935), (5000.0, 0.843), (8000.0, 0.758), (12_000.0, 0.653)] {
            let sigma = isa::density_ratio(ft, isa::temperature_k(ft));
            assert!((full_throttle_pct(sigma) / 100.0 - share).abs() < 6e-4, "{ft}");
        }
        for (ft, percent) in [(8283.0, 75.0), (12_107.0, 65.0)] {
            let sigma = isa::density_ratio(ft, isa::temperature_k(ft));
            assert!((full_throttle_pct(sigma) - percent).abs() < 0.01);
        }
        // 24 inHg at 12,000 ft standard, where the air has 19 inHg: no unboosted engine.
        let model = model(&chart_rows());
        let read = Chart::of(&model).unwrap().read(at(2600.0, 26.0, Some(12_000.0), None));
        assert_eq!(read, Read::MoreThanPossible);
    }

    /// Common practice, no citable source: 14.9 hp per gal/h at 8.5:1, 13.7 at 7.5:1 and turbocharged.
    #[test]
    fn fuel_flow_bounds_power() {
        for (gph, factor, hp, want) in
            [(10.0, 14.9, 200.0, 74.5), (13.1, 14.9, 300.0, 65.06), (17.0, 13.7, 310.0, 75.13)]
        {
            let mut model = model(&[]);
            (model.hp_per_gph, model.rated_hp) = (Some(factor), hp);
            assert!((at_most_from_fuel_flow(&model, gph).unwrap() - want).abs() < 0.01);
        }
    }
}
