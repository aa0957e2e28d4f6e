//! What must hold for every sheet, however odd: nothing panics, time is bounded, one bad row costs
//! itself alone, and well-formed csv reads as the `csv` crate writes it.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fs::{self, File};
use std::path::Path;
use std::time::{Duration, Instant};

use chrono_tz::Tz;
use cowlwatch::records::aircraft::parse;
use cowlwatch::records::layout::{Layouts, Shape};
use cowlwatch::records::propose::{TextShape, propose};
use cowlwatch::records::table::Sheet;
use cowlwatch::records::{Aircraft, LogEntry, Rejection, logbook};
use cowlwatch::shell::workbook::read_with;
use proptest::prelude::*;

use crate::fuzz::readers::{Chance, TWIN, proper};
use crate::support::PROGRAM;

const LAYOUT: &str = r#"
[[logbook]]
per = "flight"
date = { columns = ["date", "time"] }
columns = { hours = "hours", flight_hours = "flight_hours" }
words = { service = { "1" = "charter" } }
[logbook.oil]
left = { added = "quantity", level = "level", oil = "oil" }
"#;

fn aircraft() -> Aircraft {
    let (aircraft, problems) = parse(&format!("{TWIN}{LAYOUT}"), "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(problems, []);
    aircraft.unwrap()
}

fn read(bytes: &[u8], aircraft: &Aircraft, laid_out: bool) -> (Vec<LogEntry>, Vec<Rejection>) {
    let layout = aircraft.logbooks.first().filter(|_| laid_out);
    let sheet = Sheet::from_text(bytes, &logbook::shape(layout));
    logbook::read(&sheet, "N0417H/logbook.csv", layout, aircraft, Tz::America__Denver)
}

/// Bytes as sheets have them, more often than chance would.
fn sheet_like() -> impl Strategy<Value = Vec<u8>> {
    let pieces = prop_oneof![
        4 => prop::sample::select(vec![
            ",", ";", "\t", "\n", "\r\n", "\r", "\"", "\"\"", " ", ".", "0", "1", "date", "time", "hours", "entry", "level",
            "quantity", "engine", "oil", "flight_hours", "service", "flight", "oil-added", "left", "2026-03-01", "3/1/26",
            "1.3.2026", "14:05", "1 1/2", "½", "1O qt", "46082.5", "Total", "sep=;", "\u{feff}", "\0", "é", "-", "(l)", "9e9",
            "date,engine,hours,entry,quantity,level\n", "Jan", "T", "Z", "+", "AD 50", "1:24", "'", "\u{a0}", "İ", "ß",
        ])
        .prop_map(|s| s.as_bytes().to_vec()),
        1 => prop::collection::vec(any::<u8>(), 0..6),
    ];
    prop::collection::vec(pieces, 0..120).prop_map(|parts| parts.concat())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 3000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn no_text_makes_the_reader_panic(bytes in sheet_like(), headed in any::<bool>(), laid_out in any::<bool>()) {
        let mut text = if headed { b"date,time,engine,hours,entry,quantity,level,oil,flight_hours,service\n".to_vec() } else { Vec::new() };
        text.extend(&bytes);
        let lines = u32::try_from(text.len()).unwrap() + 1;
        let (entries, rejections) = read(&text, &aircraft(), laid_out);
        proper(&rejections);
        prop_assert!(rejections.iter().all(|r| r.source.line <= lines), "{rejections:?}");
        for entry in entries {
            prop_assert!((1..=lines).contains(&entry.source.line));
        }
    }

    #[test]
    fn no_bytes_make_the_reader_panic(bytes in prop::collection::vec(any::<u8>(), 0..600), laid_out in any::<bool>()) {
        read(&bytes, &aircraft(), laid_out);
    }

    /// Whatever is proposed is TOML that can be pasted.
    #[test]
    fn proposals_are_always_toml(bytes in sheet_like(), header in "[A-Za-z0-9 \"\\\\(),;#='°]{0,60}") {
        let mut text = header.clone().into_bytes();
        text.extend(b"\n2026-03-01,100.5,1.5,8,AD 50\n2026-03-02,101.5,1,8.5,x\n2026-03-13,103,1.5,9,x\n");
        text.extend(bytes);
        let sheet = Sheet::from_text(&text, &Shape::default());
        for aircraft in [None, Some(aircraft())] {
            if let Ok(proposal) = propose(&sheet, "log \"2026\".csv", &TextShape::of(&text), aircraft.as_ref()) {
                let toml = proposal.toml();
                prop_assert!(toml::from_str::<toml::Table>(&toml).is_ok(), "{toml}");
            }
        }
    }

    /// Oracle: the `csv` crate's writer (RFC 4180).
    #[test]
    fn well_formed_csv_reads_as_written(
        rows in prop::collection::vec(prop::collection::vec("[a-z0-9 ,;\"é\n]{0,8}", 3), 1..8),
        delimiter in prop::sample::select(vec![b',', b';', b'\t']),
        crlf in any::<bool>(),
    ) {
        let end = if crlf { csv::Terminator::CRLF } else { csv::Terminator::Any(b'\n') };
        let mut writer = csv::WriterBuilder::new().delimiter(delimiter).terminator(end).from_writer(Vec::new());
        for row in &rows {
            writer.write_record(row).unwrap();
        }
        let bytes = writer.into_inner().unwrap();
        let shape = Shape { delimiter: Some(char::from(delimiter)), encoding: Some("utf-8".to_owned()), ..Shape::default() };
        let sheet = Sheet::from_text(&bytes, &shape);
        // Blanks at the ends of cells, empty cells at the ends of rows and blank rows are not kept; a
        // field that runs over lines beginning like rows is taken for a mistake.
        let suspicious = rows.iter().flatten().any(|cell| cell.contains('\n'));
        prop_assume!(!suspicious || sheet.faults.is_empty());
        let trimmed = |cells: &mut dyn Iterator<Item = String>| {
            let mut cells: Vec<String> = cells.map(|c| c.trim().to_owned()).collect();
            while cells.last().is_some_and(String::is_empty) { cells.pop(); }
            cells
        };
        let expected: Vec<_> = rows.iter().map(|row| trimmed(&mut row.iter().cloned())).filter(|row| !row.is_empty()).collect();
        let read: Vec<_> = sheet.rows.iter().map(|row| trimmed(&mut row.cells.iter().map(ToString::to_string))).collect();
        prop_assert_eq!(read, expected);
    }

    /// Whatever stands in one row, the rows around it count.
    #[test]
    fn one_bad_row_costs_itself_alone(cells in prop::collection::vec("[^\0\r\n]{0,12}", 0..9)) {
        let before = "date,engine,hours,entry,quantity,level\n2026-03-01,left,100.5,oil-level,,8\n2026-03-02,right,101.5,oil-added,1,8\n";
        let after = "\n2026-03-13,left,102.5,oil-level,,7.5\n2026-03-14,right,103.5,oil-level,,7.5\n";
        let text = format!("{before}{}{after}", cells.join(","));
        let shape = Shape { delimiter: Some(','), encoding: Some("utf-8".to_owned()), ..Shape::default() };
        let sheet = Sheet::from_text(text.as_bytes(), &shape);
        let (entries, rejections) = logbook::read(&sheet, "N0417H/logbook.csv", None, &aircraft(), Tz::America__Denver);
        let lines: Vec<u32> = entries.iter().map(|e| e.source.line).filter(|line| *line != 4).collect();
        prop_assert_eq!(lines, [2, 3, 5, 6]);
        prop_assert!(rejections.iter().all(|r| r.source.line == 4));
    }
}

/// Long and ugly inputs take time in proportion to their length.
#[test]
fn odd_long_files_take_bounded_time() {
    let header = "date,engine,hours,entry,quantity,level\n";
    let mega = 1024 * 1024;
    for (name, piece) in [
        ("quotes", "\"\n"),
        ("open quotes", "a,\"b\n"),
        ("doubled quotes", "\"\"\"\"\"\""),
        ("commas", ","),
        ("blank lines", "\n"),
        ("no line end", "x"),
        ("rows", "2026-03-01,left,1O,oil-level,,8\n"),
        ("dates", "1/2/26,left,1,oil-level,,8\n"),
        ("long cells", "2026-03-01 2026-03-01 2026-03-01 2026-03-01,,,,\n"),
        ("nul", "\0"),
        ("invalid", "\u{fffd}\n"),
    ] {
        let text = format!("{header}{}", piece.repeat(4 * mega / piece.len()));
        let began = Instant::now();
        read(text.as_bytes(), &aircraft(), false);
        read(text.as_bytes(), &aircraft(), true);
        assert!(began.elapsed() < Duration::from_secs(20), "{name}: {:?}", began.elapsed());
    }
}

/// A damaged workbook gives records or one fault, and never takes the parent along.
#[test]
fn damaged_workbooks_leave_the_parent_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    let dialects = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/all/dialects");
    let mut chance = Chance(20_261_126);
    for name in ["openpyxl.xlsx", "pandas.ods", "flights.ods", "xlsxwriter.xlsx"] {
        let whole = fs::read(dialects.join(name)).unwrap();
        for _ in 0..40 {
            let mut bytes = whole.clone();
            for _ in 0..=chance.below(6) {
                let at = chance.below(bytes.len());
                bytes[at] = chance.below(256) as u8;
            }
            bytes.truncate(bytes.len().saturating_sub(chance.below(3) * chance.below(2000)));
            fs::write(&path, &bytes).unwrap();
            let sheet = read_with(Path::new(PROGRAM), File::open(&path).unwrap(), &Shape::default()).unwrap();
            assert!(sheet.faults.len() <= 2, "{:?}", sheet.faults);
        }
    }
}
