//! The other engine of a twin flies the same flights: what it did not do is evidence too.
//!
//! Where one engine's rate changed and the other's did not, flying is no explanation; where both
//! moved the same way it may well be; where they moved apart, that is told once, on the engine whose
//! evidence is the stronger.

use chrono::TimeDelta;

use super::Followed;
use crate::engine::Engine;
use crate::judge::{Evidence, Fact, Finding, Kind};
use crate::records::Instant;

/// Changes of two engines this near in time are looked at together, days.
const TOGETHER_DAYS: i64 = 30;

/// The other engine of the twin an engine sits in now.
pub fn now<'a>(engine: &Engine, mates: &[&'a Engine]) -> Option<&'a Engine> {
    let tail = &engine.placement()?.tail;
    let mut beside = mates.iter().filter(|m| m.placement().is_some_and(|p| &p.tail == tail));
    beside.next().filter(|_| beside.next().is_none()).copied()
}

fn is_change(f: &Finding) -> bool {
    matches!(f.kind, Kind::OilRateRise | Kind::OilRateFall)
}

/// The other engine's rate at a moment, qt/h.
fn rate_at(other: &Followed, at: Instant) -> Option<f64> {
    let after = other.points.partition_point(|p| p.at <= at);
    other.points.get(after.checked_sub(1)?).map(|p| p.rate.qt_per_h)
}

/// Adds to an engine's findings what its mate shows, and tells where the two moved apart.
pub fn compare(engine: &Engine, mate: &Engine, followed: &mut Followed, other: &Followed) {
    let name = name(mate);
    let told_already: Vec<Finding> =
        followed.findings.iter().filter(|f| f.kind == Kind::EnginesDiverged).cloned().collect();
    let mut apart = Vec::new();
    for finding in followed.findings.iter_mut().filter(|f| is_change(f)) {
        let window = TimeDelta::days(TOGETHER_DAYS);
        let theirs: Vec<&Finding> = other
            .findings
            .iter()
            .filter(|f| is_change(f) && f.raised <= finding.raised + window && f.raised >= finding.raised - window)
            .collect();
        let before: Vec<_> = theirs.iter().filter(|f| f.raised <= finding.raised).collect();
        if before.iter().any(|f| f.kind == finding.kind) {
            let flying = format!("the other engine ({name}) changed the same way: perhaps the flying, not the engine");
            // Stronger than anything a single engine's records could say.
            finding.evidence.set("may_mean", flying);
        } else if before.is_empty()
            && let Some(rate) = rate_at(other, finding.raised)
        {
            let mut unchanged = match finding.evidence.get("unchanged") {
                Some(Fact::List(said)) => said.clone(),
                _ => Vec::new(),
            };
            unchanged.push(format!("the other engine ({name}): {rate:.2} qt/h"));
            finding.evidence.set("unchanged", unchanged);
        }
        let strength = |f: &Finding| f.evidence.number("ln_statistic").unwrap_or(0.0);
        let mirror = theirs.iter().find(|f| f.kind != finding.kind && strength(f) <= strength(finding));
        let told = |f: &Finding| f.kind == Kind::EnginesDiverged && f.raised == finding.raised;
        if let Some(mirror) = mirror
            && !told_already.iter().any(told)
        {
            let number = |key| mirror.evidence.number(key).unwrap_or(f64::NAN);
            let mut diverged = diverged(engine, mate, finding, [number("from_qt_per_h"), number("to_qt_per_h")]);
            diverged.raised = finding.raised.max(mirror.raised);
            apart.push(diverged);
        }
    }
    followed.findings.extend(apart);
}

/// What people call an engine of a twin: its side, or its serial.
fn name(mate: &Engine) -> &str {
    mate.last_placement().and_then(|p| p.position.as_deref()).unwrap_or(&mate.serial)
}

/// One engine up and the other down: `ours` is the finding of the one, the rates before and after those of the mate, qt/h.
pub fn diverged(engine: &Engine, mate: &Engine, ours: &Finding, [from, to]: [f64; 2]) -> Finding {
    let number = |key| ours.evidence.number(key).unwrap_or(f64::NAN);
    let (ratio, theirs) = (number("ratio"), to / from);
    Finding {
        kind: Kind::EnginesDiverged,
        level: Kind::EnginesDiverged.usual_level(),
        subject: format!("{} from {}", ours.subject, mate.serial),
        serial: Some(engine.serial.clone()),
        size: (ratio / theirs).max(theirs / ratio),
        evidence: Evidence::default()
            .with("from_qt_per_h", number("from_qt_per_h"))
            .with("to_qt_per_h", number("to_qt_per_h"))
            .with("ratio", ratio)
            .with("mate", name(mate))
            .with("mate_serial", &mate.serial)
            .with("mate_from_qt_per_h", from)
            .with("mate_to_qt_per_h", to)
            .with("mate_ratio", theirs)
            .with("used", ours.evidence.lines("used").to_vec()),
        ..ours.clone()
    }
}
