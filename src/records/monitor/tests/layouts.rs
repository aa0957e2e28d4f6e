//! Twins, and recordings laid out in ways of their own.
#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::records::layout::{Channel, Shape, When};

#[test]
fn both_engines_of_a_twin() {
    let legs = flight(400.0, 600.0, 600.0, 600.0, 240.0);
    let left = Made { prefix: "left.", ..Made::default() }.csv(&legs);
    let right = Made { prefix: "right.", columns: vec!["rpm", "cht1_f"], ..Made::default() };
    let mut later = legs;
    later[0].seconds += 30.0;
    later[2].seconds -= 30.0;
    let right = right.csv(&later);
    let both: Vec<String> =
        left.lines().zip(right.lines()).map(|(l, r)| format!("{l},{}", r.split_once(',').unwrap().1)).collect();
    let engines = ["left", "right"].map(|p| RecordedEngine::new(Some(Arc::from(p)), None)).to_vec();
    let context = ReduceContext::new(chrono_tz::UTC, engines);
    let (runs, rejected) = reduce(both.join("\n").as_bytes(), "a.csv", None, &context);
    assert_eq!(rejected, []);
    let told: Vec<_> = runs.iter().map(|r| (r.engine.as_deref(), r.ground_before_s.round(), r.flights)).collect();
    assert_eq!(told, [(Some("left"), 400.0, 1), (Some("right"), 370.0, 1)]);
}

#[test]
fn one_engine_of_a_twin_without_a_name_is_asked_about() {
    let engines = ["left", "right"].map(|p| RecordedEngine::new(Some(Arc::from(p)), None)).to_vec();
    let context = ReduceContext::new(chrono_tz::UTC, engines);
    let csv = Made::default().csv(&flight(400.0, 600.0, 600.0, 600.0, 240.0));
    let (runs, rejected) = reduce(csv.as_bytes(), "a.csv", None, &context);
    assert_eq!(runs, []);
    assert!(rejected[0].to_string().contains("left"), "{rejected:?}");
}

/// The same flight in °C, kPa, km/h, metres and litres, with decimal commas and two columns of local time.
#[test]
fn an_operators_own_layout_reads_as_the_standard_one() {
    let csv = Made::default().csv(&flight(400.0, 600.0, 600.0, 600.0, 240.0));
    let mut text = String::from(
        "Recorder 4711;;\r\nfleet base;;\r\nlog date;log time;eng rpm;head 1 \u{b0}C;MP kPa;Geschwindigkeit f\u{fc}r Luft;H\u{f6}he\r\n",
    );
    for line in csv.lines().skip(1) {
        let c: Vec<&str> = line.split(',').collect();
        let number = |i: usize| c[i].parse::<f64>().unwrap();
        let at = chrono::DateTime::parse_from_rfc3339(c[0]).unwrap().with_timezone(&chrono_tz::America::Denver);
        let row = format!(
            "{};{};{};{:.3};{:.4};{:.3};{:.3}\r\n",
            at.format("%d.%m.%Y"),
            at.format("%H:%M:%S"),
            c[1],
            (number(3) - 32.0) / 1.8,
            number(2) * 3.386_389,
            number(5) * 1.852,
            number(7) * 0.3048
        );
        text.push_str(&row.replace('.', ",").replacen(',', ".", 2));
    }
    let bytes: Vec<u8> = encoding_rs::WINDOWS_1252.encode(&text).0.into_owned();
    let channel =
        |column: &str, unit: &str| Channel { column: column.into(), unit: (!unit.is_empty()).then(|| unit.into()) };
    let layout = MonitorLayout {
        files: "monitor/*.csv".into(),
        shape: Shape {
            skip_lines: 2,
            delimiter: Some(';'),
            decimal: Some(','),
            encoding: Some("windows-1252".into()),
            sheet: None,
        },
        time: When {
            columns: vec!["log date".into(), "log time".into()],
            format: Some("%d.%m.%Y %H:%M:%S".into()),
            zone: Some("local".into()),
        },
        columns: [
            ("rpm", channel("eng rpm", "")),
            ("cht1_f", channel("head 1 \u{b0}C", "c")),
            ("manifold_inhg", channel("MP kPa", "kpa")),
            ("ias_kt", channel("Geschwindigkeit f\u{fc}r Luft", "kmh")),
            ("alt_ft", channel("H\u{f6}he", "m")),
        ]
        .map(|(k, v)| (k.to_owned(), v))
        .into(),
        engine: None,
    };
    let (own, rejected) = reduce(&bytes[..], "a.csv", Some(&layout), &context());
    assert_eq!(rejected, []);
    let standard = &runs(&csv)[0];
    assert_eq!((own[0].start, own[0].end, own[0].flights), (standard.start, standard.end, 1));
    near(own[0].ground_before_s, 400.0, 1.0);
    for (a, b) in [(own[0].cht_f, standard.cht_f), (own[0].manifold_inhg, standard.manifold_inhg)] {
        near(f64::from(a.unwrap().value), f64::from(b.unwrap().value), 0.01);
    }
}

#[test]
fn sixteen_bit_text_and_semicolons() {
    let csv = Made::default().csv(&flight(400.0, 600.0, 600.0, 600.0, 240.0)).replace(',', ";");
    let mut bytes = vec![0xFF, 0xFE];
    bytes.extend(csv.encode_utf16().flat_map(u16::to_le_bytes));
    let (found, rejected) = reduce(&bytes[..], "a.csv", None, &context());
    assert_eq!((found.len(), rejected), (1, vec![]));
    near(found[0].ground_before_s, 400.0, 1.0);
}

#[test]
fn a_layout_that_names_what_is_not_there_says_so() {
    let layout = MonitorLayout {
        columns: [("rpm".to_owned(), Channel { column: "drehzahl".into(), unit: None })].into(),
        ..MonitorLayout::default()
    };
    let csv = Made::default().csv(&flight(400.0, 600.0, 600.0, 600.0, 240.0)).replacen("rpm", "revs", 1);
    let (_, rejected) = reduce(csv.as_bytes(), "a.csv", Some(&layout), &context());
    assert!(rejected.iter().any(|r| r.whole_file && r.found.contains("drehzahl")), "{rejected:?}");
}

/// A twin whose recorders write a file each: `engine` says whose it is, and the header names no position.
#[test]
fn a_file_for_each_engine() {
    let engines = ["left", "right"].map(|p| RecordedEngine::new(Some(Arc::from(p)), None)).to_vec();
    let context = ReduceContext::new(chrono_tz::UTC, engines);
    let csv = Made::default().csv(&flight(400.0, 600.0, 600.0, 600.0, 240.0));
    let layout = MonitorLayout { engine: Some("right".into()), ..MonitorLayout::default() };
    let (runs, rejected) = reduce(csv.as_bytes(), "a.csv", Some(&layout), &context);
    assert_eq!(rejected, []);
    assert_eq!((runs.len(), runs[0].engine.as_deref(), runs[0].flights), (1, Some("right"), 1));
}
