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
fn the_text_says_which_to_choose_and_why() {
    let said = text(&example(), &head());
    let lines: Vec<&str> = said.lines().collect();
    assert_eq!(lines[0], "Today's thresholds against calm.toml, 2026-01-01 to 2026-06-30");
    assert_eq!(lines[2], "                        today   other");
    assert_eq!(lines[3], "alerts                      3       2  2 in both, 1 only today, 0 only with the");
    assert_eq!(lines[5], "  at warning                1       0");
    assert_eq!(lines[8], "in both                                0 earlier, 1 later, median +5.1 h and");
    assert_eq!(lines[11], "Keep today's.");
    assert_eq!(lines[12], "  1 warning of today would not come: metal-found on N0417H left. Would you have");
    assert_eq!(lines[14], "  Warnings and cautions of both: 1 later (median 5.1 h, 2 days) with the other.");
    assert_eq!(lines[16], "N0417H left H-2207  today's: lost warning metal-found 3 Mar 26; caution");
    assert_eq!(lines[17], "                    oil-rate-rise 17 Feb 26 5.1 h, 2 days later");
    assert_eq!(lines.len(), 18, "{said}");
}

#[test]
fn the_text_fits_an_ordinary_terminal_however_much_differs() {
    let mut today: Vec<Finding> =
        (0..300).map(|n| at(Kind::TakeoffRpm, &format!("run {n}"), 1 + n % 6, 1 + n % 28, 1000.0)).collect();
    for (n, finding) in today.iter_mut().enumerate() {
        finding.serial = Some(format!("H-{:04}", n % 100).into());
    }
    let said = text(&compare(&today, &[]), &head());
    assert!(said.lines().count() <= 40, "{}", said.lines().count());
    assert!(said.lines().all(|line| line.chars().count() <= 80), "{said}");
    assert!(said.contains("--json or --html lists all"), "{said}");
}

/// Three new cautions are few in any number of hours; of four in none there are more than one in a hundred hours.
#[test]
fn too_many_new_cautions_are_said_to_be() {
    let said = |cautions: u32| {
        let new = |n| at(Kind::OilRateRise, &format!("rise {n}"), 2, 3 * n, 1250.0);
        let said = text(&compare(&[], &(1..=cautions).map(new).collect::<Vec<_>>()), &head());
        said.split_whitespace().collect::<Vec<_>>().join(" ")
    };
    let (three, four) = (said(3), said(4));
    assert!(three.contains("Take the other.") && !three.contains("act on"), "{three}");
    assert!(four.contains("Keep today's.") && four.contains("4 cautions more with the other: more than any"), "{four}");
}

#[test]
fn equal_judgements_say_so() {
    let today = [at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0)];
    let c = compare(&today, &today);
    assert_eq!(choice(&c), "Either will do.");
    assert_eq!(reasons(&c), ["No difference: 1 alert comes under both, at the same moments and levels."]);
}

/// Twice the false alarms of today's on one engine of 500 h: 0.3 and 0.6 per 1000 h are 0.15 more over the period.
#[test]
fn false_alarms_are_told_for_the_hours_compared() {
    let today = [at(Kind::OilRateRise, "rise 1", 2, 17, 1250.0)];
    let mut c = compare(&today, &today);
    let expected =
        crate::judge::compare::Expected { engine_hours: 500.0, today_per_1000_h: 0.3, other_per_1000_h: 0.6 };
    c.engines[0].expected = expected;
    assert_eq!(choice(&c), "Keep today's.");
    assert_eq!(reasons(&c)[1], "False rate alerts to be expected: 2 times today's: about 0.15 more over the period.");
    let said = text(&c, &head());
    assert!(said.contains("false alarms expected    0.30    0.60  rate alerts per 1000 engine hours"), "{said}");
}

#[test]
fn programs_and_the_page_get_everything() {
    let c = example();
    let value: serde_json::Value = serde_json::to_value(object(&c, &head())).unwrap();
    assert_eq!(value["counts"]["only_today"], 1);
    assert_eq!(value["engines"][0]["alerts"][0]["later_h"], 5.1);
    assert_eq!(value["engines"][0]["alerts"][0]["later_days"], 2.0);
    assert_eq!((&value["choice"], &value["engines"][0]["choice"]), (&"today".into(), &"today".into()));
    let page = page(&c, &head(), (&[], &[]));
    // Five rows of numbers, two differences at the top, all three below.
    assert_eq!(page.matches("<tr><td>").count(), 5 + 2 + 3);
    // Nothing fetched from elsewhere, no script.
    assert!(!page.contains("http://") && !page.contains("https://") && !page.contains("<script"));
    assert_eq!(page.matches("<title>").count(), 1 + 5);
}
