//! The recursion, step by step, against values from an independent implementation of the same equations.
//! A cross-check of the arithmetic, not of the idea; outside checks stand in `outside.rs` and `oracles.rs`.
//!
//! What moves is the program's own: belief, candidates, sums. What an
//! observation says (`says`), when an addition was forgotten (`suspect`) and how noisy a flight is (`fly`) are those equations' own, written out here: the
//! program is free to know better, and does. All 2,508 rows are checked.
//! For one, it holds an addition of two quarts to a limit of surprise: a misread dipstick had more than doubled the
//! false alarms.
#![allow(clippy::unwrap_used, reason = "tests")]

use cowlwatch::judge::consumption::belief::{Score, Seen};
use cowlwatch::judge::consumption::candidates::Candidates;
use cowlwatch::judge::consumption::change::{Ratios, statistics};
use cowlwatch::judge::consumption::evidence::{normal_cdf, normal_pdf};
use cowlwatch::judge::consumption::sump::{LEVEL, RATE, Sump, Who};

const FILL_QT: f64 = 7.0;
const MARK_QT: f64 = 6.0;
const REFILL_VAR: f64 = 0.09;
/// The least rate those equations believe after a look, qt/h (not in their description; the values show it).
const LEAST_RATE: f64 = 0.01;

/// Additions (ratio, flight) at which the table's program saw another level than the mark: five of 135, as many as
/// gross errors, up or down beyond the limit of surprise but for one. The table has no column for them; these are the
/// values that its rates show (infinite: held to the limit).
const SLIPS: [(f64, u32, f64); 5] = [
    (1.0, 91, f64::INFINITY),
    (1.0, 248, f64::NEG_INFINITY),
    (2.0, 132, 7.425_809),
    (2.0, 225, f64::NEG_INFINITY),
    (2.0, 260, f64::NEG_INFINITY),
];

/// The sump, and the last flights as moments of an addition not logged.
type Tops = Candidates<8>;
type State = (Sump, Tops);

const LOOKED_FOR: Ratios = Ratios { rises: [1.5, 2.0, 3.0], falls: [0.5, 0.6667, 0.75] };

#[derive(Clone, Debug)]
struct Row {
    ratio: f64,
    flight: u32,
    hours: f64,
    factor: f64,
    reading: f64,
    added: f64,
    refilled: bool,
    rate: f64,
    sd: f64,
    ln: Option<(f64, f64)>,
    inferred: f64,
}

fn rows(log: &str, ratio: &str) -> Vec<Row> {
    let text = include_str!("../data/level-filter-vectors.csv");
    let number = |s: &str| s.parse::<f64>().unwrap();
    text.lines()
        .skip(1)
        .map(|l| l.split(',').collect::<Vec<_>>())
        .filter(|f| f[0] == log && f[1] == ratio)
        .map(|f| Row {
            ratio: number(f[1]),
            flight: f[2].parse().unwrap(),
            hours: number(f[3]),
            factor: if f[4] == "0" { 1.334_841_63 } else { 0.800_904_98 },
            reading: number(f[5]),
            added: number(f[6]),
            refilled: f[7] == "1",
            rate: number(f[8]),
            sd: number(f[9]),
            ln: (!f[10].is_empty()).then(|| (number(f[10]), number(f[11]))),
            inferred: number(f[12]),
        })
        .collect()
}

/// A value seen of the level, held to `clip` standard deviations; and the square of its surprise.
fn value(off: f64, variance: f64, clip: f64) -> (Score, f64) {
    let limit = clip * variance.sqrt();
    let held = off.clamp(-limit, limit);
    (Score { slope: held / variance, weight: 1.0 / variance }, held * held / variance)
}

/// What those equations take a look to say; readings also widen the noise.
fn says(sump: &mut Sump, log: &str, row: &Row) -> Option<Score> {
    let (level, var) = (sump.level(), sump.belief.cov[LEVEL][LEVEL]);
    let spread = (var + 0.36 * 0.36).sqrt();
    let z = (level - MARK_QT) / spread;
    match log {
        "levels" => {
            let (score, squared) = value(row.reading - level, sump.own.noise * (var + 0.26 * 0.26), 3.0);
            sump.own.noise = (0.985 * sump.own.noise + 0.015 * (squared * sump.own.noise).min(9.0)).max(1.0);
            Some(score)
        }
        "levels-plain" => Some(value(row.reading - level, var + 0.26 * 0.26, f64::INFINITY).0),
        "flights" if row.added >= 2.0 => Some(value(MARK_QT - 1.1 - level, spread * spread, f64::INFINITY).0),
        "flights" if row.added > 0.0 => {
            let z = z.min(3.0);
            let hazard = normal_pdf(z) / normal_cdf(-z);
            Some(Score { slope: -hazard / spread, weight: hazard * (hazard - z) / (spread * spread) })
        }
        "flights" => {
            let (below, hazard) = (normal_cdf(z), normal_pdf(z) / normal_cdf(z));
            let real = 0.96 * below / (0.96 * below + 0.04);
            let curve = real * hazard * (hazard + z) - real * (1.0 - real) * hazard * hazard;
            Some(Score { slope: real * hazard / spread, weight: (curve / (spread * spread)).max(0.0) })
        }
        _ if row.added > 0.0 => {
            let slip = SLIPS.iter().find(|s| (s.0, s.1) == (row.ratio, row.flight));
            let seen = slip.map_or(if row.added >= 2.0 { MARK_QT - 1.1 } else { MARK_QT }, |s| s.2);
            Some(value(seen - level, var + 0.33 * 0.33, 2.5).0)
        }
        _ => None,
    }
}

fn look((sump, tops): &mut State, log: &str, row: &Row) {
    if row.refilled {
        sump.refill(Who::Own, FILL_QT, REFILL_VAR);
        tops.clear();
    }
    let Some(score) = says(sump, log, row) else { return };
    let seen = Seen::only(LEVEL);
    let gain = sump.belief.gain(seen);
    sump.own.changes.observe(sump.belief.n, seen, &gain, score);
    tops.observe(sump.belief.n, seen, &gain, score);
    sump.belief.correct(&gain, score);
    let rate = &mut sump.belief.mean[RATE];
    *rate = rate.max(LEAST_RATE);
}

fn fly((sump, tops): &mut State, row: &Row) {
    if row.added > 0.0 {
        sump.pour(Who::Own, row.added);
    }
    tops.begin(LEVEL, 1.0, sump.flights);
    sump.begin_flight([0.0; 2]);
    let (hours, rate) = (row.hours * row.factor, sump.rate());
    let mut slope = [0.0; 10];
    slope[RATE] = -hours;
    sump.belief.burn(LEVEL, rate * hours, &slope, (0.40 * rate * hours).powi(2) + 1e-4);
    sump.belief.cov[RATE][RATE] += (0.005 * rate).powi(2) * row.hours;
    sump.own.changes.burn(sump.belief.n, LEVEL, &slope);
    tops.burn(sump.belief.n, LEVEL, &slope);
}

/// The best log-odds of a quart, or half of one, not logged before a flight up to `until`.
fn forgotten(tops: &Tops, until: u32) -> Option<(u32, f64, f64)> {
    let at = |qt: f64, against: f64| {
        let ripe = tops.best_of(&[1.0 + qt], until)?;
        Some((ripe.0, qt, ripe.1 - against))
    };
    [at(1.0, 4.0), at(0.5, 5.5)].into_iter().flatten().max_by(|a, b| a.2.total_cmp(&b.2))
}

fn suspect((sump, tops): &State) -> Option<(u32, f64)> {
    let (flight, qt, odds) = forgotten(tops, sump.flights.checked_sub(3)?)?;
    let fall = sump.own.changes.best_of(&LOOKED_FOR.falls, u32::MAX).map_or(f64::NEG_INFINITY, |best| best.1);
    (odds > 2.0 && odds > fall - 1.0).then_some((flight, qt))
}

fn tell((sump, tops): &State, levels: bool) -> (f64, f64, f64, f64) {
    let mut s = statistics(&sump.own, &LOOKED_FOR, false);
    if levels {
        s.ln_fall -= forgotten(tops, u32::MAX).map_or(0.0, |f| f.2.max(0.0));
    }
    (sump.rate(), sump.belief.cov[RATE][RATE].sqrt(), s.ln_rise, s.ln_fall)
}

fn check(log: &str, ratio: &str) {
    let rows = rows(log, ratio);
    assert!(rows.len() > 300);
    let mut kept = vec![(Sump::new(FILL_QT, REFILL_VAR), Tops::EMPTY); rows.len() + 1];
    let mut got = vec![(0.0, 0.0, 0.0, 0.0); rows.len()];
    let mut inferred = vec![0.0; rows.len()];
    let levels = log == "levels";
    for i in 0..rows.len() {
        let mut state = kept[i].clone();
        look(&mut state, log, &rows[i]);
        got[i] = tell(&state, levels);
        if let Some((flight, quarts)) = suspect(&state).filter(|_| levels) {
            // Candidates begin with a flight, so an addition is first seen at the observation after it.
            let from = flight as usize + 1;
            inferred[from] += quarts;
            kept[from].0.pour_unlogged(Who::Own, quarts);
            for k in from..=i {
                state = kept[k].clone();
                look(&mut state, log, &rows[k]);
                (got[k].0, got[k].1, ..) = tell(&state, levels);
                if k < i {
                    fly(&mut state, &rows[k]);
                    kept[k + 1] = state.clone();
                }
            }
        }
        fly(&mut state, &rows[i]);
        kept[i + 1] = state;
    }
    let mut bad = Vec::new();
    for (i, row) in rows.iter().enumerate() {
        let mut close = |what: &str, got: f64, want: f64| {
            if (got - want).abs() > 3e-6 * want.abs().max(1.0) {
                bad.push(format!("{log} {ratio} flight {} {what}: {got} for {want}", row.flight));
            }
        };
        let (rate, sd, rise, fall) = got[i];
        close("rate", rate, row.rate);
        close("sd", sd, row.sd);
        if let Some((want_rise, want_fall)) = row.ln {
            close("ln rise", rise, want_rise);
            close("ln fall", fall, want_fall);
        }
        close("quarts not logged", inferred[i], row.inferred);
    }
    assert!(bad.is_empty(), "{} values differ, first {:#?}", bad.len(), &bad[..bad.len().min(6)]);
}

#[test]
fn readings_with_additions_not_logged() {
    check("levels", "1.0");
    check("levels", "2.0");
}

#[test]
fn plain_readings() {
    check("levels-plain", "1.0");
    check("levels-plain", "2.0");
}

#[test]
fn flights_and_additions() {
    check("flights", "1.0");
    check("flights", "2.0");
}

#[test]
fn additions_only() {
    check("additions", "1.0");
    check("additions", "2.0");
}
