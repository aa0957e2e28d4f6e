//! What a look at the oil says about the level: readings, additions, and flights without one.
//!
//! Every kind of look becomes a score (slope and curvature of its log-likelihood in the level) and
//! the log-likelihood itself, so that the filter, the candidates and the break-in grid share one path.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use super::belief::{Belief, Score, Seen};

/// Standard deviation of a dipstick reading, qt (0.25 qt marks, habit, slope of the ramp).
const READING_SD: f64 = 0.26;
/// Standard deviation of the level at which a pilot adds, seen at every flight, qt.
const MARK_SD: f64 = 0.36;
/// The same where only additions are logged, qt.
const MARK_ALONE_SD: f64 = 0.33;
/// Share of additions nobody logs, as the meaning of "no oil was added" assumes it.
const UNLOGGED: f64 = 0.04;
/// Limits of surprise, standard deviations: beyond, a value is held to the limit.
const CLIP: f64 = 3.0;
const CLIP_ALONE: f64 = 2.5;
/// Quantity from which an addition means "well below the mark", qt, and how far below.
const TWO_QUARTS: f64 = 1.5;
const TWO_QUARTS_BELOW: f64 = 1.1;

/// Where pilots add oil: a level, known or itself an unknown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mark {
    At(f64),
    Unknown(usize),
}

impl Mark {
    fn against(self, level: usize) -> (Seen, f64) {
        match self {
            Self::At(m) => (Seen::only(level), m),
            Self::Unknown(i) => (Seen { of: level, above: Some(i) }, 0.0),
        }
    }

    /// The mark as believed, qt.
    pub fn at(self, belief: &Belief) -> f64 {
        match self {
            Self::At(m) => m,
            Self::Unknown(i) => belief.mean[i],
        }
    }
}

/// Somebody looked at the oil.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Look {
    /// A dipstick reading, qt.
    Reading(f64),
    /// The pilot looked before a flight and added nothing: the level was above the mark, or an addition was not logged.
    NoneAdded(Mark),
    /// Oil was added before a flight, qt, and not before the flights without: the level was below the mark.
    Added(Mark, f64),
    /// Oil was added, qt, in a log that holds nothing but additions: the level was about at the mark.
    AddedAlone(Mark, f64),
}

/// What a look says.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Evidence {
    pub seen: Seen,
    pub score: Score,
    /// Log-likelihood, up to a constant of the look.
    pub ln_likelihood: f64,
    /// Surprise in standard deviations, after holding it to the limit.
    pub surprise: f64,
    /// The surprise went beyond the limit and was held to it.
    pub clipped: bool,
}

/// Weighs a look at the level `level` of a belief; `noise` ≥ 1 widens readings.
pub fn weigh(look: Look, level: usize, belief: &Belief, noise: f64) -> Evidence {
    match look {
        Look::Reading(y) => value(y, Seen::only(level), belief, READING_SD, noise, CLIP),
        Look::NoneAdded(mark) => none_added(mark.against(level), belief),
        Look::Added(mark, quantity) | Look::AddedAlone(mark, quantity) if quantity >= TWO_QUARTS => {
            let (seen, m) = mark.against(level);
            value(m - TWO_QUARTS_BELOW, seen, belief, MARK_SD, 1.0, CLIP_ALONE)
        }
        Look::Added(mark, _) => some_added(mark.against(level), belief),
        Look::AddedAlone(mark, _) => {
            let (seen, m) = mark.against(level);
            value(m, seen, belief, MARK_ALONE_SD, 1.0, CLIP_ALONE)
        }
    }
}

fn value(y: f64, seen: Seen, belief: &Belief, sd: f64, noise: f64, clip: f64) -> Evidence {
    let variance = noise * (belief.variance_of(seen) + sd * sd);
    let spread = variance.sqrt();
    let off = y - seen.take(&belief.mean);
    let held = if clip.is_finite() { off.clamp(-clip * spread, clip * spread) } else { off };
    Evidence {
        seen,
        score: Score { slope: held / variance, weight: 1.0 / variance },
        ln_likelihood: -0.5 * (held * held / variance + variance.ln()),
        surprise: held / spread,
        clipped: held != off,
    }
}

fn none_added((seen, m): (Seen, f64), belief: &Belief) -> Evidence {
    let spread = (belief.variance_of(seen) + MARK_SD * MARK_SD).sqrt();
    let z = (seen.take(&belief.mean) - m) / spread;
    let below = normal_cdf(z).max(1e-300);
    let hazard = normal_pdf(z) / below;
    let said = (1.0 - UNLOGGED) * below + UNLOGGED;
    let real = (1.0 - UNLOGGED) * below / said;
    let curve = real * hazard * (hazard + z) - real * (1.0 - real) * hazard * hazard;
    Evidence {
        seen,
        score: Score { slope: real * hazard / spread, weight: (curve / (spread * spread)).max(0.0) },
        ln_likelihood: said.ln(),
        surprise: 0.0,
        clipped: false,
    }
}

fn some_added((seen, m): (Seen, f64), belief: &Belief) -> Evidence {
    let spread = (belief.variance_of(seen) + MARK_SD * MARK_SD).sqrt();
    let z = ((seen.take(&belief.mean) - m) / spread).min(3.0);
    let above = normal_cdf(-z).max(1e-300);
    let hazard = normal_pdf(z) / above;
    Evidence {
        seen,
        score: Score { slope: -hazard / spread, weight: hazard * (hazard - z) / (spread * spread) },
        ln_likelihood: above.ln(),
        surprise: -z.max(0.0),
        clipped: false,
    }
}

/// Density of the standard normal distribution.
pub fn normal_pdf(z: f64) -> f64 {
    (-0.5 * z * z).exp() / (2.0 * PI).sqrt()
}

/// Standard normal distribution function.
pub fn normal_cdf(z: f64) -> f64 {
    0.5 * libm::erfc(-z * FRAC_1_SQRT_2)
}
