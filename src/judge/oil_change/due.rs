//! Due soon, and overdue: by hours at the record that passed the point, by months at the day.

use chrono::{Days, NaiveDate, NaiveTime};
use chrono_tz::Tz;

use super::plan::{Calendar, Plan, Point};
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::judge::{Due, Evidence, Finding, Kind, Settled};
use crate::records::Instant;
use crate::records::local::at_or_after;

/// Days over which recent use is taken.
const RECENT_DAYS: f64 = 30.0;

pub fn findings(engine: &Engine, rules: &Rules, plan: &Plan, zone: Tz, as_of: Instant) -> Vec<Finding> {
    let mut found = Vec::new();
    for point in &plan.points {
        found.extend(by_hours(engine, rules, plan, point));
    }
    for limit in &plan.calendar {
        found.extend(by_months(engine, rules, plan, limit, zone, as_of));
    }
    found
}

/// Events of the running that can pass a point.
fn running(events: &[Event]) -> impl DoubleEndedIterator<Item = &Event> {
    events.iter().filter(|e| matches!(e.what, What::Flight { .. } | What::GroundRun { .. }))
}

/// Engine hours a day over the month before `event`; none where too little was flown to say.
fn use_per_day(engine: &Engine, event: &Event) -> Option<f64> {
    let from = event.at - chrono::TimeDelta::days(RECENT_DAYS as i64);
    let month = &engine.events[engine.events.partition_point(|e| e.at < from)..];
    let first = running(month).take_while(|e| e.at <= event.at).find(|e| e.build == event.build)?;
    let days = (event.at - first.at).num_minutes() as f64 / 1440.0;
    let hours = event.hours - first.hours;
    (days >= 5.0 && hours >= 2.0).then(|| hours / days)
}

/// Engine hours a day over the month before the last running.
pub fn recent_use(engine: &Engine) -> Option<f64> {
    running(&engine.events).next_back().and_then(|e| use_per_day(engine, e)).filter(|d| *d > 0.0)
}

fn by_hours(engine: &Engine, rules: &Rules, plan: &Plan, point: &Point) -> Vec<Finding> {
    let grace = if point.break_in { rules.break_in.grace_h } else { rules.oil_change.grace_h };
    let zero = engine.builds[point.build].zero_hours;
    let name = if point.break_in {
        format!("build {} point {} h", point.build, point.at_hours - zero)
    } else {
        format!("at {:.1} h", point.at_hours)
    };
    let done_at = point.by.map(|c| &plan.changes[c]);
    if point.done.is_some() && done_at.is_none() {
        return Vec::new();
    }
    let end = done_at.map(|c| c.at).or(point.dropped);
    let due_from = point.from_hours + rules.oil_change.due_soon_pct / 100.0 * (point.at_hours - point.from_hours);
    let mut found: Vec<Finding> = Vec::new();
    let after = engine.events.partition_point(|e| e.hours < point.from_hours - 1e-9 || e.build < point.build);
    for (index, event) in engine.events.iter().enumerate().skip(after) {
        if end.is_some_and(|end| event.at > end)
            || done_at.is_some_and(|c| index >= c.event)
            || event.build != point.build
        {
            break;
        }
        if !matches!(event.what, What::Flight { .. } | What::GroundRun { .. }) {
            continue;
        }
        let left = point.at_hours - event.hours;
        if event.hours > point.at_hours + grace + 1e-6 {
            let finding = hours_finding(Kind::OilChangeOverdue, engine, rules, point, event, &name);
            found.push(finding.sized(share(point, event.hours)));
            break;
        }
        let soon = event.hours >= due_from - 1e-9
            || use_per_day(engine, event).is_some_and(|d| left <= d * rules.oil_change.due_soon_days);
        // One thing at a time: while an earlier point is still open, that is what is due.
        if found.is_empty() && soon && !earlier_open(plan, point, index) {
            found.push(hours_finding(Kind::OilChangeDue, engine, rules, point, event, &name));
        }
    }
    settle(&mut found, engine, plan, point, zero);
    found
}

/// Whether a break-in point before this one was still open at an event.
fn earlier_open(plan: &Plan, point: &Point, event: usize) -> bool {
    plan.points.iter().filter(|p| p.build == point.build && p.at_hours < point.at_hours).any(|p| {
        let done_at = p.by.map(|c| plan.changes[c].event);
        done_at.map_or(p.done.is_none(), |done| done > event)
    })
}

fn hours_finding(kind: Kind, engine: &Engine, rules: &Rules, point: &Point, event: &Event, name: &str) -> Finding {
    let zero = engine.builds[point.build].zero_hours;
    let mut finding = Finding::at_event(kind, engine, event, name.to_owned());
    let mut evidence = Evidence::default();
    if point.break_in {
        let grace = rules.break_in.grace_h;
        evidence = evidence.with("point_h", point.at_hours - zero).with("grace_h", grace);
    } else {
        evidence = evidence.with("every_h", rules.oil_change.every_h).with("grace_h", rules.oil_change.grace_h);
    }
    evidence.set("due_at_engine_hours", point.at_hours);
    if engine.builds[point.build].zero_known {
        evidence.set("hours_since_build", event.hours - zero);
    }
    match kind {
        Kind::OilChangeOverdue => {
            let grace = if point.break_in { rules.break_in.grace_h } else { rules.oil_change.grace_h };
            // The hour it became so, which lies within the flight that passed it.
            finding.hours = Some(point.at_hours + grace);
            evidence.set("hours_past", event.hours - point.at_hours);
        }
        _ => evidence.set("hours_left", point.at_hours - event.hours),
    }
    evidence.set("last_change_h", point.from_hours);
    evidence.set("confirmed", rules.confirmed);
    evidence.set("used", vec![event.source.clone()]);
    finding.evidence = evidence;
    finding
}

/// Hours on the oil as a share of the interval: what grows by a quarter is that, not the hours past the
/// point, which after one hour past grow by a quarter with every flight.
fn share(point: &Point, hours: f64) -> f64 {
    (hours - point.from_hours) / (point.at_hours - point.from_hours).max(1.0)
}

fn settle(found: &mut [Finding], engine: &Engine, plan: &Plan, point: &Point, zero: f64) {
    let end = match (point.by.map(|c| &plan.changes[c]), point.dropped) {
        (Some(change), _) => {
            let (since, late) = (change.hours - zero, change.hours - point.at_hours);
            let when = if point.break_in { since } else { change.hours };
            let lateness = match late {
                l if l > 0.05 => format!(", {l:.1} h past the point"),
                _ => String::new(),
            };
            Some(Settled {
                at: change.at,
                why: format!("oil changed at {when:.1} h{lateness}"),
                source: Some(change.source.clone()),
            })
        }
        (None, Some(at)) => Some(Settled { at, why: "a new build began".to_owned(), source: None }),
        (None, None) => None,
    };
    let overdue = found.iter().find(|f| f.kind == Kind::OilChangeOverdue).map(|f| f.raised);
    for finding in found.iter_mut() {
        finding.settled = end.clone();
        if finding.kind == Kind::OilChangeDue
            && let Some(at) = overdue
        {
            finding.settled = Some(Settled { at, why: "now overdue".to_owned(), source: None });
        }
        if finding.kind == Kind::OilChangeOverdue && finding.settled.is_none() {
            // How far past it is now; the alert speaks again as it grows.
            let past = engine.hours() - point.at_hours;
            finding.evidence.set("hours_past", past);
            if engine.builds[point.build].zero_known {
                finding.evidence.set("hours_since_build", engine.hours() - zero);
            }
            finding.size = share(point, engine.hours());
        }
    }
}

fn by_months(engine: &Engine, rules: &Rules, plan: &Plan, limit: &Calendar, zone: Tz, as_of: Instant) -> Vec<Finding> {
    let end = limit.by.map(|c| plan.changes[c].at).or(limit.dropped);
    let until = end.unwrap_or(as_of).min(as_of);
    let settled = |default: &str| {
        limit
            .by
            .map(|c| {
                let change = &plan.changes[c];
                Settled { at: change.at, why: "oil changed".to_owned(), source: Some(change.source.clone()) }
            })
            .or_else(|| limit.dropped.map(|at| Settled { at, why: default.to_owned(), source: None }))
    };
    let starts = |date: NaiveDate| at_or_after(date.and_time(NaiveTime::MIN), zone);
    let overdue_from = limit.due.checked_add_days(Days::new(1 + u64::from(rules.oil_change.grace_days)));
    let soon_from = limit.due.checked_sub_days(Days::new(rules.oil_change.due_soon_days.max(0.0) as u64));
    let mut found = Vec::new();
    for (kind, from) in [(Kind::OilChangeDue, soon_from), (Kind::OilChangeOverdue, overdue_from)] {
        let Some(raised) = from.map(starts).filter(|&at| at <= until) else { continue };
        let Some(near) = engine.events.iter().rev().find(|e| e.at <= raised) else { continue };
        let mut finding = Finding::at_event(kind, engine, near, format!("by {}", limit.due));
        finding.raised = raised;
        let days_past = (until.with_timezone(&zone).date_naive() - limit.due).num_days() as f64;
        // As by hours: days on the oil as a share of the interval.
        let interval = (limit.due - limit.from.with_timezone(&zone).date_naive()).num_days().max(1) as f64;
        finding.size = 1.0 + days_past.max(0.0) / interval;
        finding.evidence = Evidence::default()
            .with("months", f64::from(rules.oil_change.every_months))
            .with("due_date", limit.due)
            .with("last_change_date", limit.from.with_timezone(&zone).date_naive())
            .with("confirmed", rules.confirmed);
        finding.settled = settled("engine removed or rebuilt");
        if kind == Kind::OilChangeOverdue {
            finding.evidence.set("days_past", days_past);
        } else if let Some(at) = overdue_from.map(starts).filter(|&at| at <= until) {
            finding.settled = Some(Settled { at, why: "now overdue".to_owned(), source: None });
        }
        found.push(finding);
    }
    found
}

/// What is due next on an engine: by hours and by date.
pub fn next(engine: &Engine, rules: &Rules, plan: &Plan, zone: Tz, as_of: Instant) -> Vec<Due> {
    let today = as_of.with_timezone(&zone).date_naive();
    let by = plan.calendar.iter().rev().find(|c| c.by.is_none() && c.dropped.is_none()).map(|c| c.due);
    let date_days = by.map(|d| (d - today).num_days() as f64);
    let Some(point) = plan.next() else {
        return by
            .map(|d| Due {
                what: "oil change".to_owned(),
                hours_left: None,
                by: Some(d),
                days_left: date_days,
                soon: date_days.is_some_and(|d| d <= rules.oil_change.due_soon_days),
            })
            .into_iter()
            .collect();
    };
    let left = point.at_hours - engine.hours();
    let use_days = recent_use(engine).map(|d| left / d);
    let days_left = match (use_days, date_days) {
        (Some(a), Some(b)) => Some(a.min(b)),
        (a, b) => a.or(b),
    };
    let share = 1.0 - left / (point.at_hours - point.from_hours).max(1e-9);
    let zero = engine.builds[point.build].zero_hours;
    vec![Due {
        what: if point.break_in {
            format!("oil change at {} h of break-in", point.at_hours - zero)
        } else {
            "oil change".to_owned()
        },
        hours_left: Some(left),
        by,
        days_left,
        soon: share * 100.0 >= rules.oil_change.due_soon_pct
            || days_left.is_some_and(|d| d <= rules.oil_change.due_soon_days),
    }]
}

impl Finding {
    fn sized(mut self, size: f64) -> Self {
        self.size = size;
        self
    }
}
