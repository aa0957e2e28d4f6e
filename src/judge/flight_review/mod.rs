//! How a flight went against the limits: take-off power, temperatures, pressures, handling.

use super::running::{self, Recorded};
use crate::config::Rules;
use crate::engine::Engine;

/// The cylinder head limit for a run, °F, and where it comes from: in break-in the lower of the rules' and the model's.
pub fn cht_limit(engine: &Engine, rules: &Rules, recorded: Recorded<'_>) -> (f64, String) {
    let model = engine.model.cht_max_f.map(|limit| (limit, running::from_model(engine)));
    let break_in = running::in_break_in(engine, recorded.event, recorded.run.running_s / 3600.0, rules)
        .then(|| (rules.break_in.cht_max_f, running::from_rules(rules)));
    match (break_in, model) {
        (Some(b), Some(m)) => {
            if m.0 < b.0 {
                m
            } else {
                b
            }
        }
        (Some(b), None) => b,
        (None, Some(m)) => m,
        (None, None) => (f64::INFINITY, String::new()),
    }
}
