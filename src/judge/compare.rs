//! Two sets of findings over the same records, under today's rules and under others.
//!
//! For `replay --with`: before thresholds are changed somebody wants to see which alerts would not
//! have come, which would have been new, and which would have come earlier or later.

mod choice;
mod expect;

use std::collections::BTreeMap;
use std::sync::Arc;

use serde::Serialize;

use super::{Finding, Kind, Level};
use crate::records::Instant;

pub use choice::{Choice, LITTLE, Scales};
pub use expect::{Expected, false_alarms_per_1000_h};

/// Days between two rate findings that may still be about the same change.
const SAME_CHANGE_DAYS: i64 = 30;
/// Days between two findings of an event seen a flight earlier or later.
const SAME_EVENT_DAYS: i64 = 3;

/// All engines with a finding under either set of rules, by tail, then serial.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Comparison {
    pub engines: Vec<EngineComparison>,
}

/// One engine, or an aircraft's records where `serial` is `None`.
#[derive(Clone, Debug, PartialEq)]
pub struct EngineComparison {
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    pub serial: Option<Arc<str>>,
    /// In order of the earlier of the two moments.
    pub pairs: Vec<Pair>,
    /// False rate alerts to be expected.
    pub expected: Expected,
}

/// One finding under both rules, or under one only.
#[derive(Clone, Debug, PartialEq)]
pub struct Pair {
    pub kind: Kind,
    pub today: Option<Side>,
    pub other: Option<Side>,
}

/// When and how a finding comes under one set of rules.
#[derive(Clone, Debug, PartialEq)]
pub struct Side {
    pub raised: Instant,
    pub level: Level,
    /// Engine hours, where known.
    pub hours: Option<f64>,
    pub settled: Option<Instant>,
    /// How it ended, in a person's words.
    pub ended: Option<String>,
    pub subject: String,
}

/// How many findings fall where.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize)]
pub struct Counts {
    pub today: usize,
    pub other: usize,
    pub both: usize,
    pub only_today: usize,
    pub only_other: usize,
    /// Of `both`: earlier, later under the other rules.
    pub earlier: usize,
    pub later: usize,
    /// Warnings that only today's rules raise, or only the others.
    pub warnings_only_today: usize,
    pub warnings_only_other: usize,
    /// Of `both`: at another level.
    pub level_changed: usize,
}

impl Pair {
    /// A warning or caution about an engine, not plain information nor a question about the records.
    pub fn matters(&self) -> bool {
        self.level() > Level::Advisory && !self.kind.about_records()
    }

    /// Days by which the other rules raise it later (negative: earlier); `None` where only one raises it.
    pub fn later_days(&self) -> Option<f64> {
        let (today, other) = (self.today.as_ref()?, self.other.as_ref()?);
        Some((other.raised - today.raised).num_seconds() as f64 / 86_400.0)
    }

    /// Engine hours by which the other rules raise it later (negative: earlier), where both are known.
    pub fn later_hours(&self) -> Option<f64> {
        Some(self.other.as_ref()?.hours? - self.today.as_ref()?.hours?)
    }

    /// The earlier of the two moments.
    pub fn first(&self) -> Option<Instant> {
        self.today.iter().chain(&self.other).map(|side| side.raised).min()
    }

    /// The higher of the two levels.
    pub fn level(&self) -> Level {
        self.today.iter().chain(&self.other).map(|side| side.level).max().unwrap_or(Level::Advisory)
    }

    /// Nothing differs.
    pub fn same(&self) -> bool {
        self.later_days() == Some(0.0)
            && self.today.as_ref().map(|side| side.level) == self.other.as_ref().map(|side| side.level)
    }
}

impl Comparison {
    pub fn pairs(&self) -> impl Iterator<Item = (&EngineComparison, &Pair)> {
        self.engines.iter().flat_map(|engine| engine.pairs.iter().map(move |pair| (engine, pair)))
    }

    /// Without pairs that both sides raise before `from`.
    #[must_use]
    pub fn since(mut self, from: Instant) -> Self {
        for engine in &mut self.engines {
            engine.pairs.retain(|pair| pair.today.iter().chain(&pair.other).any(|side| side.raised >= from));
        }
        self.engines.retain(|engine| !engine.pairs.is_empty());
        self
    }

    pub fn counts(&self) -> Counts {
        count(self.pairs().map(|(_, pair)| pair))
    }

    /// How many of each level come under today's rules and under the others, the highest first.
    pub fn by_level(&self) -> Vec<(Level, [usize; 2])> {
        let at = |level: Level, side: fn(&Pair) -> Option<&Side>| {
            self.pairs().filter(|(_, pair)| side(pair).is_some_and(|side| side.level == level)).count()
        };
        Level::ALL.map(|l| (l, [at(l, |p| p.today.as_ref()), at(l, |p| p.other.as_ref())])).to_vec()
    }

    /// Median of hours and of days by which findings of both move, over those that move.
    pub fn median_shift(&self) -> (Option<f64>, Option<f64>) {
        let moved: Vec<&Pair> =
            self.pairs().map(|(_, pair)| pair).filter(|p| p.later_days().is_some_and(|d| d != 0.0)).collect();
        (
            median(moved.iter().filter_map(|p| p.later_hours()).collect()),
            median(moved.iter().filter_map(|p| p.later_days()).collect()),
        )
    }
}

/// Counts pairs.
pub fn count<'a>(pairs: impl Iterator<Item = &'a Pair>) -> Counts {
    let mut counts = Counts::default();
    for pair in pairs {
        let warning = usize::from(pair.level() == Level::Warning);
        match (&pair.today, &pair.other) {
            (Some(today), Some(other)) => {
                counts.both += 1;
                counts.earlier += usize::from(other.raised < today.raised);
                counts.later += usize::from(other.raised > today.raised);
                counts.level_changed += usize::from(other.level != today.level);
            }
            (Some(_), None) => {
                counts.only_today += 1;
                counts.warnings_only_today += warning;
            }
            (None, Some(_)) => {
                counts.only_other += 1;
                counts.warnings_only_other += warning;
            }
            (None, None) => {}
        }
    }
    counts.today = counts.both + counts.only_today;
    counts.other = counts.both + counts.only_other;
    counts
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let middle = values.len() / 2;
    match values.len() {
        0 => None,
        n if n % 2 == 1 => Some(values[middle]),
        _ => Some(f64::midpoint(values[middle - 1], values[middle])),
    }
}

/// Puts the findings of two judgements of the same records side by side.
///
/// A finding of an event (a run, an oil-change point) is the same where kind, engine and subject are. Rate
/// findings are numbered as they come, so they are matched by time: the nearest of the same kind that was
/// open at the same time, or within a month.
pub fn compare(today: &[Finding], other: &[Finding]) -> Comparison {
    type Whose = (Arc<str>, Option<Arc<str>>);
    let mut engines: BTreeMap<Whose, [Vec<&Finding>; 2]> = BTreeMap::new();
    for (i, findings) in [today, other].into_iter().enumerate() {
        for finding in findings {
            engines.entry((finding.tail.clone(), finding.serial.clone())).or_default()[i].push(finding);
        }
    }
    let engines = engines.into_iter().map(|((tail, serial), [today, other])| {
        let position = today.iter().chain(&other).max_by_key(|f| f.raised).and_then(|f| f.position.clone());
        let mut pairs = pair_up(&today, &other);
        pairs.sort_by_key(|pair| (pair.first(), pair.kind));
        EngineComparison { tail, position, serial, pairs, expected: Expected::default() }
    });
    Comparison { engines: engines.collect() }
}

fn pair_up(today: &[&Finding], other: &[&Finding]) -> Vec<Pair> {
    let mut candidates: Vec<(bool, i64, usize, usize)> = Vec::new();
    for (i, a) in today.iter().enumerate() {
        for (j, b) in other.iter().enumerate().filter(|(_, b)| b.kind == a.kind) {
            if let Some(by_time) = alike(a, b) {
                candidates.push((by_time, (a.raised - b.raised).num_seconds().abs(), i, j));
            }
        }
    }
    // The same subject before the same time, then the nearest.
    candidates.sort_unstable();
    let (mut of_today, mut of_other) = (vec![None; today.len()], vec![false; other.len()]);
    for (_, _, i, j) in candidates {
        if of_today[i].is_none() && !of_other[j] {
            of_today[i] = Some(j);
            of_other[j] = true;
        }
    }
    let matched = today.iter().zip(&of_today).map(|(a, j)| Pair {
        kind: a.kind,
        today: Some(side(a)),
        other: j.map(|j| side(other[j])),
    });
    let rest = other.iter().zip(&of_other).filter(|(_, taken)| !**taken);
    matched.chain(rest.map(|(b, _)| Pair { kind: b.kind, today: None, other: Some(side(b)) })).collect()
}

/// Whether two findings of one kind may be about the same thing: `Some(false)` by subject, `Some(true)` by time.
pub(super) fn alike(a: &Finding, b: &Finding) -> Option<bool> {
    let numbered = matches!(
        a.kind,
        Kind::OilRateRise
            | Kind::OilRateFall
            | Kind::OilRateCreep
            | Kind::OilRateCeiling
            | Kind::OilEndurance
            | Kind::EnginesDiverged
            | Kind::BreakInStabilised
    );
    let drifting = matches!(
        a.kind,
        Kind::AdditionNotLogged | Kind::RefillNotLogged | Kind::OilPressureFalling | Kind::GroundRunLong
    );
    if !numbered && a.subject == b.subject {
        return Some(false);
    }
    let apart = (a.raised - b.raised).num_days().abs();
    let open = |f: &Finding, at: Instant| f.raised <= at && f.settled.as_ref().is_none_or(|s| s.at > at);
    let close = if numbered {
        apart <= SAME_CHANGE_DAYS || open(a, b.raised) || open(b, a.raised)
    } else {
        drifting && apart <= SAME_EVENT_DAYS
    };
    close.then_some(true)
}

fn side(finding: &Finding) -> Side {
    Side {
        raised: finding.raised,
        level: finding.level,
        hours: finding.hours,
        settled: finding.settled.as_ref().map(|s| s.at),
        ended: finding.settled.as_ref().map(|s| s.why.clone()),
        subject: finding.subject.clone(),
    }
}

#[cfg(test)]
mod tests;
