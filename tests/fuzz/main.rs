//! Fuzzes the readers of logbooks, recordings, workbooks and configuration for as long as one likes.
//!
//! `cargo run --release --example fuzz -- SECONDS [SEED]`. An input that panics, breaks a promise or takes longer
//! than five seconds is written to `fuzz-found/`; put it into `tests/fuzz/corpus/READER/` with its mending.
#![allow(clippy::unwrap_used, reason = "a measuring program stops where it cannot measure")]

mod readers;

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::{Duration, Instant};

use readers::{Chance, input, readers};

fn main() {
    let mut numbers = std::env::args().skip(1).map(|a| a.parse::<u64>().unwrap());
    let (seconds, seed) = (numbers.next().unwrap_or(60), numbers.next().unwrap_or(1));
    let readers = readers();
    let mut chance = Chance(seed.wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1);
    let (mut counts, mut found, mut slowest) = (vec![0u64; readers.len()], 0, Duration::ZERO);
    let began = Instant::now();
    while began.elapsed() < Duration::from_secs(seconds) {
        for (reader, count) in readers.iter().zip(&mut counts) {
            for _ in 0..50 {
                let bytes = input(&reader.seeds, &mut chance);
                let started = Instant::now();
                let result = catch_unwind(AssertUnwindSafe(|| (reader.read)(&bytes)));
                let took = started.elapsed();
                slowest = slowest.max(took);
                *count += 1;
                if result.is_err() || took > Duration::from_secs(5) {
                    found += 1;
                    std::fs::create_dir_all("fuzz-found").unwrap();
                    let path = format!("fuzz-found/{}-{seed}-{found}", reader.name);
                    std::fs::write(&path, &bytes).unwrap();
                    println!("{path}: {} after {took:?}", if result.is_err() { "panic" } else { "slow" });
                }
            }
        }
    }
    let counts: Vec<String> = readers.iter().zip(&counts).map(|(r, n)| format!("{} {n}", r.name)).collect();
    println!("{} s, seed {seed}: {}; {found} found; slowest {slowest:?}", began.elapsed().as_secs(), counts.join(", "));
}
