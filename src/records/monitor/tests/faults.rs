//! Probes that fail, clocks that step, files that are cut short: nothing absurd comes out.
#![allow(clippy::unwrap_used, reason = "tests")]

use proptest::prelude::*;

use super::*;

/// The recording with one column's cells changed: `change(sample number, cell)`.
fn change(csv: &str, column: &str, change: impl Fn(usize, &str) -> String) -> String {
    let mut lines = csv.lines();
    let header = lines.next().unwrap();
    let at = header.split(',').position(|c| c == column).unwrap();
    let mut out = format!("{header}\n");
    for (n, line) in lines.enumerate() {
        let mut cells: Vec<String> = line.split(',').map(str::to_owned).collect();
        cells[at] = change(n, &cells[at]);
        out.push_str(&cells.join(","));
        out.push('\n');
    }
    out
}

fn usual() -> String {
    Made::default().csv(&flight(400.0, 600.0, 1800.0, 600.0, 240.0))
}

#[test]
fn probes_that_read_nothing_or_too_much_make_no_peak_and_no_cooling() {
    let sound = &runs(&usual())[0];
    type Fault = fn(usize, &str) -> String;
    let faults: [(&str, Fault); 7] = [
        ("0 now and then", |n, v| if n % 7 == 3 { "0".into() } else { v.into() }),
        ("9999 for minutes", |n, v| if (900..1200).contains(&n) { "9999".into() } else { v.into() }),
        ("a spike", |n, v| if n == 1500 { "640".into() } else { v.into() }),
        ("hot for a minute and a half", |n, v| if (1500..1590).contains(&n) { "560".into() } else { v.into() }),
        ("dead from then on", |n, v| if n > 1500 { "212".into() } else { v.into() }),
        ("no words", |n, v| if n % 3 == 0 { "---".into() } else { v.into() }),
        ("dead from the start", |_, _| "0.0".into()),
    ];
    for (what, fault) in faults {
        let (found, _) = reduce(change(&usual(), "cht1_f", fault).as_bytes(), "a.csv", None, &context());
        assert_eq!(found.len(), 1, "{what}");
        let (hot, usual) = (f64::from(found[0].cht_f.unwrap().value), f64::from(sound.cht_f.unwrap().value));
        assert!(hot <= usual + 0.5 && hot >= usual - 13.0, "{what}: {hot} for {usual}");
        let cooling = |r: &RunSummary| r.cooling_f_per_min.map_or(0.0, |p| p.value);
        assert!(cooling(&found[0]) <= cooling(sound) + 2.0, "{what}: {}", cooling(&found[0]));
    }
}

#[test]
fn a_frozen_probe_is_named_and_left_out() {
    let csv = change(&usual(), "cht1_f", |n, v| if n > 300 { "455.0".into() } else { v.into() });
    let run = &runs(&csv)[0];
    assert!(run.cht_f.unwrap().value < 400.0);
    assert!(run.doubts.iter().any(|d| d.contains("frozen at 455")), "{:?}", run.doubts);
}

#[test]
fn single_samples_of_rpm_and_manifold_pressure_are_no_peaks() {
    let csv = change(&usual(), "manifold_inhg", |n, v| if n % 500 == 0 { "44.0".into() } else { v.into() });
    assert_eq!(runs(&csv)[0].manifold_inhg.map(|p| p.value), runs(&usual())[0].manifold_inhg.map(|p| p.value));
    let csv = change(&usual(), "rpm", |n, v| if n == 430 { "3900".into() } else { v.into() });
    near(f64::from(runs(&csv)[0].rpm_takeoff.unwrap().value), 2680.0, 0.1);
}

#[test]
fn a_lost_rpm_reading_in_flight_does_not_split_the_run() {
    let csv = change(&usual(), "rpm", |n, v| if (1500..2100).contains(&n) { "0".into() } else { v.into() });
    let found = runs(&csv);
    assert_eq!((found.len(), found[0].flights), (1, 1));
    near(found[0].air_s, 3000.0, 1.0);
    near(f64::from(found[0].rpm_cruise.unwrap()), 2400.0, 0.1);
}

#[test]
fn a_silence_of_the_recorder_is_no_running_time() {
    let text = usual();
    let csv: String =
        text.lines().enumerate().filter(|(n, _)| !(1500..1680).contains(n)).map(|(_, l)| format!("{l}\n")).collect();
    let found = runs(&csv);
    assert_eq!(found.len(), 1);
    near(found[0].gap_s, 181.0, 1.0);
    near(found[0].running_s + found[0].gap_s, 3640.0, 1.0);
}

#[test]
fn a_clock_set_by_an_hour_is_a_doubt_not_a_gap() {
    for by in [3600i64, -3600] {
        let text = usual();
        let mut lines = text.lines();
        let mut csv = format!("{}\n", lines.next().unwrap());
        for (n, line) in lines.enumerate() {
            let (stamp, rest) = line.split_once(',').unwrap();
            let at = chrono::DateTime::parse_from_rfc3339(stamp).unwrap()
                + chrono::TimeDelta::seconds(if n >= 1500 { by } else { 0 });
            csv.push_str(&format!("{},{rest}\n", at.format("%Y-%m-%dT%H:%M:%SZ")));
        }
        let found = runs(&csv);
        assert_eq!(found.len(), 1, "{by}");
        near(found[0].running_s, 3640.0, 2.0);
        near(found[0].gap_s, 0.0, 0.1);
        assert!(
            found[0].doubts.iter().any(|d| d.contains("clock was set") && d.contains("3600 s")),
            "{:?}",
            found[0].doubts
        );
    }
}

#[test]
fn a_stuck_speed_gives_way_to_height() {
    let csv = change(&change(&usual(), "ias_kt", |_, _| "0".into()), "gs_kt", |_, _| "".into());
    let run = &runs(&csv)[0];
    assert_eq!((run.basis, run.flights), (AirBasis::Height, 1));
    assert!(run.doubts.iter().any(|d| d.contains("ias_kt stayed at 0")), "{:?}", run.doubts);
}

#[test]
fn broken_rows_cost_themselves_alone() {
    let text = usual();
    let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
    lines[500] = "garbage".into();
    lines[600] = lines[600].replace("2026", "20x6");
    lines[700] = lines[700].replacen(",2", ",\"2", 1);
    lines[800] = "x".repeat(200_000);
    lines[900] = lines[900].replace(",24.0,", ",2O.0,");
    lines[1000] = String::new();
    let (found, rejected) = reduce(lines.join("\n").as_bytes(), "N0417H/monitor/a.csv", None, &context());
    assert_eq!(found.len(), 1);
    near(found[0].running_s, 3640.0, 1.0);
    let told: Vec<String> = rejected.iter().map(ToString::to_string).collect();
    let wants = [(501, "cells"), (601, "time"), (701, "cells"), (801, "65,000"), (901, "manifold_inhg")];
    for (line, what) in wants {
        let hit = told.iter().any(|r| r.starts_with(&format!("N0417H/monitor/a.csv:{line}: ")) && r.contains(what));
        assert!(hit, "{line} {what}: {told:?}");
    }
    assert_eq!(told.len(), wants.len(), "{told:?}");
}

#[test]
fn a_thousand_broken_rows_are_not_a_thousand_rejections() {
    let csv = change(&usual(), "time", |n, v| if n % 3 == 1 { "?".into() } else { v.into() });
    let (_, rejected) = reduce(csv.as_bytes(), "a.csv", None, &context());
    assert_eq!(rejected.len(), 11);
    assert!(rejected[10].found.contains("further rows"));
}

#[test]
fn what_is_no_recording_is_set_aside_whole() {
    for text in ["", "\n\n", "a,b,c\n1,2,3\n", "time,cht1_f\n2026-03-01T14:05:33,300\n", "rpm\n2000\n", "\0\0\0\0"] {
        let (found, rejected) = reduce(text.as_bytes(), "a.csv", None, &context());
        assert_eq!(found, []);
        assert!(rejected.iter().any(|r| r.whole_file), "{text:?}");
    }
}

#[test]
fn a_file_still_being_written_is_no_fault() {
    let text = usual();
    for cut in (0..400).map(|k| text.len() - 100_000 - k) {
        let (_, rejected) = reduce(&text.as_bytes()[..cut], "a.csv", None, &context());
        assert_eq!(rejected, []);
    }
    let mut tail = text.as_bytes()[..text.len() - 100_000].to_vec();
    tail.extend(vec![0u8; 300_000]);
    let (found, rejected) = reduce(&tail[..], "a.csv", None, &context());
    assert_eq!(found.len(), 1);
    assert!(rejected.len() <= 1, "{rejected:?}");
}

/// A reader that hands out a few bytes at a time.
struct Trickle<'a>(&'a [u8], usize);

impl std::io::Read for Trickle<'_> {
    fn read(&mut self, out: &mut [u8]) -> std::io::Result<usize> {
        self.1 = self.1 * 7 % 4093 + 1;
        let n = self.1.min(out.len()).min(self.0.len());
        out[..n].copy_from_slice(&self.0[..n]);
        self.0 = &self.0[n..];
        Ok(n)
    }
}

#[test]
fn the_size_of_the_pieces_does_not_matter() {
    let text = usual();
    let whole = reduce(text.as_bytes(), "a.csv", None, &context());
    assert_eq!(reduce(Trickle(text.as_bytes(), 5), "a.csv", None, &context()), whole);
}

#[test]
fn a_remark_is_a_remark_both_ways() {
    let text = usual();
    let at = text.match_indices('\n').nth(40).unwrap().0 + 1;
    let mut bytes = text.into_bytes();
    bytes[at] = b'#';
    let by = |way| Reducer::default().reduce_by(way, &bytes[..], "a.csv", None, &context());
    assert_eq!(by(Way::Fast), by(Way::Csv));
    assert_eq!(by(Way::Fast).1, []);
}

fn cell() -> impl Strategy<Value = String> {
    prop_oneof![
        6 => (0u32..30_000).prop_map(|v| format!("{}.{}", v / 10, v % 10)),
        2 => (0u32..3000).prop_map(|v| v.to_string()),
        1 => Just(String::new()),
        1 => Just("---".to_owned()),
        1 => "[-+]?[0-9]{0,9}[.]?[0-9]{0,6}",
        1 => (0u32..3000).prop_map(|v| format!("\"{v}\"")),
        1 => "[ \"a-c\r\t,]{0,4}",
    ]
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    /// Any row, in any number: the fast way and the `csv` crate give the same summaries and rejections, bit for bit.
    #[test]
    fn both_ways_give_the_same_for_anything(
        rows in prop::collection::vec(prop::collection::vec(cell(), 3), 0..200),
        crlf in any::<bool>(),
        drop in 0usize..40,
    ) {
        let mut text = String::from("time,rpm,cht1_f,ias_kt\n");
        for (n, row) in rows.iter().enumerate() {
            let at = chrono::DateTime::from_timestamp(1_772_546_700 + n as i64, 0).unwrap();
            text.push_str(&format!("{},{}{}", at.format("%Y-%m-%dT%H:%M:%SZ"), row.join(","), if crlf { "\r\n" } else { "\n" }));
        }
        let bytes = &text.as_bytes()[..text.len().saturating_sub(drop)];
        let by = |way| Reducer::default().reduce_by(way, bytes, "a.csv", None, &context());
        prop_assert_eq!(by(Way::Fast), by(Way::Csv));
    }

    /// A real recording with bytes overwritten anywhere: the same both ways, and no panic.
    #[test]
    fn both_ways_give_the_same_for_a_damaged_recording(
        hits in prop::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 0..30),
    ) {
        let made = Made { every_s: 5.0, ..Made::default() };
        let mut bytes = made.csv(&flight(300.0, 300.0, 300.0, 300.0, 200.0)).into_bytes();
        for (at, byte) in hits {
            let at = at.index(bytes.len());
            bytes[at] = byte;
        }
        let by = |way| Reducer::default().reduce_by(way, &bytes[..], "a.csv", None, &context());
        prop_assert_eq!(by(Way::Fast), by(Way::Csv));
    }
}
