//! Joins every tail's records into engines: one pass over the whole fleet in order of time.

use std::collections::BTreeMap;
use std::sync::Arc;

use chrono::TimeDelta;
use chrono_tz::Tz;

use super::clock::{self, Clock, Row};
use super::order;
use super::recorder_clock::{self, Logged, Off};
use super::{AircraftHistory, Build, Engine, Event, Fleet, Model, Models, Placement, Query, What};
use crate::records::aircraft::{BuildKind, InstalledEngine, Meter};
use crate::records::{EntryKind, Instant, LogEntry, RunSummary, Source, TailRecords};

/// Puts the whole fleet's records in order of time and by engine. Records after `as_of` are unseen.
pub fn build(tails: &[TailRecords], models: &Models, zone: Tz, as_of: Instant, tolerance_h: f64) -> Fleet {
    let mut joined = Joined { models, zone, fleet: Fleet::default(), by_serial: BTreeMap::new(), tails: Vec::new() };
    let mut items = Vec::new();
    for (index, tail) in tails.iter().enumerate() {
        let entries = order::in_order(&tail.entries, zone, as_of);
        let runs: Vec<&RunSummary> = tail.runs.iter().filter(|r| r.end <= as_of).collect();
        let first = entries.first().map(|e| e.0).into_iter().chain(runs.iter().map(|r| r.start)).min();
        items.push((first.unwrap_or(as_of), 0, index, Item::Start));
        items.extend(entries.iter().enumerate().map(|(row, e)| (e.0, 1, index, Item::Entry(row, e.1))));
        let clocks_off = joined.question_recorder(&tail.aircraft.tail, &entries, &runs);
        items.extend(runs.iter().map(|&r| {
            let by = clocks_off.iter().rev().find(|c| c.holds(r)).map_or(0, |c| c.hours);
            ((r.end + TimeDelta::hours(by)).min(as_of), 2, index, Item::Run(r))
        }));
        let state = TailState::new(&tail.aircraft, &entries, tolerance_h);
        joined.question_clocks(&state, &entries);
        joined.tails.push(state);
    }
    items.sort_by_key(|&(at, rank, tail, _)| (at, rank, tail));
    for (at, _, tail, item) in items {
        match item {
            Item::Start => joined.start(tail, at),
            Item::Entry(row, entry) => joined.entry(tail, at, row, entry),
            Item::Run(run) => joined.run(tail, at, run),
        }
    }
    joined.finish()
}

enum Item<'a> {
    Start,
    Entry(usize, &'a LogEntry),
    Run(&'a RunSummary),
}

/// A tail while its rows go by.
struct TailState<'a> {
    aircraft: &'a crate::records::Aircraft,
    /// One clock for the tail, or one per position where each engine has its own meter.
    clocks: Vec<Clock>,
    /// Engine index by position, in the order of aircraft.toml.
    seats: Vec<(Option<Arc<str>>, Option<usize>)>,
    /// An `overhauled` row for an engine not yet installed: applied to the next one at that seat.
    awaiting: Vec<Option<(BuildKind, Source)>>,
    /// Model of the engine last at each seat.
    seat_models: Vec<Arc<str>>,
    seen: AircraftHistory,
}

impl<'a> TailState<'a> {
    fn new(aircraft: &'a crate::records::Aircraft, entries: &[(Instant, &LogEntry)], tolerance_h: f64) -> Self {
        let seats: Vec<_> = aircraft.engines.iter().map(|e| (e.position.clone(), None)).collect();
        let start = aircraft.meter_at_start.map(|h| h.get());
        let clocks = if aircraft.meter == Meter::Engine && seats.len() > 1 {
            seats.iter().map(|(p, _)| clock::build(&rows(entries, p.as_deref()), start, tolerance_h)).collect()
        } else {
            vec![clock::build(&rows(entries, None), start, tolerance_h)]
        };
        Self {
            aircraft,
            clocks,
            awaiting: vec![None; seats.len()],
            seat_models: aircraft.engines.iter().map(|e| e.model.clone()).collect(),
            seats,
            seen: AircraftHistory {
                tail: aircraft.tail.clone(),
                file: aircraft.file.clone(),
                meter: aircraft.meter,
                last_log: None,
                last_recording: None,
                last_running: None,
                heard: Vec::new(),
                installed: Vec::new(),
            },
        }
    }

    fn clock(&self, seat: usize) -> &Clock {
        &self.clocks[seat.min(self.clocks.len() - 1)]
    }

    /// Seats an entry is about: the named one, or all.
    fn seats_for(&self, position: Option<&Arc<str>>) -> Option<Vec<usize>> {
        match position {
            None => Some((0..self.seats.len()).collect()),
            Some(p) => self.seats.iter().position(|(q, _)| q.as_ref() == Some(p)).map(|s| vec![s]).or_else(|| {
                // A single-engine aircraft may name its engine in the log though aircraft.toml does not.
                (self.seats.len() == 1 && self.seats[0].0.is_none()).then(|| vec![0])
            }),
        }
    }
}

/// Clock rows; with `position`, those of an engine with its own meter.
fn rows(entries: &[(Instant, &LogEntry)], position: Option<&str>) -> Vec<Row> {
    let row = |entry: &LogEntry| {
        let named = entry.engine.as_deref();
        let about = position.is_none() || named.is_none() || named == position;
        let reads = position.is_none() || named == position;
        let runs = about && matches!(entry.kind, EntryKind::Flight | EntryKind::GroundRun);
        Row {
            date: entry.stamp.date,
            reading: entry.hours.filter(|_| reads).map(|h| h.get()),
            run: runs.then(|| entry.flight_hours.map(|h| h.get())),
            meter_changed: reads && entry.kind == EntryKind::MeterChanged && entry.hours.is_some(),
        }
    };
    entries.iter().map(|(_, e)| row(e)).collect()
}

/// A time in which a tail's recorder is off by whole hours.
struct ClockOff {
    hours: i64,
    from: Instant,
    until: Option<Instant>,
}

impl ClockOff {
    fn holds(&self, run: &RunSummary) -> bool {
        run.start >= self.from && self.until.is_none_or(|until| run.start < until)
    }
}

struct Joined<'a> {
    models: &'a Models,
    zone: Tz,
    fleet: Fleet,
    by_serial: BTreeMap<Arc<str>, usize>,
    tails: Vec<TailState<'a>>,
}

impl Joined<'_> {
    fn question_clocks(&mut self, state: &TailState<'_>, entries: &[(Instant, &LogEntry)]) {
        let mut told = Vec::new();
        for doubt in state.clocks.iter().flat_map(|c| &c.doubts) {
            let line = |row: usize| entries[row].1.source.clone();
            let mut lines = vec![line(doubt.row)];
            lines.extend(doubt.before.map(line));
            lines.extend(doubt.after.map(line));
            lines.dedup();
            // Several entries of one row share its reading: one question is enough.
            if told.contains(&lines[0]) {
                continue;
            }
            told.push(lines[0].clone());
            self.fleet.queries.push(Query::HoursDisagree {
                tail: state.aircraft.tail.clone(),
                at: entries[doubt.row].0,
                read: doubt.read,
                expected: doubt.expected,
                jumped: doubt.jumped,
                lines,
            });
        }
    }

    /// Asks about a recorder whose clock is off, and gives the stretches in which it is.
    fn question_recorder(
        &mut self,
        tail: &Arc<str>,
        entries: &[(Instant, &LogEntry)],
        runs: &[&RunSummary],
    ) -> Vec<ClockOff> {
        let logged: Vec<Logged> = entries
            .iter()
            .filter(|(_, e)| e.kind == EntryKind::Flight && e.stamp.time.is_some())
            .filter_map(|(at, e)| Some(Logged { at: *at, hours: e.flight_hours?.get() }))
            .collect();
        // Both engines of a twin tell the same.
        let runs: Vec<&RunSummary> =
            runs.iter().copied().filter(|r| runs.first().is_some_and(|f| f.engine == r.engine)).collect();
        let found = recorder_clock::off(&logged, &runs);
        for off in &found {
            let ends = off.until.map(|i| (runs[i].end, runs[i].source()));
            self.fleet.queries.push(Query::RecorderClock {
                tail: tail.clone(),
                at: runs[off.sure].end,
                since: runs[off.first].start,
                ahead_h: -off.hours,
                agree: off.agree,
                until: ends,
                lines: vec![runs[off.first].source(), runs[off.sure].source()],
            });
        }
        let stretch = |off: &Off| ClockOff {
            hours: off.hours,
            from: runs[off.first].start,
            until: off.until.map(|i| runs[i].start),
        };
        found.iter().map(stretch).collect()
    }

    fn start(&mut self, tail: usize, at: Instant) {
        let aircraft = self.tails[tail].aircraft;
        for (seat, listed) in aircraft.engines.iter().enumerate() {
            let source = Source { file: aircraft.file.clone(), line: listed.line };
            if let Some(&known) = self.by_serial.get(&listed.serial) {
                if let Some(place) = self.fleet.engines[known].placement().cloned() {
                    self.twice(known, &place, tail, seat, at, source);
                } else {
                    self.seat(tail, seat, known, Some(at));
                }
                continue;
            }
            let model = self.model(&listed.model, &listed.serial, tail, &source);
            let engine = self.add(new_engine(listed, model, source, self.zone));
            self.seat(tail, seat, engine, None);
        }
    }

    fn twice(&mut self, engine: usize, place: &Placement, tail: usize, seat: usize, at: Instant, source: Source) {
        let state = &self.tails[tail];
        let other = self.tails.iter().find(|t| t.aircraft.tail == place.tail);
        let serial = self.fleet.engines[engine].serial.clone();
        let mut lines: Vec<Source> = other
            .and_then(|t| {
                let listed = t.aircraft.engines.iter().find(|e| e.serial == serial)?;
                Some(Source { file: t.aircraft.file.clone(), line: listed.line })
            })
            .into_iter()
            .collect();
        lines.push(source);
        let seated = |tail: &str, position: Option<&Arc<str>>| match position {
            Some(p) => format!("{tail} {p}"),
            None => tail.to_owned(),
        };
        self.fleet.queries.push(Query::SerialTwice {
            serial,
            at,
            places: vec![
                seated(&place.tail, place.position.as_ref()),
                seated(&state.aircraft.tail, state.seats[seat].0.as_ref()),
            ],
            lines,
        });
    }

    fn model(&mut self, name: &Arc<str>, serial: &Arc<str>, tail: usize, source: &Source) -> Arc<Model> {
        if let Some(model) = self.models.get(name) {
            return model.clone();
        }
        self.fleet.queries.push(Query::UnknownModel {
            tail: self.tails[tail].aircraft.tail.clone(),
            serial: serial.clone(),
            model: name.clone(),
            source: source.clone(),
        });
        Arc::new(Model::unknown(name.clone(), source.clone()))
    }

    fn add(&mut self, engine: Engine) -> usize {
        let index = self.fleet.engines.len();
        self.by_serial.insert(engine.serial.clone(), index);
        self.fleet.engines.push(engine);
        index
    }

    fn seat(&mut self, tail: usize, seat: usize, engine: usize, from: Option<Instant>) {
        let state = &mut self.tails[tail];
        state.seats[seat].1 = Some(engine);
        let joined = &mut self.fleet.engines[engine];
        state.seat_models[seat] = joined.model.name.clone();
        joined.placements.push(Placement {
            tail: state.aircraft.tail.clone(),
            position: state.seats[seat].0.clone(),
            meter: state.aircraft.meter,
            from,
            to: None,
        });
    }

    fn entry(&mut self, tail: usize, at: Instant, row: usize, entry: &LogEntry) {
        let state = &mut self.tails[tail];
        state.seen.last_log = Some(at);
        state.seen.hear(at);
        if matches!(entry.kind, EntryKind::Flight | EntryKind::GroundRun) {
            state.seen.last_running = Some(at);
        }
        self.pass_hours(tail, at, row, entry);
        let Some(seats) = self.tails[tail].seats_for(entry.engine.as_ref()) else {
            return self.unknown_position(tail, at, entry);
        };
        if matches!(entry.kind, EntryKind::OilLevel | EntryKind::OilAdded) && seats.len() > 1 {
            return self.incomplete(
                tail,
                at,
                entry,
                "oil without the engine's position",
                "left or right in the engine column",
            );
        }
        match entry.kind {
            EntryKind::Installed => self.installed(tail, at, entry, &seats),
            EntryKind::Removed => seats.iter().for_each(|&s| self.removed(tail, at, s, &entry.source)),
            EntryKind::Overhauled => self.built(tail, at, entry, &seats, BuildKind::Overhaul),
            EntryKind::TopOverhauled => self.built(tail, at, entry, &seats, BuildKind::TopOverhaul),
            EntryKind::CylinderReplaced => self.built(tail, at, entry, &seats, BuildKind::Cylinder),
            _ => {
                for seat in seats {
                    for what in happenings(entry) {
                        if let Some(event) = self.happened(tail, seat, at, &entry.source, what) {
                            event.remarks.clone_from(&entry.remarks);
                        }
                    }
                }
            }
        }
    }

    /// Moves the engines' clocks on by what the meter says passed up to this row.
    fn pass_hours(&mut self, tail: usize, at: Instant, row: usize, entry: &LogEntry) {
        for seat in 0..self.tails[tail].seats.len() {
            let clock = self.tails[tail].clock(seat);
            let (unlogged, run) = (clock.unlogged_h[row], clock.run_h[row]);
            if unlogged > 0.0 {
                let what = What::Flight { hours: unlogged, service: None, inferred: true };
                self.ran(tail, seat, at, &entry.source, unlogged, what);
            }
            let about = entry.engine.is_none()
                || self.tails[tail].seats_for(entry.engine.as_ref()).is_some_and(|s| s.contains(&seat));
            match entry.kind {
                EntryKind::Flight if about => {
                    let what = What::Flight { hours: run, service: entry.service.clone(), inferred: false };
                    self.ran(tail, seat, at, &entry.source, run, what);
                }
                EntryKind::GroundRun if about => {
                    self.ran(tail, seat, at, &entry.source, run, What::GroundRun { hours: run });
                }
                _ => {}
            }
        }
    }

    fn ran(&mut self, tail: usize, seat: usize, at: Instant, source: &Source, hours: f64, what: What) {
        if let Some(engine) = self.tails[tail].seats[seat].1 {
            self.fleet.engines[engine].clock_h += hours;
            self.happened(tail, seat, at, source, what);
        }
    }

    /// Notes an event of the engine at a seat, if there is one.
    fn happened(&mut self, tail: usize, seat: usize, at: Instant, source: &Source, what: What) -> Option<&mut Event> {
        let state = &self.tails[tail];
        let index = state.seats[seat].1?;
        let engine = &mut self.fleet.engines[index];
        engine.events.push(Event {
            at,
            hours: engine.clock_h,
            build: engine.builds.len() - 1,
            tail: state.aircraft.tail.clone(),
            position: state.seats[seat].0.clone(),
            source: source.clone(),
            remarks: None,
            what,
        });
        engine.events.last_mut()
    }

    fn installed(&mut self, tail: usize, at: Instant, entry: &LogEntry, seats: &[usize]) {
        let &[seat] = seats else {
            return self.incomplete(
                tail,
                at,
                entry,
                "an engine installed without its position",
                "left or right in the engine column",
            );
        };
        let Some(serial) = entry.serial.clone() else {
            return self.incomplete(
                tail,
                at,
                entry,
                "an engine installed without its serial",
                "the serial in the serial or remarks column",
            );
        };
        let engine = match self.by_serial.get(&serial) {
            Some(&known) => known,
            None => {
                let name = self.tails[tail].seat_models[seat].clone();
                let model = self.model(&name, &serial, tail, &entry.source);
                self.add(unlisted_engine(serial, model, entry.source.clone(), self.zone))
            }
        };
        if self.tails[tail].seats[seat].1 == Some(engine) {
            self.happened(tail, seat, at, &entry.source, What::Installed);
            return;
        }
        self.removed(tail, at, seat, &entry.source);
        if let Some((other, place)) = self.find_seat(engine) {
            self.removed(other, at, place, &entry.source);
        }
        self.seat(tail, seat, engine, Some(at));
        self.happened(tail, seat, at, &entry.source, What::Installed);
        if let Some((kind, source)) = self.tails[tail].awaiting[seat].take() {
            self.begin_build(engine, at, kind, &source, Some((tail, seat)));
        }
    }

    fn find_seat(&self, engine: usize) -> Option<(usize, usize)> {
        self.tails
            .iter()
            .enumerate()
            .find_map(|(t, state)| state.seats.iter().position(|(_, e)| *e == Some(engine)).map(|seat| (t, seat)))
    }

    fn removed(&mut self, tail: usize, at: Instant, seat: usize, source: &Source) {
        self.happened(tail, seat, at, source, What::Removed);
        if let Some(engine) = self.tails[tail].seats[seat].1.take()
            && let Some(place) = self.fleet.engines[engine].placements.last_mut()
        {
            place.to = Some(at);
        }
    }

    fn built(&mut self, tail: usize, at: Instant, entry: &LogEntry, seats: &[usize], kind: BuildKind) {
        if let Some(serial) = &entry.serial {
            let engine = match self.by_serial.get(serial) {
                Some(&known) => known,
                None => {
                    let name = self.tails[tail].seat_models[seats[0]].clone();
                    let model = self.model(&name, serial, tail, &entry.source);
                    self.add(unlisted_engine(serial.clone(), model, entry.source.clone(), self.zone))
                }
            };
            let place = self.find_seat(engine);
            return self.begin_build(engine, at, kind, &entry.source, place);
        }
        for &seat in seats {
            match self.tails[tail].seats[seat].1 {
                Some(engine) => self.begin_build(engine, at, kind, &entry.source, Some((tail, seat))),
                None => self.tails[tail].awaiting[seat] = Some((kind, entry.source.clone())),
            }
        }
    }

    fn begin_build(
        &mut self,
        engine: usize,
        at: Instant,
        kind: BuildKind,
        source: &Source,
        place: Option<(usize, usize)>,
    ) {
        let joined = &mut self.fleet.engines[engine];
        joined.builds.push(Build {
            kind: Some(kind),
            began: Some(at),
            zero_hours: joined.clock_h,
            zero_known: true,
            source: source.clone(),
        });
        match place {
            Some((tail, seat)) => {
                self.happened(tail, seat, at, source, What::BuildBegan(kind));
            }
            None => {
                let (tail, position) = match joined.placements.last() {
                    Some(p) => (p.tail.clone(), p.position.clone()),
                    None => (Arc::from(""), None),
                };
                let (hours, build) = (joined.clock_h, joined.builds.len() - 1);
                let what = What::BuildBegan(kind);
                let source = source.clone();
                joined.events.push(Event { at, hours, build, tail, position, source, remarks: None, what });
            }
        }
    }

    /// `at`: the run's end, as the log would have it.
    fn run(&mut self, tail: usize, at: Instant, run: &RunSummary) {
        let state = &mut self.tails[tail];
        state.seen.last_recording = state.seen.last_recording.max(Some(at));
        state.seen.hear(at);
        state.seen.last_running = state.seen.last_running.max(Some(at));
        let Some(seats) = state.seats_for(run.engine.as_ref()) else { return };
        let source = run.source();
        let shared = Arc::new(run.clone());
        for seat in seats {
            self.happened(tail, seat, at, &source, What::Run(shared.clone()));
        }
    }

    fn unknown_position(&mut self, tail: usize, at: Instant, entry: &LogEntry) {
        let state = &self.tails[tail];
        let Some(position) = entry.engine.clone() else { return };
        self.fleet.queries.push(Query::UnknownPosition {
            tail: state.aircraft.tail.clone(),
            at,
            position,
            known: state.seats.iter().filter_map(|(p, _)| p.clone()).collect(),
            source: entry.source.clone(),
        });
    }

    fn incomplete(&mut self, tail: usize, at: Instant, entry: &LogEntry, what: &str, expected: &str) {
        self.fleet.queries.push(Query::Incomplete {
            tail: self.tails[tail].aircraft.tail.clone(),
            at,
            what: what.to_owned(),
            expected: expected.to_owned(),
            source: entry.source.clone(),
        });
    }

    fn finish(mut self) -> Fleet {
        for state in self.tails {
            let mut seen = state.seen;
            seen.installed = state
                .seats
                .iter()
                .filter_map(|(p, e)| e.map(|e| (p.clone(), self.fleet.engines[e].serial.clone())))
                .collect();
            self.fleet.aircraft.push(seen);
        }
        self.fleet
    }
}

/// What an entry that moves no engine means for the engines it is about.
fn happenings(entry: &LogEntry) -> Vec<What> {
    let mut list = Vec::new();
    let level = entry.level.map(|q| q.get());
    match entry.kind {
        EntryKind::OilLevel => list.extend(level.map(|qt| What::Level { qt })),
        EntryKind::OilAdded => {
            list.extend(level.map(|qt| What::Level { qt }));
            list.extend(entry.quantity.map(|q| What::Added { qt: q.get(), oil: entry.oil.clone() }));
        }
        EntryKind::OilChanged => list.push(What::Changed { level_after_qt: level, oil: entry.oil.clone() }),
        EntryKind::FilterInspected => list.push(What::Filter { result: entry.result }),
        EntryKind::ScreenCleaned => list.push(What::Screen { result: entry.result }),
        EntryKind::MeterChanged => list.push(What::MeterChanged),
        EntryKind::Action => list.push(What::Action { alert: entry.alert, text: entry.remarks.clone() }),
        EntryKind::Note => list.extend(entry.remarks.clone().map(|text| What::Note { text })),
        _ => {}
    }
    list
}

fn new_engine(listed: &InstalledEngine, model: Arc<Model>, source: Source, zone: Tz) -> Engine {
    let hours = listed.hours_at_start.map_or(0.0, |h| h.get());
    let since = match (listed.since, listed.hours_since) {
        (_, Some(h)) => Some(h.get()),
        (Some(BuildKind::New), None) => listed.hours_at_start.map(|h| h.get()),
        _ => None,
    };
    Engine {
        serial: listed.serial.clone(),
        model,
        events: Vec::new(),
        builds: vec![Build {
            kind: listed.since,
            began: None,
            zero_hours: hours - since.unwrap_or(0.0),
            zero_known: since.is_some(),
            source,
        }],
        placements: Vec::new(),
        hours_at_start: hours,
        clock_h: hours,
        hours_since_new_known: listed.hours_at_start.is_some(),
        oil_at_start: listed.oil.clone(),
        last_change_hours: listed.last_oil_change_h.map(|h| hours - h.get()),
        fill_qt: listed.fill.map(|q| q.get()),
        add_mark_qt: listed.add_mark.map(|q| q.get()),
        zone,
    }
}

/// An engine first heard of in a log entry.
fn unlisted_engine(serial: Arc<str>, model: Arc<Model>, source: Source, zone: Tz) -> Engine {
    Engine {
        serial,
        model,
        events: Vec::new(),
        builds: vec![Build { kind: None, began: None, zero_hours: 0.0, zero_known: false, source }],
        placements: Vec::new(),
        hours_at_start: 0.0,
        clock_h: 0.0,
        hours_since_new_known: false,
        oil_at_start: None,
        last_change_hours: None,
        fill_qt: None,
        add_mark_qt: None,
        zone,
    }
}
