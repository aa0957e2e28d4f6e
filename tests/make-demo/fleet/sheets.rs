//! The logs as their keepers write them: one writer per layout.

use super::recording::windows_1252;
use super::world::{Dip, Entry, Happening, Leg, Tail, Tenths};

fn hours(tenths: Tenths) -> String {
    format!("{}.{}", tenths / 10, tenths % 10)
}

fn clock(minute: i64) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

fn level(value: Option<f64>) -> String {
    value.map_or(String::new(), |v| format!("{v}"))
}

fn quoted(text: &str) -> String {
    if text.contains([',', ';']) { format!("\"{text}\"") } else { text.into() }
}

/// One line of the standard layout, before it is cut into columns.
#[derive(Default)]
struct Line {
    date: String,
    time: String,
    engine: String,
    hours: String,
    entry: String,
    quantity: String,
    level: String,
    oil: String,
    flight_hours: String,
    service: String,
    result: String,
    serial: String,
    remarks: String,
}

impl Line {
    fn cells(&self) -> [&str; 13] {
        [
            &self.date,
            &self.time,
            &self.engine,
            &self.hours,
            &self.entry,
            &self.quantity,
            &self.level,
            &self.oil,
            &self.flight_hours,
            &self.service,
            &self.result,
            &self.serial,
            &self.remarks,
        ]
    }
}

const STANDARD: &str = "date,time,engine,hours,entry,quantity,level,oil,flight_hours,service,result,serial,remarks\n";

fn of_entry(entry: &Entry) -> Line {
    Line {
        date: entry.date.to_string(),
        time: clock(entry.minute),
        engine: entry.seat.into(),
        hours: hours(entry.meter),
        entry: entry.what.into(),
        level: level(entry.level),
        oil: entry.oil.into(),
        flight_hours: entry.length.map_or(String::new(), hours),
        result: entry.result.into(),
        serial: entry.serial.into(),
        remarks: entry.remarks.clone(),
        ..Line::default()
    }
}

fn of_dip(leg: &Leg, dip: &Dip) -> Line {
    Line {
        date: leg.date.to_string(),
        time: clock(leg.off - 15),
        engine: dip.seat.into(),
        hours: hours(leg.meter_before),
        entry: if dip.added.is_empty() { "oil-level" } else { "oil-added" }.into(),
        quantity: dip.added.clone(),
        level: level(dip.level),
        oil: dip.oil.into(),
        ..Line::default()
    }
}

/// `level_in_flight`: a reading without an addition stands in the flight's own row.
fn lines(log: &[Happening], level_in_flight: bool) -> Vec<Line> {
    let mut lines = Vec::new();
    for happening in log {
        match happening {
            Happening::Entry(entry) => lines.push(of_entry(entry)),
            Happening::Leg(leg) => {
                let in_row = |dip: &Dip| level_in_flight && dip.added.is_empty();
                lines.extend(leg.dips.iter().filter(|d| !in_row(d)).map(|d| of_dip(leg, d)));
                lines.push(Line {
                    date: leg.date.to_string(),
                    time: clock(leg.on),
                    hours: hours(leg.meter),
                    entry: "flight".into(),
                    level: leg.dips.iter().find(|d| in_row(d)).map_or(String::new(), |d| level(d.level)),
                    flight_hours: hours(leg.length),
                    service: leg.service.into(),
                    remarks: leg.remarks.into(),
                    ..Line::default()
                });
            }
        }
    }
    lines
}

fn csv(lines: &[Line]) -> String {
    let mut text = String::from(STANDARD);
    for line in lines {
        text += &line.cells().map(quoted).join(",");
        text.push('\n');
    }
    text
}

/// Entries that are not flights, in the standard layout.
fn maintenance(tail: &Tail) -> (String, Vec<u8>) {
    let entries: Vec<Line> = tail
        .log
        .iter()
        .filter_map(|h| match h {
            Happening::Entry(entry) => Some(of_entry(entry)),
            Happening::Leg(_) => None,
        })
        .collect();
    ("maintenance.csv".into(), csv(&entries).into_bytes())
}

fn legs(tail: &Tail) -> impl Iterator<Item = &Leg> {
    tail.log.iter().filter_map(|h| match h {
        Happening::Leg(leg) => Some(leg),
        Happening::Entry(_) => None,
    })
}

fn dip<'a>(leg: &'a Leg, seat: &str) -> Option<&'a Dip> {
    leg.dips.iter().find(|d| d.seat == seat)
}

/// One row per flight of a twin, US dates, an oil column per engine.
fn per_flight_twin(tail: &Tail) -> String {
    let mut text = String::from("Date,Off,Tach in,Time,Type,Dip L,Oil L,Dip R,Oil R,Notes\n");
    for leg in legs(tail) {
        let side = |seat| {
            let dip = dip(leg, seat);
            format!("{},{}", level(dip.and_then(|d| d.level)), dip.map_or("", |d| d.added.as_str()))
        };
        text += &format!(
            "{},{},{},{},{},{},{},{}\n",
            leg.date.format("%-m/%-d/%Y"),
            clock(leg.off),
            hours(leg.meter),
            hours(leg.length),
            letter(leg.service),
            side("left"),
            side("right"),
            quoted(leg.remarks)
        );
    }
    text
}

fn letter(service: &str) -> &'static str {
    match service {
        "training" => "T",
        "ferry" => "F",
        _ => "C",
    }
}

/// One row per flight of a single, oil only where it was added, a blank row after every month.
fn per_flight_single(tail: &Tail) -> String {
    use chrono::Datelike;
    let mut text = String::from("Flown on,Block off,Hobbs in,Flight time,Kind,Oil added (qt),Remarks\n");
    let mut month = None;
    for leg in legs(tail) {
        if month.is_some_and(|m| m != leg.date.month()) {
            text += ",,,,,,\n";
        }
        month = Some(leg.date.month());
        let added = dip(leg, "").map_or("", |d| d.added.as_str());
        text += &format!(
            "{},{},{},{},{},{added},{}\n",
            leg.date.format("%d-%b-%Y"),
            clock(leg.off),
            hours(leg.meter),
            hours(leg.length),
            leg.service,
            quoted(leg.remarks)
        );
    }
    text
}

/// Semicolons, decimal commas, days first, words of another language.
fn semicolons(tail: &Tail) -> String {
    let word = |entry: &str| match entry {
        "flight" => "Flug",
        "ground-run" => "Standlauf",
        "oil-level" => "Ölstand",
        "oil-added" => "Öl nachgefüllt",
        "oil-changed" => "Ölwechsel",
        "filter-inspected" => "Filter geöffnet",
        "top-overhauled" => "Zylinder überholt",
        _ => "Vermerk",
    };
    let mut text = String::from("Datum;Uhrzeit;Zähler;Vorgang;Menge;Stand;Öl;Dauer;Zweck;Ergebnis;Bemerkung\r\n");
    for line in lines(&tail.log, false) {
        let date = line.date.split('-').rev().collect::<Vec<_>>().join(".");
        let comma = |text: &str| text.replace('.', ",");
        let cells = [
            date,
            line.time.clone(),
            comma(&line.hours),
            word(&line.entry).into(),
            comma(&line.quantity),
            comma(&line.level),
            line.oil.clone(),
            comma(&line.flight_hours),
            line.service.clone(),
            line.result.clone(),
            line.remarks.clone(),
        ];
        text += &cells.join(";");
        text += "\r\n";
    }
    text
}

/// An aircraft's logs: names under its folder, and bytes.
pub fn logs(tail: &Tail) -> Vec<(String, Vec<u8>)> {
    let one = |name: &str, bytes: Vec<u8>| vec![(name.to_owned(), bytes)];
    match tail.name {
        "N02KM" => {
            let all = lines(&tail.log, true);
            let (old, new): (Vec<Line>, Vec<Line>) = all.into_iter().partition(|l| l.date.starts_with("2025"));
            let mut files = one("logbook-2025.csv", csv(&old).into_bytes());
            files.extend(one("logbook-2026.csv", csv(&new).into_bytes()));
            files
        }
        "N03KM" => {
            let mut files = one("flight log.csv", per_flight_twin(tail).into_bytes());
            files.push(maintenance(tail));
            files
        }
        "N04KM" => one("flight log.xlsx", super::workbook::bytes(tail)),
        "N05KM" => one("Bordbuch.csv", windows_1252(&semicolons(tail))),
        "N08KM" => {
            let mut files = one("flights.csv", per_flight_single(tail).into_bytes());
            files.push(maintenance(tail));
            files
        }
        _ => one("logbook.csv", csv(&lines(&tail.log, false)).into_bytes()),
    }
}
