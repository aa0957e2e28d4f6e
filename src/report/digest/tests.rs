#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::report::sample;

#[test]
fn the_text_part_keeps_to_78_columns() {
    let letter = digest(&sample::morning());
    for line in letter.text.lines() {
        assert!(line.chars().count() <= 78, "{} columns: {line}", line.chars().count());
    }
}
