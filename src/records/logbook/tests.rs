#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
use chrono::{NaiveDate, NaiveTime};

use super::amount::{Unit, hours, quantity};
use super::when::{Order, Orders, time_of_day};
use super::*;
use crate::records::aircraft::{InstalledEngine, Meter};
use crate::records::layout::{OilColumns, When};
use crate::records::table::Cell;
use crate::records::{EntryKind, Inspection};

fn engine(position: Option<&str>) -> InstalledEngine {
    InstalledEngine {
        position: position.map(Arc::from),
        serial: "H-2207".into(),
        model: "H6-350T".into(),
        hours_at_start: None,
        since: None,
        hours_since: None,
        oil: None,
        last_oil_change_h: None,
        fill: None,
        add_mark: None,
        line: 1,
    }
}

fn aircraft(positions: &[&str]) -> Aircraft {
    let engines =
        if positions.is_empty() { vec![engine(None)] } else { positions.iter().map(|p| engine(Some(p))).collect() };
    Aircraft {
        tail: "N0417H".into(),
        file: "N0417H/aircraft.toml".into(),
        meter: Meter::Tach,
        oil_in_litres: false,
        meter_at_start: None,
        engines,
        logbooks: Vec::new(),
        monitors: Vec::new(),
    }
}

fn read_with(text: &str, layout: Option<&LogbookLayout>, aircraft: &Aircraft) -> (Vec<LogEntry>, Vec<String>) {
    let sheet = Sheet::from_text(text.as_bytes(), &shape(layout));
    let (entries, rejections) = read(&sheet, "N0417H/logbook.csv", layout, aircraft, Tz::America__Denver);
    (entries, rejections.iter().map(ToString::to_string).collect())
}

fn twin(text: &str) -> (Vec<LogEntry>, Vec<String>) {
    read_with(text, None, &aircraft(&["left", "right"]))
}

fn single(text: &str) -> (Vec<LogEntry>, Vec<String>) {
    read_with(text, None, &aircraft(&[]))
}

/// `2026-03-01 14:05 left oil-added h=1482.3 q=1 l=8.5 AD 50`, what is absent left out.
fn shown(entry: &LogEntry) -> String {
    let mut text = entry.stamp.date.to_string();
    let mut add = |part: Option<String>| part.into_iter().for_each(|p| text = format!("{text} {p}"));
    add(entry.stamp.time.map(|t| t.format("%H:%M").to_string()));
    add(entry.engine.as_ref().map(ToString::to_string));
    add(Some(entry.kind.word().to_owned()));
    add(entry.hours.map(|h| format!("h={}", h.get())));
    add(entry.quantity.map(|q| format!("q={}", (q.get() * 1000.0).round() / 1000.0)));
    add(entry.level.map(|q| format!("l={}", (q.get() * 1000.0).round() / 1000.0)));
    add(entry.oil.as_ref().map(ToString::to_string));
    add(entry.flight_hours.map(|h| format!("f={}", (h.get() * 1000.0).round() / 1000.0)));
    add(entry.service.as_ref().map(|s| format!("s={s}")));
    add(entry.result.map(|r| format!("{r:?}").to_lowercase()));
    add(entry.serial.as_ref().map(|s| format!("serial={s}")));
    add(entry.alert.map(|n| format!("alert={n}")));
    text
}

fn shown_all(entries: &[LogEntry]) -> Vec<String> {
    entries.iter().map(shown).collect()
}

#[test]
fn every_entry_of_the_contract_reads() {
    let (entries, rejections) = twin(
        "date,time,engine,hours,entry,quantity,level,oil,flight_hours,service,result,serial,remarks\n\
         2026-03-01,09:10,,1483.5,flight,,,,1.2,charter,,,\n\
         2026-03-01,,left,1483.6,ground-run,,,,0.1,,,,\n\
         2026-03-02,,left,1483.6,oil-level,,8.5,,,,,,\n\
         2026-03-02,,right,1483.6,oil-added,1,8,AD 50,,,,,\n\
         2026-03-03,,left,1490,oil-changed,,10,AD 20W-50,,,,,\n\
         2026-03-03,,left,1490,filter-inspected,,,,,,trace,,\n\
         2026-03-03,,left,1490,screen-cleaned,,,,,,clean,,\n\
         2026-03-04,,right,1490,removed,,,,,,,,S/N H-2208 for overhaul\n\
         2026-03-05,,right,1490,installed,,,,,,,H-2301,\n\
         2026-03-05,,right,1490,overhauled,,,,,,,,\n\
         2026-03-05,,left,1490,top-overhauled,,,,,,,,\n\
         2026-03-05,,left,1490,cylinder-replaced,,,,,,,,number 3\n\
         2026-03-06,,,0.0,meter-changed,,,,,,,,\n\
         2026-03-06,,,,action,,,,,,7,,leak found\n\
         2026-03-06,,,,note,,,,,,,,washed\n",
    );
    assert_eq!(rejections, Vec::<String>::new());
    assert_eq!(
        shown_all(&entries),
        [
            "2026-03-01 09:10 flight h=1483.5 f=1.2 s=charter",
            "2026-03-01 left ground-run h=1483.6 f=0.1",
            "2026-03-02 left oil-level h=1483.6 l=8.5",
            "2026-03-02 right oil-added h=1483.6 q=1 l=8 AD 50",
            "2026-03-03 left oil-changed h=1490 l=10 AD 20W-50",
            "2026-03-03 left filter-inspected h=1490 trace",
            "2026-03-03 left screen-cleaned h=1490 clean",
            "2026-03-04 right removed h=1490 serial=H-2208",
            "2026-03-05 right installed h=1490 serial=H-2301",
            "2026-03-05 right overhauled h=1490",
            "2026-03-05 left top-overhauled h=1490",
            "2026-03-05 left cylinder-replaced h=1490",
            "2026-03-06 meter-changed h=0",
            "2026-03-06 action alert=7",
            "2026-03-06 note",
        ]
    );
    assert_eq!(entries[5].result, Some(Inspection::Trace));
    assert_eq!(entries[13].remarks.as_deref(), Some("leak found"));
    assert_eq!(entries[3].source.to_string(), "N0417H/logbook.csv:5");
}

#[test]
fn a_flights_oil_comes_before_it() {
    let (entries, rejections) = single(
        "date,hours,entry,quantity,level,flight_hours\n\
         2026-03-01,101.2,flight,,7.5,1.2\n\
         2026-03-02,102.4,flight,1,6.5,1.2\n",
    );
    assert_eq!(rejections, Vec::<String>::new());
    assert_eq!(
        shown_all(&entries),
        [
            "2026-03-01 oil-level l=7.5",
            "2026-03-01 flight h=101.2 f=1.2",
            "2026-03-02 oil-added q=1 l=6.5",
            "2026-03-02 flight h=102.4 f=1.2",
        ]
    );
    assert_eq!(entries[0].source, entries[1].source);
}

fn rejected(row: &str) -> String {
    let text = format!(
        "date,engine,hours,entry,quantity,level,oil,flight_hours,result\n{row}\n2026-03-02,left,1,oil-level,,8,,,\n"
    );
    let (entries, mut rejections) = twin(&text);
    assert_eq!(shown_all(&entries), ["2026-03-02 left oil-level h=1 l=8"], "{row}");
    assert_eq!(rejections.len(), 1, "{row}: {rejections:?}");
    rejections.remove(0)
}

#[test]
fn a_bad_row_says_what_stood_there_and_what_was_expected() {
    for (row, message) in [
        (
            "2026-03-01,left,1,oil-added,1O qt,,,,",
            "quantity \"1O qt\", expected oil poured in, such as 1, 0.5 or 1 l (there is a letter O in it, not a zero)",
        ),
        ("2026-03-01,left,1,oil-added,10,,,,", "quantity \"10\", expected at most 8 qt at one time"),
        (
            "2026-03-01,left,1,oil-added,,,,,",
            "quantity is empty, expected the oil poured in, such as 1 or 0.5, for an entry oil-added",
        ),
        ("2026-03-01,left,1,oil-added,-1,,,,", "quantity \"-1\", expected oil poured in, such as 1, 0.5 or 1 l"),
        ("2026-03-01,left,1,oil-level,,full,,,", "level \"full\", expected a dipstick reading, such as 8.5"),
        ("2026-03-01,left,1,oil-level,,85,,,", "level \"85\", expected a dipstick reading of at most 25 qt"),
        (
            "2026-03-01,left,1,oil-level,,,,,",
            "level is empty, expected the dipstick reading, such as 8.5, for an entry oil-level",
        ),
        ("2026-03-01,front,1,oil-level,,8,,,", "engine \"front\", expected left or right"),
        ("2026-03-01,,1,oil-level,,8,,,", "engine is empty, expected left or right for an entry oil-level"),
        ("2026-03-01,both,1,oil-added,1,,,,", "engine \"both\", expected left or right for an entry oil-added"),
        (
            "2026-03-01,left,1,oil-aded,1,,,,",
            "entry \"oil-aded\", expected oil-added perhaps, or another word for an entry",
        ),
        (
            "2026-03-01,left,1,,1,,,,",
            "entry is empty, expected one of flight, ground-run, oil-level, oil-added, oil-changed, filter-inspected, screen-cleaned, installed, removed, overhauled, top-overhauled, cylinder-replaced, meter-changed, action, note",
        ),
        ("2026-02-30,left,1,oil-level,,8,,,", "date \"2026-02-30\", expected a date, such as 2026-03-01"),
        ("yesterday,left,1,oil-level,,8,,,", "date \"yesterday\", expected a date, such as 2026-03-01"),
        (",left,1,oil-level,,8,,,", "date is empty, expected a date, such as 2026-03-01"),
        ("2026-03-01,left,14B2.3,oil-level,,8,,,", "hours \"14B2.3\", expected the meter's reading, such as 1482.3"),
        ("2026-03-01,left,-5,oil-level,,8,,,", "hours \"-5\", expected the meter's reading, such as 1482.3"),
        (
            "2026-03-01,left,1,oil-added,1,,castor,,",
            "oil \"castor\", expected kind and grade, such as AD 50, AD 20W-50 or mineral 50",
        ),
        ("2026-03-01,,1,flight,,,,26,", "flight_hours \"26\", expected the length in hours, such as 1.4 or 1:24"),
        (
            "2026-03-01,,,flight,,,,,x",
            "hours and flight_hours are both empty, expected the meter's reading after the flight, or its length",
        ),
        (
            "2026-03-01,,1,flight,,8,,1,",
            "level \"8\" without saying which engine, expected left or right in the column engine, or a row of its own",
        ),
        ("2026-03-01,left,1,filter-inspected,,,,,some", "result \"some\", expected clean, trace or metal"),
        (
            "2026-03-01,left,,meter-changed,,,,,",
            "hours is empty, expected the new meter's reading, such as 0.0, for an entry meter-changed",
        ),
        (
            "2026-03-01,,,action,,,,,done",
            "result \"done\", expected the number of the alert that was worked on, such as 7",
        ),
        (
            "2026-03-01,left,1,oil-level,,\"8,,,",
            "a quotation mark opened in cell 6 that is not closed, expected a closing quotation mark in the same cell (one within text is written twice)",
        ),
    ] {
        assert_eq!(rejected(row), format!("N0417H/logbook.csv:2: {message}"));
    }
}

#[test]
fn a_sheet_without_a_usable_header_is_set_aside_whole() {
    let (entries, rejections) = single("1,2,3\n4,5,6\n");
    assert_eq!((entries.len(), rejections.len()), (0, 1));
    assert_eq!(
        rejections[0],
        "N0417H/logbook.csv: no header row (the first row is: 1, 2, 3), expected a row that names the columns: date, \
         engine, hours, entry, quantity, level …, or a [[logbook]] table in aircraft.toml (\"cowlwatch layout FILE\" \
         proposes one)"
    );
    let (entries, rejections) = single("Date,Tach,Time,Oil L,Oil R,Remarks\n2026-03-01,101.2,1.2,1,,\n");
    assert_eq!(entries, []);
    assert_eq!(
        rejections,
        [
            "N0417H/logbook.csv:1: no column \"entry\" in the header (Date, Tach, Time, Oil L, Oil R, Remarks), expected the \
          columns date, engine, hours, entry, quantity, level …, or a [[logbook]] table in aircraft.toml (\"cowlwatch \
          layout FILE\" proposes one)"
        ]
    );
}

#[test]
fn what_is_no_entry_is_passed_over() {
    let (entries, rejections) = single(
        "Brindlemoor Air Charter\nOil log N0417H;;;;\n\nDate;Hours;Entry;Level (l);Remarks\n;h;;l;\n01.03.2026;101,2;Oil level;7,0;\n\
         Date;Hours;Entry;Level (l);Remarks\n14.03.2026;102,4;OIL_LEVEL;6,5;\"two\nlines\"\n15.03.2026;;;;\nTotal;203,6;;;\n;;;;page 1\n",
    );
    assert_eq!(shown_all(&entries), ["2026-03-01 oil-level h=101.2 l=7.397", "2026-03-14 oil-level h=102.4 l=6.868"]);
    assert_eq!(rejections, ["N0417H/logbook.csv:12: Date is empty, expected a date, such as 2026-03-01"]);
    assert_eq!(entries[1].remarks.as_deref(), Some("two\nlines"));
}

fn flights() -> LogbookLayout {
    let oil = |added: &str, level: &str| OilColumns {
        added: Some(added.into()),
        level: Some(level.into()),
        oil: None,
        unit: Some("l".into()),
    };
    LogbookLayout {
        files: "flight log*.csv".into(),
        per: Per::Flight,
        date: When { columns: vec!["Date".into(), "Off".into()], format: Some("%m/%d/%Y %H:%M".into()), zone: None },
        columns: [("hours", "Tach in"), ("flight_hours", "Time"), ("service", "Type"), ("remarks", "Notes")]
            .map(|(ours, theirs)| (ours.to_owned(), theirs.to_owned()))
            .into(),
        words: [("service".to_owned(), [("T".to_owned(), "training".to_owned())].into())].into(),
        oil: [("left".to_owned(), oil("Oil L", "Dip L")), ("right".to_owned(), oil("Oil R", "Dip R"))].into(),
        ..LogbookLayout::default()
    }
}

#[test]
fn one_row_per_flight_with_oil_per_engine() {
    let text = "Date,Off,Tach in,Time,Type,Dip L,Oil L,Dip R,Oil R,Notes\n\
                03/01/2026,09:10,1483.5,1.2,T,8,,7.5,1,\n\
                03/01/2026,14:00,1484.5,1:00,charter,,,,,late\n\
                03/02/2026,,1485.5,1.0,t,8,0.5 qt,,-,\n\
                03/03/2026,,,,,,1,,,topped\n";
    let (entries, rejections) = read_with(text, Some(&flights()), &aircraft(&["left", "right"]));
    assert_eq!(rejections, Vec::<String>::new());
    // 1 l = 1.0567 qt (NIST SP 811 B.8).
    assert_eq!(
        shown_all(&entries),
        [
            "2026-03-01 09:10 left oil-level l=8.454",
            "2026-03-01 09:10 right oil-added q=1.057 l=7.925",
            "2026-03-01 09:10 flight h=1483.5 f=1.2 s=training",
            "2026-03-01 14:00 flight h=1484.5 f=1 s=charter",
            "2026-03-02 left oil-added q=0.5 l=8.454",
            "2026-03-02 flight h=1485.5 f=1 s=training",
            "2026-03-03 left oil-added q=1.057",
        ]
    );
}

/// A name that stands for two columns would give one engine the other's oil.
#[test]
fn one_column_is_not_two_engines_oil() {
    let text = "Date,Off,Tach in,Time,Type,Dip,Oil,Dip,Oil,Notes\n03/01/2026,09:10,1483.5,1.2,T,8,,7.5,1,\n";
    let oil = |added: &str, level: &str| OilColumns {
        added: Some(added.to_owned()),
        level: Some(level.to_owned()),
        oil: None,
        unit: Some("l".to_owned()),
    };
    let mut layout = flights();
    layout.oil = [("left".to_owned(), oil("Oil", "Dip")), ("right".to_owned(), oil("Oil", "Dip"))].into();
    let both = aircraft(&["left", "right"]);
    let (entries, rejections) = read_with(text, Some(&layout), &both);
    assert_eq!(entries, []);
    assert_eq!(
        rejections,
        [
            "N0417H/logbook.csv:1: the oil column \"Oil\" for more than one engine (Date, Off, Tach in, Time, Type, Dip, Oil, \
             Dip, Oil, Notes), expected a column of its own for each engine (\"cowlwatch layout FILE\" proposes them)"
        ]
    );
    // With the row above it each has its own name, and a title above that is none of them.
    for [one, other] in [["Port", "Starboard"], ["Engine 1", "Engine 2"]] {
        let below = "Date,Off,Tach in,Time,Type,Dip,Oil,Dip,Oil,Notes\n";
        let above = format!("Flight log\n,,,,,{one},,{other},,\n{text}{below}");
        let under = |over: &str| oil(&format!("{over} Oil"), &format!("{} dip", over.to_lowercase()));
        layout.oil = [("left".to_owned(), under(one)), ("right".to_owned(), under(other))].into();
        let (entries, rejections) = read_with(&above, Some(&layout), &both);
        assert_eq!(rejections, Vec::<String>::new());
        assert_eq!(
            shown_all(&entries),
            [
                "2026-03-01 09:10 left oil-level l=8.454",
                "2026-03-01 09:10 right oil-added q=1.057 l=7.925",
                "2026-03-01 09:10 flight h=1483.5 f=1.2 s=training",
            ],
            "{one}"
        );
    }
}

#[test]
fn a_layout_that_does_not_fit_says_so() {
    let text = "Date,Off,Tach in,Time,Type,Dip L,Oil L,Dip R,Notes\n03/01/2026,09:10,1483.5,1.2,T,8,,7.5,\n";
    let (entries, rejections) = read_with(text, Some(&flights()), &aircraft(&["left", "right"]));
    assert_eq!(entries, []);
    assert_eq!(
        rejections,
        [
            "N0417H/logbook.csv:1: no column \"Oil R\" in the header (Date, Off, Tach in, Time, Type, Dip L, Oil L, Dip R, \
          Notes), expected the column that the layout in aircraft.toml names for oil added"
        ]
    );
    let text = "Date,Off,Tach in,Time,Dip L,Oil L,Dip R,Oil R\n2026-03-01,09:10,1483.5,1.2,8,,7.5,\n03/02/2026,09:10,1484.5,1,,,,\n";
    let (entries, rejections) = read_with(text, Some(&flights()), &aircraft(&["left", "right"]));
    assert_eq!(shown_all(&entries), ["2026-03-02 09:10 flight h=1484.5 f=1"]);
    assert_eq!(
        rejections,
        [
            "N0417H/logbook.csv:1: no column \"Type\" for service, \"Notes\" for remarks (Date, Off, Tach in, Time, Dip L, \
             Oil L, Dip R, Oil R), expected the columns that the layout in aircraft.toml names; the rows were read without",
            "N0417H/logbook.csv:2: Date \"2026-03-01 09:10\", expected a date written as \"%m/%d/%Y %H:%M\""
        ]
    );
}

#[test]
fn quantities_as_people_write_them() {
    let read = |text: &str| quantity(&Cell::text(text), None, Unit::Quarts).map(|q| (q.get() * 1e4).round() / 1e4);
    for (text, quarts) in [
        ("1", Some(1.0)),
        ("0.5", Some(0.5)),
        ("1,5", Some(1.5)),
        ("1 qt", Some(1.0)),
        ("1qt.", Some(1.0)),
        ("2 QTS", Some(2.0)),
        ("½", Some(0.5)),
        ("1½ qt", Some(1.5)),
        ("1 ½", Some(1.5)),
        ("1/2", Some(0.5)),
        ("1 1/2 qt", Some(1.5)),
        ("3/4", Some(0.75)),
        // 1 L = 1.056 688 2 US qt (NIST SP 811 B.8); 1 gal = 4 qt exactly.
        ("1 l", Some(1.0567)),
        ("1L", Some(1.0567)),
        ("0,5 litres", Some(0.5283)),
        ("500 ml", Some(0.5283)),
        ("1 gal", Some(4.0)),
        ("1O qt", None),
        ("1O", None),
        ("I qt", None),
        ("one", None),
        ("1 quail", None),
        ("1-2", None),
        ("1/0", None),
        ("5/4", None),
        ("qt", None),
        ("1 2/", None),
    ] {
        assert_eq!(read(text), quarts, "{text}");
    }
}

#[test]
fn lengths_as_people_write_them() {
    let read = |text: &str| hours(&Cell::text(text), None).map(|h| (h.get() * 1e4).round() / 1e4);
    for (text, value) in [
        ("1.4", Some(1.4)),
        ("1,4 h", Some(1.4)),
        ("1.4 hrs", Some(1.4)),
        ("1:24", Some(1.4)),
        ("01:24:00", Some(1.4)),
        ("1+24", Some(1.4)),
        ("84 min", Some(1.4)),
        ("1482:18", Some(1482.3)),
        ("1:60", None),
        ("1:2:3:4", None),
        ("abc", None),
        ("h", None),
        ("-1", None),
        ("1e9", None),
    ] {
        assert_eq!(read(text), value, "{text}");
    }
    assert_eq!(hours(&Cell::Span(1.4 / 24.0), None).map(|h| (h.get() * 1e9).round() / 1e9), Some(1.4));
}

fn orders(texts: &[&str]) -> Orders {
    let cells: Vec<Cell> = texts.iter().map(|t| Cell::text(t)).collect();
    Orders::of(cells.iter())
}

#[test]
fn the_whole_column_says_which_number_is_the_month() {
    assert_eq!(orders(&["3/1/2026"]).other, Order::MonthFirst);
    assert_eq!(orders(&["3/1/2026", "15/1/2026"]).other, Order::DayFirst);
    assert_eq!(orders(&["1/3/2026", "1/15/2026"]).other, Order::MonthFirst);
    // Day first these run on; month first they would not.
    assert_eq!(orders(&["28/02/26", "1/3/2026", "12/3/2026", "2/4/2026"]).other, Order::DayFirst);
    assert_eq!(orders(&["1/3/2026", "12/3/2026", "2/4/2026"]).other, Order::DayFirst);
    assert_eq!(orders(&["2/4/2026", "12/3/2026", "1/3/2026"]).other, Order::DayFirst);
    assert_eq!(orders(&["01.02.2026"]).dotted, Order::DayFirst);
    assert_eq!(orders(&["26-03-01", "26-03-02"]).other, Order::YearFirst);
    assert_eq!(orders(&["13-03-26", "14-03-26"]).other, Order::DayFirst);
}

fn stamp(cells: &[Cell]) -> Option<String> {
    let dates = Dates {
        format: None,
        orders: Orders { dotted: Order::DayFirst, other: Order::MonthFirst },
        epoch_1904: false,
        zone: None,
        fleet_zone: Tz::America__Denver,
    };
    let stamp = dates.stamp(&cells.iter().collect::<Vec<_>>())?;
    Some(format!("{}{}", stamp.date, stamp.time.map_or(String::new(), |t| t.format(" %H:%M").to_string())))
}

#[test]
fn dates_as_people_write_them() {
    for (text, read) in [
        ("2026-03-01", "2026-03-01"),
        ("2026/3/1", "2026-03-01"),
        ("2026.03.01", "2026-03-01"),
        ("20260301", "2026-03-01"),
        ("3/1/2026", "2026-03-01"),
        ("03/01/26", "2026-03-01"),
        ("1.3.2026", "2026-03-01"),
        ("01.03.26", "2026-03-01"),
        ("1-Mar-26", "2026-03-01"),
        ("1 Mar 2026", "2026-03-01"),
        ("01MAR26", "2026-03-01"),
        ("March 1, 2026", "2026-03-01"),
        ("Mar. 1st 2026", "2026-03-01"),
        ("Sun 1 Mar 2026", "2026-03-01"),
        ("2026 Mar 1", "2026-03-01"),
        ("1-Sept-2025", "2025-09-01"),
        ("12/31/69", "1969-12-31"),
        ("2026-03-01 14:05", "2026-03-01 14:05"),
        ("2026-03-01T14:05:30", "2026-03-01 14:05"),
        ("3/1/2026 2:05 PM", "2026-03-01 14:05"),
        ("1 Mar 2026 14:05", "2026-03-01 14:05"),
        // 14:05 UTC is 07:05 in Denver before summer time begins on 8 March 2026.
        ("2026-03-01T14:05:00Z", "2026-03-01 07:05"),
        ("2026-03-01T14:05:00+01:00", "2026-03-01 06:05"),
    ] {
        assert_eq!(stamp(&[Cell::text(text)]).as_deref(), Some(read), "{text}");
    }
    for text in [
        "2026-13-01",
        "13/13/2026",
        "Mar 2026",
        "1/3",
        "99999999",
        "32 Mar 2026",
        "2026-03-01 25:00",
        "1/3/202",
        "",
        "Foo 1 2026",
        "12:30",
    ] {
        assert_eq!(stamp(&[Cell::text(text)]), None, "{text}");
    }
}

/// ECMA-376 part 1, 18.17.4.1: serial 1 is 1900-01-01, and 1904 dates lie 1462 days on. 46082 is
/// 2026-03-01 (recomputed: 1899-12-30 plus 46082 days).
#[test]
fn serial_numbers_are_dates() {
    assert_eq!(stamp(&[Cell::Number(46_082.0)]).as_deref(), Some("2026-03-01"));
    assert_eq!(stamp(&[Cell::text("46082.5")]).as_deref(), Some("2026-03-01 12:00"));
    assert_eq!(stamp(&[Cell::Number(46_082.0), Cell::Number(1405.0)]).as_deref(), Some("2026-03-01 14:05"));
    assert_eq!(stamp(&[Cell::Number(46_082.0), Cell::Span(0.25)]).as_deref(), Some("2026-03-01 06:00"));
    assert_eq!(stamp(&[Cell::Number(12.0)]), None);
    let dates = Dates {
        format: None,
        orders: orders(&[]),
        epoch_1904: true,
        zone: Some(Tz::UTC),
        fleet_zone: Tz::America__Denver,
    };
    let date = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap();
    assert_eq!(dates.stamp(&[&Cell::Number(44_620.0)]).map(|s| s.date), Some(date));
    let local = dates.stamp(&[&Cell::text("2026-03-02"), &Cell::text("0030")]).unwrap();
    assert_eq!((local.date, local.time), (date, NaiveTime::from_hms_opt(17, 30, 0)));
}

#[test]
fn times_as_people_write_them() {
    for (text, read) in [
        ("14:05", Some("14:05")),
        ("1405", Some("14:05")),
        ("14h05", Some("14:05")),
        ("14.05", Some("14:05")),
        ("2:05 pm", Some("14:05")),
        ("12:05 AM", Some("00:05")),
        ("12 pm", Some("12:00")),
        ("0.381944444", Some("09:10")),
        ("13:05 pm", None),
        ("24:00", None),
        ("14:5x", None),
        ("", None),
    ] {
        let time = time_of_day(&Cell::text(text)).map(|t| t.format("%H:%M").to_string());
        assert_eq!(time.as_deref(), read, "{text}");
    }
}

#[test]
fn positions_are_the_aircrafts_own() {
    let (entries, rejections) = twin(
        "date,engine,hours,entry,quantity,level\n2026-03-01,LEFT,1,oil-level,,8\n2026-03-01,r,1,oil-level,,8\n\
         2026-03-01,both,1,oil-changed,,10\n",
    );
    assert_eq!(rejections, Vec::<String>::new());
    let engines: Vec<_> = entries.iter().map(|e| (e.engine.as_deref().unwrap(), e.kind)).collect();
    assert_eq!(
        engines,
        [
            ("left", EntryKind::OilLevel),
            ("right", EntryKind::OilLevel),
            ("left", EntryKind::OilChanged),
            ("right", EntryKind::OilChanged)
        ]
    );
}
