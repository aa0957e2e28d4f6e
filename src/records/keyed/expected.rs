//! What was expected instead: the nearest known word, the range of a number.

use crate::units::{
    LITRES_PER_QUART, METRES_PER_FOOT, PASCALS_PER_INHG, celsius_to_fahrenheit, kelvin_step_to_fahrenheit,
};

/// The known word nearest to `word`, if one is near enough to be meant.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    known
        .into_iter()
        .map(|k| (strsim::jaro_winkler(&lower, &k.to_lowercase()), k))
        .filter(|(likeness, _)| *likeness >= 0.80)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// What was expected of a word: the nearest known one, else all of them.
pub fn one_of(word: &str, known: &[&str]) -> String {
    let quoted = known.iter().map(|k| format!("\"{k}\"")).collect::<Vec<_>>().join(", ");
    match (nearest(word, known.iter().copied()), known) {
        (_, []) => "none".to_owned(),
        (_, [only]) => format!("\"{only}\""),
        (Some(near), _) if known.len() > 4 => format!("the nearest known \"{near}\", or another of {quoted}"),
        (Some(near), _) => format!("\"{near}\" (known: {quoted})"),
        (None, _) => format!("one of {quoted}"),
    }
}

/// What a number may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    pub low: f64,
    pub high: f64,
    /// In words: `engine hours`, `°F`.
    pub unit: &'static str,
}

impl Range {
    pub const fn new(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, unit }
    }

    /// False for NaN.
    pub fn holds(self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

/// What people write in another unit: ours by its beginning, theirs in words around the number, and theirs in ours.
type Mistaken = (&'static str, &'static str, fn(f64) -> f64);
const MISTAKEN: [Mistaken; 14] = [
    ("°F per minute", "{} °C per minute", kelvin_step_to_fahrenheit),
    ("°F", "{} °C", celsius_to_fahrenheit),
    ("inHg", "{} hPa", |hpa| hpa * 100.0 / PASCALS_PER_INHG),
    ("inHg", "{} kPa", |kpa| kpa * 1000.0 / PASCALS_PER_INHG),
    ("ft", "{} m", |m| m / METRES_PER_FOOT),
    ("kt", "{} km/h", |kmh| kmh / 1.852),
    ("%", "a share of {}", |share| share * 100.0),
    ("minutes", "{} s", |s| s / 60.0),
    ("quarts", "{} l", |l| l / LITRES_PER_QUART),
    ("lb per US gallon", "{} kg/l", |kg| kg * 8.345_4),
    ("×", "{} %", |pct| pct / 100.0),
    ("as a share", "{} %", |pct| pct / 100.0),
    ("probability", "{} %", |pct| pct / 100.0),
    ("days", "{} h", |h| h / 24.0),
];

impl Range {
    /// The range, and where `value` would lie in it in a unit it may have been written in.
    pub fn expected(self, value: f64) -> String {
        let meant = MISTAKEN
            .iter()
            .filter(|(unit, ..)| self.unit.starts_with(unit) && value > 0.0)
            .map(|(_, words, ours)| (words, ours(value)))
            .find(|(_, ours)| self.holds(*ours));
        match meant {
            Some((words, ours)) => {
                format!("{self}; {} would be {}", words.replace("{}", &value.to_string()), digits(ours))
            }
            None => self.to_string(),
        }
    }
}

/// Four digits.
fn digits(value: f64) -> String {
    let decimals = (3 - value.abs().max(1e-9).log10().floor() as i32).clamp(0, 6) as usize;
    let text = format!("{value:.decimals$}");
    if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
}

impl std::fmt::Display for Range {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} to {} {}", self.low, self.high, self.unit)
    }
}
