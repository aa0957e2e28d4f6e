//! Doubts about a log that no single row shows: a dipstick that reads more than the sump holds, flights that
//! nobody says the service of.
//!
//! Litres taken for quarts, or quarts for litres, shift everything by a twentieth and are refused nowhere; `check`
//! asks about them.

use crate::engine::{Engine, What};
use crate::records::Source;
use crate::units::LITRES_PER_QUART;

/// How far above the capacity a reading may be: the scale is read to a quarter, and sumps are overfilled.
const OVER_QT: f64 = 0.4;
/// Readings above it that raise the question.
const SEVERAL: usize = 3;

/// Last flights looked at for their service.
const FLIGHTS: usize = 40;

/// Questions about an engine's log, each at the line that raises it.
pub fn all(engine: &Engine) -> impl Iterator<Item = (Source, String)> {
    dipstick(engine).into_iter().chain(services(engine))
}

/// Most of the last flights without a word for their service: consumption differs by service, so a change has to show
/// against all of that.
fn services(engine: &Engine) -> Option<(Source, String)> {
    let logged = engine.events.iter().rev().filter_map(|e| match &e.what {
        What::Flight { service, inferred: false, .. } => Some((service.is_some(), &e.source)),
        _ => None,
    });
    let last: Vec<_> = logged.take(FLIGHTS).collect();
    let unnamed = last.iter().filter(|(named, _)| !named).count();
    if last.len() < FLIGHTS || unnamed * 2 <= FLIGHTS {
        return None;
    }
    let said = format!(
        "{unnamed} of the last {FLIGHTS} flights of {} do not say what was flown (service): a change of its oil \
         consumption is told later, by about half; one word for each flight mends that, always the same if all are alike",
        engine.serial
    );
    last.iter().find(|(named, _)| !named).map(|(_, source)| ((*source).clone(), said))
}

/// A question about the dipstick readings of an engine, at the first line that raises it.
fn dipstick(engine: &Engine) -> Option<(Source, String)> {
    above(engine).or_else(|| below(engine))
}

fn readings(engine: &Engine) -> Vec<(f64, &Source)> {
    let reading = |what: &What| match what {
        What::Level { qt } => Some(*qt),
        What::Changed { level_after_qt, .. } => *level_after_qt,
        _ => None,
    };
    engine.events.iter().filter_map(|e| reading(&e.what).map(|qt| (qt, &e.source))).collect()
}

/// `of H6-300 (engines.toml:3)`
fn of_model(engine: &Engine) -> String {
    format!("of {} ({})", engine.model.name, engine.model.source)
}

/// Readings above what the sump holds.
fn above(engine: &Engine) -> Option<(Source, String)> {
    let capacity = engine.model.oil_capacity_qt?;
    let all = readings(engine);
    let over: Vec<_> = all.iter().filter(|(qt, _)| *qt > capacity + OVER_QT).collect();
    if over.len() < SEVERAL || over.len() * 10 < all.len() {
        return None;
    }
    let most = over.iter().map(|(qt, _)| *qt).fold(0.0, f64::max);
    let meant = if most * LITRES_PER_QUART <= capacity + OVER_QT {
        format!("quarts written as litres? As quarts the highest would be {:.1}", most * LITRES_PER_QUART)
    } else {
        "another scale, or another capacity?".to_owned()
    };
    let (model, serial) = (of_model(engine), &engine.serial);
    let n = over.len();
    let said =
        format!("{n} readings of {serial} above oil_capacity_qt = {capacity} {model}, up to {most:.1} qt: {meant}");
    Some((over[0].1.clone(), said))
}

/// Nearly every reading below what the engine may fly with: hardly the engine's oil, rather its numbers.
fn below(engine: &Engine) -> Option<(Source, String)> {
    let minimum = engine.model.oil_minimum_qt?;
    let all = readings(engine);
    let under: Vec<_> = all.iter().filter(|(qt, _)| *qt < minimum).collect();
    if under.len() < SEVERAL || under.len() * 10 < all.len() * 9 {
        return None;
    }
    let most = all.iter().map(|(qt, _)| *qt).fold(0.0, f64::max);
    let meant = if most / LITRES_PER_QUART > minimum + OVER_QT {
        format!("litres written as quarts? As litres the highest would be {:.1} qt", most / LITRES_PER_QUART)
    } else {
        "another scale, or another model?".to_owned()
    };
    let (model, serial) = (of_model(engine), &engine.serial);
    let (n, all) = (under.len(), all.len());
    let said = format!("{n} of {all} readings of {serial} below oil_minimum_qt = {minimum} {model}: {meant}");
    Some((under[0].1.clone(), said))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::engine::Model;
    use crate::judge::running::made;
    use std::sync::Arc;

    fn engine(capacity: f64, readings: &[f64]) -> Engine {
        let mut engine = made::engine(None, 0.0);
        let mut model = Model::unknown("H6-300".into(), Source { file: "engines.toml".into(), line: 3 });
        model.oil_capacity_qt = Some(capacity);
        engine.model = Arc::new(model);
        for qt in readings {
            made::push(&mut engine, made::at("2026-03-01T12:00:00Z"), 1.0, What::Level { qt: *qt });
        }
        engine
    }

    #[test]
    fn flights_that_do_not_say_what_was_flown_are_asked_about_once_they_are_most() {
        let engine = |named: usize, unnamed: usize| {
            let mut engine = engine(12.0, &[]);
            for n in 0..named + unnamed {
                let service = (n < named).then(|| "charter".into());
                let flight = What::Flight { hours: 1.0, service, inferred: false };
                made::push(&mut engine, made::at("2026-03-01T12:00:00Z"), 1.0, flight);
            }
            engine
        };
        assert_eq!(services(&engine(100, 20)), None);
        assert_eq!(services(&engine(0, 39)), None);
        let (source, said) = services(&engine(100, 21)).unwrap();
        assert!(said.starts_with("21 of the last 40 flights of H-2207 do not say what was flown"), "{said}");
        assert_eq!(source.line, 122);
    }

    /// 12, 11.5 and 11 quarts taken for litres are 12.68, 12.15 and 11.62 qt; a sump of 11 qt holds none of them,
    /// and as quarts 12 would still be more than it holds; one of 12 qt would hold them as quarts.
    #[test]
    fn readings_above_the_capacity_are_asked_about() {
        let litres = [12.68, 12.15, 11.62, 12.68, 12.55];
        let (source, said) = dipstick(&engine(12.0, &litres)).unwrap();
        assert_eq!(source.line, 2);
        assert!(
            said.starts_with(
                "3 readings of H-2207 above oil_capacity_qt = 12 of H6-300 (engines.toml:3), up to 12.7 qt"
            ),
            "{said}"
        );
        assert!(said.ends_with("quarts written as litres? As quarts the highest would be 12.0"), "{said}");
        let (_, said) = dipstick(&engine(9.0, &litres)).unwrap();
        assert!(said.ends_with("another scale, or another capacity?"), "{said}");
    }

    /// Nine quarts are 8.5 l: a pilot who writes 8 to 8.5 in litres seems to fly below a minimum of 9 qt.
    #[test]
    fn readings_below_the_minimum_are_asked_about() {
        let at_least = |minimum: f64, readings: &[f64]| {
            let mut engine = engine(12.0, readings);
            Arc::make_mut(&mut engine.model).oil_minimum_qt = Some(minimum);
            dipstick(&engine)
        };
        let (_, said) = at_least(9.0, &[8.0, 8.9, 8.25, 8.5]).unwrap();
        assert!(said.ends_with("litres written as quarts? As litres the highest would be 9.4 qt"), "{said}");
        let (_, said) = at_least(9.0, &[5.0, 6.0, 5.5]).unwrap();
        assert!(
            said.starts_with("3 of 3 readings of H-2207 below oil_minimum_qt = 9 of H6-300 (engines.toml:3)"),
            "{said}"
        );
        assert_eq!(at_least(9.0, &[8.0, 9.5, 10.0, 8.0]), None);
    }

    #[test]
    fn a_slip_or_an_overfilled_sump_is_no_question() {
        assert_eq!(dipstick(&engine(12.0, &[12.3, 12.25, 12.4, 12.0])), None);
        assert_eq!(dipstick(&engine(12.0, &[14.0, 11.0, 11.0, 11.0])), None);
    }
}
