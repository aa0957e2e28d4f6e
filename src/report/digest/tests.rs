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

#[test]
#[ignore = "writes pictures to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap());
    let letter = digest(&sample::morning());
    std::fs::write(folder.join("digest.txt"), &letter.text).unwrap();
    let mut html = letter.html.clone();
    for (id, png, _) in &letter.pictures {
        std::fs::write(folder.join(format!("{id}.png")), png).unwrap();
        html = html.replace(&format!("cid:{id}"), &format!("{id}.png"));
    }
    std::fs::write(folder.join("digest.html"), html).unwrap();
}
