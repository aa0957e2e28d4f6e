#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::judge::Evidence;
use crate::report::sample::{self, alert, at, date, finding};
use chrono_tz::America::Denver;

#[test]
fn a_rise_gives_both_numbers_the_clock_and_the_day() {
    assert_eq!(
        headline(&sample::rise(), Denver),
        "left engine: consumption 0.11 → 0.24 qt/h, tach hours; 9.1 → 4.2 h/qt, since 9 Feb"
    );
}

#[test]
fn each_family_reads_as_one_sentence() {
    assert_eq!(
        headline(&sample::overdue(), Denver),
        "5 h oil change of break-in not recorded, now 11 h since the build, 6 h past the point"
    );
    assert_eq!(
        headline(&sample::metal(), Denver),
        "metal found in the filter, 26 Feb: “ferrous slivers, about a dozen, magnetic”"
    );
    let mut ground = finding(Kind::GroundRunLong, "N0117H", "", "H-2101", at(2, 4, 9, 12));
    ground.evidence = Evidence::default()
        .with("minutes", 91.0)
        .with("limit_min", 60.0)
        .with("days", 3.0)
        .with("cht_ground_f", 402.0)
        .with("limit_cht_f", 380.0);
    assert_eq!(
        headline(&ground, Denver),
        "91 min running on the ground without flight in 3 days, limit 60 min, 4 Feb; cylinder head up to 402 °F, limit 380 °F"
    );
    let mut due = finding(Kind::OilChangeDue, "N0217H", "", "H-2201", at(3, 7, 14, 20));
    due.evidence = Evidence::default().with("point_h", 25.0).with("due_at_engine_hours", 25.0).with("hours_left", 3.2);
    assert_eq!(headline(&due, Denver), "25 h oil change of break-in due at 25.0 engine hours");
    let mut hot = finding(Kind::ChtHigh, "N0217H", "right", "H-2202", at(3, 7, 14, 20));
    hot.evidence = Evidence::default()
        .with("value", 428.0)
        .with("limit", 420.0)
        .with("unit", "°F")
        .with("cylinder", 3.0)
        .with("at", at(3, 7, 14, 20));
    assert_eq!(
        headline(&hot, Denver),
        "right engine: cylinder head temperature 428 °F, limit 420 °F, cylinder 3, 7 Mar 14:20"
    );
    let mut silent = finding(Kind::DataSilent, "N0217H", "", "", at(3, 7, 14, 20));
    silent.evidence = Evidence::default().with("days", 10.4).with("last_record", date(2, 25));
    assert_eq!(headline(&silent, Denver), "nothing new for 10 days; last record 25 Feb");
}

/// A judge may leave any fact out: the words must still be a sentence about the right thing.
#[test]
fn every_kind_has_words_checks_and_a_way_to_answer_without_evidence() {
    for kind in Kind::ALL {
        let f = finding(kind, "N0417H", "left", "H-2207", at(3, 1, 12, 0));
        let text = headline(&f, Denver);
        assert!(text.len() > 20 && !text.contains("NaN") && !text.contains("  "), "{kind}: {text}");
        let told = explain(&alert(7, f, at(3, 1, 12, 0)), &[], Denver);
        let all = told.iter().flat_map(|p| p.lines.clone()).collect::<Vec<_>>().join("\n");
        for wanted in ["N0417H", "H-2207", kind.word(), "acknowledge 7", "Advisory only"] {
            assert!(all.contains(wanted), "{kind} lacks {wanted}: {all}");
        }
        assert!(told.iter().any(|p| p.steps && p.lines.len() > 1), "{kind} has no first checks");
    }
}

/// Evidence nobody foresaw is told by its name and unit rather than dropped.
#[test]
fn unknown_evidence_still_prints() {
    let mut f = sample::rise();
    f.evidence.set("oat_mean_f", 71.0);
    f.evidence.set("odd_word", "something");
    let told = explain(&alert(7, f, at(3, 1, 12, 0)), &[], Denver);
    let also = told.iter().find(|p| p.title == "Also recorded").unwrap();
    assert!(also.lines.contains(&"Oat mean: 71 °F".to_owned()), "{also:?}");
    assert!(also.lines.contains(&"Odd word: something".to_owned()), "{also:?}");
}

#[test]
fn a_rise_with_metal_says_do_not_fly() {
    let mut f = sample::rise();
    f.evidence.set("with", vec!["metal in the filter on 20 Feb".to_owned()]);
    f.level = Level::Warning;
    assert!(headline(&f, Denver).ends_with("; together with metal in the filter on 20 Feb"));
    let told = explain(&alert(7, f, at(3, 1, 12, 0)), &[], Denver);
    assert!(told[0].lines.iter().any(|l| l == DO_NOT_FLY));
}

#[test]
fn log_lines_are_told_as_ranges() {
    let told = explain(&alert(7, sample::rise(), at(3, 1, 12, 0)), &[], Denver);
    let records = told.iter().find(|p| p.title == "From these records").unwrap();
    assert_eq!(records.lines[0], "Used: N0317H/logbook.csv:118–143.");
}

/// Words the project must never use of an engine (14 CFR reserves them to people).
#[test]
fn no_word_declares_an_engine_fit() {
    let mut all = CAUTION.replace("does not determine airworthiness", "").replace("airworthiness directives", "");
    all = all.replace("your approved programme", "");
    for kind in Kind::ALL {
        all.push_str(&headline(&finding(kind, "N0417H", "", "H-2207", at(3, 1, 12, 0)), Denver));
        all.push_str(&checks::first_checks(kind).join(" "));
        all.push_str(checks::may_mean(kind).unwrap_or_default());
    }
    let all = all.to_lowercase();
    for word in ["airworth", "approved", "released", "certified", "healthy", "broken in", "shock cooling"] {
        assert!(!all.contains(word), "{word}");
    }
}
