//! The engine models file: numbers of each model as the operator took them from the engine maker's instructions.
//!
//! A model with a mistake is left out and named; the others count. A model may carry threshold
//! tables (`[model.break_in]`) where its maker's plan differs.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::scope::{Overrides, contradictions};
use crate::engine::{Model, Models, PowerPoint};
use crate::records::Rejection;
use crate::records::keyed::{self, Keys, Problems, Range};
use crate::units::LITRES_PER_QUART;

/// What an engine models file says.
#[derive(Clone, Debug, Default)]
pub struct ModelsFile {
    pub models: Models,
    /// Thresholds given beside a model, by its name.
    pub plans: BTreeMap<String, Overrides>,
}

const QUARTS: Range = Range::new(1.0, 60.0, "US quarts");

/// Reads an engine models file: the models that could be made out, and every problem in order of line.
pub fn parse(text: &str, file: &str) -> (ModelsFile, Vec<Rejection>) {
    let problems = Problems::new(file);
    let table = keyed::read(text, &problems);
    let keys = Keys::new(&table, &problems);
    let mut found = ModelsFile::default();
    for table in keys.tables("model") {
        let Some(model) = model(&table) else { continue };
        if let Some(same) = found.models.get(&model.name) {
            table.wrong("name", format!("each name once; line {} has it too", same.source.line));
            continue;
        }
        let plan = Overrides::read(&table, false);
        contradictions(&[&plan], &problems);
        table.done();
        found.plans.insert(model.name.to_string(), plan);
        found.models.insert(model.name.clone(), Arc::new(model));
    }
    if !keys.has("model") {
        keys.missing("model", "at least one [[model]] table");
    }
    keys.done();
    (found, problems.into_list())
}

/// `None` where a number is missing or wrong that nothing can stand in for.
fn model(keys: &Keys<'_>) -> Option<Model> {
    let required = [
        ("name", "the model's name, as aircraft.toml gives it"),
        ("rated_hp", "horsepower"),
        ("rated_rpm", "rpm at the red line"),
        ("cylinders", "the number of cylinders"),
    ];
    for (name, expected) in required {
        if !keys.has(name) {
            keys.missing(name, expected);
        }
    }
    let name = keys.text("name", "the model's name, as aircraft.toml gives it");
    let rated_hp = keys.number("rated_hp", Range::new(30.0, 1000.0, "horsepower"));
    let rated_rpm = keys.number("rated_rpm", Range::new(1500.0, 6000.0, "rpm"));
    let cylinders = keys.whole("cylinders", Range::new(1.0, 18.0, "cylinders"));
    let mut model = Model {
        name: name.unwrap_or_default().into(),
        rated_hp: rated_hp.unwrap_or_default(),
        rated_rpm: rated_rpm.unwrap_or_default(),
        cylinders: cylinders.and_then(|n| u8::try_from(n).ok()).unwrap_or_default(),
        turbocharged: keys.flag("turbocharged").unwrap_or(false),
        cylinder_finish: keys.text("cylinder_finish", "a word such as \"steel\" or \"nitrided\"").map(str::to_owned),
        oil_capacity_qt: keys.number("oil_capacity_qt", QUARTS),
        oil_minimum_qt: keys.number("oil_minimum_qt", QUARTS),
        manifold_max_inhg: keys.number("manifold_max_inhg", Range::new(20.0, 70.0, "inHg")),
        cht_max_f: keys.number("cht_max_f", Range::new(350.0, 600.0, "°F (230 °C is 446 °F)")),
        oil_temp_max_f: keys.number("oil_temp_max_f", Range::new(180.0, 300.0, "°F (118 °C is 244 °F)")),
        power: Vec::new(),
        hp_per_gph: keys.number("hp_per_gph", Range::new(8.0, 20.0, "horsepower per gallon and hour, lean of peak")),
        confirmed: keys.flag("confirmed").unwrap_or(false),
        source: keys.problems().source(keys.line()),
    };
    oil(keys, &mut model);
    model.power = power(keys, model.rated_rpm);
    let complete = name.is_some() && rated_hp.is_some() && rated_rpm.is_some() && cylinders.is_some();
    if !complete {
        // Its threshold tables are read all the same, so that their mistakes are named too.
        let _ = Overrides::read(keys, false);
        keys.done();
    }
    complete.then_some(model)
}

fn oil(keys: &Keys<'_>, model: &mut Model) {
    for name in ["oil_capacity_qt", "oil_minimum_qt"] {
        let written = if name == "oil_capacity_qt" { model.oil_capacity_qt } else { model.oil_minimum_qt };
        if let Some(quarts) = written.and_then(meant_as_litres).filter(|_| !model.confirmed) {
            keys.wrong(
                name,
                format!(
                    "US quarts, and {quarts} qt in litres would read so: write {quarts}, or confirmed = true if it is right"
                ),
            );
        }
    }
    if let (Some(minimum), Some(capacity)) = (model.oil_minimum_qt, model.oil_capacity_qt)
        && minimum >= capacity
    {
        keys.wrong("oil_minimum_qt", format!("less than oil_capacity_qt = {capacity}"));
        model.oil_minimum_qt = None;
    }
}

/// Sump capacities are whole or half quarts; one that is not, but is a whole number of quarts once it is
/// taken for litres, was most likely copied from a table in litres. Returns those quarts.
/// Common practice, no source.
fn meant_as_litres(value: f64) -> Option<f64> {
    let halves = value * 2.0;
    let quarts = value / LITRES_PER_QUART;
    let even = (halves - halves.round()).abs() < 0.02;
    (!even && (quarts - quarts.round()).abs() < 0.06).then(|| quarts.round())
}

fn power(keys: &Keys<'_>, rated_rpm: f64) -> Vec<PowerPoint> {
    let mut rows: Vec<PowerPoint> = Vec::new();
    for row in keys.tables("power") {
        let number = |name: &str, range: Range| {
            if !row.has(name) {
                row.missing(name, range.to_string());
            }
            row.number(name, range)
        };
        let rpm = number("rpm", Range::new(500.0, 6000.0, "rpm"));
        let manifold = number("manifold_inhg", Range::new(8.0, 70.0, "inHg"));
        let altitude = row.number("altitude_ft", Range::new(-2000.0, 45_000.0, "ft")).or(Some(0.0));
        let percent = number("percent", Range::new(10.0, 110.0, "% of rated power"));
        row.done();
        let (Some(rpm), Some(manifold_inhg), Some(altitude_ft), Some(percent)) = (rpm, manifold, altitude, percent)
        else {
            continue;
        };
        if rated_rpm > 0.0 && rpm > rated_rpm * 1.05 {
            row.wrong("rpm", format!("no more than rated_rpm = {rated_rpm} and a twentieth"));
            continue;
        }
        let same = |p: &&PowerPoint| {
            p.rpm == rpm && p.manifold_inhg == manifold_inhg && p.altitude_ft == altitude_ft && p.percent != percent
        };
        if let Some(other) = rows.iter().find(same) {
            row.wrong("percent", format!("{}, as another row with the same setting says", other.percent));
            continue;
        }
        rows.push(PowerPoint { rpm, manifold_inhg, altitude_ft, percent });
    }
    rows
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(text: &str) -> Vec<String> {
        parse(text, "engines.toml").1.iter().map(ToString::to_string).collect()
    }

    const MODEL: &str = "[[model]]\nname = \"Q6-300\"\nrated_hp = 300\nrated_rpm = 2700\ncylinders = 6\n";

    #[test]
    fn a_model_is_read_with_its_power_chart_and_plan() {
        let text = format!(
            "{MODEL}oil_capacity_qt = 12\noil_minimum_qt = 9\nconfirmed = true\n\
             [[model.power]]\nrpm = 2300\nmanifold_inhg = 24\naltitude_ft = 4000\npercent = 68\n\
             [model.break_in]\noil_changes_at_h = [10, 25, 50]\n"
        );
        let (file, rejections) = parse(&text, "engines.toml");
        assert_eq!(rejections, []);
        let model = &file.models["Q6-300"];
        assert_eq!((model.rated_hp, model.cylinders, model.confirmed, model.source.line), (300.0, 6, true, 1));
        assert_eq!(model.power, [PowerPoint { rpm: 2300.0, manifold_inhg: 24.0, altitude_ft: 4000.0, percent: 68.0 }]);
        assert!(file.plans["Q6-300"].source_of("break_in", "oil_changes_at_h").is_some());
    }

    #[test]
    fn a_broken_model_leaves_the_others() {
        let text = format!("[[model]]\nname = \"Q4-180\"\nrated_hp = -180\n\n{MODEL}");
        let (file, rejections) = parse(&text, "engines.toml");
        let said: Vec<String> = rejections.iter().map(ToString::to_string).collect();
        assert_eq!(
            said,
            [
                "engines.toml:1: model.rated_rpm is missing, expected rpm at the red line",
                "engines.toml:1: model.cylinders is missing, expected the number of cylinders",
                "engines.toml:3: model.rated_hp = -180, expected 30 to 1000 horsepower",
            ]
        );
        assert_eq!(file.models.len(), 1);
    }

    #[test]
    fn capacities_copied_from_a_table_in_litres_are_questioned() {
        let expected = "engines.toml:6: model.oil_capacity_qt = 11.4, expected US quarts, and 12 qt in litres would \
                        read so: write 12, or confirmed = true if it is right";
        assert_eq!(said(&format!("{MODEL}oil_capacity_qt = 11.4\n")), [expected]);
        assert_eq!(said(&format!("{MODEL}oil_capacity_qt = 11.4\nconfirmed = true\n")), [""; 0]);
        for quarts in [6.0, 8.0, 9.5, 10.0, 12.0, 13.0] {
            assert_eq!(said(&format!("{MODEL}oil_capacity_qt = {quarts}\n")), [""; 0]);
        }
    }
}
