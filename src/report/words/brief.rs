//! The few facts below a headline, and what the engine's own view and its mate's add to them.

use chrono_tz::Tz;

use super::explain::{capital, stop};
use super::facts::Facts;
use super::{DO_NOT_FLY, checks, consumption, numbers};
use crate::alerts::Alert;
use crate::judge::{EngineView, Finding, Kind};

/// The few facts below a headline in a digest: whose, how sure, what did not change, how far to the
/// limit, and the first check.
pub fn brief(alert: &Alert, engines: &[EngineView], zone: Tz) -> Vec<String> {
    let finding = &alert.finding;
    let engine = engine_of(finding, engines);
    let f = Facts { finding, zone };
    let mut out = Vec::new();
    if stop(finding) {
        out.push(DO_NOT_FLY.to_owned());
    }
    let mut whose = Vec::new();
    whose.extend(finding.serial.as_ref().map(|s| format!("serial {s}")));
    whose.extend(engine.map(|e| format!("model {}", e.model)));
    whose.extend(finding.hours.map(|h| format!("at {h:.1} engine hours")));
    if finding.serial.is_some() {
        out.push(capital(&whose.join(", ")));
    }
    let mut sure = Vec::new();
    sure.extend(f.number(&["hours_since_onset"]).map(|h| format!("{} flown since", numbers::hours(h))));
    if let (Some(low), Some(high)) = (f.number(&["ratio_low"]), f.number(&["ratio_high"])) {
        sure.push(format!("{} to {} times the old rate (90 %)", numbers::plain(low), numbers::plain(high)));
    }
    let mut unchanged = f.items(&["unchanged"]);
    unchanged.extend(mate_words(finding, engines));
    if !unchanged.is_empty() {
        sure.push(format!("unchanged: {}", unchanged.join(", ")));
    }
    out.push(capital(&sure.join("; ")));
    if matches!(alert.kind(), Kind::OilRateRise | Kind::OilRateFall) {
        out.extend(f.text(&["may_mean"]).map(capital));
    }
    let mut limits = Vec::new();
    limits.extend(consumption::share(&f).map(|s| format!("{} of the ceiling", numbers::percent(s))));
    limits.extend(f.number(&["endurance_h"]).map(|h| format!("usable oil for about {}", numbers::hours(h))));
    out.push(capital(&limits.join("; ")));
    out.extend(checks::first_checks(alert.kind()).first().map(|c| format!("First: {c}")));
    out.retain(|l| !l.is_empty());
    out
}

/// The view of the engine a finding is about.
pub fn engine_of<'a>(finding: &Finding, engines: &'a [EngineView]) -> Option<&'a EngineView> {
    let serial = finding.serial.as_ref()?;
    engines.iter().find(|e| e.serial == *serial)
}

/// The other engine of a twin, where consumption is the matter and it kept to its baseline:
/// `right engine 0.11 qt/h (baseline 0.10)`.
pub(super) fn mate_words(finding: &Finding, engines: &[EngineView]) -> Option<String> {
    /// Within this ratio of its baseline, either way, the mate did not change (common practice, no source).
    const ALIKE: f64 = 1.25;
    let said = (Facts { finding, zone: Tz::UTC }).items(&["unchanged"]).iter().any(|u| u.contains("engine"));
    if said || !matches!(finding.kind, Kind::OilRateRise | Kind::OilRateFall | Kind::EnginesDiverged) {
        return None;
    }
    let serial = finding.serial.as_ref()?;
    let mut others = engines.iter().filter(|e| e.installed && e.tail == finding.tail && e.serial != *serial);
    let (mate, None) = (others.next()?, others.next()) else { return None };
    let (rate, baseline) = (mate.rate?.qt_per_h, mate.baseline_qt_per_h?);
    let alike = rate <= baseline * ALIKE && rate >= baseline / ALIKE;
    let place = mate.position.as_deref().unwrap_or("other");
    alike.then(|| format!("{place} engine {} qt/h (baseline {})", numbers::rate(rate), numbers::rate(baseline)))
}
