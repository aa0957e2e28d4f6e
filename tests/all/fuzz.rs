//! The fuzzers' short form: inputs once found, and some hundreds of new ones with a fixed seed.
#![allow(clippy::unwrap_used, reason = "tests")]

#[path = "../fuzz/readers.rs"]
pub mod readers;

use std::path::Path;

use readers::{Chance, input, readers};

#[test]
fn readers_take_anything() {
    for reader in readers() {
        let mut chance = Chance(20_261_126);
        (0..250).for_each(|_| (reader.read)(&input(&reader.seeds, &mut chance)));
    }
}

#[test]
fn what_was_once_found_stays_mended() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    for reader in readers() {
        for entry in std::fs::read_dir(corpus.join(reader.name)).into_iter().flatten() {
            (reader.read)(&std::fs::read(entry.unwrap().path()).unwrap());
        }
    }
}
