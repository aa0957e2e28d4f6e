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

/// The goal: a digest with charts for a hundred engines in three seconds at most.
#[test]
fn a_hundred_engines_take_under_three_seconds() {
    let mut m = sample::morning();
    m.engines = (0..100).map(|i| sample::engine(&format!("N0{i:03}H"), "left", &format!("H-{i}"), 0.12)).collect();
    for e in &mut m.engines {
        e.points = sample::points(0.11, Some(60)).into_iter().cycle().take(3000).collect();
        e.points.iter_mut().enumerate().for_each(|(i, p)| p.hours = i as f64);
        e.hours_since_build = Some(3000.0);
    }
    let start = std::time::Instant::now();
    let letter = digest(&m);
    let took = start.elapsed();
    assert_eq!(letter.pictures.len(), 100);
    assert!(took.as_secs_f64() < 3.0, "{took:?}");
    println!(
        "digest of 100 engines: {took:?}, {} bytes of pictures",
        letter.pictures.iter().map(|p| p.1.len()).sum::<usize>()
    );
}

#[test]
#[ignore = "writes pictures to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap());
    for (name, m) in [("quiet", sample::quiet()), ("first", sample::first_look())] {
        let letter = digest(&m);
        std::fs::write(folder.join(format!("{name}.txt")), format!("{}\n\n{}", letter.subject, letter.text)).unwrap();
    }
    let m = sample::morning();
    let alerts: Vec<_> = m.alerts.iter().filter(|a| a.number == 11).collect();
    let letter = crate::report::letters::single(&alerts, false, &m);
    std::fs::write(folder.join("letter.txt"), format!("{}\n\n{}", letter.subject, letter.text)).unwrap();
    let letter = digest(&sample::morning());
    std::fs::write(folder.join("digest.txt"), &letter.text).unwrap();
    let mut html = letter.html.clone();
    for (id, png, _) in &letter.pictures {
        std::fs::write(folder.join(format!("{id}.png")), png).unwrap();
        html = html.replace(&format!("cid:{id}"), &format!("{id}.png"));
    }
    std::fs::write(folder.join("digest.html"), html).unwrap();
}
