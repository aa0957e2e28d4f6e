//! What was expected instead: the nearest known word, the range of a number.

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

impl std::fmt::Display for Range {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} to {} {}", self.low, self.high, self.unit)
    }
}
