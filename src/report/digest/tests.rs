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

/// Golden texts, read by a person before they were kept. `GOLDEN=write` writes them anew, to be read again.
#[test]
fn what_people_read_is_as_it_was_read_and_agreed() {
    let m = sample::morning();
    let one: Vec<_> = m.alerts.iter().filter(|a| a.number == 11).collect();
    let letter = crate::report::letters::single(&one, false, &m);
    for (name, letter) in [
        ("busy", digest(&m)),
        ("quiet", digest(&sample::quiet())),
        ("first-look", digest(&sample::first_look())),
        ("letter", letter),
    ] {
        let path = format!("{}/src/report/golden/{name}.txt", env!("CARGO_MANIFEST_DIR"));
        let text = format!("Subject: {}\n\n{}", letter.subject, letter.text);
        if std::env::var("GOLDEN").is_ok_and(|v| v == "write") {
            std::fs::write(&path, &text).unwrap();
        }
        assert_eq!(text, std::fs::read_to_string(&path).unwrap(), "{name} reads otherwise");
    }
}

/// The text and the HTML part are laid out from the same content: each sentence stands in both.
#[test]
fn both_parts_say_the_same() {
    let m = sample::morning();
    let content = Content::of(&m);
    let letter = digest(&m);
    let html = letter.html.replace('\u{a0}', " ");
    let text = letter.text.split_whitespace().collect::<Vec<_>>().join(" ");
    let sections = [&content.before_flight, &content.soon, &content.information, &content.records, &content.muted];
    for item in sections.into_iter().flatten() {
        assert!(text.contains(&item.headline), "text lacks {}", item.headline);
        assert!(html.contains(&crate::report::html::escape(&item.headline)), "HTML lacks {}", item.headline);
    }
    for (id, _, words) in &letter.pictures {
        assert!(html.contains(&format!("cid:{id}")) && html.contains(words.as_str()), "{id}");
    }
}

/// A rise told before and unchanged is one line, without its facts and not in full again.
#[test]
fn what_was_told_is_not_told_again_in_full() {
    let mut m = sample::morning();
    let told = crate::alerts::Told {
        at: sample::at(2, 25, 6, 0),
        size: 2.18,
        level: crate::judge::Level::Caution,
        reminders: 0,
        changed_again: None,
        carried: true,
    };
    let rise = m.alerts.iter_mut().find(|a| a.number == 11).unwrap();
    (rise.first_seen, rise.told) = (sample::at(2, 24, 6, 0), Some(told));
    let letter = digest(&m);
    assert!(letter.text.contains("alert 11, raised"));
    assert!(!letter.text.contains("ALERT 11 IN FULL") && !letter.text.contains("of the ceiling; usable oil"));
}

/// A change by months whose date has passed is not announced as ahead, and not twice where an alert tells it.
#[test]
fn a_change_whose_date_has_passed_is_not_ahead() {
    let mut m = sample::morning();
    let engine = m.engines.iter_mut().find(|e| &*e.tail == "N0517H").unwrap();
    engine.due[0].by = chrono::NaiveDate::from_ymd_opt(2026, 2, 3);
    (engine.due[0].hours_left, engine.due[0].days_left) = (Some(12.0), Some(-24.0));
    let serial = engine.serial.clone();
    assert!(digest(&m).text.contains("N0517H: oil change was due by 3 Feb\n"), "{}", digest(&m).text);
    let overdue = |a: &&crate::alerts::Alert| a.kind() == crate::judge::Kind::OilChangeOverdue;
    let mut alert = m.alerts.iter().find(overdue).unwrap().clone();
    (alert.number, alert.state, alert.closed) = (99, crate::alerts::State::Open, None);
    (alert.finding.tail, alert.finding.position, alert.finding.serial) = ("N0517H".into(), None, Some(serial));
    m.alerts.push(alert);
    assert!(!digest(&m).text.contains("was due by"));
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
