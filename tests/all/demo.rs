//! The demo fleet: its bytes, and what the program must and must not say of its stories.
//!
//! Expectations are written from the stories (`demo-fleet/README.md`), not from the program's output.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::collections::BTreeSet;
use std::path::Path;

use told::committed;

#[path = "../make-demo/fleet/mod.rs"]
#[allow(dead_code, reason = "the generator is an example of its own")]
mod fleet;
mod moments;
mod stories;
pub mod told;

fn names_under(folder: &Path, from: &Path, names: &mut BTreeSet<String>) {
    for entry in std::fs::read_dir(folder).unwrap().map(Result::unwrap).filter(|e| e.file_name() != "state") {
        if entry.path().is_dir() {
            names_under(&entry.path(), from, names);
        } else {
            names.insert(entry.path().strip_prefix(from).unwrap().to_str().unwrap().to_owned());
        }
    }
}

/// The demo cannot drift from its generator: every file, byte by byte, and no others.
#[test]
fn the_generator_gives_the_committed_bytes() {
    let made = fleet::files();
    for (name, bytes) in &made {
        let kept = std::fs::read(committed().join(name)).unwrap_or_else(|e| panic!("{name}: {e}"));
        assert!(
            kept == *bytes,
            "{name} differs: run `cargo run --example make-demo -- demo-fleet` and look at the change"
        );
    }
    let made: BTreeSet<String> = made.into_iter().map(|(name, _)| name).collect();
    let mut kept = BTreeSet::new();
    names_under(&committed(), &committed(), &mut kept);
    assert_eq!(kept.difference(&made).collect::<Vec<_>>(), Vec::<&String>::new(), "files nobody makes");
}

/// SplitMix64, seed 1234567: first outputs as widely published (Rosetta Code "Pseudo-random numbers/Splitmix64"; from memory).
#[test]
fn the_generator_of_random_numbers_is_the_published_one() {
    let mut random = fleet::random::Random::seeded(1_234_567);
    let got: Vec<u64> = (0..3).map(|_| random.next()).collect();
    assert_eq!(got, [6_457_827_717_110_365_317, 3_203_168_211_198_807_973, 9_817_491_932_198_370_423]);
}
