//! What either set of rules costs in false rate alerts, by the setting each engine is judged under.
//!
//! The setting is calibrated by simulation at the usual smallest change; another smallest change moves
//! the rate of false alarms by [`by_smallest_change`], which was measured the same way.

use super::{Comparison, EngineComparison};
use crate::config::Rules;
use crate::judge::{EngineView, RulesFor};
use crate::records::Instant;

/// False rate alerts to be expected of one engine.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Expected {
    /// Engine hours in the period compared.
    pub engine_hours: f64,
    /// Per 1000 engine hours, under today's rules and the others.
    pub today_per_1000_h: f64,
    pub other_per_1000_h: f64,
}

impl Expected {
    /// Over engines: hours summed, rates weighted by them (evenly where nobody flew).
    fn over<'a>(all: impl Iterator<Item = &'a Self>) -> Self {
        let all: Vec<&Self> = all.filter(|e| e.today_per_1000_h > 0.0).collect();
        let hours: f64 = all.iter().map(|e| e.engine_hours).sum();
        let mean = |rate: fn(&Self) -> f64| {
            if hours > 0.0 {
                all.iter().map(|e| rate(e) * e.engine_hours).sum::<f64>() / hours
            } else {
                all.iter().map(|e| rate(e)).sum::<f64>() / all.len().max(1) as f64
            }
        };
        Self {
            engine_hours: hours,
            today_per_1000_h: mean(|e| e.today_per_1000_h),
            other_per_1000_h: mean(|e| e.other_per_1000_h),
        }
    }
}

/// False rate alerts a healthy engine is expected to raise under these rules, per 1000 engine hours.
pub fn false_alarms_per_1000_h(rules: &Rules) -> f64 {
    rules.consumption.false_alarms_per_1000_h * by_smallest_change(rules.consumption.smallest_change)
}

/// Factor on the false alarms by smallest change, to 1 at the usual 1.5. Measured on 1,600 healthy simulated engines
/// (1,600,000 h) by `cargo run --release --example expected -- 800`, logs with readings and without together.
const BY_SMALLEST_CHANGE: [(f64, f64); 9] = [
    (1.1, 0.93),
    (1.3, 0.95),
    (1.5, 1.0),
    (1.75, 1.03),
    (2.0, 1.03),
    (2.5, 1.06),
    (3.0, 1.02),
    (4.0, 0.76),
    (5.0, 0.07),
];

fn by_smallest_change(smallest: f64) -> f64 {
    let table = &BY_SMALLEST_CHANGE;
    let above = table.iter().position(|(at, _)| smallest < *at).unwrap_or(table.len());
    match above {
        0 => table[0].1,
        n if n == table.len() => table[n - 1].1,
        n => {
            let ((a, from), (b, to)) = (table[n - 1], table[n]);
            from + (to - from) * (smallest - a) / (b - a)
        }
    }
}

impl Comparison {
    /// Says of every engine what false alarms to expect from `from` on; engines without a finding are taken in.
    #[must_use]
    pub fn expecting(
        mut self,
        engines: &[EngineView],
        (today, other): (&dyn RulesFor, &dyn RulesFor),
        from: Instant,
    ) -> Self {
        for view in engines {
            let mine = |e: &EngineComparison| e.serial.as_ref() == Some(&view.serial);
            let at = self.engines.iter().position(mine).unwrap_or_else(|| {
                self.engines.push(EngineComparison {
                    tail: view.tail.clone(),
                    position: view.position.clone(),
                    serial: Some(view.serial.clone()),
                    pairs: Vec::new(),
                    expected: Expected::default(),
                });
                self.engines.len() - 1
            });
            let rate =
                |rules: &dyn RulesFor| false_alarms_per_1000_h(&rules.rules(&view.tail, &view.model, &view.serial));
            self.engines[at].expected = Expected {
                engine_hours: hours_since(view, from),
                today_per_1000_h: rate(today),
                other_per_1000_h: rate(other),
            };
        }
        self.engines.sort_by(|a, b| (&a.tail, &a.position, &a.serial).cmp(&(&b.tail, &b.position, &b.serial)));
        self
    }

    /// What to expect of all engines together.
    pub fn expected(&self) -> Expected {
        Expected::over(self.engines.iter().map(|engine| &engine.expected))
    }
}

fn hours_since(view: &EngineView, from: Instant) -> f64 {
    let first = view.points.iter().find(|point| point.at >= from);
    first.map_or(0.0, |point| (view.hours - point.hours).max(0.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Between 3 (1.02) and 4 (0.76) the middle is 0.89; the setting multiplies it.
    #[test]
    fn the_setting_and_the_smallest_change_make_the_rate() {
        let mut rules = Rules::default();
        assert!((false_alarms_per_1000_h(&rules) - 0.3).abs() < 1e-12);
        (rules.consumption.false_alarms_per_1000_h, rules.consumption.smallest_change) = (2.0, 3.5);
        assert!((false_alarms_per_1000_h(&rules) - 1.78).abs() < 1e-12);
        rules.consumption.smallest_change = 1.1;
        assert!((false_alarms_per_1000_h(&rules) - 1.86).abs() < 1e-12);
    }

    /// Two engines: 100 h at 0.3 and 300 h at 0.7 are 400 h at 0.6.
    #[test]
    fn engines_weigh_by_their_hours() {
        let at = |engine_hours, today_per_1000_h| Expected { engine_hours, today_per_1000_h, other_per_1000_h: 1.0 };
        let all = Expected::over([at(100.0, 0.3), at(300.0, 0.7)].iter());
        assert!((all.engine_hours - 400.0).abs() < 1e-12 && (all.today_per_1000_h - 0.6).abs() < 1e-12);
    }
}
