//! How long judging takes as an engine's history grows: `cargo bench --bench judge`. Beside it, as a ratio within the
//! run, the same work on a third of the flights: it must grow no faster than they do.
#![allow(clippy::unwrap_used, reason = "a measuring program")]

#[path = "../sim/mod.rs"]
mod sim;

use std::time::Instant;

use chrono::DateTime;
use cowlwatch::config::Rules;
use cowlwatch::judge::consumption;
use sim::{Case, Kept};

/// Least time of so many runs.
const RUNS: u32 = 15;

fn main() {
    let later = DateTime::from_timestamp(4_000_000_000, 0).unwrap();
    let rules = Rules::default();
    println!("{:<22} {:>8} {:>8} {:>12} {:>22}", "log", "flights", "ms", "us a flight", "a flight, of a third's");
    for kept in [Kept::Levels, Kept::Flights, Kept::Additions] {
        let mut third = None;
        for hours in [1250.0, 3750.0, 11_250.0] {
            let case = Case { hours, ..Case::realistic(1, kept) };
            let flights = sim::fly(&case);
            let engine = sim::engine(&case, &flights);
            let run = |_| {
                let begun = Instant::now();
                let followed = consumption::follow(&engine, &[], &rules, &[], later);
                (begun.elapsed().as_secs_f64(), followed.points.len())
            };
            let (seconds, points) = (0..RUNS).map(run).min_by(|a, b| a.0.total_cmp(&b.0)).unwrap();
            assert!(points > 0);
            let each = seconds / flights.len() as f64;
            let ratio = third.map_or("-".to_owned(), |t: f64| format!("{:.2}", each / t));
            println!(
                "{:<22} {:>8} {:>8.1} {:>12.2} {ratio:>22}",
                format!("{kept:?}"),
                flights.len(),
                seconds * 1e3,
                each * 1e6
            );
            third = Some(each);
        }
    }
}
