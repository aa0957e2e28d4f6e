//! Oil pressure in cruise against what it used to be at like rpm and oil temperature.
//!
//! Oil pressure goes with rpm and with how thin the oil is, so only like cruises are compared. One low
//! flight may be a probe: two in a row make a finding, which ends when the pressure is back. A fall too
//! slow for that shows over weeks, against the pressures of months before (`pressure_drift`).

use std::collections::VecDeque;

use crate::config::Rules;
use crate::engine::Engine;
use crate::judge::running::{self, Recorded};
use crate::judge::{Finding, Kind, Settled};
use crate::records::Source;

/// Like conditions: rpm and oil temperature, °F, within these.
const LIKE_RPM: f32 = 100.0;
const LIKE_F: f32 = 8.0;
/// Cruises kept to compare with, and how many alike it takes.
const KEPT: usize = 40;
const ENOUGH: usize = 5;
/// Low flights in a row that make a finding.
const LOW_IN_A_ROW: usize = 2;

/// A cruise: rpm, °F, psi.
#[derive(Clone, Copy)]
pub(super) struct Cruise {
    pub rpm: f32,
    pub oil_f: f32,
    pub psi: f32,
}

impl Cruise {
    /// Rpm and oil temperature are near enough for the pressures to be compared.
    pub fn like(self, other: Self) -> bool {
        (self.rpm - other.rpm).abs() <= LIKE_RPM && (self.oil_f - other.oil_f).abs() <= LIKE_F
    }
}

pub(super) fn cruise(recorded: Recorded<'_>) -> Option<Cruise> {
    let run = recorded.run;
    Some(Cruise { rpm: run.rpm_cruise?, oil_f: run.oil_temp_cruise_f?, psi: run.oil_press_cruise_psi? })
}

/// Median pressure of the like cruises before, if there are enough.
fn usual(before: &VecDeque<Cruise>, now: Cruise) -> Option<f32> {
    let mut psi: Vec<f32> = before.iter().filter(|c| c.like(now)).map(|c| c.psi).collect();
    psi.sort_by(f32::total_cmp);
    (psi.len() >= ENOUGH).then(|| psi[psi.len() / 2])
}

/// One finding per fall, raised by the second low flight in a row.
pub fn findings(engine: &Engine, rules: &Rules, recorded: &[Recorded<'_>]) -> Vec<Finding> {
    let mut findings: Vec<Finding> = Vec::new();
    let mut before: VecDeque<Cruise> = VecDeque::new();
    let mut low: Vec<Recorded<'_>> = Vec::new();
    let mut build = None;
    for r in recorded {
        if build != Some(r.event.build) {
            // Another build has its own pressures.
            build = Some(r.event.build);
            before.clear();
            low.clear();
            settle(findings.last_mut(), *r, "a new build began");
        }
        let Some(now) = cruise(*r) else { continue };
        let Some(usual) = usual(&before, now) else {
            before.push_back(now);
            continue;
        };
        let fall_pct = f64::from((usual - now.psi) / usual * 100.0);
        if fall_pct >= rules.flight.oil_pressure_fall_pct {
            low.push(*r);
            let open = findings.last_mut().filter(|f| f.settled.is_none());
            match open {
                Some(open) => open.size = open.size.max(fall_pct),
                None if low.len() >= LOW_IN_A_ROW => findings.push(tell(engine, rules, &low, usual, now, fall_pct)),
                None => {}
            }
            continue;
        }
        low.clear();
        if fall_pct < rules.flight.oil_pressure_fall_pct / 2.0 {
            settle(findings.last_mut(), *r, "oil pressure is back where it was");
        }
        before.push_back(now);
        if before.len() > KEPT {
            before.pop_front();
        }
    }
    findings
}

pub(super) fn settle(finding: Option<&mut Finding>, by: Recorded<'_>, why: &str) {
    if let Some(finding) = finding.filter(|f| f.settled.is_none()) {
        finding.settled = Some(Settled { at: by.run.end, why: why.to_owned(), source: Some(by.run.source()) });
    }
}

fn tell(engine: &Engine, rules: &Rules, low: &[Recorded<'_>], usual: f32, now: Cruise, fall_pct: f64) -> Finding {
    let (first, last) = (low[0], low[low.len() - 1]);
    let mut finding = running::finding(Kind::OilPressureFalling, engine, last);
    let tenths = |v: f32| (f64::from(v) * 10.0).round() / 10.0;
    finding.subject = format!("since {}", running::subject(first.run));
    finding.size = fall_pct;
    let lines: Vec<Source> = low.iter().map(|r| r.run.source()).collect();
    finding.evidence = finding
        .evidence
        .with("from_psi", tenths(usual))
        .with("to_psi", tenths(now.psi))
        .with("since", first.run.start)
        .with("fall_pct", fall_pct.round())
        .with("limit_pct", rules.flight.oil_pressure_fall_pct)
        .with("cruise_rpm", f64::from(now.rpm.round()))
        .with("oil_temp_f", f64::from(now.oil_f.round()))
        .with("limit_from", running::from_rules(rules))
        .with("confirmed", rules.confirmed)
        .with("lines", lines);
    finding
}
