//! Every threshold by name: where it stands in the file, its unit and range, and which rule it sets.
//!
//! One table, so that the reader, `check --explain`, the sample file and the messages cannot
//! disagree. Ranges are wide: they catch slips of unit or decimal point, not opinions.

use std::fmt;

use serde::{Serialize, Serializer};

use super::meant::{OilWanted, Rules};
use crate::records::keyed::{Keys, Range};

/// One threshold.
#[derive(Debug)]
pub struct Key {
    /// `consumption`
    pub section: &'static str,
    /// `smallest_change`
    pub name: &'static str,
    pub shape: Shape,
    get: fn(&Rules) -> Setting,
    set: fn(&mut Rules, &Setting),
}

/// What a threshold's value looks like.
#[derive(Clone, Copy, Debug)]
pub enum Shape {
    Number(Range),
    /// Not in force unless given.
    Optional(Range),
    Whole(Range),
    /// A list of numbers, each above the one before.
    Rising(Range),
    /// Two numbers, low then high.
    Band(Range),
    Word(&'static [&'static str]),
}

/// A threshold's value.
#[derive(Clone, Debug, PartialEq)]
pub enum Setting {
    Number(f64),
    List(Vec<f64>),
    Word(&'static str),
    Unset,
}

impl fmt::Display for Setting {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Number(n) => write!(f, "{n}"),
            Self::List(list) => {
                let list: Vec<String> = list.iter().map(ToString::to_string).collect();
                write!(f, "[{}]", list.join(", "))
            }
            Self::Word(word) => write!(f, "\"{word}\""),
            Self::Unset => f.write_str("not set"),
        }
    }
}

impl Serialize for Setting {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self {
            Self::Number(n) => n.serialize(serializer),
            Self::List(list) => list.serialize(serializer),
            Self::Word(word) => word.serialize(serializer),
            Self::Unset => serializer.serialize_none(),
        }
    }
}

impl Key {
    /// `consumption.smallest_change`
    pub fn path(&self) -> String {
        format!("{}.{}", self.section, self.name)
    }

    /// The value in `rules`.
    pub fn of(&self, rules: &Rules) -> Setting {
        (self.get)(rules)
    }

    /// Puts a value into `rules`; one of another shape changes nothing.
    pub fn put(&self, rules: &mut Rules, setting: &Setting) {
        (self.set)(rules, setting);
    }

    /// Unit in words; empty for words.
    pub fn unit(&self) -> &'static str {
        self.range().map_or("", |range| range.unit)
    }

    pub fn range(&self) -> Option<Range> {
        match self.shape {
            Shape::Number(r) | Shape::Optional(r) | Shape::Whole(r) | Shape::Rising(r) | Shape::Band(r) => Some(r),
            Shape::Word(_) => None,
        }
    }

    /// Reads the key from its section's table; what is wrong is reported there.
    pub fn read(&self, keys: &Keys<'_>) -> Option<Setting> {
        match self.shape {
            Shape::Number(range) | Shape::Optional(range) => keys.number(self.name, range).map(Setting::Number),
            Shape::Whole(range) => keys.whole(self.name, range).map(|n| Setting::Number(f64::from(n))),
            Shape::Rising(range) => {
                let list = keys.numbers(self.name, range)?;
                if list.is_empty() || list.windows(2).any(|pair| pair[0] >= pair[1]) {
                    keys.wrong(self.name, format!("a list in which each number is above the one before, {range}"));
                    return None;
                }
                Some(Setting::List(list))
            }
            Shape::Band(range) => {
                let list = keys.numbers(self.name, range)?;
                if list.len() != 2 || list[0] >= list[1] {
                    keys.wrong(self.name, format!("two numbers [low, high], {range}"));
                    return None;
                }
                Some(Setting::List(list))
            }
            Shape::Word(words) => {
                let pairs: Vec<(&str, &'static str)> = words.iter().map(|word| (*word, *word)).collect();
                keys.choice(self.name, &pairs).map(Setting::Word)
            }
        }
    }
}

/// A type of a rule's field.
trait Held: Sized {
    fn setting(&self) -> Setting;
    fn from_setting(setting: &Setting) -> Option<Self>;
}

impl Held for f64 {
    fn setting(&self) -> Setting {
        Setting::Number(*self)
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        match setting {
            Setting::Number(n) => Some(*n),
            _ => None,
        }
    }
}

impl Held for u32 {
    fn setting(&self) -> Setting {
        Setting::Number(f64::from(*self))
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        f64::from_setting(setting).map(|n| n as Self)
    }
}

impl Held for Option<f64> {
    fn setting(&self) -> Setting {
        self.map_or(Setting::Unset, Setting::Number)
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        f64::from_setting(setting).map(Some)
    }
}

impl Held for Vec<f64> {
    fn setting(&self) -> Setting {
        Setting::List(self.clone())
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        match setting {
            Setting::List(list) => Some(list.clone()),
            _ => None,
        }
    }
}

impl Held for [f64; 2] {
    fn setting(&self) -> Setting {
        Setting::List(self.to_vec())
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        Vec::from_setting(setting).and_then(|list| list.try_into().ok())
    }
}

const OIL_WORDS: [(&str, OilWanted); 4] = [
    ("by-model", OilWanted::ByModel),
    ("ashless-dispersant", OilWanted::AshlessDispersant),
    ("mineral", OilWanted::Mineral),
    ("any", OilWanted::Any),
];

impl Held for OilWanted {
    fn setting(&self) -> Setting {
        OIL_WORDS.iter().find(|(_, oil)| oil == self).map_or(Setting::Unset, |(word, _)| Setting::Word(word))
    }
    fn from_setting(setting: &Setting) -> Option<Self> {
        OIL_WORDS.iter().find(|(word, _)| *setting == Setting::Word(word)).map(|(_, oil)| *oil)
    }
}

macro_rules! key {
    ($section:ident . $name:ident, $shape:expr) => {
        Key {
            section: stringify!($section),
            name: stringify!($name),
            shape: $shape,
            get: |rules| Held::setting(&rules.$section.$name),
            set: |rules, setting| {
                if let Some(value) = Held::from_setting(setting) {
                    rules.$section.$name = value;
                }
            },
        }
    };
}

const fn number(low: f64, high: f64, unit: &'static str) -> Shape {
    Shape::Number(Range::new(low, high, unit))
}

const fn whole(low: f64, high: f64, unit: &'static str) -> Shape {
    Shape::Whole(Range::new(low, high, unit))
}

/// Every threshold, in the order of the sample file.
pub static KEYS: [Key; 45] = [
    key!(consumption.false_alarms_per_1000_h, number(0.01, 20.0, "alerts per 1000 engine hours")),
    key!(consumption.smallest_change, number(1.1, 5.0, "× the baseline")),
    key!(consumption.quarts_before_judging, number(2.0, 50.0, "quarts")),
    key!(consumption.ceiling_lb_per_bhp_h, number(0.001, 0.03, "lb per brake horsepower and hour")),
    key!(consumption.oil_lb_per_gal, number(6.5, 8.5, "lb per US gallon")),
    key!(consumption.creep_ratio, number(1.1, 5.0, "× the reference")),
    key!(consumption.endurance_h, number(0.25, 24.0, "hours of flight")),
    key!(break_in.oil_changes_at_h, Shape::Rising(Range::new(0.5, 500.0, "engine hours since the build"))),
    key!(break_in.grace_h, number(0.0, 25.0, "engine hours")),
    key!(break_in.length_h, number(5.0, 500.0, "engine hours since the build")),
    key!(break_in.power_pct, Shape::Band(Range::new(20.0, 100.0, "% of rated power"))),
    key!(break_in.below_band_pct, number(1.0, 100.0, "% of a flight's cruise")),
    key!(break_in.oil, Shape::Word(&["by-model", "ashless-dispersant", "mineral", "any"])),
    key!(break_in.mineral_until_h, number(10.0, 2000.0, "engine hours since the build")),
    key!(break_in.cht_max_f, number(250.0, 550.0, "°F")),
    key!(break_in.climb_extra_kt, number(0.0, 50.0, "kt")),
    key!(break_in.climb_kt, Shape::Optional(Range::new(40.0, 250.0, "kt"))),
    key!(break_in.power_back_ft, number(200.0, 10_000.0, "ft above the field")),
    key!(break_in.stay_over_field_ft, number(500.0, 15_000.0, "ft above the field")),
    key!(break_in.initial_cruise_min, number(0.0, 240.0, "minutes")),
    key!(break_in.initial_manifold_inhg, number(10.0, 50.0, "inHg")),
    key!(break_in.initial_rpm, number(1000.0, 5000.0, "rpm")),
    key!(break_in.propeller_cycles_per_5_min, number(0.0, 10.0, "cycles per 5 minutes")),
    key!(break_in.stabilised_p, number(0.5, 0.999, "probability")),
    key!(oil_change.every_h, number(5.0, 500.0, "engine hours")),
    key!(oil_change.every_months, whole(1.0, 36.0, "calendar months")),
    key!(oil_change.grace_h, number(0.0, 100.0, "engine hours")),
    key!(oil_change.grace_days, whole(0.0, 90.0, "days")),
    key!(oil_change.due_soon_pct, number(10.0, 100.0, "% of the interval")),
    key!(oil_change.due_soon_days, number(0.0, 120.0, "days")),
    key!(oil_change.inspection_within_days, number(0.0, 60.0, "days")),
    key!(ground.first_run_min, number(0.5, 120.0, "minutes")),
    key!(ground.break_in_min, number(0.5, 240.0, "minutes")),
    key!(ground.in_service_min, number(1.0, 480.0, "minutes")),
    key!(ground.three_days_min, number(1.0, 1440.0, "minutes")),
    key!(ground.cht_max_f, number(200.0, 550.0, "°F")),
    key!(flight.takeoff_rpm_within, number(10.0, 1000.0, "rpm")),
    key!(flight.manifold_over_inhg, number(0.0, 5.0, "inHg")),
    key!(flight.power_step_inhg, number(0.5, 30.0, "inHg within a minute")),
    key!(flight.cooling_f_per_min, number(10.0, 300.0, "°F per minute")),
    key!(flight.oil_pressure_fall_pct, number(2.0, 80.0, "%")),
    key!(flight.oil_pressure_drift_pct, number(2.0, 80.0, "%")),
    key!(records.silent_days, number(0.5, 365.0, "days")),
    key!(records.hours_tolerance, number(0.05, 10.0, "hours")),
    key!(records.event_days, number(0.5, 365.0, "days")),
];

/// The sections that hold thresholds.
pub const SECTIONS: [&str; 6] = ["consumption", "break_in", "oil_change", "ground", "flight", "records"];

/// A threshold by section and name.
pub fn key(section: &str, name: &str) -> Option<&'static Key> {
    KEYS.iter().find(|key| key.section == section && key.name == name)
}
