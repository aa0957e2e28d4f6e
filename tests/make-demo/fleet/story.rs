//! The stories: what is true of each engine on each day, apart from ordinary flying.

use chrono::{Datelike, NaiveDate};

use super::random::Random;
use super::world::{Sump, Tenths, day};

/// First and last day of the records.
pub fn period() -> (NaiveDate, NaiveDate) {
    (day(2025, 7, 1), day(2026, 10, 31))
}

fn within(date: NaiveDate, from: (i32, u32, u32), to: (i32, u32, u32)) -> bool {
    date >= day(from.0, from.1, from.2) && date <= day(to.0, to.1, to.2)
}

/// True consumption, quarts per hour of the meter. The numbers are the story's.
pub fn rate(engine: &Sump, date: NaiveDate) -> f64 {
    let h = engine.since_build as f64 / 10.0;
    let settling = |settled: f64, extra: f64, tau: f64| settled + extra * libm::exp(-h / tau);
    match engine.serial {
        // Seasonal: highest at the end of July, lowest at the end of January.
        "E-0101" => 0.085 + 0.010 * libm::cos(std::f64::consts::TAU * (f64::from(date.ordinal()) - 211.0) / 365.0),
        "E-0200" => 0.13,
        "E-0201" => settling(0.14, 0.31, 9.0),
        "E-0311" if within(date, (2026, 2, 9), (2026, 2, 20)) => 0.24,
        "E-0311" => 0.11,
        "E-0312" => 0.10,
        "E-0403" => 0.12,
        "E-0404" if engine.fresh => settling(0.13, 0.27, 9.0),
        "E-0404" => 0.17,
        "E-0501" if engine.fresh => settling(0.12, 0.24, 8.0),
        // Exhaust valves that begin to leak.
        "E-0501" => 0.22 + 0.04 * (h - 715.0) / 97.7,
        "E-0601" if engine.oil == "AD 20W-50" => 0.085,
        "E-0601" => 0.13,
        "E-0602" => 0.08,
        // Cold short hops: water and fuel take the place of the oil that is burnt.
        "E-0701" if within(date, (2026, 1, 8), (2026, 1, 20)) => -0.033,
        "E-0701" => 0.09,
        "E-0801" if engine.fresh => settling(0.11, 0.13, 8.0),
        // Slow wear.
        _ => 0.09 + 0.12 * (h - 1310.0) / 557.0,
    }
}

/// Days on which an aircraft does not fly.
pub fn down(tail: &str, date: NaiveDate) -> bool {
    match tail {
        "N01KM" => within(date, (2026, 8, 3), (2026, 8, 28)) || within(date, (2026, 2, 2), (2026, 2, 4)),
        "N02KM" => within(date, (2026, 2, 10), (2026, 3, 3)),
        "N03KM" => date == day(2026, 2, 21),
        "N04KM" => within(date, (2025, 11, 18), (2025, 11, 20)),
        "N05KM" => within(date, (2025, 9, 8), (2025, 9, 15)),
        "N06KM" => within(date, (2025, 11, 12), (2026, 1, 26)),
        "N08KM" => within(date, (2026, 7, 21), (2026, 8, 3)),
        _ => false,
    }
}

/// A planned flight: kind of service and length.
pub type Plan = (&'static str, Tenths);

/// Flights the story needs as they are.
fn scripted(tail: &str, date: NaiveDate) -> Option<Vec<Tenths>> {
    let place = |from: NaiveDate| (date - from).num_days();
    let table: &[&[Tenths]] = match tail {
        "N01KM" if within(date, (2025, 10, 13), (2025, 10, 16)) => &[&[11], &[9, 13], &[13], &[8, 10]],
        "N02KM" if within(date, (2026, 3, 4), (2026, 3, 12)) => {
            &[&[9], &[12], &[15], &[13], &[14], &[11, 12], &[16], &[15], &[16]]
        }
        "N03KM" if within(date, (2026, 2, 9), (2026, 2, 20)) => {
            &[&[12, 11], &[13], &[10, 12], &[14], &[9, 11], &[15], &[], &[11, 12], &[14, 8], &[12], &[13, 11], &[10]]
        }
        "N07KM" if within(date, (2026, 1, 8), (2026, 1, 20)) => &[
            &[4, 4],
            &[4, 3],
            &[4, 4],
            &[],
            &[4, 3],
            &[4, 4],
            &[4, 4, 3],
            &[4, 3],
            &[4, 4],
            &[4, 4],
            &[3, 4],
            &[4, 4],
            &[4, 3, 4],
        ],
        "N05KM" if within(date, (2025, 9, 16), (2025, 9, 22)) => &[&[10], &[14], &[], &[13], &[12], &[15, 8], &[11]],
        "N05KM" if date == day(2025, 12, 9) => return Some(vec![12]),
        "N06KM" if within(date, (2026, 1, 27), (2026, 2, 3)) => &[&[12], &[9], &[14], &[], &[13], &[], &[11], &[10, 9]],
        "N07KM" if [day(2026, 6, 3), day(2026, 6, 15), day(2026, 6, 24)].contains(&date) => return Some(vec![11, 10]),
        _ => return None,
    };
    let first = match tail {
        "N01KM" => day(2025, 10, 13),
        "N02KM" => day(2026, 3, 4),
        "N03KM" => day(2026, 2, 9),
        "N05KM" => day(2025, 9, 16),
        "N06KM" => day(2026, 1, 27),
        _ => day(2026, 1, 8),
    };
    table.get(usize::try_from(place(first)).unwrap_or(usize::MAX)).map(|legs| legs.to_vec())
}

/// What an aircraft flies on a day. Ordinary days: several flights on some, none on others.
pub fn plan(tail: &str, hours_per_week: f64, date: NaiveDate) -> Vec<Plan> {
    if down(tail, date) {
        return Vec::new();
    }
    let mut random = Random::of(tail, i64::from(date.num_days_from_ce()));
    if let Some(legs) = scripted(tail, date) {
        return legs.into_iter().map(|length| ("charter", length)).collect();
    }
    let busy = match date.weekday() {
        chrono::Weekday::Sun => 0.6,
        chrono::Weekday::Sat => 0.9,
        _ => 1.1,
    };
    if random.chance(0.15) {
        return Vec::new();
    }
    let mean = hours_per_week / 7.0 / 1.15 / 0.85 * busy;
    let flights = (mean * random.between(0.0, 2.0) + random.unit()) as usize;
    (0..flights.min(4)).map(|_| leg(&mut random)).collect()
}

fn leg(random: &mut Random) -> Plan {
    let which = random.unit();
    if which < 0.72 {
        ("charter", random.whole(8, 19))
    } else if which < 0.90 {
        ("training", random.whole(6, 13))
    } else {
        ("ferry", random.whole(4, 9))
    }
}

/// How much more or less oil a kind of service takes.
pub fn service_factor(service: &str) -> f64 {
    match service {
        "training" => 1.12,
        "ferry" => 0.95,
        _ => 1.0,
    }
}

/// Oil poured in before the first flight of a day that nobody logged, quarts.
pub fn unlogged(tail: &str, date: NaiveDate) -> f64 {
    match tail {
        "N07KM" if date == day(2026, 6, 3) || date == day(2026, 6, 24) => 1.0,
        "N07KM" if date == day(2026, 6, 15) => 1.25,
        _ => 0.0,
    }
}

/// A quart logged wrongly before a flight: what was written, and the oil it says.
pub fn mistake(tail: &str, seat: &str, date: NaiveDate, place: usize) -> Option<(&'static str, &'static str)> {
    match (tail, seat, place) {
        // Ashless dispersant oil into an engine on mineral oil, and the reverse.
        ("N06KM", "right", 0) if date == day(2026, 2, 3) => Some(("1", "AD 50")),
        ("N05KM", _, 1) if date == day(2025, 9, 21) => Some(("1 qt", "straight mineral 100")),
        // A letter where a nought was meant to be a blank.
        ("N05KM", _, 0) if date == day(2025, 12, 9) => Some(("1O qt", "AD 50")),
        _ => None,
    }
}

/// What the pilot wrote beside a flight.
pub fn remark(tail: &str, date: NaiveDate, place: usize) -> &'static str {
    match (tail, place) {
        ("N03KM", 1) if date == day(2026, 2, 16) => "oil on L gear door",
        ("N02KM", 0) if date == day(2026, 3, 6) => "long leg at 11,500 ft for weather",
        ("N02KM", 0) if date == day(2026, 3, 8) => "quick descent asked for by approach",
        ("N05KM", 0) if date.day() % 9 == 4 => "Landeplatz Piñon, 20 °C",
        ("N05KM", 0) if date.day() % 11 == 7 => "Gäste für Höhenweg",
        ("N08KM", 0) if date.day() % 10 == 3 => "two pax, bags; full fuel",
        ("N04KM", 0) if date.day() % 13 == 5 => "wet strip",
        _ => "",
    }
}
