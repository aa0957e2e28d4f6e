//! Textbook charts, kept to compare the level filter with on the same logs and to check its parts
//! against published values. None of them decides anything.

/// Two-sided cumulative-sum chart of values scaled to mean 0 and standard deviation 1.
#[derive(Clone, Copy, Debug, Default)]
pub struct Cusum {
    pub high: f64,
    pub low: f64,
}

impl Cusum {
    /// Takes a value in; true when either sum passes `limit`. `slack` is half the shift looked for.
    pub fn take(&mut self, value: f64, slack: f64, limit: f64) -> bool {
        self.high = (self.high + value - slack).max(0.0);
        self.low = (self.low - value - slack).max(0.0);
        self.high > limit || self.low > limit
    }

    /// Average run length of one side for normal values with mean `shift`: Brook and Evans' Markov
    /// chain over `cells` intervals of the sum.
    pub fn run_length_one_sided(shift: f64, slack: f64, limit: f64, cells: usize) -> f64 {
        let width = 2.0 * limit / (2.0 * cells as f64 - 1.0);
        let mut rows = vec![vec![0.0; cells + 1]; cells];
        for (i, row) in rows.iter_mut().enumerate() {
            for (j, cell) in row.iter_mut().take(cells).enumerate() {
                let centre = (j as f64 - i as f64) * width + slack - shift;
                let below = super::evidence::normal_cdf(centre + width / 2.0);
                let p = if j == 0 { below } else { below - super::evidence::normal_cdf(centre - width / 2.0) };
                *cell = f64::from(u8::from(i == j)) - p;
            }
            row[cells] = 1.0;
        }
        solve(rows).first().copied().unwrap_or(f64::NAN)
    }

    /// Average run length of both sides together (Kemp: the reciprocals add).
    pub fn run_length(shift: f64, slack: f64, limit: f64, cells: usize) -> f64 {
        let one = |s| 1.0 / Self::run_length_one_sided(s, slack, limit, cells);
        1.0 / (one(shift) + one(-shift))
    }
}

/// Gaussian elimination with pivoting; the last column is the right-hand side.
fn solve(mut rows: Vec<Vec<f64>>) -> Vec<f64> {
    let n = rows.len();
    for i in 0..n {
        let pivot = (i..n).max_by(|a, b| rows[*a][i].abs().total_cmp(&rows[*b][i].abs())).unwrap_or(i);
        rows.swap(i, pivot);
        let (done, rest) = rows.split_at_mut(i + 1);
        let top = &done[i];
        for row in rest {
            let times = row[i] / top[i];
            for (value, above) in row.iter_mut().zip(top).skip(i) {
                *value -= times * above;
            }
        }
    }
    let mut out = vec![0.0; n];
    for i in (0..n).rev() {
        let known: f64 = (i + 1..n).map(|k| rows[i][k] * out[k]).sum();
        out[i] = (rows[i][n] - known) / rows[i][i];
    }
    out
}

/// Exponentially weighted moving average: the values, one per observation, from `start`.
pub fn ewma(values: &[f64], weight: f64, start: f64) -> Vec<f64> {
    values
        .iter()
        .scan(start, |mean, v| {
            *mean += weight * (v - *mean);
            Some(*mean)
        })
        .collect()
}

/// Steady control limits of an EWMA chart, `sds` standard deviations either side of `centre`.
pub fn ewma_limits(centre: f64, sd: f64, weight: f64, sds: f64) -> (f64, f64) {
    let half = sds * sd * (weight / (2.0 - weight)).sqrt();
    (centre - half, centre + half)
}

/// A split of a series in two with what it explains.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Split {
    /// Values before the split.
    pub after: usize,
    pub before_mean: f64,
    pub after_mean: f64,
    /// Twice the log-likelihood ratio, or the squares saved.
    pub gain: f64,
}

fn best_split(values: &[f64], gain: impl Fn(f64, f64, f64, f64) -> f64) -> Option<Split> {
    let (n, total) = (values.len(), values.iter().sum::<f64>());
    let mut sum = 0.0;
    let mut best: Option<Split> = None;
    for (i, value) in values.iter().enumerate().take(n.saturating_sub(1)) {
        sum += value;
        let (a, b) = ((i + 1) as f64, (n - i - 1) as f64);
        let (first, second) = (sum / a, (total - sum) / b);
        let split = Split { after: i + 1, before_mean: first, after_mean: second, gain: gain(a, first, b, second) };
        if best.is_none_or(|old| split.gain > old.gain) {
            best = Some(split);
        }
    }
    best
}

/// The change of rate that fits exponential gaps best, `gain` = twice the log-likelihood ratio.
pub fn exponential_split(gaps: &[f64]) -> Option<Split> {
    let n = gaps.len() as f64;
    let mean = gaps.iter().sum::<f64>() / n;
    best_split(gaps, |a, first, b, second| 2.0 * (n * mean.ln() - a * first.ln() - b * second.ln()))
}

/// The change of mean that saves most squares.
pub fn mean_split(values: &[f64]) -> Option<Split> {
    let mean = values.iter().sum::<f64>() / values.len() as f64;
    best_split(values, |a, first, b, second| a * (first - mean).powi(2) + b * (second - mean).powi(2))
}

/// Generalised likelihood ratio for a rise in the rate of gamma intervals (shape `shape`, hours per
/// quart, known mean before the change): the highest log-likelihood ratio over changes within the
/// last `window` intervals.
pub fn gamma_rise(hours_per_quart: &[f64], shape: f64, mean: f64, window: usize) -> f64 {
    let mut sum = 0.0;
    let mut best = 0.0_f64;
    for (i, gap) in hours_per_quart.iter().rev().take(window).enumerate() {
        sum += gap;
        let (n, now) = ((i + 1) as f64, sum / (i + 1) as f64);
        if now < mean {
            best = best.max(n * shape * ((mean / now).ln() - 1.0 + now / mean));
        }
    }
    best
}
