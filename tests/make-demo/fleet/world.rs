//! What truly happens to the invented fleet: engines with oil in them, aircraft with meters, and what was written down.
//!
//! Hours are whole tenths here, as meters read, so that no sum drifts.

use chrono::NaiveDate;

/// Tenths of an hour.
pub type Tenths = i64;

/// One engine.
pub struct Sump {
    pub serial: &'static str,
    pub model: &'static str,
    /// Time since new, and since the current build.
    pub hours: Tenths,
    pub since_build: Tenths,
    /// Built again within the period: its consumption settles from a high start.
    pub fresh: bool,
    /// What is truly in it, quarts.
    pub level: f64,
    pub oil: &'static str,
    /// `hours` and day of the last oil change.
    pub changed_at: Tenths,
    pub changed_on: NaiveDate,
    /// Break-in oil changes still to come, hours since build at which this shop will do them.
    pub changes_to_come: Vec<Tenths>,
}

impl Sump {
    /// Hours left until the shop changes the oil.
    pub fn until_change(&self) -> Tenths {
        match self.changes_to_come.first() {
            Some(point) => point - self.since_build,
            None => 500 - (self.hours - self.changed_at),
        }
    }

    /// A new build with the shop's plan.
    pub fn rebuilt(&mut self, plan: &[Tenths]) {
        self.since_build = 0;
        self.fresh = true;
        self.changes_to_come = plan.to_vec();
    }
}

/// Where and how levels are written down.
#[derive(Clone, Copy, PartialEq)]
pub enum Dips {
    /// Before most flights, to a half or quarter quart.
    Written { step: f64 },
    /// Only oil added is logged.
    AdditionsOnly,
}

/// One aircraft.
pub struct Tail {
    pub name: &'static str,
    pub meter_word: &'static str,
    pub meter: Tenths,
    pub meter_at_start: Tenths,
    /// Position (empty: the only engine) and index into the fleet's engines.
    pub seats: Vec<(&'static str, Option<usize>)>,
    pub hours_per_week: f64,
    /// Dipstick level after a refill, and the level at which oil is added.
    pub fill: f64,
    pub mark: f64,
    pub dips: Dips,
    pub log: Vec<Happening>,
    pub recordings: Vec<(String, Vec<u8>)>,
}

impl Tail {
    pub fn twin(&self) -> bool {
        self.seats.len() > 1
    }
}

/// A dipstick reading and the oil poured after it, before a flight.
#[derive(Clone, Default)]
pub struct Dip {
    pub seat: &'static str,
    pub level: Option<f64>,
    /// As written; empty for none.
    pub added: String,
    pub oil: &'static str,
}

/// A flight as logged.
#[derive(Clone)]
pub struct Leg {
    pub date: NaiveDate,
    /// Minutes of the local day at which it began and ended.
    pub off: i64,
    pub on: i64,
    /// The readings at its beginning and, as written, at its end.
    pub meter_before: Tenths,
    pub meter: Tenths,
    pub length: Tenths,
    pub service: &'static str,
    pub dips: Vec<Dip>,
    pub remarks: &'static str,
}

/// Anything else in the log.
#[derive(Clone, Default)]
pub struct Entry {
    pub date: NaiveDate,
    pub minute: i64,
    pub seat: &'static str,
    pub meter: Tenths,
    pub what: &'static str,
    pub level: Option<f64>,
    pub oil: &'static str,
    pub length: Option<Tenths>,
    pub result: &'static str,
    pub serial: &'static str,
    pub remarks: String,
}

/// A line of the log.
#[derive(Clone)]
pub enum Happening {
    Leg(Leg),
    Entry(Entry),
}

/// `2026-03-01`; the dates of the story are all real ones.
pub fn day(year: i32, month: u32, day: u32) -> NaiveDate {
    NaiveDate::from_ymd_opt(year, month, day).unwrap_or_default()
}

fn sump(serial: &'static str, model: &'static str, since_new: Tenths, since_build: Tenths, oil: &'static str) -> Sump {
    Sump {
        serial,
        model,
        hours: since_new,
        since_build,
        fresh: false,
        level: 0.0,
        oil,
        changed_at: since_new,
        changed_on: day(2025, 6, 1),
        changes_to_come: Vec::new(),
    }
}

/// The engines. Serials, models and hours are invented.
pub fn engines() -> Vec<Sump> {
    let mut all = vec![
        sump("E-0101", "Q4-180", 31_052, 11_052, "AD 50"),
        sump("E-0200", "Q6-300", 17_000, 17_000, "AD 50"),
        sump("E-0201", "Q6-300", 19_876, 19_876, "mineral 50"),
        sump("E-0311", "Q6T-310", 22_400, 6_400, "AD 50"),
        sump("E-0312", "Q6T-310", 22_400, 6_400, "AD 50"),
        sump("E-0403", "Q6-260", 9_024, 9_024, "AD 50"),
        sump("E-0404", "Q6-260", 19_110, 19_110, "AD 50"),
        sump("E-0501", "Q6T-325", 7_150, 7_150, "AD 50"),
        sump("E-0601", "Q6-260", 15_030, 3_030, "AD 50"),
        sump("E-0602", "Q6-260", 15_030, 3_030, "AD 50"),
        sump("E-0701", "Q4-180", 3_120, 3_120, "AD 50"),
        sump("E-0801", "Q6-300", 13_100, 13_100, "AD 50"),
    ];
    for (place, engine) in all.iter_mut().enumerate() {
        // Somewhere within the interval when the records begin, each at another place.
        engine.changed_at -= 60 + 37 * (place as Tenths % 9);
        // N03KM's left engine is not to be drained while its story runs.
        engine.changed_at -= if engine.serial == "E-0311" { 170 } else { 0 };
    }
    all
}

fn tail(name: &'static str, seats: &[(&'static str, usize)], week: f64, fill: f64, mark: f64, dips: Dips) -> Tail {
    Tail {
        name,
        meter_word: "tach",
        meter: 0,
        meter_at_start: 0,
        seats: seats.iter().map(|&(position, engine)| (position, Some(engine))).collect(),
        hours_per_week: week,
        fill,
        mark,
        dips,
        log: Vec::new(),
        recordings: Vec::new(),
    }
}

/// The aircraft as the records begin. N01KM's meter is set so that the story's transposed reading falls on 2746.0.
pub fn tails() -> Vec<Tail> {
    let half = Dips::Written { step: 0.5 };
    let quarter = Dips::Written { step: 0.25 };
    let mut all = vec![
        tail("N01KM", &[("", 0)], 9.0, 7.0, 6.0, half),
        tail("N02KM", &[("", 1)], 11.0, 11.0, 10.0, half),
        tail("N03KM", &[("left", 3), ("right", 4)], 14.0, 11.0, 10.0, half),
        tail("N04KM", &[("left", 5), ("right", 6)], 10.0, 10.0, 9.0, quarter),
        tail("N05KM", &[("", 7)], 9.0, 10.0, 9.0, quarter),
        tail("N06KM", &[("left", 8), ("right", 9)], 8.0, 10.0, 9.0, Dips::AdditionsOnly),
        tail("N07KM", &[("", 10)], 12.0, 7.0, 6.0, half),
        tail("N08KM", &[("", 11)], 8.0, 11.0, 10.0, Dips::AdditionsOnly),
    ];
    let meters = [26_310, 41_703, 35_128, 28_846, 7_150, 15_030, 16_012, 14_216];
    for (aircraft, meter) in all.iter_mut().zip(meters) {
        aircraft.meter = meter;
        aircraft.meter_at_start = meter;
    }
    all[7].meter_word = "hobbs";
    all
}
