//! The general pieces of the consumption judge beside public libraries that run here and now: statsmodels, ruptures
//! and changepoint-online (PyPI), spc and boot (R). `outside.rs` keeps published values of the same as a second line.

use std::io::Write;
use std::process::{Command, Stdio};
use std::sync::OnceLock;

use cowlwatch::judge::consumption::belief::{Belief, Score, Seen};
use cowlwatch::judge::consumption::candidates::Candidates;
use cowlwatch::judge::consumption::compare::{Cusum, exponential_split, mean_split};
use serde_json::{Value, json};

use crate::outside::{COAL, NILE, local_level};
use crate::tools;

/// Variances of reading and drift: the published fit, a sluggish filter and a nimble one.
const VARIANCES: [(f64, f64); 3] = [(15_099.0, 1_469.1), (40_000.0, 50.0), (900.0, 12_000.0)];

/// Reproducible normal values (SplitMix64, Box–Muller).
struct Normal(u64);

impl Normal {
    fn unit(&mut self) -> f64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (((z ^ (z >> 31)) >> 11) as f64 + 0.5) / (1_u64 << 53) as f64
    }

    fn next(&mut self) -> f64 {
        (-2.0 * self.unit().ln()).sqrt() * (std::f64::consts::TAU * self.unit()).cos()
    }
}

/// Series of unit noise about zero, with a shift of the mean in all but the first.
fn series() -> Vec<Vec<f64>> {
    let mut normal = Normal(11);
    let shifts = [0.0, 0.8, -1.5, 2.5, -0.6];
    shifts
        .iter()
        .enumerate()
        .map(|(i, shift)| (0..60).map(|t| normal.next() + if t >= 15 + 8 * i { *shift } else { 0.0 }).collect())
        .collect()
}

/// Years between the disasters, by the dates of R's boot. Two fell on one day: half a minute apart here, since the
/// exponential of changepoint-online refuses a gap of nothing.
fn gaps() -> Vec<f64> {
    let dates: Vec<f64> = r("coal").into_iter().flatten().collect();
    dates.windows(2).map(|w| (w[1] - w[0]).max(1e-6)).collect()
}

/// What the Python libraries say, asked once.
fn python() -> &'static Value {
    static SAID: OnceLock<Value> = OnceLock::new();
    SAID.get_or_init(|| {
        let question = json!({"variances": VARIANCES, "series": series(), "gaps": gaps()});
        let mut child = Command::new(tools::python_of_oracles())
            .arg(tools::helper("oracles.py"))
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .spawn()
            .unwrap();
        child.stdin.take().unwrap().write_all(question.to_string().as_bytes()).unwrap();
        let output = child.wait_with_output().unwrap();
        assert!(output.status.success());
        serde_json::from_slice(&output.stdout).unwrap()
    })
}

/// What R says: the word a line begins with, and its numbers.
fn r(word: &str) -> Vec<Vec<f64>> {
    static SAID: OnceLock<String> = OnceLock::new();
    let said = SAID.get_or_init(|| {
        let program = tools::program("Rscript", "r-base-core r-cran-spc r-cran-boot");
        tools::must(Command::new(program).arg("--vanilla").arg(tools::helper("oracles.R")))
    });
    let lines = said.lines().filter_map(|l| l.split_once(' ')).filter(|(first, _)| *first == word);
    lines.map(|(_, rest)| rest.split_whitespace().map(|n| n.parse().unwrap()).collect()).collect()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|v| v.as_f64().unwrap()).collect()
}

#[test]
fn the_filter_is_the_local_level_filter_of_statsmodels() {
    assert_eq!(numbers(&python()["nile"]), NILE);
    for ((reading, drift), want) in VARIANCES.iter().zip(python()["levels"].as_array().unwrap()) {
        let (ln, filtered) = local_level(*reading, *drift);
        assert!((ln - want["ln"].as_f64().unwrap()).abs() < 1e-6, "{ln} {}", want["ln"]);
        let (means, variances) = (numbers(&want["mean"]), numbers(&want["variance"]));
        for (i, (mean, variance)) in filtered.iter().enumerate() {
            let close = (mean - means[i]).abs() < 1e-6 && (variance / variances[i] - 1.0).abs() < 1e-9;
            assert!(close, "{} {mean} {} {variance} {}", 1871 + i, means[i], variances[i]);
        }
    }
}

#[test]
fn cusum_run_lengths_are_those_of_spc() {
    let said = r("cusum");
    assert_eq!(said.len(), 36);
    for line in said {
        let got = Cusum::run_length(line[2], line[0], line[1], 160);
        assert!((got / line[3] - 1.0).abs() < 3e-3, "k {} h {} shift {}: {got} {}", line[0], line[1], line[2], line[3]);
    }
}

/// The statistic the program decides with is a Shiryaev–Roberts chart where it looks for a shift of one
/// standard deviation in plain normal values: its run length is the one spc computes (`xgrsr.arl`).
#[test]
fn the_sum_over_candidates_is_the_shiryaev_roberts_chart_of_spc() {
    let mut normal = Normal(3);
    let said = r("sr");
    assert_eq!(said.len(), 12);
    for line in said {
        let (limit, shift, want) = (line[1], line[2], line[3]);
        let runs = 4000;
        let lengths: u32 = (0..runs)
            .map(|_| {
                let mut chart = Candidates::<256>::EMPTY;
                let mut steps = 0;
                loop {
                    chart.begin(0, 1.0, steps);
                    steps += 1;
                    see(&mut chart, normal.next() + shift);
                    if chart.ln_sum(&[2.0; 3]) >= limit {
                        return steps;
                    }
                }
            })
            .sum();
        let got = f64::from(lengths) / f64::from(runs);
        // Four standard errors of a run length that varies by its own size.
        assert!((got / want - 1.0).abs() < 4.0 / f64::from(runs).sqrt(), "g {limit} shift {shift}: {got} {want}");
    }
}

/// Candidates about an unknown that is known exactly: nothing is learned of it, all is counted as change.
fn see<const K: usize>(chart: &mut Candidates<K>, value: f64) {
    chart.observe(1, Seen::only(0), &[0.0; 10], Score { slope: value, weight: 1.0 });
}

/// The likelihood ratio over every moment of change, at its best size, is changepoint-online's for normal
/// values with a known mean before the change; after every value of the series.
#[test]
fn candidates_have_the_likelihood_ratio_of_changepoint_online() {
    for (values, said) in series().iter().zip(python()["known_mean"].as_array().unwrap()) {
        let mut chart = Candidates::<64>::EMPTY;
        for (i, (value, want)) in values.iter().zip(said.as_array().unwrap()).enumerate() {
            chart.begin(0, 1.0, i as u32);
            see(&mut chart, *value);
            // The best size is found by trying; a parabola's top is flat enough for steps of a thousandth.
            let ratios: Vec<f64> = (-5000..=5000).map(|s| 1.0 + f64::from(s) / 1000.0).collect();
            let best = chart.best_of(&ratios, u32::MAX).unwrap();
            let want = numbers(want);
            assert!((best.1 - want[0]).abs() < 1e-4, "value {i}: {best:?} {want:?}");
            assert!(best.1 < 0.1 || f64::from(best.0) == want[1], "value {i}: {best:?} {want:?}");
        }
    }
}

#[test]
fn splits_are_where_ruptures_puts_them() {
    let want = numbers(&python()["splits"]);
    for (values, want) in series().iter().zip(want) {
        assert_eq!(mean_split(values).unwrap().after as f64, want);
    }
}

#[test]
fn the_coal_mines_are_those_of_boot_and_split_as_changepoint_online_splits_them() {
    let dates: Vec<f64> = r("coal").into_iter().flatten().collect();
    assert_eq!(dates.len(), COAL.len());
    for (ours, theirs) in COAL.iter().zip(&dates) {
        assert!((ours - theirs).abs() < 6e-4, "{ours} {theirs}");
    }
    let split = exponential_split(&gaps()).unwrap();
    let want = numbers(&python()["gaps"]);
    assert!((split.gain / 2.0 - want[0]).abs() < 1e-6, "{split:?} {want:?}");
    assert_eq!(split.after as f64, want[1]);
}

/// A belief that holds nothing but one known unknown is what the candidates above assume.
#[test]
fn a_known_level_learns_nothing() {
    let mut belief = Belief::EMPTY;
    belief.push(3.0, 0.0);
    assert_eq!(belief.gain(Seen::only(0)), [0.0; 10]);
}
