#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::records::layout::Per;

/// The example of the contract, both layouts included.
const WHOLE: &str = r#"
tail = "N0417H"
meter = "tach"
oil_unit = "qt"
meter_at_start = 1482.0

[[engine]]
position = "left"
serial = "H-2207"
model = "H6-350T"
hours_at_start = 1204.5
since = "overhaul"
hours_since = 0.0
oil = "AD 50"
last_oil_change_h = 0.0
fill_qt = 10.0
add_mark_qt = 9.0

[[engine]]
position = "right"
serial = "H-2208"
model = "H6-350T"

[[logbook]]
files = "flight log*.xlsx"
sheet = "2026"
per = "flight"
date = { columns = ["Date", "Off"], format = "%m/%d/%Y %H:%M" }
columns = { hours = "Tach in", flight_hours = "Time", service = "Type", remarks = "Notes" }
words = { entry = { "uplift" = "oil-added" }, service = { "T" = "training" } }
[logbook.oil]
left = { added = "Oil L", level = "Dip L", unit = "l" }
right = { added = "Oil R", level = "Dip R", unit = "l" }

[[monitor]]
files = "monitor/*.csv"
skip_lines = 2
delimiter = ";"
decimal = ","
encoding = "windows-1252"
time = { columns = ["log date", "log time"], format = "%Y-%m-%d %H:%M:%S", zone = "local" }
columns = { rpm = "eng rpm", "left.cht1_f" = "L head 1", oil_temp_f = { column = "oil temp", unit = "c" } }
"#;

fn said(text: &str) -> Vec<String> {
    let (_, rejections) = parse(text, "N0417H/aircraft.toml", &Layouts::default());
    rejections.iter().map(ToString::to_string).collect()
}

#[test]
fn the_contract_example_is_read_whole() {
    let (aircraft, rejections) = parse(WHOLE, "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(rejections, []);
    let aircraft = aircraft.unwrap();
    assert_eq!((&*aircraft.tail, aircraft.meter, aircraft.oil_in_litres), ("N0417H", Meter::Tach, false));
    assert_eq!(aircraft.meter_at_start.unwrap().get(), 1482.0);
    let left = &aircraft.engines[0];
    assert_eq!((left.position.as_deref(), &*left.serial, &*left.model), (Some("left"), "H-2207", "H6-350T"));
    assert_eq!((left.since, left.hours_since.map(Hours::get)), (Some(BuildKind::Overhaul), Some(0.0)));
    assert_eq!((left.fill.map(Quarts::get), left.add_mark.map(Quarts::get)), (Some(10.0), Some(9.0)));
    assert_eq!(left.oil, Oil::parse("AD 50"));
    assert_eq!((left.line, aircraft.engines[1].line), (7, 19));
    let book = &aircraft.logbooks[0];
    assert_eq!((book.per, book.shape.sheet.as_deref()), (Per::Flight, Some("2026")));
    assert_eq!(book.date.columns, ["Date", "Off"]);
    assert_eq!(book.columns["hours"], "Tach in");
    assert_eq!(book.words["entry"]["uplift"], "oil-added");
    assert_eq!(book.oil["right"].level.as_deref(), Some("Dip R"));
    let monitor = &aircraft.monitors[0];
    assert_eq!((monitor.shape.skip_lines, monitor.shape.delimiter), (2, Some(';')));
    assert_eq!(monitor.columns["left.cht1_f"].column, "L head 1");
    assert_eq!(monitor.columns["oil_temp_f"].unit.as_deref(), Some("c"));
}

#[test]
fn a_wrong_key_is_left_out_and_the_rest_counts() {
    let text = WHOLE
        .replace("hours_at_start = 1204.5", "hours_at_start = nan")
        .replace("add_mark_qt = 9.0", "add_mark_qt = 11")
        .replace("%H:%M\" }\ncolumns", "%H:%Q\" }\ncolumns")
        .replace("\"oil-added\" }", "\"oil-aded\" }");
    let (aircraft, rejections) = parse(&text, "N0417H/aircraft.toml", &Layouts::default());
    let said: Vec<String> = rejections.iter().map(ToString::to_string).collect();
    assert_eq!(said.len(), 4, "{said:#?}");
    assert_eq!(said[0], "N0417H/aircraft.toml:11: engine.hours_at_start = nan, expected 0 to 100000 engine hours");
    assert_eq!(said[1], "N0417H/aircraft.toml:17: engine.add_mark_qt = 11, expected less than fill_qt = 10");
    assert!(said[2].starts_with("N0417H/aircraft.toml:28: logbook.date.format = "), "{}", said[2]);
    assert!(
        said[3].contains("words.entry.uplift = \"oil-aded\", expected the nearest known \"oil-added\""),
        "{}",
        said[3]
    );
    let aircraft = aircraft.unwrap();
    assert_eq!((aircraft.engines.len(), aircraft.logbooks.len(), aircraft.monitors.len()), (2, 1, 1));
    assert_eq!(aircraft.engines[0].fill.map(Quarts::get), Some(10.0));
}

#[test]
fn two_engines_must_not_share_a_serial_or_a_place() {
    let text = WHOLE.replace("H-2208", "H-2207");
    assert_eq!(
        said(&text)[0],
        "N0417H/aircraft.toml:21: engine.serial = \"H-2207\", expected each serial once; line 7 has it too"
    );
    let text = WHOLE.replace("position = \"right\"", "position = \"left\"");
    assert_eq!(
        said(&text)[0],
        "N0417H/aircraft.toml:20: engine.position = \"left\", expected another position than that of the engine on line 7"
    );
}

#[test]
fn a_copied_file_does_not_make_two_folders_one_aircraft() {
    let (aircraft, rejections) = parse(WHOLE, "N0999X/aircraft.toml", &Layouts::default());
    assert_eq!(&*aircraft.unwrap().tail, "N0999X");
    assert_eq!(
        rejections[0].to_string(),
        "N0999X/aircraft.toml:2: tail = \"N0417H\", expected \"N0999X\", the folder's name, which is used"
    );
}

#[test]
fn a_file_without_an_engine_is_set_aside_as_a_whole() {
    let (aircraft, rejections) = parse("tail = \"N0417H\"\n", "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(aircraft, None);
    assert!(rejections.iter().any(|r| r.whole_file && r.source.line == 0));
    let (aircraft, rejections) = parse("\u{0}\u{1}garbage", "N0417H/aircraft.toml", &Layouts::default());
    assert_eq!(aircraft, None);
    assert!(!rejections.is_empty());
}

#[test]
fn a_shared_layout_is_the_start_and_own_keys_win() {
    let (aircraft, _) = parse(WHOLE, "N0417H/aircraft.toml", &Layouts::default());
    let mut layouts = Layouts::default();
    layouts.logbooks.insert("our-sheet".to_owned(), aircraft.unwrap().logbooks[0].clone());
    let text = "tail = \"N01\"\nmeter = \"hobbs\"\n[[engine]]\nposition = \"left\"\nserial = \"A\"\nmodel = \"M\"\n\
                [[logbook]]\nlayout = \"our-sheet\"\nsheet = \"2027\"\n\
                [[logbook]]\nlayout = \"our-shet\"\n";
    let (aircraft, rejections) = parse(text, "N01/aircraft.toml", &layouts);
    let book = &aircraft.unwrap().logbooks[0];
    assert_eq!((book.shape.sheet.as_deref(), book.per), (Some("2027"), Per::Flight));
    assert_eq!(
        rejections[0].to_string(),
        "N01/aircraft.toml:11: logbook.layout = \"our-shet\", expected \"our-sheet\""
    );
}

#[test]
fn layouts_are_checked_before_they_misread_a_file() {
    let bad = r#"
meter = "tach"
tail = "N0417H"
[[engine]]
serial = "A"
model = "M"
[[logbook]]
columns = { hour = "Tach" }
oil = { "" = { added = "Oil" } }
[[monitor]]
delimiter = ","
decimal = ","
encoding = "windows-9"
time = { columns = ["t"], format = "%H:%M", zone = "America/Denvr" }
columns = { rpms = "n", cht13_f = "x", oil_temp_f = { column = "o", unit = "psi" }, "left.rpm" = "l" }
"#;
    let said = said(bad);
    let expect = [
        "N0417H/aircraft.toml:8: unknown column logbook.columns.hour, expected the nearest known column hours",
        "N0417H/aircraft.toml:9: logbook.oil without per = \"flight\", expected per = \"flight\" beside it: oil columns belong to a sheet with one row per flight",
        "N0417H/aircraft.toml:12: monitor.decimal = \",\", expected another character than the delimiter",
        "N0417H/aircraft.toml:13: monitor.encoding = \"windows-9\", expected an encoding such as \"utf-8\", \"utf-16le\" or \"windows-1252\"",
        "N0417H/aircraft.toml:14: monitor.time.format = \"%H:%M\", expected a format with date and time of day such as \"%Y-%m-%d %H:%M:%S\"",
        "N0417H/aircraft.toml:14: monitor.time.zone = \"America/Denvr\", expected \"local\", \"utc\" or an IANA name such as \"America/Denver\"; the nearest is \"America/Denver\"",
        "N0417H/aircraft.toml:15: unknown channel rpms, expected the nearest known channel rpm",
        "N0417H/aircraft.toml:15: unknown channel cht13_f, expected the nearest known channel cht1_f",
        "N0417H/aircraft.toml:15: monitor.columns.oil_temp_f.unit = \"psi\", expected one of f, c",
        "N0417H/aircraft.toml:15: unknown engine position left in left.rpm, expected none",
    ];
    assert_eq!(said, expect);
}

proptest::proptest! {
    /// Whatever stands in the file, reading it ends, and where no aircraft comes out a reason does.
    #[test]
    fn no_text_stops_the_reader(text in "\\PC{0,80}", cut in 0usize..1600, drop in 0usize..40) {
        let start: String = WHOLE.chars().take(cut).collect();
        let rest: String = WHOLE.chars().skip(cut + drop).collect();
        for text in [text.clone(), format!("{start}{text}{rest}")] {
            let (aircraft, rejections) = parse(&text, "N0417H/aircraft.toml", &Layouts::default());
            proptest::prop_assert!(aircraft.is_some() || !rejections.is_empty());
        }
    }
}
