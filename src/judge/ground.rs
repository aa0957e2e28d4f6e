//! Running on the ground: heat without cooling air does its harm before the oil temperature shows it.
//!
//! Judged per engine run from recordings, and from `ground-run` entries of the log where there is no
//! recording of the same run. The first run after a build has its own, short limit. Runs without
//! flight also add up over three days (trouble-shooting). Ground time is inferred, never measured by
//! a switch on the wheels; where only power tells, the finding says so. Limits are common practice,
//! no source, from the configuration.

use chrono::TimeDelta;

use super::running::{self, Recorded};
use super::{Evidence, Finding, Kind};
use crate::config::Rules;
use crate::engine::{Engine, Event, What};
use crate::records::run::{AirBasis, RunSummary};
use crate::records::{Instant, Source};

/// A logged length has a resolution of 0.1 h: the true one may be this many minutes shorter.
const LOGGED_WITHIN_MIN: f64 = 3.0;
/// A logged ground run and a recording this close are about the same running (a log may give only the day).
const SAME_DAY_H: i64 = 18;
/// Hours since the build before which a run is the first: a meter's resolution.
const FIRST_H: f64 = 0.06;
/// Running without flight is summed over this long.
const THREE_DAYS: TimeDelta = TimeDelta::days(3);

/// An engine run as far as the ground goes.
#[derive(Clone, Debug)]
struct Ran<'a> {
    event: &'a Event,
    /// `None`: known from the log only.
    recorded: Option<Recorded<'a>>,
    start: Instant,
    end: Instant,
    /// Minutes on the ground: at least this, and as read.
    least_min: f64,
    minutes: f64,
    flights: u16,
    hours: f64,
    subject: String,
    source: Source,
}

impl Ran<'_> {
    fn run(&self) -> Option<&RunSummary> {
        self.recorded.map(|r| r.run.as_ref())
    }
}

/// Findings about ground running up to `as_of`: `first-run-long`, `ground-run-long`, and `cht-high`
/// for heat on the ground in a run of tolerable length.
pub fn findings(engine: &Engine, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let ran = ran(engine, as_of);
    let mut findings = Vec::new();
    for (i, run) in ran.iter().enumerate() {
        let found = match first_of_build(engine, &ran[..i], run) {
            true => first(engine, rules, run),
            false => single(engine, rules, run),
        };
        let found = found.or_else(|| hot(engine, rules, run));
        findings.extend(found);
    }
    findings.extend(three_days(engine, rules, &ran));
    findings.sort_by_key(|f| f.raised);
    running::settle_after_days(&mut findings, rules, as_of);
    findings
}

/// Runs with a known ground time, from recordings and, where these do not cover them, from the log.
fn ran(engine: &Engine, as_of: Instant) -> Vec<Ran<'_>> {
    let mut ran: Vec<Ran<'_>> = running::recorded(engine, as_of)
        .into_iter()
        .filter(|r| r.run.basis != AirBasis::Unknown)
        .map(|r| Ran {
            event: r.event,
            recorded: Some(r),
            start: r.run.start,
            end: r.run.end,
            least_min: r.run.ground_s() / 60.0,
            minutes: r.run.ground_s() / 60.0,
            flights: r.run.flights,
            hours: r.run.running_s / 3600.0,
            subject: running::subject(r.run),
            source: r.run.source(),
        })
        .collect();
    // Recorded minutes without flight, to be set against logged ground runs once.
    let mut pool: Vec<(Instant, f64)> = ran.iter().filter(|r| r.flights == 0).map(|r| (r.end, r.minutes)).collect();
    let mut last = (None, 0);
    for event in engine.events.iter().filter(|e| e.at <= as_of) {
        let What::GroundRun { hours } = event.what else { continue };
        let date = engine.date(event.at);
        last = if last.0 == Some(date) { (last.0, last.1 + 1) } else { (Some(date), 1) };
        let minutes = hours * 60.0;
        if covered(&mut pool, event.at, minutes - LOGGED_WITHIN_MIN) {
            continue;
        }
        let number = if last.1 > 1 { format!(" no. {}", last.1) } else { String::new() };
        ran.push(Ran {
            event,
            recorded: None,
            start: event.at,
            end: event.at,
            least_min: (minutes - LOGGED_WITHIN_MIN).max(0.0),
            minutes,
            flights: 0,
            hours,
            subject: format!("ground-run {date}{number}"),
            source: event.source.clone(),
        });
    }
    ran.sort_by_key(|r| r.end);
    ran
}

/// Takes `least` minutes out of the recorded ones nearby; false if there are not so many.
fn covered(pool: &mut [(Instant, f64)], at: Instant, least: f64) -> bool {
    let near = |end: Instant| (end - at).num_hours().abs() <= SAME_DAY_H;
    let there: f64 = pool.iter().filter(|p| near(p.0)).map(|p| p.1).sum();
    // A recorder may wake a little after the engine.
    let least = (least - 1.0).max(0.1);
    if there < least {
        return false;
    }
    let mut left = least;
    for (end, minutes) in pool.iter_mut() {
        if near(*end) {
            let taken = left.min(*minutes);
            *minutes -= taken;
            left -= taken;
        }
    }
    true
}

/// A ground run that is the first running of its build.
fn first_of_build(engine: &Engine, before: &[Ran<'_>], ran: &Ran<'_>) -> bool {
    let none_before = || !before.iter().any(|b| b.event.build == ran.event.build);
    let since = running::hours_since_build(engine, ran.event, ran.hours);
    ran.flights == 0 && since.is_some_and(|h| h <= FIRST_H) && none_before()
}

fn first(engine: &Engine, rules: &Rules, ran: &Ran<'_>) -> Option<Finding> {
    let limit = rules.ground.first_run_min;
    (ran.least_min > limit).then(|| tell(Kind::FirstRunLong, engine, rules, ran, limit))
}

fn single(engine: &Engine, rules: &Rules, ran: &Ran<'_>) -> Option<Finding> {
    let per_flight = limit(engine, rules, ran);
    let limit = per_flight * f64::from(ran.flights.max(1));
    (ran.least_min > limit).then(|| tell(Kind::GroundRunLong, engine, rules, ran, limit))
}

fn limit(engine: &Engine, rules: &Rules, ran: &Ran<'_>) -> f64 {
    if in_break_in(engine, rules, ran) { rules.ground.break_in_min } else { rules.ground.in_service_min }
}

fn in_break_in(engine: &Engine, rules: &Rules, ran: &Ran<'_>) -> bool {
    running::in_break_in(engine, ran.event, ran.hours, rules)
}

/// A finding about one run with what is known of it.
fn tell(kind: Kind, engine: &Engine, rules: &Rules, ran: &Ran<'_>, limit: f64) -> Finding {
    let mut finding = Finding::at_event(kind, engine, ran.event, ran.subject.clone());
    finding.raised = ran.end;
    finding.size = ran.minutes;
    let run = ran.run();
    let minutes = |s: f64| (s / 6.0).round() / 10.0;
    let mut evidence = Evidence::default()
        .with("at", ran.start)
        .with("minutes", minutes(ran.minutes * 60.0))
        .with("limit_min", limit)
        .with_some("before_min", run.map(|r| minutes(r.ground_before_s)))
        .with_some("between_min", run.map(|r| minutes(r.ground_between_s)).filter(|m| *m > 0.0))
        .with_some("after_min", run.map(|r| minutes(r.ground_after_s)))
        .with("basis", run.map_or("logbook", |r| basis(r.basis)));
    if ran.recorded.is_none() {
        evidence.set("at_least_min", minutes(ran.least_min * 60.0));
    }
    if let Some(run) = run {
        let value = |v: f32| (f64::from(v) * 10.0).round() / 10.0;
        evidence = evidence
            .with_some("cht_ground_f", run.cht_ground_f.map(|p| value(p.value)))
            .with_some("limit_cht_f", run.cht_ground_f.map(|_| rules.ground.cht_max_f))
            .with_some("rpm_standing", run.rpm_standing.map(|p| value(p.value)))
            .with_some("rpm_ground", run.rpm_ground.map(|p| value(p.value)))
            .with_some("manifold_inhg", run.manifold_inhg.filter(|_| run.flights == 0).map(|p| value(p.value)))
            .with_some("oil_press_min_psi", run.oil_press_min_psi.map(|p| value(p.value)))
            .with_some("oat_ground_f", run.oat_ground_f.map(value));
        if !run.doubts.is_empty() {
            evidence.set("doubts", run.doubts.clone());
        }
    }
    finding.evidence = evidence
        .with("phase", if in_break_in(engine, rules, ran) { "break-in" } else { "in service" })
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed)
        .with("lines", vec![ran.source.clone()]);
    finding
}

fn basis(basis: AirBasis) -> &'static str {
    match basis {
        AirBasis::Speed => "speed",
        AirBasis::Height => "height",
        AirBasis::Power => "power (inferred)",
        AirBasis::Unknown => "nothing",
    }
}

/// Heat on the ground in a run of tolerable length, unless the same run was hotter than allowed in flight:
/// that is one finding already.
fn hot(engine: &Engine, rules: &Rules, ran: &Ran<'_>) -> Option<Finding> {
    let recorded = ran.recorded?;
    let run = recorded.run;
    let peak = run.cht_ground_f.filter(|p| f64::from(p.value) > rules.ground.cht_max_f)?;
    let in_flight = super::flight_review::cht_limit(engine, rules, recorded).map(|l| l.0);
    if run.cht_f.zip(in_flight).is_some_and(|(p, limit)| f64::from(p.value) > limit) {
        return None;
    }
    let mut finding = running::finding(Kind::ChtHigh, engine, recorded);
    finding.size = f64::from(peak.value) / rules.ground.cht_max_f;
    finding.evidence = finding
        .evidence
        .with("value", f64::from(peak.value).round())
        .with("limit", rules.ground.cht_max_f)
        .with("unit", "°F")
        .with("at", running::moment(run, peak.at_s))
        .with_some("cylinder", peak.cylinder.map(u32::from))
        .with("where", "on the ground")
        .with("basis", basis(run.basis))
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed);
    Some(finding)
}

/// Running without flight, summed over three days: one finding per stretch of such days.
fn three_days(engine: &Engine, rules: &Rules, ran: &[Ran<'_>]) -> Vec<Finding> {
    let limit = rules.ground.three_days_min;
    let without_flight: Vec<&Ran<'_>> = ran.iter().filter(|r| r.flights == 0).collect();
    let mut findings: Vec<Finding> = Vec::new();
    let mut open = false;
    for (i, last) in without_flight.iter().enumerate() {
        let window: Vec<&&Ran<'_>> = without_flight[..=i].iter().filter(|r| last.end - r.start < THREE_DAYS).collect();
        let least: f64 = window.iter().map(|r| r.least_min).sum();
        if window.len() < 2 || least <= limit {
            open = false;
            continue;
        }
        let minutes: f64 = window.iter().map(|r| r.minutes).sum();
        let days = (engine.date(last.end) - engine.date(window[0].start)).num_days() + 1;
        let heads = window.iter().filter_map(|r| r.run()?.cht_ground_f).map(|p| f64::from(p.value));
        let hottest = heads.fold(None, |a: Option<f64>, b| Some(a.map_or(b, |a| a.max(b))));
        let lines: Vec<Source> = window.iter().map(|r| r.source.clone()).collect();
        let mut finding = tell(Kind::GroundRunLong, engine, rules, last, limit);
        finding.evidence = Evidence::default()
            .with("minutes", minutes.round())
            .with("limit_min", limit)
            .with("days", days as f64)
            .with("runs", window.len() as f64)
            .with_some("cht_ground_f", hottest.map(f64::round))
            .with_some("limit_cht_f", hottest.map(|_| rules.ground.cht_max_f))
            .with("what", "without flight, summed over three days")
            .with("limit_from", running::from_rules(rules))
            .with("confirmed", rules.confirmed)
            .with("lines", lines);
        finding.size = minutes;
        match findings.last_mut().filter(|_| open) {
            Some(before) => {
                // The stretch goes on: the same finding, grown.
                before.size = before.size.max(minutes);
                before.evidence = finding.evidence;
            }
            None => {
                finding.subject = format!("three days to {}", engine.date(last.end));
                findings.push(finding);
            }
        }
        open = true;
    }
    findings
}

#[cfg(test)]
mod tests;
