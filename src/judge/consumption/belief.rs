//! A Gaussian belief about the sump, moved by flights and corrected by what people saw.
//!
//! The general piece: a vector of unknowns with covariance, of which some are oil levels. A level
//! falls by what a flight burns, and is seen through a dipstick or through "oil was, or was not,
//! added". Everything an observation says enters as a score `g` (slope of its log-likelihood in the
//! level) and a weight `w` (its curvature), so a reading and a bare "no oil was added" take the same
//! path. With one unknown and no burning it is the textbook local-level filter (the Nile check).

/// Most unknowns held at once: level, rate, mark, and seven more (service factors, or the mate).
pub const UNKNOWNS: usize = 10;

/// A vector over the unknowns.
pub type Vector = [f64; UNKNOWNS];

/// What an observation saw: an unknown, or the difference of two (a level above an unknown mark).
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Seen {
    pub of: usize,
    pub above: Option<usize>,
}

impl Seen {
    /// An unknown by itself.
    pub fn only(of: usize) -> Self {
        Self { of, above: None }
    }

    /// The value of what was seen in `v`.
    pub fn take(self, v: &Vector) -> f64 {
        v[self.of] - self.above.map_or(0.0, |i| v[i])
    }
}

/// Slope and curvature of an observation's log-likelihood in what it saw.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Score {
    pub slope: f64,
    pub weight: f64,
}

/// Means and covariances. Only the first `n` are in use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Belief {
    pub n: usize,
    pub mean: Vector,
    pub cov: [Vector; UNKNOWNS],
}

#[expect(clippy::needless_range_loop, reason = "matrix algebra reads best with indices")]
impl Belief {
    /// Nothing held.
    pub const EMPTY: Self = Self { n: 0, mean: [0.0; UNKNOWNS], cov: [[0.0; UNKNOWNS]; UNKNOWNS] };

    /// Adds an unknown, independent of the rest; returns its index, or `None` when full.
    pub fn push(&mut self, mean: f64, variance: f64) -> Option<usize> {
        let i = self.n;
        if i == UNKNOWNS {
            return None;
        }
        self.n += 1;
        self.mean[i] = mean;
        self.cov[i] = [0.0; UNKNOWNS];
        for row in &mut self.cov {
            row[i] = 0.0;
        }
        self.cov[i][i] = variance;
        Some(i)
    }

    /// Sets an unknown afresh, independent of the rest.
    pub fn reset(&mut self, i: usize, mean: f64, variance: f64) {
        self.mean[i] = mean;
        for k in 0..self.n {
            self.cov[i][k] = 0.0;
            self.cov[k][i] = 0.0;
        }
        self.cov[i][i] = variance;
    }

    /// Variance of what would be seen, without the observation's own error.
    pub fn variance_of(&self, seen: Seen) -> f64 {
        let c = &self.cov;
        match seen.above {
            None => c[seen.of][seen.of],
            Some(m) => c[seen.of][seen.of] + c[m][m] - 2.0 * c[seen.of][m],
        }
    }

    /// Covariance of every unknown with what is seen.
    pub fn gain(&self, seen: Seen) -> Vector {
        let mut out = self.cov[seen.of];
        if let Some(m) = seen.above {
            for (o, c) in out.iter_mut().zip(&self.cov[m]) {
                *o -= c;
            }
        }
        out
    }

    /// Takes an observation in: `x += gain·g`, `P −= w·gain·gainᵀ`.
    pub fn correct(&mut self, gain: &Vector, score: Score) {
        let n = self.n;
        for i in 0..n {
            self.mean[i] += gain[i] * score.slope;
            let scaled = score.weight * gain[i];
            for k in 0..n {
                self.cov[i][k] -= scaled * gain[k];
            }
        }
    }

    /// The unknown `level` falls by `burnt`; `slope` is the derivative of the level after with
    /// respect to every unknown before, less one for the level itself (`−H` for the rate);
    /// `noise` is the variance the flight adds.
    pub fn burn(&mut self, level: usize, burnt: f64, slope: &Vector, noise: f64) {
        let n = self.n;
        let mut moved = [0.0; UNKNOWNS];
        for k in 0..n {
            moved[k] = (0..n).map(|i| slope[i] * self.cov[i][k]).sum();
        }
        let own = 2.0 * moved[level] + (0..n).map(|i| slope[i] * moved[i]).sum::<f64>();
        self.mean[level] -= burnt;
        for k in 0..n {
            if k != level {
                self.cov[level][k] += moved[k];
                self.cov[k][level] = self.cov[level][k];
            }
        }
        self.cov[level][level] += own + noise;
    }

    /// Shifts the means along `direction` by `step`, known to `variance`.
    pub fn shift(&mut self, direction: &Vector, step: f64, variance: f64) {
        for i in 0..self.n {
            self.mean[i] += step * direction[i];
            for k in 0..self.n {
                self.cov[i][k] += variance * direction[i] * direction[k];
            }
        }
    }
}
