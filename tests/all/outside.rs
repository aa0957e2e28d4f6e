//! The parts of the consumption judge against values published or computed outside the project; `oracles.rs` asks the
//! same libraries live.
#![allow(clippy::unwrap_used, reason = "tests")]

use cowlwatch::judge::consumption::belief::{Belief, Score, Seen};
use cowlwatch::judge::consumption::compare::{Cusum, ewma, ewma_limits, exponential_split, mean_split};

/// Average run lengths of the two-sided normal CUSUM, k = 0.5: R package spc 0.6.7, `xcusum.arl`.
#[test]
fn cusum_run_lengths_match_spc() {
    let shifts = [0.0, 0.25, 0.5, 0.75, 1.0, 1.5, 2.0, 2.5, 3.0, 4.0];
    let four = [167.6838, 74.2240, 26.6302, 13.2851, 8.3831, 4.7472, 3.3428, 2.6195, 2.1945, 1.7085];
    let five = [465.4435, 139.4937, 37.9961, 17.0483, 10.3760, 5.7472, 4.0089, 3.1137, 2.5733, 2.0126];
    for (limit, want) in [(4.0, four), (5.0, five)] {
        for (shift, want) in shifts.into_iter().zip(want) {
            let got = Cusum::run_length(shift, 0.5, limit, 160);
            assert!((got / want - 1.0).abs() < 2e-3, "h {limit} shift {shift}: {got} {want}");
        }
    }
}

/// The chart's recursion, run on its own simulated values, has the run length the same package gives.
#[test]
fn cusum_recursion_has_the_run_length() {
    let mut seed = 7_u64;
    let mut unit = || {
        seed = seed.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (seed >> 11) as f64 / (1_u64 << 53) as f64
    };
    let mut normal = || (-2.0 * unit().max(1e-300).ln()).sqrt() * (std::f64::consts::TAU * unit()).cos();
    let runs = 20_000;
    let mut steps = 0_u32;
    for _ in 0..runs {
        let mut chart = Cusum::default();
        loop {
            steps += 1;
            if chart.take(normal() + 1.0, 0.5, 4.0) {
                break;
            }
        }
    }
    assert!((f64::from(steps) / f64::from(runs) - 8.3831).abs() < 0.15);
}

/// NIST/SEMATECH e-Handbook of Statistical Methods 6.3.2.4 (data and EWMA values from memory of the page).
#[test]
fn ewma_follows_the_handbook() {
    let data = [
        52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5, 49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4,
        53.6, 52.1,
    ];
    let want = [
        50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33, 50.11, 49.36, 49.52, 50.05, 49.38, 49.92,
        50.73, 51.23, 51.94, 51.99,
    ];
    let got = ewma(&data, 0.3, 50.0);
    for (got, want) in got.iter().zip(want) {
        assert!((got - want).abs() < 0.0101, "{got} {want}");
    }
    let (low, high) = ewma_limits(50.0, 2.0539, 0.3, 3.0);
    assert!((high - 52.5884).abs() < 1e-3 && (low - 47.4115).abs() < 1e-3, "{low} {high}");
    assert!(got.iter().all(|v| *v > low && *v < high), "the worked example gives no signal");
}

/// Annual flow of the Nile at Aswan 1871–1970, 10⁸ m³ (statsmodels `datasets.nile`, R `datasets::Nile`).
pub const NILE: [f64; 100] = [
    1120.0, 1160.0, 963.0, 1210.0, 1160.0, 1160.0, 813.0, 1230.0, 1370.0, 1140.0, 995.0, 935.0, 1110.0, 994.0, 1020.0,
    960.0, 1180.0, 799.0, 958.0, 1140.0, 1100.0, 1210.0, 1150.0, 1250.0, 1260.0, 1220.0, 1030.0, 1100.0, 774.0, 840.0,
    874.0, 694.0, 940.0, 833.0, 701.0, 916.0, 692.0, 1020.0, 1050.0, 969.0, 831.0, 726.0, 456.0, 824.0, 702.0, 1120.0,
    1100.0, 832.0, 764.0, 821.0, 768.0, 845.0, 864.0, 862.0, 698.0, 845.0, 744.0, 796.0, 1040.0, 759.0, 781.0, 865.0,
    845.0, 944.0, 984.0, 897.0, 822.0, 1010.0, 771.0, 676.0, 649.0, 846.0, 812.0, 742.0, 801.0, 1040.0, 860.0, 874.0,
    848.0, 890.0, 744.0, 749.0, 838.0, 1050.0, 918.0, 986.0, 797.0, 923.0, 975.0, 815.0, 1020.0, 906.0, 901.0, 1170.0,
    912.0, 746.0, 919.0, 718.0, 714.0, 740.0,
];

/// The sump's own filter, set to a local-level model of the Nile: log-likelihood, filtered means and variances.
pub fn local_level(reading: f64, drift: f64) -> (f64, Vec<(f64, f64)>) {
    let mut belief = Belief::EMPTY;
    belief.push(NILE[0], reading);
    let seen = Seen::only(0);
    let mut filtered = vec![(NILE[0], reading)];
    // The first observation sets the diffuse level and contributes nothing.
    let mut ln = 0.0;
    for y in &NILE[1..] {
        belief.burn(0, 0.0, &[0.0; 10], drift);
        let variance = belief.variance_of(seen) + reading;
        let off = y - belief.mean[0];
        ln -= 0.5 * (std::f64::consts::TAU.ln() + variance.ln() + off * off / variance);
        let gain = belief.gain(seen);
        belief.correct(&gain, Score { slope: off / variance, weight: 1.0 / variance });
        filtered.push((belief.mean[0], belief.cov[0][0]));
    }
    (ln, filtered)
}

/// statsmodels' exact diffuse log-likelihood and filtered states.
#[test]
fn the_filter_is_the_local_level_filter_of_the_nile() {
    let (ln, filtered) = local_level(15_099.0, 1_469.1);
    assert!((ln + 632.5456).abs() < 1e-3, "{ln}");
    for (year, want) in [(1872, 1140.928), (1898, 1133.126), (1899, 1037.222), (1970, 798.370)] {
        assert!((filtered[year - 1871].0 - want).abs() < 2e-3, "{year} {:?}", filtered[year - 1871]);
    }
    assert!((filtered[99].1 - 4032.158).abs() < 1e-2);
}

/// PyPI `ruptures` on the same series: split after 28 points, means 1097.75 and 849.972.
#[test]
fn the_nile_splits_where_ruptures_splits_it() {
    let split = mean_split(&NILE).unwrap();
    assert_eq!(split.after, 28);
    assert!((split.before_mean - 1097.75).abs() < 1e-9 && (split.after_mean - 849.972).abs() < 1e-3);
}

/// Dates of British coal-mining disasters with ten or more dead, 1851–1962, in years (R `boot::coal`; Jarrett 1979).
pub const COAL: [f64; 191] = [
    1851.203, 1851.632, 1851.969, 1851.975, 1852.314, 1852.347, 1852.358, 1852.385, 1852.977, 1853.196, 1853.229,
    1853.319, 1853.500, 1854.135, 1856.396, 1856.506, 1856.539, 1856.618, 1857.138, 1857.404, 1857.582, 1858.091,
    1858.154, 1858.406, 1858.945, 1860.125, 1860.169, 1860.591, 1860.851, 1860.919, 1860.971, 1861.185, 1861.738,
    1861.836, 1862.138, 1862.893, 1862.937, 1863.178, 1863.794, 1863.939, 1863.986, 1865.459, 1865.971, 1866.064,
    1866.340, 1866.452, 1866.833, 1866.948, 1866.951, 1867.635, 1867.854, 1867.862, 1868.749, 1868.903, 1868.988,
    1869.251, 1869.442, 1869.554, 1869.809, 1869.875, 1870.124, 1870.515, 1870.559, 1870.633, 1871.027, 1871.151,
    1871.167, 1871.736, 1871.816, 1872.123, 1872.240, 1872.769, 1873.136, 1874.285, 1874.546, 1874.888, 1874.981,
    1875.329, 1875.925, 1875.931, 1875.931, 1876.966, 1877.064, 1877.105, 1877.190, 1877.779, 1877.809, 1878.184,
    1878.195, 1878.236, 1878.433, 1878.696, 1879.036, 1879.172, 1879.501, 1880.057, 1880.539, 1880.689, 1880.944,
    1881.105, 1881.968, 1882.129, 1882.296, 1882.299, 1882.335, 1882.852, 1883.797, 1883.851, 1884.073, 1884.856,
    1885.168, 1885.464, 1885.979, 1886.617, 1886.693, 1886.754, 1886.921, 1887.134, 1887.405, 1888.298, 1889.051,
    1889.198, 1889.793, 1890.102, 1890.190, 1891.252, 1891.665, 1892.654, 1893.508, 1894.477, 1895.318, 1896.070,
    1896.284, 1896.331, 1899.630, 1901.393, 1902.671, 1905.056, 1905.188, 1905.524, 1906.773, 1908.136, 1908.270,
    1908.629, 1909.127, 1909.825, 1910.357, 1910.970, 1912.520, 1913.784, 1914.409, 1916.615, 1918.031, 1922.529,
    1922.677, 1923.569, 1927.162, 1928.114, 1930.154, 1930.748, 1931.077, 1931.830, 1931.884, 1932.065, 1932.864,
    1932.875, 1933.883, 1934.723, 1935.643, 1935.695, 1936.596, 1937.500, 1938.354, 1939.821, 1940.218, 1940.424,
    1941.420, 1941.522, 1941.574, 1942.001, 1942.129, 1942.483, 1946.945, 1947.025, 1947.619, 1947.638, 1947.687,
    1951.405, 1957.883, 1960.489, 1962.220,
];

/// The exponential likelihood ratio of the 190 gaps (PyPI `changepoint-online` and direct computation agree).
#[test]
fn the_coal_mines_change_rate_after_gap_124() {
    let gaps: Vec<f64> = COAL.windows(2).map(|w| w[1] - w[0]).collect();
    let split = exponential_split(&gaps).unwrap();
    assert_eq!(split.after, 124);
    assert!((COAL[124] - 1890.19).abs() < 1e-9);
    assert!((split.before_mean - 0.31441).abs() < 5e-5 && (split.after_mean - 1.09137).abs() < 5e-5);
    // The published figure is the log-likelihood ratio; the chart's gain is twice that.
    assert!((split.gain / 2.0 - 35.609_725).abs() < 2e-3, "{}", split.gain);
}
