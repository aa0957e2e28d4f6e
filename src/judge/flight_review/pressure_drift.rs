//! Oil pressure that falls over weeks: too slow for one flight to stand out from those before it.
//!
//! The like cruises of the last weeks are set against those of months before; nearly all of them must lie
//! below nearly all of those, so that weather, a gauge read in steps, or one odd flight make no finding.
//! Advisory: a gauge that ages does this too. Numbers are common practice, no source.

use chrono::TimeDelta;

use super::oil_pressure::{Cruise, cruise, settle};
use crate::config::Rules;
use crate::engine::Engine;
use crate::judge::running::{self, Recorded};
use crate::judge::{Finding, Kind, Level};
use crate::records::Source;

/// The last weeks, and the time before that they are set against, days.
const RECENT_DAYS: i64 = 30;
const BEFORE_DAYS: [i64; 2] = [45, 240];
/// Like cruises it takes in the last weeks and before.
const RECENT: usize = 5;
const BEFORE: usize = 8;
/// Flights told as evidence.
const LINES: usize = 8;

/// The cruises of a build with their flights.
struct Seen<'a> {
    cruise: Cruise,
    recorded: Recorded<'a>,
}

/// A fall over weeks as it stands at one flight.
struct Fall {
    from_psi: f32,
    to_psi: f32,
    pct: f64,
    /// Nearly all of the recent cruises lie below nearly all of those before.
    apart: bool,
    /// Index of the first recent like cruise, and how many there are of each.
    first: usize,
    counts: [usize; 2],
}

/// Findings of falls over weeks. `sudden`: the sudden falls found; while one is open nothing is added to it.
pub fn findings(engine: &Engine, rules: &Rules, recorded: &[Recorded<'_>], sudden: &[Finding]) -> Vec<Finding> {
    let mut found: Vec<Finding> = Vec::new();
    let mut seen: Vec<Seen<'_>> = Vec::new();
    let mut build = None;
    for r in recorded {
        if build != Some(r.event.build) {
            build = Some(r.event.build);
            seen.clear();
            settle(found.last_mut(), *r, "a new build began");
        }
        let Some(now) = cruise(*r) else { continue };
        seen.push(Seen { cruise: now, recorded: *r });
        let Some(fall) = fall(&seen) else { continue };
        let limit = rules.flight.oil_pressure_drift_pct;
        let open = found.last_mut().filter(|f| f.settled.is_none());
        match open {
            Some(open) if fall.pct < limit / 2.0 => settle(Some(open), *r, "oil pressure is back where it was"),
            Some(open) => open.size = open.size.max(fall.pct),
            None => {
                let told = |f: &Finding| f.raised <= r.run.end && f.settled.as_ref().is_none_or(|s| s.at > r.run.end);
                if fall.pct >= limit && fall.apart && !sudden.iter().any(told) {
                    found.push(tell(engine, rules, &seen, &fall));
                }
            }
        }
    }
    found
}

/// The last cruise and those like it against those of months before.
fn fall(seen: &[Seen<'_>]) -> Option<Fall> {
    let last = seen.last()?;
    let since = |days: i64| {
        let from = last.recorded.run.end - TimeDelta::days(days);
        seen.partition_point(|s| s.recorded.run.end < from)
    };
    let like = |s: &&Seen<'_>| s.cruise.like(last.cruise);
    let psi = |list: &[Seen<'_>]| {
        let mut psi: Vec<f32> = list.iter().filter(like).map(|s| s.cruise.psi).collect();
        psi.sort_by(f32::total_cmp);
        psi
    };
    let from = since(RECENT_DAYS);
    let (recent, before) = (psi(&seen[from..]), psi(&seen[since(BEFORE_DAYS[1])..since(BEFORE_DAYS[0])]));
    if recent.len() < RECENT || before.len() < BEFORE {
        return None;
    }
    let (from_psi, to_psi) = (before[before.len() / 2], recent[recent.len() / 2]);
    Some(Fall {
        from_psi,
        to_psi,
        pct: f64::from((from_psi - to_psi) / from_psi * 100.0),
        apart: recent[recent.len() * 4 / 5] < before[before.len() / 5],
        first: from + seen[from..].iter().position(|s| s.cruise.like(last.cruise))?,
        counts: [recent.len(), before.len()],
    })
}

fn tell(engine: &Engine, rules: &Rules, seen: &[Seen<'_>], fall: &Fall) -> Finding {
    let (first, last) = (&seen[fall.first], &seen[seen.len() - 1]);
    let mut finding = running::finding(Kind::OilPressureFalling, engine, last.recorded);
    finding.level = Level::Advisory;
    finding.subject = format!("over weeks to {}", running::subject(last.recorded.run));
    finding.size = fall.pct;
    let tenths = |v: f32| (f64::from(v) * 10.0).round() / 10.0;
    let like = seen[fall.first..].iter().filter(|s| s.cruise.like(last.cruise));
    let lines: Vec<Source> = like.map(|s| s.recorded.run.source()).take(LINES).collect();
    finding.evidence = finding
        .evidence
        .with("from_psi", tenths(fall.from_psi))
        .with("to_psi", tenths(fall.to_psi))
        .with("over_weeks", true)
        .with("since", first.recorded.run.start)
        .with("fall_pct", fall.pct.round())
        .with("limit_pct", rules.flight.oil_pressure_drift_pct)
        .with("compared", compared(fall.counts))
        .with("cruise_rpm", f64::from(last.cruise.rpm.round()))
        .with("oil_temp_f", f64::from(last.cruise.oil_f.round()))
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed)
        .with("lines", lines);
    finding
}

fn compared([recent, before]: [usize; 2]) -> String {
    format!(
        "medians of {recent} like cruises of the last {RECENT_DAYS} days and of {before} from {} to {} days before",
        BEFORE_DAYS[0], BEFORE_DAYS[1]
    )
}
