//! What a look at the oil says about the level: readings, additions, and flights without one.
//!
//! Every kind of look becomes a score (slope and curvature of its log-likelihood in the level) and
//! the log-likelihood itself, so that the filter, the candidates and the break-in grid share one path.

use std::f64::consts::{FRAC_1_SQRT_2, PI};

use super::belief::{Belief, Score, Seen};

/// Standard deviation of a dipstick reading, qt (0.25 qt marks, habit, slope of the ramp).
pub const READING_SD: f64 = 0.26;
/// Standard deviation of the level at which a pilot adds, seen at every flight, qt.
pub const MARK_SD: f64 = 0.34;
/// The same where only additions are logged, qt.
const MARK_ALONE_SD: f64 = 0.33;
/// Share of readings that are grossly wrong, and by how much, qt.
const GROSS: f64 = 0.04;
const GROSS_SD: f64 = 1.0;
/// How much of the curvature lost to the doubt which of the two a reading is counts (found by simulation).
const DOUBT: f64 = 0.8;
/// What a look is taken to be worth when it is no sign of the level at all, of the likeliest.
const FLOOR: f64 = 0.01;
/// Share of additions nobody logs, as the meaning of "no oil was added" assumes it.
const UNLOGGED: f64 = 0.04;
/// Limits of surprise, standard deviations: beyond, a value is held to the limit.
const CLIP: f64 = 3.0;
const CLIP_ALONE: f64 = 2.5;
/// Quantity from which an addition means "well below the mark", qt, and how far below.
pub const TWO_QUARTS: f64 = 1.5;
pub const TWO_QUARTS_BELOW: f64 = 1.1;

/// Where pilots add oil: a level, known or itself an unknown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Mark {
    At(f64),
    Unknown(usize),
}

impl Mark {
    /// What an addition tells of, and the mark where it is known.
    pub fn against(self, level: usize) -> (Seen, f64) {
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
    /// Oil was added, qt, in a log that holds nothing but additions: the level was about so far above the mark, qt.
    AddedAlone { mark: Mark, quantity: f64, above: f64 },
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
    /// The likelihood of the look for other levels.
    pub density: Density,
}

/// Likelihood of a look as a function of the level, around the one believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Density {
    /// A value `off` above the one believed, with its variance.
    Value { off: f64, variance: f64 },
    /// Oil was, or was not, added: the level's distance above the mark and its standard deviation.
    Choice { above: f64, spread: f64, added: bool },
}

impl Density {
    /// Likelihood were the level `shift` qt higher than believed, up to a factor.
    pub fn at(self, shift: f64) -> f64 {
        match self {
            Self::Value { off, variance } => {
                let squared = (off - shift).powi(2) / variance;
                (-0.5 * squared).exp() + FLOOR
            }
            Self::Choice { above, spread, added } => {
                let z = (above + shift) / spread;
                normal_cdf(if added { -z } else { z }) + FLOOR
            }
        }
    }
}

/// Weighs a look at the level `level` of a belief; `noise` ≥ 1 widens readings.
pub fn weigh(look: Look, level: usize, belief: &Belief, noise: f64) -> Evidence {
    match look {
        Look::Reading(y) => reading(y, Seen::only(level), belief, noise),
        Look::NoneAdded(mark) => none_added(mark.against(level), belief),
        Look::Added(mark, quantity) | Look::AddedAlone { mark, quantity, .. } if quantity >= TWO_QUARTS => {
            let (seen, m) = mark.against(level);
            value(m - TWO_QUARTS_BELOW, seen, belief, MARK_SD)
        }
        Look::Added(mark, _) => some_added(mark.against(level), belief),
        Look::AddedAlone { mark, above, .. } => {
            let (seen, m) = mark.against(level);
            value(m + above, seen, belief, MARK_ALONE_SD)
        }
    }
}

/// How far above the mark the oil stands, in the mean, when a pilot adds, qt; `burnt` qt a flight. Somebody looks
/// before every flight and misreads a little: where the level sinks slowly, one look of many sees it low too early;
/// where it sinks fast it is well below the mark at the first look. (A fit to simulated pilots, see the test.)
pub fn above_when_added(burnt: f64) -> f64 {
    0.215 * (0.2 / burnt.max(1e-9)).ln().clamp(-2.0, 2.0)
}

fn value(y: f64, seen: Seen, belief: &Belief, sd: f64) -> Evidence {
    let variance = belief.variance_of(seen) + sd * sd;
    let spread = variance.sqrt();
    let off = y - seen.take(&belief.mean);
    let held = off.clamp(-CLIP_ALONE * spread, CLIP_ALONE * spread);
    Evidence {
        seen,
        score: Score { slope: held / variance, weight: 1.0 / variance },
        ln_likelihood: -0.5 * (held * held / variance + variance.ln()),
        surprise: held / spread,
        clipped: held != off,
        density: Density::Value { off, variance },
    }
}

/// A reading is right, or now and then grossly wrong: the slope of the mixture's log-likelihood lets a wild
/// value go by, where holding it to a limit would still let it pull.
fn reading(y: f64, seen: Seen, belief: &Belief, noise: f64) -> Evidence {
    let variance = noise * (belief.variance_of(seen) + READING_SD * READING_SD);
    let wide = variance + GROSS_SD * GROSS_SD;
    let off = y - seen.take(&belief.mean);
    let ln = |share: f64, var: f64| share.ln() - 0.5 * (off * off / var + var.ln());
    let (right, wrong) = (ln(1.0 - GROSS, variance), ln(GROSS, wide));
    let p = 1.0 / (1.0 + (wrong - right).exp());
    let pull = p / variance + (1.0 - p) / wide;
    let doubt = p * (1.0 - p) * (off * (1.0 / variance - 1.0 / wide)).powi(2);
    Evidence {
        seen,
        score: Score { slope: off * pull, weight: (pull - DOUBT * doubt).max(0.0) },
        ln_likelihood: right.max(wrong) + (-(right - wrong).abs()).exp().ln_1p(),
        surprise: off / variance.sqrt() * p.sqrt(),
        clipped: p < 0.5,
        density: Density::Value { off, variance },
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
        density: Density::Choice { above: z * spread, spread, added: false },
    }
}

fn some_added((seen, m): (Seen, f64), belief: &Belief) -> Evidence {
    let spread = (belief.variance_of(seen) + MARK_SD * MARK_SD).sqrt();
    let above = seen.take(&belief.mean) - m;
    let z = (above / spread).min(CLIP);
    let share = normal_cdf(-z).max(1e-300);
    let hazard = normal_pdf(z) / share;
    Evidence {
        seen,
        score: Score { slope: -hazard / spread, weight: hazard * (hazard - z) / (spread * spread) },
        ln_likelihood: share.ln(),
        surprise: -z.max(0.0),
        clipped: false,
        density: Density::Choice { above, spread, added: true },
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

#[cfg(test)]
mod tests {
    use super::*;

    fn belief(level: f64) -> Belief {
        let mut belief = Belief::EMPTY;
        belief.push(level, 0.04);
        belief
    }

    fn read(y: f64, level: f64) -> Evidence {
        weigh(Look::Reading(y), 0, &belief(level), 1.0)
    }

    /// The score is the derivative of the log-likelihood in the level, here by finite differences.
    #[test]
    fn the_slope_of_a_reading_is_that_of_its_likelihood() {
        for tenths in -30..=30 {
            let y = 7.0 + f64::from(tenths) / 10.0;
            let step = 1e-5;
            let slope = (read(y, 7.0 + step).ln_likelihood - read(y, 7.0 - step).ln_likelihood) / (2.0 * step);
            let told = read(y, 7.0).score.slope;
            assert!((told - slope).abs() < 1e-6 * slope.abs().max(1.0), "{y}: {told} {slope}");
        }
    }

    /// A quart and a half off pulls less than a half: whoever wrote it misread. A slip of the pen harms nothing.
    #[test]
    fn a_wild_reading_goes_by() {
        assert!(read(8.5, 7.0).score.slope < 0.6 * read(7.5, 7.0).score.slope);
        assert!(read(8.5, 7.0).clipped && !read(7.5, 7.0).clipped);
        for y in [0.0, 70.0, 7e6] {
            let e = read(y, 7.0);
            assert!(e.clipped && e.score.slope.is_finite() && e.score.weight >= 0.0 && e.ln_likelihood.is_finite());
        }
    }
}
