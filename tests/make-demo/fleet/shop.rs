//! What the mechanics do: oil changes on time (but for the story), engines built, moved and mended.

use chrono::{Datelike, NaiveDate};

use super::flights;
use super::random::Random;
use super::season::Season;
use super::world::{Entry, Happening, day};

/// Work and ground runs before the day's flying.
pub fn morning(season: &mut Season, tail: usize, date: NaiveDate) {
    let name = season.tails[tail].name;
    let at = |minute: i64, what: &'static str| Entry { date, minute, what, ..Entry::default() };
    let on = |y, m, d| date == day(y, m, d);
    match name {
        "N01KM" => avionics_fault(season, tail, date),
        "N02KM" if on(2026, 2, 10) => remove(season, tail, 0, date, "for overhaul"),
        "N02KM" if on(2026, 3, 3) => {
            // The first change will be missed: the shop believed the old plan held.
            install_fresh(season, tail, "E-0201", date, &[134, 256, 498]);
            flights::ground(
                season,
                tail,
                (date, 14 * 60 + 5),
                &flights::Ground { minutes: 14.0, rpm: 1700.0, cht: 391.0 },
                2,
            );
        }
        "N03KM" if on(2026, 2, 21) => {
            let work =
                "turbocharger oil return line leaking at the elbow, line replaced, belly cleaned, leak check good";
            season.note(tail, Entry { seat: "left", remarks: work.into(), ..at(15 * 60 + 20, "action") });
        }
        "N04KM" if on(2025, 11, 18) => remove(season, tail, 1, date, "for overhaul"),
        "N04KM" if on(2025, 11, 20) => {
            install(season, tail, "E-0602", date);
            let engine = season.index("E-0602");
            change_oil(season, tail, engine, date, 15 * 60 + 30);
        }
        "N05KM" if on(2025, 9, 15) => {
            top_overhaul(season, tail, date);
        }
        "N06KM" if on(2025, 11, 14) => {
            remove(season, tail, 1, date, "lent to N04KM while corrosion work is done");
        }
        "N06KM" if on(2026, 1, 26) => {
            install_fresh(season, tail, "E-0404", date, &[49, 249, 498]);
            let left = season.index("E-0601");
            change_oil(season, tail, left, date, 12 * 60 + 30);
            short_run(season, tail, date, 2.6, 235.0);
        }
        "N06KM" if date > day(2025, 11, 14) && date < day(2026, 1, 26) && date.ordinal() % 8 == 3 => {
            season.note(tail, Entry { remarks: "corrosion work goes on".into(), ..at(16 * 60, "note") });
        }
        "N07KM" if on(2026, 8, 5) => {
            let old = season.tails[tail].meter as f64 / 10.0;
            season.tails[tail].meter = 0;
            let work = format!("tachometer replaced, the old one read {old:.1}");
            season.note(tail, Entry { remarks: work, ..at(6 * 60 + 40, "meter-changed") });
        }
        "N08KM" if on(2026, 8, 3) => {
            two_cylinders(season, tail, date);
        }
        _ => {}
    }
}

/// Oil changes the story asks for on a day, and those that are near in any case.
pub fn evening(season: &mut Season, tail: usize, date: NaiveDate) {
    if super::story::down(season.tails[tail].name, date) {
        return;
    }
    // When the day's last flight is home, or late in the afternoon.
    let landed = season.tails[tail].log.last().map_or(0, |h| match h {
        Happening::Leg(leg) if leg.date == date => leg.on,
        _ => 0,
    });
    let closing = (landed + 40).max(16 * 60 + 30);
    for engine in season.seated(tail) {
        let (serial, left) = (season.engines[engine].serial, season.engines[engine].until_change());
        let break_in = !season.engines[engine].changes_to_come.is_empty();
        let metal = serial == "E-0801" && date == day(2026, 7, 20);
        let soon = if break_in { 5 } else { 20 };
        let months = (date - season.engines[engine].changed_on).num_days() >= 117;
        if metal || months || left < soon {
            if serial == "E-0601" && date >= day(2026, 4, 1) {
                season.engines[engine].oil = "AD 20W-50";
            }
            change_oil(season, tail, engine, date, closing);
        }
    }
}

fn seat_of(season: &Season, tail: usize, engine: usize) -> &'static str {
    season.tails[tail].seats.iter().find(|s| s.1 == Some(engine)).map_or("", |s| s.0)
}

/// Drain, refill, and a look into the filter.
pub fn change_oil(season: &mut Season, tail: usize, engine: usize, date: NaiveDate, minute: i64) {
    let sump = &mut season.engines[engine];
    if !sump.changes_to_come.is_empty() {
        sump.changes_to_come.remove(0);
        // The last break-in change takes an engine off mineral oil.
        if sump.changes_to_come.is_empty() && sump.oil == "mineral 50" {
            sump.oil = "AD 50";
        }
    }
    fill(season, tail, engine, date, minute);
    let metal = season.engines[engine].serial == "E-0801" && date == day(2026, 7, 20);
    let trace = season.engines[engine].fresh && season.engines[engine].changes_to_come.len() == 2;
    let (result, remarks) = match (metal, trace) {
        (true, _) => ("metal", "ferrous slivers, about a dozen, magnetic"),
        (_, true) => ("trace", "fine shine, as usual after new rings"),
        _ => ("clean", ""),
    };
    let seat = seat_of(season, tail, engine);
    let what = "filter-inspected";
    season.note(
        tail,
        Entry { date, minute: minute + 20, seat, what, result, remarks: remarks.into(), ..Entry::default() },
    );
}

fn fill(season: &mut Season, tail: usize, engine: usize, date: NaiveDate, minute: i64) {
    let mut random = Random::of(season.engines[engine].serial, i64::from(date.num_days_from_ce()));
    let seat = seat_of(season, tail, engine);
    let fill = season.tails[tail].fill;
    let sump = &mut season.engines[engine];
    sump.level = fill + 0.12 * random.normal();
    sump.changed_at = sump.hours;
    sump.changed_on = date;
    let (oil, level) = (sump.oil, Some(fill));
    season.note(tail, Entry { date, minute, seat, what: "oil-changed", level, oil, ..Entry::default() });
}

fn remove(season: &mut Season, tail: usize, seat: usize, date: NaiveDate, why: &str) {
    let (position, engine) = season.tails[tail].seats[seat];
    let serial = engine.map_or("", |e| season.engines[e].serial);
    season.tails[tail].seats[seat].1 = None;
    let (what, remarks) = ("removed", format!("{serial} {why}"));
    season.note(tail, Entry { date, minute: 9 * 60, seat: position, what, serial, remarks, ..Entry::default() });
}

fn install(season: &mut Season, tail: usize, serial: &'static str, date: NaiveDate) {
    let engine = season.index(serial);
    let mut position = "";
    if let Some(seat) = season.tails[tail].seats.iter_mut().find(|s| s.1.is_none()) {
        seat.1 = Some(engine);
        position = seat.0;
    }
    let (what, remarks) = ("installed", format!("{serial} installed, leak check good"));
    season.note(tail, Entry { date, minute: 9 * 60 + 30, seat: position, what, serial, remarks, ..Entry::default() });
}

/// An engine back from overhaul, filled with mineral oil.
fn install_fresh(season: &mut Season, tail: usize, serial: &'static str, date: NaiveDate, plan: &[i64]) {
    install(season, tail, serial, date);
    let engine = season.index(serial);
    let seat = seat_of(season, tail, engine);
    season.engines[engine].rebuilt(plan);
    season.engines[engine].oil = "mineral 50";
    let remarks = format!("{serial} overhauled by the shop, new cylinders");
    let what = "overhauled";
    season.note(tail, Entry { date, minute: 9 * 60 + 40, seat, what, serial, remarks, ..Entry::default() });
    fill(season, tail, engine, date, 11 * 60);
}

/// Three days of running on the ground for an electrical fault, the last one hot.
fn avionics_fault(season: &mut Season, tail: usize, date: NaiveDate) {
    let table = [(2, 22.0, 371.0, 2), (3, 31.0, 388.0, 3), (4, 38.0, 402.0, 4)];
    if let Some(&(_, minutes, cht, tenths)) = table.iter().find(|row| date == day(2026, 2, row.0)) {
        flights::ground(season, tail, (date, 10 * 60 + 15), &flights::Ground { minutes, rpm: 1200.0, cht }, tenths);
    }
}

/// A first run of a new build as it should be.
fn short_run(season: &mut Season, tail: usize, date: NaiveDate, minutes: f64, cht: f64) {
    flights::ground(season, tail, (date, 14 * 60), &flights::Ground { minutes, rpm: 1200.0, cht }, 0);
}

fn top_overhaul(season: &mut Season, tail: usize, date: NaiveDate) {
    let at = |minute: i64, what: &'static str| Entry { date, minute, what, ..Entry::default() };
    let engine = season.index("E-0501");
    season.engines[engine].rebuilt(&[50, 247, 497]);
    let work = "all six cylinders replaced, exhaust valves of the old ones leaking";
    season.note(tail, Entry { remarks: work.into(), ..at(10 * 60, "top-overhauled") });
    fill(season, tail, engine, date, 11 * 60);
    short_run(season, tail, date, 2.6, 240.0);
}

fn two_cylinders(season: &mut Season, tail: usize, date: NaiveDate) {
    let at = |minute: i64, what: &'static str| Entry { date, minute, what, ..Entry::default() };
    let engine = season.index("E-0801");
    season.engines[engine].rebuilt(&[49, 248, 497]);
    let work = "cylinders 3 and 5 replaced after metal in the filter, remaining ones inspected";
    season.note(tail, Entry { remarks: work.into(), ..at(9 * 60 + 30, "cylinder-replaced") });
    fill(season, tail, engine, date, 11 * 60);
    short_run(season, tail, date, 2.7, 245.0);
    let work = "metal traced to rings of cylinders 3 and 5, filter clean after test run";
    season.note(tail, Entry { remarks: work.into(), ..at(16 * 60, "action") });
}
