#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::judge::compare::compare;
use crate::judge::{Finding, Kind};
use crate::report::sample;

fn at(kind: Kind, subject: &str, month: u32, day: u32, hours: f64) -> Finding {
    let mut finding = sample::finding(kind, "N0417H", "left", "H-2207", sample::at(month, day, 18, 0));
    finding.subject = subject.to_owned();
    finding.hours = Some(hours);
    finding.settled = None;
    finding.level = kind.usual_level();
    finding
}

fn head() -> Head<'static> {
    Head {
        other: "calm.toml",
        from: sample::at(1, 1, 0, 0),
        to: sample::at(6, 30, 0, 0),
        zone: chrono_tz::America::Denver,
    }
}

fn example() -> Comparison {
    let today = [
        at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0),
        at(Kind::MetalFound, "filter", 3, 3, 1290.0),
        at(Kind::CoolingFast, "run a", 3, 4, 1291.0),
    ];
    let other = [at(Kind::OilRateRise, "rise 1", 2, 19, 1255.1), at(Kind::CoolingFast, "run a", 3, 4, 1291.0)];
    compare(&today, &other)
}

/// Written by hand from the findings above: one moved by 5.1 h and two days, one warning lost, one the same.
#[test]
fn the_text_says_what_is_lost_first() {
    let said = text(&example(), &head());
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "Today's thresholds against calm.toml, 2026-01-01 to 2026-06-30");
    assert_eq!(lines[1], "3 alerts today, 2 with calm.toml: 2 under both, 1 only today, 0 only with calm.toml.");
    assert_eq!(lines[2], "Of those under both 0 come earlier and 1 later; the median shift is +5.1 h and +2 days.");
    assert_eq!(lines[3], "1 warning of today would not come: look at these first.");
    assert!(lines[6].starts_with("warning  N0417H left H-2207  metal-found") && lines[6].ends_with("would not come"));
    assert!(lines[7].starts_with("caution") && lines[7].ends_with("5.1 h, 2 days later"), "{}", lines[7]);
    assert_eq!(lines.len(), 8);
}

#[test]
fn the_text_fits_one_screen_however_much_differs() {
    let today: Vec<Finding> =
        (0..300).map(|n| at(Kind::TakeoffRpm, &format!("run {n}"), 1 + n % 6, 1 + n % 28, 1000.0)).collect();
    let said = text(&compare(&today, &[]), &head());
    assert!(said.lines().count() <= 40);
    assert!(said.lines().all(|line| line.chars().count() <= 100), "{said}");
    assert!(said.ends_with("and 276 more; --json or --html lists all\n"));
}

#[test]
fn equal_judgements_say_so() {
    let today = [at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0)];
    let c = compare(&today, &today);
    assert_eq!(verdict(&c, "x"), ["No difference: 1 alert under both, at the same moments and levels."]);
}

#[test]
fn programs_and_the_page_get_everything() {
    let c = example();
    let value: serde_json::Value = serde_json::to_value(object(&c, &head())).unwrap();
    assert_eq!(value["counts"]["only_today"], 1);
    assert_eq!(value["engines"][0]["alerts"][0]["later_h"], 5.1);
    assert_eq!(value["engines"][0]["alerts"][0]["later_days"], 2.0);
    let page = page(&c, &head());
    // Two differences at the top, all three below.
    assert_eq!(page.matches("<tr><td>").count(), 2 + 3);
    // Nothing fetched from elsewhere, no script.
    assert!(!page.contains("http://") && !page.contains("https://") && !page.contains("<script"));
    assert_eq!(page.matches("<title>").count(), 1 + 5);
}
