//! A finding's facts, read tolerantly: a judge may leave one out, or add one nobody foresaw, and
//! the words must still make sense.

use chrono::NaiveDate;
use chrono_tz::Tz;

use super::numbers;
use crate::judge::{Fact, Finding};
use crate::records::{Instant, Source};

/// A finding with the zone its times are told in.
#[derive(Clone, Copy, Debug)]
pub struct Facts<'a> {
    pub finding: &'a Finding,
    pub zone: Tz,
}

impl<'a> Facts<'a> {
    /// The first of `names` that holds a number.
    pub fn number(&self, names: &[&str]) -> Option<f64> {
        names.iter().find_map(|n| self.finding.evidence.number(n))
    }

    /// The first of `names` present, as people read it, without a unit.
    pub fn said(&self, names: &[&str]) -> Option<String> {
        names.iter().find_map(|n| self.finding.evidence.get(n)).map(|f| self.fact(f))
    }

    /// The first of `names` that holds text.
    pub fn text(&self, names: &[&str]) -> Option<&'a str> {
        names.iter().find_map(|n| self.finding.evidence.text(n)).filter(|t| !t.is_empty())
    }

    /// A local date, also from a moment.
    pub fn date(&self, names: &[&str]) -> Option<NaiveDate> {
        names.iter().find_map(|n| match self.finding.evidence.get(n) {
            Some(Fact::Date(d)) => Some(*d),
            Some(Fact::Time(t)) => Some(numbers::date_of(*t, self.zone)),
            // Evidence read back from storage may hold a date as text.
            Some(Fact::Text(t)) => t.get(..10).and_then(|d| d.parse().ok()),
            _ => None,
        })
    }

    pub fn time(&self, names: &[&str]) -> Option<Instant> {
        names.iter().find_map(|n| match self.finding.evidence.get(n) {
            Some(Fact::Time(t)) => Some(*t),
            _ => None,
        })
    }

    /// Items of a list, text or log lines alike.
    pub fn items(&self, names: &[&str]) -> Vec<String> {
        names
            .iter()
            .find_map(|n| match self.finding.evidence.get(n) {
                Some(Fact::List(l)) => Some(l.clone()),
                Some(Fact::Lines(l)) => Some(l.iter().map(Source::to_string).collect()),
                Some(Fact::Text(t)) if !t.is_empty() => Some(vec![t.clone()]),
                _ => None,
            })
            .unwrap_or_default()
    }

    /// The day the finding was raised: dates of the same year go without their year.
    pub fn near(&self) -> NaiveDate {
        numbers::date_of(self.finding.raised, self.zone)
    }

    pub fn day(&self, date: NaiveDate) -> String {
        numbers::day(date, self.near())
    }

    pub fn moment(&self, at: Instant) -> String {
        numbers::moment(at, self.near(), self.zone)
    }

    /// The day or moment of a flight: `at` where given, else the raising record.
    pub fn when(&self) -> String {
        match (self.time(&["at"]), self.date(&["at", "date"])) {
            (Some(at), _) => self.moment(at),
            (None, Some(date)) => self.day(date),
            (None, None) => self.day(self.near()),
        }
    }

    /// Any fact as people read it.
    pub fn fact(&self, fact: &Fact) -> String {
        match fact {
            Fact::Flag(true) => "yes".to_owned(),
            Fact::Flag(false) => "no".to_owned(),
            Fact::Number(n) => numbers::plain(*n),
            Fact::Date(d) => self.day(*d),
            Fact::Time(t) => self.moment(*t),
            Fact::Text(t) => t.clone(),
            Fact::Lines(l) => l.iter().map(Source::to_string).collect::<Vec<_>>().join(", "),
            Fact::List(l) => l.join("; "),
        }
    }

    /// `name: value unit` for a fact nobody wrote a sentence for; the unit stands at the end of its name.
    pub fn named(&self, name: &str, fact: &Fact) -> String {
        let (stem, unit) = split_unit(name);
        let value = self.fact(fact);
        let stem = match stem {
            "rpm_ground" => "highest rpm on the ground".to_owned(),
            "rpm_standing" => "highest rpm standing".to_owned(),
            "oil_press_min" => "lowest oil pressure".to_owned(),
            "oat_ground" => "outside air on the ground".to_owned(),
            "manifold" => "highest manifold pressure".to_owned(),
            "cruise_rpm" => "rpm in cruise".to_owned(),
            "within" | "below" | "above" if unit == "min" => format!("cruise {stem} the band"),
            "unknown" if unit == "min" => "cruise of unknown power".to_owned(),
            other => other.replace('_', " "),
        };
        if matches!(fact, Fact::Number(_)) && !unit.is_empty() {
            format!("{stem}: {value} {unit}")
        } else {
            format!("{stem}: {value}")
        }
    }

    /// `left engine: ` on a twin, nothing where the tail has one engine.
    pub fn engine(&self) -> String {
        self.finding.position.as_ref().map_or(String::new(), |p| format!("{p} engine: "))
    }

    /// The clock rates are in; an engine's own hours unless the judge says otherwise.
    pub fn clock(&self) -> &'a str {
        self.text(&["clock"]).unwrap_or("engine hours")
    }
}

/// Takes the unit off the end of a fact's name.
fn split_unit(name: &str) -> (&str, &'static str) {
    const UNITS: [(&str, &str); 21] = [
        ("_qt_per_h", "qt/h"),
        ("_h_per_qt", "h/qt"),
        ("_f_per_min", "°F/min"),
        ("_hours", "h"),
        ("_days", "days"),
        ("_months", "months"),
        ("_min", "min"),
        ("_inhg", "inHg"),
        ("_rpm", "rpm"),
        ("_psi", "psi"),
        ("_pct", "%"),
        ("_fpm", "ft/min"),
        ("_gph", "gal/h"),
        ("_hp", "hp"),
        ("_qt", "qt"),
        ("_kt", "kt"),
        ("_ft", "ft"),
        ("_lb", "lb"),
        ("_s", "s"),
        ("_h", "h"),
        ("_f", "°F"),
    ];
    UNITS.iter().find_map(|(end, unit)| name.strip_suffix(end).map(|stem| (stem, *unit))).unwrap_or((name, ""))
}
