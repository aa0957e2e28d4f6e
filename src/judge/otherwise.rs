//! What would have to be so for a finding not to have come, found by trying.
//!
//! A person told "doubled" asks what that hangs on: which threshold would have kept it away and how far it
//! is from the one in force, and whether one slip of the pen would explain it. Each is tried alone, with
//! everything else as it is, by the same judges over the same records.

use std::sync::Arc;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::compare::alike;
use super::{Closing, Fact, Finding, Kind, RulesFor};
use crate::config::Rules;
use crate::config::keys::{KEYS, Key, Setting, Shape};
use crate::config::scope::consistent;
use crate::engine::{Engine, Event, Fleet, What};
use crate::records::Instant;

/// Days after a finding in which it may still come: later it would be about something else.
const MAY_COME_DAYS: i64 = 31;
/// A constant of nature, and how long an engine is not judged at all: nobody tunes by these.
const NO_CHOICE: [&str; 2] = ["oil_lb_per_gal", "quarts_before_judging"];
/// Days by which something due may come earlier or later and still be the same.
const DUE_DAYS: i64 = 7;
/// Halvings of a range in which a threshold is looked for.
const HALVINGS: u32 = 12;
/// Most thresholds told, the nearest to the one in force first.
const MOST: usize = 4;
/// Largest slip tried, quarts.
const MOST_QT: f64 = 6.0;

/// What would have kept a finding away.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Otherwise {
    /// False: under the rules in force it does not come at all; they were others when it was raised.
    pub comes: bool,
    pub settings: Vec<SettingOtherwise>,
    pub oil: Option<OilOtherwise>,
}

/// A threshold at which the finding would not have come.
#[derive(Clone, Debug, PartialEq)]
pub struct SettingOtherwise {
    /// `consumption.smallest_change`
    pub key: String,
    pub unit: &'static str,
    pub in_force: f64,
    /// From here on, away from the value in force, it does not come.
    pub value: f64,
    /// The value is the end of what the threshold may be.
    pub at_end: bool,
}

/// A slip in what was poured that would explain the finding.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct OilOtherwise {
    /// Quarts more (an addition not logged), or less (one entered twice or too large).
    pub more_qt: f64,
    /// When the slip would have to be: from here to the finding.
    pub from: Instant,
}

/// Tries thresholds and slips, one at a time.
pub fn otherwise(
    fleet: &Fleet,
    rules: &dyn RulesFor,
    zone: Tz,
    closings: &[Closing],
    finding: &Finding,
    as_of: Instant,
) -> Otherwise {
    let as_of = as_of.min(finding.raised + TimeDelta::days(MAY_COME_DAYS));
    let trial = Trial { fleet: narrowed(fleet, finding), rules, zone, closings, finding, as_of };
    if !trial.comes(rules) {
        return Otherwise::default();
    }
    let mut settings: Vec<SettingOtherwise> = KEYS
        .iter()
        .filter(|key| sections(finding.kind).contains(&key.section) && !NO_CHOICE.contains(&key.name))
        .flat_map(|key| trial.threshold(key))
        .collect();
    settings.sort_by(|a, b| a.distance().total_cmp(&b.distance()));
    settings.truncate(MOST);
    Otherwise { comes: true, settings, oil: trial.slip() }
}

impl SettingOtherwise {
    /// How far from the value in force, as a factor.
    fn distance(&self) -> f64 {
        let (a, b) = (self.in_force.max(1e-6), self.value.max(1e-6));
        (a / b).ln().abs()
    }
}

/// Whether a finding of a trial is still the one explained: the same event, or one like it about then.
fn same(f: &Finding, wanted: &Finding) -> bool {
    if f.kind != wanted.kind || f.serial != wanted.serial || f.tail != wanted.tail {
        return false;
    }
    let what = |subject: &str| subject.split(' ').next().unwrap_or_default().to_owned();
    match wanted.kind {
        // Named by the hours at which it is due, which move with the interval.
        Kind::OilChangeDue | Kind::OilChangeOverdue => (f.raised - wanted.raised).num_days().abs() <= DUE_DAYS,
        // A long flight's ground run and three long days are two things.
        Kind::GroundRunLong => {
            f.subject == wanted.subject
                || (what(&f.subject) == "three" && what(&wanted.subject) == "three" && alike(f, wanted).is_some())
        }
        _ => alike(f, wanted).is_some(),
    }
}

/// True for kinds that hang on a threshold or on what was poured.
pub fn hangs_on_thresholds(kind: Kind) -> bool {
    !sections(kind).is_empty()
}

/// The tables whose thresholds a kind of finding may hang on.
fn sections(kind: Kind) -> &'static [&'static str] {
    match kind {
        Kind::OilRateRise
        | Kind::OilRateFall
        | Kind::OilRateCeiling
        | Kind::OilRateCreep
        | Kind::OilEndurance
        | Kind::EnginesDiverged => &["consumption"],
        Kind::BreakInStabilised => &["consumption", "break_in"],
        Kind::OilChangeDue | Kind::OilChangeOverdue | Kind::FilterNotInspected => &["oil_change", "break_in"],
        Kind::GroundRunLong | Kind::FirstRunLong => &["ground"],
        Kind::ChtHigh => &["ground", "break_in"],
        Kind::TakeoffRpm | Kind::ManifoldHigh | Kind::CoolingFast | Kind::PowerStepLarge | Kind::OilPressureFalling => {
            &["flight"]
        }
        Kind::BreakInPower | Kind::BreakInProfile => &["break_in"],
        Kind::DataSilent => &["records"],
        _ => &[],
    }
}

/// The finding's engine, those it may be compared with, and its aircraft.
fn narrowed(fleet: &Fleet, finding: &Finding) -> Fleet {
    let near = |engine: &&Engine| match &finding.serial {
        Some(serial) => engine.serial == *serial || engine.placements.iter().any(|p| p.tail == finding.tail),
        None => engine.placements.iter().any(|p| p.tail == finding.tail),
    };
    Fleet {
        engines: fleet.engines.iter().filter(near).cloned().collect(),
        aircraft: fleet.aircraft.iter().filter(|a| a.tail == finding.tail).cloned().collect(),
        queries: Vec::new(),
        services: fleet.services.clone(),
    }
}

/// Rules with one threshold changed.
struct Changed<'a> {
    rules: &'a dyn RulesFor,
    key: &'a Key,
    value: f64,
}

impl RulesFor for Changed<'_> {
    fn rules(&self, tail: &str, model: &str, serial: &str) -> Arc<Rules> {
        let mut rules = (*self.rules.rules(tail, model, serial)).clone();
        self.key.put(&mut rules, &Setting::Number(self.value));
        Arc::new(rules)
    }
}

struct Trial<'a> {
    fleet: Fleet,
    rules: &'a dyn RulesFor,
    zone: Tz,
    closings: &'a [Closing],
    finding: &'a Finding,
    as_of: Instant,
}

impl Trial<'_> {
    fn comes(&self, rules: &dyn RulesFor) -> bool {
        self.comes_from(&self.fleet, rules, self.as_of)
    }

    fn comes_from(&self, fleet: &Fleet, rules: &dyn RulesFor, as_of: Instant) -> bool {
        let judged = super::judge(fleet, rules, self.zone, self.closings, as_of);
        judged.findings.iter().any(|f| same(f, self.finding))
    }

    fn in_force(&self) -> Arc<Rules> {
        let serial = self.finding.serial.as_deref().unwrap_or("");
        let engine = self.fleet.engines.iter().find(|e| *e.serial == *serial);
        let tail = engine.and_then(Engine::last_placement).map_or(&*self.finding.tail, |p| &*p.tail);
        self.rules.rules(tail, engine.map_or("", |e| &*e.model.name), serial)
    }

    /// Where above and below the value in force the finding stops coming, if within the key's range.
    fn threshold(&self, key: &'static Key) -> Vec<SettingOtherwise> {
        let rules = self.in_force();
        let (Setting::Number(in_force), Some(range)) = (key.of(&rules), key.range()) else { return Vec::new() };
        let whole = matches!(key.shape, Shape::Whole(_));
        let comes = |value: f64| self.comes(&Changed { rules: self.rules, key, value });
        let allowed = |value: f64| {
            let mut changed = (*rules).clone();
            key.put(&mut changed, &Setting::Number(value));
            consistent(&changed)
        };
        let search = |end: f64| -> Option<f64> {
            if (end - in_force).abs() < 1e-9 || comes(end) {
                return None;
            }
            let (mut with, mut without) = (in_force, end);
            for _ in 0..HALVINGS {
                let middle = f64::midpoint(with, without);
                if comes(middle) { with = middle } else { without = middle }
            }
            let step = if whole { 1.0 } else { step((without - in_force).abs().max(in_force.abs() * 0.1)) };
            let up = end > in_force;
            let rounded = if up { (without / step).ceil() * step } else { (without / step).floor() * step };
            // Rounding must not undo what was found.
            let kept = [rounded, rounded + if up { step } else { -step }, without];
            let kept = kept.into_iter().map(|v| (v * 1e6).round() / 1e6);
            kept.into_iter().find(|v| range.holds(*v) && allowed(*v) && !comes(*v))
        };
        let told = |value: f64| {
            let at_end = value <= range.low || value >= range.high;
            SettingOtherwise { key: key.path(), unit: key.unit(), in_force, value, at_end }
        };
        [range.low, range.high].into_iter().filter_map(search).map(told).collect()
    }

    /// The smallest slip in what was poured since the onset that would explain the finding.
    fn slip(&self) -> Option<OilOtherwise> {
        let fewer = match self.finding.kind {
            Kind::OilRateRise | Kind::OilRateCeiling => true,
            Kind::OilRateFall => false,
            _ => return None,
        };
        let at = self.fleet.engines.iter().position(|e| Some(&e.serial) == self.finding.serial.as_ref())?;
        let from = self.onset(&self.fleet.engines[at])?;
        let explained = |qt: f64| {
            let mut fleet = self.fleet.clone();
            let possible = match fewer {
                true => pour_less(&mut fleet.engines[at], from, self.finding.raised, qt),
                false => pour_more(&mut fleet.engines[at], from, qt),
            };
            // Up to the finding only: what was poured later is as it is.
            possible && !self.comes_from(&fleet, self.rules, self.finding.raised)
        };
        let tenths = |n: u32| f64::from(n) / 10.0;
        let most = (1..=(MOST_QT * 2.0) as u32).map(|half| half * 5).find(|n| explained(tenths(*n)))?;
        let least = (most - 4..=most).find(|n| explained(tenths(*n)))?;
        Some(OilOtherwise { more_qt: if fewer { -tenths(least) } else { tenths(least) }, from })
    }

    /// Where the change is thought to have begun; without a date, fifty engine hours back.
    fn onset(&self, engine: &Engine) -> Option<Instant> {
        let evidence = &self.finding.evidence;
        let raised = self.finding.raised;
        let begins = |event: &Event| match (evidence.get("since"), evidence.number("since_hours")) {
            (_, Some(hours)) => event.hours >= hours - 1e-6,
            (Some(Fact::Date(day)), _) => engine.date(event.at) >= *day,
            _ => self.finding.hours.is_none_or(|h| event.hours >= h - 50.0),
        };
        engine.events.iter().find(|e| e.at <= raised && begins(e)).map(|e| e.at)
    }
}

/// One in the second digit of `size`: as fine as a person would write into a file.
fn step(size: f64) -> f64 {
    10f64.powf((size.max(1e-6).log10() - 1.0).floor())
}

/// Takes quarts off what was poured between two moments, the last addition first; false if there is not so much.
fn pour_less(engine: &mut Engine, from: Instant, to: Instant, quarts: f64) -> bool {
    let mut left = quarts;
    for event in engine.events.iter_mut().rev().filter(|e| e.at >= from && e.at <= to) {
        if let What::Added { qt, .. } = &mut event.what {
            let taken = qt.min(left);
            *qt -= taken;
            left -= taken;
        }
    }
    engine.events.retain(|e| !matches!(e.what, What::Added { qt, .. } if qt < 1e-9));
    left < 1e-9
}

/// Pours quarts in right after the event at a moment.
fn pour_more(engine: &mut Engine, from: Instant, quarts: f64) -> bool {
    let Some(at) = engine.events.iter().rposition(|e| e.at <= from) else { return false };
    let mut event = engine.events[at].clone();
    event.what = What::Added { qt: quarts, oil: None };
    engine.events.insert(at + 1, event);
    true
}

#[cfg(test)]
mod tests;
