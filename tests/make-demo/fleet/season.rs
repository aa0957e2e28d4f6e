//! Sixteen months day by day: flying, dipping, pouring and changing oil, and writing it down.

use chrono::{Datelike, NaiveDate};

use super::random::Random;
use super::story::{self, Plan};
use super::world::{Dip, Dips, Entry, Happening, Leg, Sump, Tail, Tenths, day};
use super::{flights, shop};

/// The whole fleet.
pub struct Season {
    pub engines: Vec<Sump>,
    pub tails: Vec<Tail>,
}

/// Lives through the period.
pub fn live() -> Season {
    let mut season = Season { engines: super::world::engines(), tails: super::world::tails() };
    for tail in 0..season.tails.len() {
        for engine in season.seated(tail) {
            season.engines[engine].level = season.tails[tail].mark + 0.6;
        }
    }
    let (first, last) = story::period();
    for date in first.iter_days().take_while(|d| *d <= last) {
        for tail in 0..season.tails.len() {
            shop::morning(&mut season, tail, date);
            season.fly(tail, date);
            shop::evening(&mut season, tail, date);
        }
    }
    season
}

impl Season {
    /// The engines now in an aircraft.
    pub fn seated(&self, tail: usize) -> Vec<usize> {
        self.tails[tail].seats.iter().filter_map(|seat| seat.1).collect()
    }

    pub fn index(&self, serial: &str) -> usize {
        self.engines.iter().position(|e| e.serial == serial).unwrap_or(0)
    }

    /// Writes a line into an aircraft's log.
    pub fn note(&mut self, tail: usize, entry: Entry) {
        let meter = self.tails[tail].meter;
        self.tails[tail].log.push(Happening::Entry(Entry { meter, ..entry }));
    }

    /// Hours run, in the air or on the ground.
    pub fn run(&mut self, tail: usize, length: Tenths) {
        self.tails[tail].meter += length;
        for engine in self.seated(tail) {
            self.engines[engine].hours += length;
            self.engines[engine].since_build += length;
        }
    }

    fn fly(&mut self, tail: usize, date: NaiveDate) {
        let name = self.tails[tail].name;
        let mut random = Random::of(name, i64::from(date.num_days_from_ce()) + 1_000_000);
        for engine in self.seated(tail) {
            self.engines[engine].level += story::unlogged(name, date);
        }
        let mut off = random.whole(7 * 60, 9 * 60 + 30);
        for (place, planned) in story::plan(name, self.tails[tail].hours_per_week, date).into_iter().enumerate() {
            let (service, length) = self.fitted(tail, date, off, planned);
            off += if length.1 { 90 } else { 0 };
            let minutes = length.0 * 6 + 4;
            if off + minutes > 20 * 60 + 30 {
                break;
            }
            self.leg(tail, Slot { date, place, off, on: off + minutes }, (service, length.0), &mut random);
            off += minutes + random.whole(25, 80);
        }
    }

    /// The planned flight, cut short or after an oil change where the next one would be passed.
    /// The flag says that the oil was changed first.
    fn fitted(&mut self, tail: usize, date: NaiveDate, off: i64, planned: Plan) -> (&'static str, (Tenths, bool)) {
        let (service, length) = planned;
        let mut changed = false;
        for engine in self.seated(tail) {
            if self.engines[engine].until_change() < length.min(5) {
                shop::change_oil(self, tail, engine, date, off + 10);
                changed = true;
            }
        }
        let left = self.seated(tail).iter().map(|&e| self.engines[e].until_change()).min().unwrap_or(length);
        (service, (length.min(left.max(5)), changed))
    }

    fn leg(&mut self, tail: usize, slot: Slot, (service, length): Plan, random: &mut Random) {
        let name = self.tails[tail].name;
        let mut dips = Vec::new();
        for seat in 0..self.tails[tail].seats.len() {
            dips.extend(self.dip(tail, seat, &slot, random));
        }
        flights::record(self, tail, &slot, length);
        for engine in self.seated(tail) {
            let sump = &mut self.engines[engine];
            let burnt = story::rate(sump, slot.date) * story::service_factor(service) * length as f64 / 10.0;
            sump.level -= burnt * (1.0 + 0.15 * random.normal());
        }
        let meter_before = self.tails[tail].meter;
        self.run(tail, length);
        let Slot { date, place, off, on } = slot;
        let meter = written_meter(name, date, place, self.tails[tail].meter);
        let remarks = story::remark(name, date, place);
        self.tails[tail].log.push(Happening::Leg(Leg {
            date,
            off,
            on,
            meter_before,
            meter,
            length,
            service,
            dips,
            remarks,
        }));
    }

    /// The pilot's look at one engine's dipstick, and the oil poured if it stands at the mark.
    fn dip(&mut self, tail: usize, seat: usize, slot: &Slot, random: &mut Random) -> Option<Dip> {
        let aircraft = &self.tails[tail];
        let (position, engine) = aircraft.seats[seat];
        let (fill, mark, dips, name) = (aircraft.fill, aircraft.mark, aircraft.dips, aircraft.name);
        let sump = &mut self.engines[engine?];
        let step = match dips {
            Dips::Written { step } => step,
            Dips::AdditionsOnly => 0.25,
        };
        let read = ((sump.level + 0.17 * random.normal()) / step).round() * step;
        let written = dips != Dips::AdditionsOnly && (random.chance(0.88) || read <= mark);
        let mut added = String::new();
        let mut oil = "";
        // Nobody pours a quart into an engine that is about to be drained, or on top of a full one.
        let poured =
            f64::from(u8::from(read <= mark && fill - mark <= 1.0)) * if read <= mark - 1.0 { 2.0 } else { 1.0 };
        if poured > 0.0 {
            sump.level += poured;
            oil = sump.oil;
            added = written_quantity(name, slot.date, poured);
        }
        if let Some((wrote, wrong)) = story::mistake(name, position, slot.date, slot.place) {
            sump.level += if poured > 0.0 { 0.0 } else { 1.0 };
            added = wrote.into();
            oil = wrong;
        }
        (written || !added.is_empty()).then(|| Dip { seat: position, level: written.then_some(read), added, oil })
    }
}

/// One flight's place in the day: minutes at which it began and ended.
#[derive(Clone, Copy)]
pub struct Slot {
    pub date: NaiveDate,
    pub place: usize,
    pub off: i64,
    pub on: i64,
}

/// The reading as the pilot wrote it: once with two digits the wrong way round.
fn written_meter(tail: &str, date: NaiveDate, place: usize, meter: Tenths) -> Tenths {
    if tail != "N01KM" || date != day(2025, 10, 14) || place != 1 {
        return meter;
    }
    let (tens, ones) = (meter / 100 % 10, meter / 10 % 10);
    meter + (ones - tens) * 90
}

fn written_quantity(tail: &str, date: NaiveDate, poured: f64) -> String {
    let litres = tail == "N04KM" && date >= day(2026, 5, 18) && date <= day(2026, 5, 24);
    match tail {
        // A week with oil from a supplier who sells by the litre.
        "N04KM" if litres => format!("{:.2} l", poured * 0.946),
        "N01KM" => format!("{poured} qt"),
        _ => format!("{poured}"),
    }
}
