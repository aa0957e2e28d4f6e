//! An alert for programs: as in a list, and in full.

use chrono_tz::Tz;
use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};

use super::round;
use crate::alerts::{Alert, State};
use crate::judge::otherwise::Otherwise;
use crate::judge::{Evidence, Fact, Level};
use crate::records::Source;
use crate::report::alert::Course;
use crate::report::words::{self, numbers};

/// One alert.
#[derive(Debug, Serialize)]
pub struct AlertOut<'a> {
    number: u32,
    kind: &'static str,
    level: Level,
    tail: &'a str,
    position: Option<&'a str>,
    serial: Option<&'a str>,
    raised: String,
    closed: Option<String>,
    state: State,
    headline: String,
    hours: Option<f64>,
    evidence: EvidenceOut<'a>,
    settled: Option<String>,
    closed_by: Option<&'a str>,
    closed_why: Option<&'a str>,
    acknowledged_by: Option<&'a str>,
    acknowledged_note: Option<&'a str>,
    muted_until: Option<String>,
}

impl<'a> AlertOut<'a> {
    pub(super) fn new(a: &'a Alert, zone: Tz) -> Self {
        let f = &a.finding;
        Self {
            number: a.number,
            kind: f.kind.word(),
            level: f.level,
            tail: &f.tail,
            position: f.position.as_deref(),
            serial: f.serial.as_deref(),
            raised: numbers::iso(f.raised, zone),
            closed: a.closed.as_ref().map(|c| numbers::iso(c.at, zone)),
            state: a.state,
            headline: words::headline(f, zone),
            hours: f.hours.map(|h| round(h, 2)),
            evidence: EvidenceOut { evidence: &f.evidence, zone },
            settled: f.settled.as_ref().map(|s| s.why.clone()),
            closed_by: a.closed.as_ref().and_then(|c| c.by.as_deref()),
            closed_why: a.closed.as_ref().map(|c| c.why.as_str()),
            acknowledged_by: a.acknowledged.as_ref().map(|k| k.by.as_str()),
            acknowledged_note: a.acknowledged.as_ref().map(|k| k.note.as_str()),
            muted_until: a.muted_until.map(|t| numbers::iso(t, zone)),
        }
    }
}

/// Evidence in the order in which it is told.
#[derive(Debug)]
struct EvidenceOut<'a> {
    evidence: &'a Evidence,
    zone: Tz,
}

impl Serialize for EvidenceOut<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(self.evidence.0.len()))?;
        for (name, fact) in &self.evidence.0 {
            match fact {
                Fact::Number(n) => map.serialize_entry(name, &round(*n, 4))?,
                Fact::Time(t) => map.serialize_entry(name, &numbers::iso(*t, self.zone))?,
                Fact::Lines(l) => map.serialize_entry(name, &l.iter().map(Source::to_string).collect::<Vec<_>>())?,
                other => map.serialize_entry(name, other)?,
            }
        }
        map.end()
    }
}

/// One alert as in the list of `alerts --json`, with how it came and what would have kept it away.
#[derive(Debug, Serialize)]
pub struct AlertInFull<'a> {
    #[serde(flatten)]
    alert: AlertOut<'a>,
    /// What was judged over time and its limit, flight by flight around the change.
    course: Vec<CoursePoint>,
    otherwise: Option<OtherwiseOut>,
}

#[derive(Debug, Serialize)]
struct CoursePoint {
    at: String,
    hours: f64,
    value: f64,
    limit: f64,
}

#[derive(Debug, Serialize)]
struct OtherwiseOut {
    /// It comes under the rules in force.
    comes: bool,
    settings: Vec<SettingOut>,
    /// Quarts more (negative: less) poured since `poured_from` that would have kept it away.
    poured_qt: Option<f64>,
    poured_from: Option<String>,
}

#[derive(Debug, Serialize)]
struct SettingOut {
    key: String,
    unit: &'static str,
    in_force: f64,
    /// From here on, away from the value in force.
    value: f64,
}

/// The list of one of `alerts NUMBER --json`.
pub fn alert_in_full<'a>(
    alert: &'a Alert,
    course: Option<&Course>,
    otherwise: Option<&Otherwise>,
    zone: Tz,
) -> [AlertInFull<'a>; 1] {
    let points = course.into_iter().flat_map(|c| c.points.iter().zip(&c.values));
    let course = points.map(|(p, (value, limit))| CoursePoint {
        at: numbers::iso(p.at, zone),
        hours: round(p.hours, 2),
        value: round(*value, 4),
        limit: round(*limit, 4),
    });
    let otherwise = otherwise.map(|o| OtherwiseOut {
        comes: o.comes,
        settings: o
            .settings
            .iter()
            .map(|s| SettingOut { key: s.key.clone(), unit: s.unit, in_force: s.in_force, value: s.value })
            .collect(),
        poured_qt: o.oil.map(|oil| oil.more_qt),
        poured_from: o.oil.map(|oil| numbers::iso(oil.from, zone)),
    });
    [AlertInFull { alert: AlertOut::new(alert, zone), course: course.collect(), otherwise }]
}
