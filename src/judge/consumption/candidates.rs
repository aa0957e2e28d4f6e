//! Every recent flight as a possible moment of change, and the likelihood ratio of each.
//!
//! A candidate remembers how the belief would have been misled, per unit of change, had the change
//! begun with its flight (`error`), and what the observations since have said about that (`score`,
//! `weight`: slope and curvature of the log-likelihood at no change). Then the log-likelihood ratio
//! of a change of size δ is `δ·score − ½·δ²·weight`, and the best size is `score / weight`.

use super::belief::{Score, Seen, UNKNOWNS, Vector};

/// The last `K` possible moments of change. Order inside does not matter.
#[derive(Clone, Copy, Debug)]
pub struct Candidates<const K: usize> {
    len: usize,
    next: usize,
    error: [[f64; K]; UNKNOWNS],
    score: [f64; K],
    weight: [f64; K],
    /// Rate believed when the candidate began, qt/h.
    rate: [f64; K],
    /// Number of the flight it began with.
    flight: [u32; K],
}

/// One candidate, looked at.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Candidate {
    pub flight: u32,
    pub rate: f64,
    /// Most likely size of the change and its variance.
    pub size: f64,
    pub variance: f64,
    /// Log-likelihood ratio at that size.
    pub ln_ratio: f64,
    pub error: Vector,
}

impl<const K: usize> Candidates<K> {
    /// No candidates.
    pub const EMPTY: Self = Self {
        len: 0,
        next: 0,
        error: [[0.0; K]; UNKNOWNS],
        score: [0.0; K],
        weight: [0.0; K],
        rate: [0.0; K],
        flight: [0; K],
    };

    /// Forgets them all.
    pub fn clear(&mut self) {
        self.len = 0;
        self.next = 0;
    }

    pub fn is_empty(&self) -> bool {
        self.len == 0
    }

    /// A change of the unknown `which` may begin with this flight. The oldest makes room; returns the place taken.
    pub fn begin(&mut self, which: usize, rate: f64, flight: u32) -> usize {
        let c = self.next;
        self.next = (self.next + 1) % K;
        self.len = (self.len + 1).min(K);
        for row in &mut self.error {
            row[c] = 0.0;
        }
        self.error[which][c] = 1.0;
        self.score[c] = 0.0;
        self.weight[c] = 0.0;
        self.rate[c] = rate;
        self.flight[c] = flight;
        c
    }

    /// How far candidate `c` would mislead about what is seen, per unit of change.
    fn off(&self, seen: Seen, c: usize) -> f64 {
        self.error[seen.of][c] - seen.above.map_or(0.0, |m| self.error[m][c])
    }

    /// The place of every candidate, and how far it would mislead about what is seen, per unit of change.
    pub fn misled(&self, seen: Seen) -> impl Iterator<Item = (usize, f64)> {
        (0..self.len).map(move |c| (c, self.off(seen, c)))
    }

    /// The place of every candidate, and the number of the flight it began with.
    pub fn moments(&self) -> impl Iterator<Item = (usize, u32)> {
        self.flight.iter().copied().enumerate().take(self.len)
    }

    /// An observation, before the belief takes it in.
    pub fn observe(&mut self, n: usize, seen: Seen, gain: &Vector, score: Score) {
        let mut pull = [0.0; K];
        for (c, pull) in pull.iter_mut().enumerate().take(self.len) {
            let off = self.off(seen, c);
            self.score[c] += off * score.slope;
            self.weight[c] += off * off * score.weight;
            *pull = off * score.weight;
        }
        for (row, gain) in self.error.iter_mut().zip(gain).take(n) {
            for (error, pull) in row.iter_mut().zip(&pull).take(self.len) {
                *error -= gain * pull;
            }
        }
    }

    /// A flight: the level's error grows by what the other errors burn (`slope` as in `Belief::burn`).
    pub fn burn(&mut self, n: usize, level: usize, slope: &Vector) {
        for i in (0..n).filter(|i| slope[*i] != 0.0) {
            for c in 0..self.len {
                let moved = slope[i] * self.error[i][c];
                self.error[level][c] += moved;
            }
        }
    }

    /// The unknown is known afresh: no candidate misleads about it any more.
    pub fn settle(&mut self, which: usize) {
        self.error[which][..self.len].fill(0.0);
    }

    /// The unknown `which` shrinks or grows by `factor`, and an error in it with it. Changes stay
    /// counted in the size they had when they began.
    pub fn scale(&mut self, which: usize, factor: f64) {
        self.error[which][..self.len].iter_mut().for_each(|e| *e *= factor);
    }

    /// Rate believed when the oldest candidate began.
    pub fn oldest_rate(&self) -> Option<f64> {
        (0..self.len).min_by_key(|c| self.flight[*c]).map(|c| self.rate[c])
    }

    /// Shiryaev–Roberts sum, `ln Σ_c mean_ρ exp(δ·d − ½·δ²·J)` with `δ = (ρ − 1)·rate`,
    /// over candidates that an observation has spoken about; −∞ without any.
    pub fn ln_sum(&self, ratios: &[f64; 3]) -> f64 {
        // Kept apart until the end: a running sum would force one exponential after another.
        let mut likely = [0.0; K];
        for ratio in ratios {
            for (((likely, score), weight), rate) in
                likely.iter_mut().zip(&self.score).zip(&self.weight).zip(&self.rate).take(self.len)
            {
                let size = (ratio - 1.0) * rate;
                let e = exp(size * (score - 0.5 * size * weight));
                *likely += if *weight > 0.0 { e } else { 0.0 };
            }
        }
        (likely.iter().sum::<f64>() / 3.0).ln()
    }

    /// Log-likelihood ratio of a change of `size` beginning with candidate `c`.
    fn ln_ratio(&self, c: usize, size: f64) -> f64 {
        size * (self.score[c] - 0.5 * size * self.weight[c])
    }

    /// The highest log-likelihood ratio over ratios and the candidates that began with flight `until` or
    /// before, with the flight it begins with.
    pub fn best_of(&self, ratios: &[f64], until: u32) -> Option<(u32, f64)> {
        (0..self.len)
            .filter(|c| self.flight[*c] <= until)
            .flat_map(|c| ratios.iter().map(move |r| (self.flight[c], self.ln_ratio(c, (r - 1.0) * self.rate[c]))))
            .max_by(|a, b| a.1.total_cmp(&b.1))
    }

    /// The candidate most likely to be the moment of a rise (or fall), and how large the change was.
    ///
    /// The size has a prior (a rise: the rate doubled, give or take 60 % of itself; a fall: to 60 %, give
    /// or take 25 %). Without one, the best of eighty candidates is always a recent one with too large a change.
    pub fn best(&self, rise: bool) -> Option<Candidate> {
        let (middle, spread) = if rise { (1.0, 0.6) } else { (-0.4, 0.25) };
        (0..self.len)
            .filter(|c| self.weight[*c] > 0.0)
            .map(|c| {
                let prior = 1.0 / (spread * self.rate[c]).powi(2);
                let expected = middle * self.rate[c];
                let precision = self.weight[c] + prior;
                let size = (self.score[c] + expected * prior) / precision;
                let ln_ratio = 0.5 * (size * size * precision - expected * expected * prior - (precision / prior).ln());
                (c, size, 1.0 / precision, ln_ratio)
            })
            .filter(|(_, size, ..)| (*size > 0.0) == rise)
            .max_by(|a, b| a.3.total_cmp(&b.3))
            .map(|(c, size, variance, ln_ratio)| Candidate {
                flight: self.flight[c],
                rate: self.rate[c],
                size,
                variance,
                ln_ratio,
                error: std::array::from_fn(|i| self.error[i][c]),
            })
    }
}

/// eˣ to about 1e-12, without a call, so that the loop over candidates runs several at a time:
/// 2ᵏ·eʳ with |r| ≤ ½ ln 2 and the Taylor series of eʳ. Held to e^±600.
#[inline]
fn exp(x: f64) -> f64 {
    /// Adding and taking this away rounds to a whole number.
    const ROUND: f64 = 6_755_399_441_055_744.0;
    let x = x.clamp(-600.0, 600.0);
    let shifted = x * std::f64::consts::LOG2_E + ROUND;
    let r = x - (shifted - ROUND) * std::f64::consts::LN_2;
    /// 1/10! … 1/0!
    const SERIES: [f64; 11] = [
        1.0 / 3_628_800.0,
        1.0 / 362_880.0,
        1.0 / 40_320.0,
        1.0 / 5_040.0,
        1.0 / 720.0,
        1.0 / 120.0,
        1.0 / 24.0,
        1.0 / 6.0,
        0.5,
        1.0,
        1.0,
    ];
    let mut value = 0.0;
    for term in SERIES {
        value = value * r + term;
    }
    // The low bits of `shifted` hold k.
    let power = f64::from_bits((shifted.to_bits().wrapping_add(1023)) << 52);
    value * power
}

#[cfg(test)]
mod tests {
    #[test]
    fn exp_agrees_with_the_library() {
        for i in -6000..=6000 {
            let x = f64::from(i) * 0.0999;
            assert!((super::exp(x) / x.exp() - 1.0).abs() < 1e-11, "{x}");
        }
    }
}
