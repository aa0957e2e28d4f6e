//! Puts the judges' findings and the engines' states together.

use std::sync::Arc;

use chrono_tz::Tz;

use super::{
    BreakIn, Closing, EnginePhase, EngineView, Finding, Judgement, Kind, Level, Rate, RatePoint, RulesFor, RunLimits,
    Settled, break_in, consumption, flight_review, gaps, ground, oil_change,
};
use crate::config::Rules;
use crate::engine::services::Services;
use crate::engine::{Engine, Event, Fleet, What};
use crate::records::Instant;

pub fn judge(fleet: &Fleet, rules: &dyn RulesFor, zone: Tz, closings: &[Closing], as_of: Instant) -> Judgement {
    let mut judgement = Judgement::default();
    for engine in &fleet.engines {
        let rules = rules_of(engine, rules);
        let (view, findings) = one(engine, (&mates(fleet, engine), &fleet.services), &rules, zone, closings, as_of);
        judgement.engines.push(view);
        judgement.findings.extend(findings.into_iter().map(|f| levelled(f, &rules)));
    }
    for aircraft in &fleet.aircraft {
        let rules = rules.rules(&aircraft.tail, "", "");
        let expected = !aircraft.installed.is_empty();
        let silent = gaps::silent(aircraft, &rules, as_of).into_iter().filter(|f| expected || f.settled.is_some());
        judgement.findings.extend(silent.map(|f| levelled(f, &rules)));
    }
    for query in &fleet.queries {
        let rules = rules.rules("", "", "");
        judgement.findings.push(levelled(gaps::question(query, &rules, as_of), &rules));
    }
    judgement.findings.retain(|f| f.raised <= as_of);
    for finding in &mut judgement.findings {
        finding.settled = finding.settled.take().filter(|s| s.at <= as_of);
    }
    judgement.findings.sort_by(|a, b| a.raised.cmp(&b.raised).then_with(|| a.key().cmp(&b.key())));
    judgement.engines.sort_by(|a, b| (&a.tail, &a.position, &a.serial).cmp(&(&b.tail, &b.position, &b.serial)));
    judgement
}

fn rules_of(engine: &Engine, rules: &dyn RulesFor) -> Arc<Rules> {
    let tail = engine.last_placement().map_or("", |p| &*p.tail);
    rules.rules(tail, &engine.model.name, &engine.serial)
}

/// The configured level, unless a judge raised it for a reason of its own.
pub fn levelled(mut finding: Finding, rules: &Rules) -> Finding {
    if finding.level == finding.kind.usual_level()
        && let Some(&level) = rules.levels.get(&finding.kind)
    {
        finding.level = level;
    }
    finding
}

/// The engines that ever sat on an aircraft this one sat on.
fn mates<'a>(fleet: &'a Fleet, engine: &Engine) -> Vec<&'a Engine> {
    let shared = |other: &Engine| other.placements.iter().any(|p| engine.placements.iter().any(|q| p.tail == q.tail));
    fleet.engines.iter().filter(|e| e.serial != engine.serial && shared(e)).collect()
}

fn one(
    engine: &Engine,
    (mates, services): (&[&Engine], &Arc<Services>),
    rules: &Rules,
    zone: Tz,
    closings: &[Closing],
    as_of: Instant,
) -> (EngineView, Vec<Finding>) {
    let changes = oil_change::judge(engine, rules, zone, as_of);
    let followed = consumption::follow_among(engine, mates, services, rules, closings, as_of);
    let clock = engine.last_placement().map_or("engine hours", |p| p.meter.clock());
    let mut findings = changes.findings;
    findings.extend(followed.findings);
    findings.extend(ground::findings(engine, rules, as_of));
    findings.extend(flight_review::findings(engine, rules, as_of));
    findings.extend(break_in::findings(engine, rules, as_of));
    with_falling_pressure(engine, &mut findings);
    let fades = chrono::TimeDelta::minutes((rules.records.event_days * 1440.0) as i64);
    for finding in &mut findings {
        finding.evidence.set("clock", clock);
        if finding.kind.happens_once() && finding.settled.is_none() {
            let why = "it happened once; no longer shown".to_owned();
            finding.settled = Some(Settled { at: finding.raised + fades, why, source: None });
        }
    }
    let place = engine.last_placement();
    let build = engine.build();
    let since = build.zero_known.then(|| engine.hours() - build.zero_hours);
    let in_break_in = build.kind.is_some() && since.is_some_and(|h| h < rules.break_in.length_h);
    let phase = match () {
        () if in_break_in => EnginePhase::BreakIn,
        () if followed.quarts < rules.consumption.quarts_before_judging => EnginePhase::Learning,
        () => EnginePhase::Watched,
    };
    let break_in = build.kind.filter(|_| in_break_in).zip(since).map(|(kind, hours)| BreakIn {
        kind: kind.word().to_owned(),
        began: build.began,
        hours,
        length_h: rules.break_in.length_h,
        points: changes.points,
        stabilised_p: followed.stabilised_p,
        missing: followed.stabilised_missing,
        band_min: break_in::progress(engine, rules, as_of),
        power_pct: rules.break_in.power_pct,
        oil_wanted: changes.oil_wanted,
        use_h_per_day: changes.use_h_per_day,
        record: break_in::record(engine, rules, &followed.points, as_of),
    });
    let break_in_cht = in_break_in.then_some(rules.break_in.cht_max_f);
    let limits = RunLimits {
        cht_f: [engine.model.cht_max_f, break_in_cht].into_iter().flatten().min_by(f64::total_cmp),
        oil_temp_f: engine.model.oil_temp_max_f,
        power_pct: in_break_in.then_some(rules.break_in.power_pct),
    };
    let view = EngineView {
        tail: place.map_or_else(|| Arc::from(""), |p| p.tail.clone()),
        position: place.and_then(|p| p.position.clone()),
        serial: engine.serial.clone(),
        model: engine.model.name.clone(),
        installed: engine.placement().is_some(),
        hours: engine.hours(),
        hours_since_build: since,
        clock: clock.to_owned(),
        oil: changes.oil.map(|o| o.to_string()),
        phase,
        rate: followed.rate,
        baseline_qt_per_h: followed.baseline_qt_per_h,
        quarts: followed.quarts,
        log: followed.log,
        level_qt: followed.level_qt,
        endurance_h: endurance(engine, followed.level_qt, followed.rate),
        ceiling_qt_per_h: consumption::ceiling(engine, rules),
        points: thinned(followed.points),
        oil_changes_h: oil_changes(engine),
        due: changes.due,
        break_in,
        limits,
        last_record: engine.events.last().map(|e: &Event| e.at),
        unconfirmed: unconfirmed(engine, rules),
    };
    (view, findings)
}

/// A rise while oil pressure is falling is a warning, and says why.
fn with_falling_pressure(engine: &Engine, findings: &mut [Finding]) {
    let falls: Vec<Finding> = findings.iter().filter(|f| f.kind == Kind::OilPressureFalling).cloned().collect();
    for rise in findings.iter_mut().filter(|f| f.kind == Kind::OilRateRise) {
        let ended = |f: &Finding, at: Instant| f.settled.as_ref().is_some_and(|s| s.at <= at);
        let Some(fall) = falls.iter().find(|f| !ended(f, rise.raised) && !ended(rise, f.raised)) else { continue };
        let (Some(from), Some(to)) = (fall.evidence.number("from_psi"), fall.evidence.number("to_psi")) else {
            continue;
        };
        let seen = engine.date(fall.raised);
        let mut with = format!("oil pressure falling, {from:.0} to {to:.0} psi in like cruises, seen {seen}");
        if let Some(metal) = rise.evidence.text("with") {
            with = format!("{metal}; {with}");
        }
        rise.level = Level::Warning;
        rise.evidence.set("with", with);
    }
}

/// Points of a picture no wider than this many are enough for any chart, and ten years of them are not kept.
const MOST_POINTS: usize = 600;

/// The last points as they are, those before them thinned evenly; additions stay.
fn thinned(points: Vec<RatePoint>) -> Vec<RatePoint> {
    let every = points.len().div_ceil(MOST_POINTS).max(1);
    let recent = points.len().saturating_sub(MOST_POINTS / 4);
    let keep = |i: usize, p: &RatePoint| i >= recent || i.is_multiple_of(every) || (p.added_qt > 0.0 && every < 4);
    let mut kept: Vec<RatePoint> = points.iter().enumerate().filter(|(i, p)| keep(*i, p)).map(|(_, p)| *p).collect();
    kept.shrink_to_fit();
    kept
}

fn oil_changes(engine: &Engine) -> Vec<f64> {
    engine.events.iter().filter(|e| matches!(e.what, What::Changed { .. })).map(|e| e.hours).collect()
}

fn endurance(engine: &Engine, level: Option<f64>, rate: Option<Rate>) -> Option<f64> {
    let usable = level? - engine.model.oil_minimum_qt?;
    let rate = rate?.qt_per_h;
    (rate > 1e-6).then(|| usable.max(0.0) / rate)
}

fn unconfirmed(engine: &Engine, rules: &Rules) -> Vec<String> {
    // The thresholds are confirmed in the configuration, the model's own numbers in the engine models file.
    let mut list = Vec::new();
    if !rules.confirmed {
        list.extend(["oil-change points and intervals".to_owned(), "consumption ceiling".to_owned()]);
    }
    if !engine.model.confirmed && engine.events.iter().any(|e| matches!(e.what, What::Run(_))) {
        list.push("temperature, rpm and manifold-pressure limits".to_owned());
    }
    list
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::judge::Evidence;
    use crate::judge::running::made::{at, engine};

    fn found(kind: Kind, raised: &str, settled: Option<&str>) -> Finding {
        Finding {
            kind,
            level: kind.usual_level(),
            tail: "N0417H".into(),
            position: None,
            serial: Some("H-2207".into()),
            subject: "1".to_owned(),
            raised: at(raised),
            hours: None,
            settled: settled.map(|s| Settled { at: at(s), why: String::new(), source: None }),
            size: 1.0,
            evidence: Evidence::default().with("from_psi", 63.0).with("to_psi", 54.0),
        }
    }

    /// A rise of consumption while oil pressure falls is a warning, whichever came first; apart in time they are two things.
    #[test]
    fn a_rise_together_with_falling_oil_pressure_is_a_warning() {
        let level = |rise: (&str, Option<&str>), fall: (&str, Option<&str>)| {
            let (rise, fall) =
                (found(Kind::OilRateRise, rise.0, rise.1), found(Kind::OilPressureFalling, fall.0, fall.1));
            let mut both = [rise, fall];
            with_falling_pressure(&engine(None, 0.0), &mut both);
            (both[0].level, both[0].evidence.text("with").map(str::to_owned))
        };
        let [march, april, may] = ["2026-03-10T12:00:00Z", "2026-04-10T12:00:00Z", "2026-05-10T12:00:00Z"];
        for (rise, fall) in
            [((march, None), (april, None)), ((april, None), (march, None)), ((march, Some(may)), (april, None))]
        {
            let (level, with) = level(rise, fall);
            assert_eq!(level, Level::Warning, "{rise:?} {fall:?}");
            assert!(with.is_some_and(|w| w.starts_with("oil pressure falling, 63 to 54 psi")), "{rise:?} {fall:?}");
        }
        for (rise, fall) in [((march, Some(april)), (may, None)), ((may, None), (march, Some(april)))] {
            assert_eq!(level(rise, fall), (Level::Caution, None), "{rise:?} {fall:?}");
        }
    }
}
