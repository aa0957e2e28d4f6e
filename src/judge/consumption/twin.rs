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
    let name = mate.last_placement().and_then(|p| p.position.as_deref()).unwrap_or(&mate.serial).to_owned();
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
            finding.evidence.set(
                "mate",
                format!("the other engine ({name}) changed the same way: perhaps the flying, not the engine"),
            );
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
        if let Some(mirror) = mirror {
            apart.push(diverged(engine, mate, finding, mirror, &name));
        }
    }
    followed.findings.extend(apart);
}

/// One engine up and the other down.
fn diverged(engine: &Engine, mate: &Engine, ours: &Finding, theirs: &Finding, name: &str) -> Finding {
    let number = |f: &Finding, key| f.evidence.number(key).unwrap_or(f64::NAN);
    Finding {
        kind: Kind::EnginesDiverged,
        level: Kind::EnginesDiverged.usual_level(),
        subject: format!("{} from {}", ours.subject, mate.serial),
        raised: ours.raised.max(theirs.raised),
        serial: Some(engine.serial.clone()),
        size: (number(ours, "ratio") / number(theirs, "ratio")).max(number(theirs, "ratio") / number(ours, "ratio")),
        evidence: Evidence::default()
            .with("from_qt_per_h", number(ours, "from_qt_per_h"))
            .with("to_qt_per_h", number(ours, "to_qt_per_h"))
            .with("ratio", number(ours, "ratio"))
            .with("mate", name)
            .with("mate_serial", &mate.serial)
            .with("mate_from_qt_per_h", number(theirs, "from_qt_per_h"))
            .with("mate_to_qt_per_h", number(theirs, "to_qt_per_h"))
            .with("mate_ratio", number(theirs, "ratio"))
            .with("used", ours.evidence.lines("used").to_vec()),
        ..ours.clone()
    }
}
