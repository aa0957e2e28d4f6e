//! What one row says happened: a row per entry, or a row per flight with its oil.

use std::sync::Arc;

use super::amount::MOST_ADDED_QT;
use super::columns::{Column, OilPlace, positions};
use super::row::{Engines, RowReader, is_nothing, wrong};
use super::{Bad, bad};
use crate::records::{EntryKind, LogEntry, Stamp};

/// The entries of a row in a sheet with one row per entry.
///
/// # Errors
/// The first cell that cannot be read; the row then stays out as a whole.
pub fn of_entry(reader: RowReader<'_>) -> Result<Vec<LogEntry>, Bad> {
    let stamp = reader.stamp()?;
    let kind = reader.kind()?;
    match kind {
        EntryKind::Flight | EntryKind::GroundRun => running(reader, stamp, kind),
        _ => {
            let engines = engines_of(reader, kind)?;
            engines.into_iter().map(|engine| single(reader, stamp, kind, engine)).collect()
        }
    }
}

/// The entries of a row in a sheet with one row per flight: oil first, as it is poured in before.
///
/// # Errors
/// The first cell that cannot be read; the row then stays out as a whole.
pub fn of_flight(reader: RowReader<'_>) -> Result<Vec<LogEntry>, Bad> {
    let stamp = reader.stamp()?;
    let kind = match reader.cell(Column::Entry).is_empty() {
        true => EntryKind::Flight,
        false => reader.kind()?,
    };
    let places = &reader.reading.columns.oil;
    if !matches!(kind, EntryKind::Flight | EntryKind::GroundRun) && places.is_empty() {
        return of_entry(reader);
    }
    if !matches!(kind, EntryKind::Flight | EntryKind::GroundRun) {
        return maintenance(reader, stamp, kind);
    }
    let mut entries = Vec::new();
    for place in places {
        entries.extend(oil_before(reader, stamp, place)?);
    }
    if reader.hours()?.is_some() || reader.flight_hours()?.is_some() {
        entries.extend(running(reader, stamp, kind)?);
    } else if places.is_empty() || entries.is_empty() {
        return Err(wrong(reader.name(Column::Hours), "", "the meter's reading after the flight, such as 1482.3"));
    }
    Ok(entries)
}

/// A flight or ground run; oil on its row is what was found and poured in before it.
fn running(reader: RowReader<'_>, stamp: Stamp, kind: EntryKind) -> Result<Vec<LogEntry>, Bad> {
    let engine = match reader.engines()? {
        Engines::Blank | Engines::All => None,
        Engines::One(position) => Some(position),
    };
    let (hours, flight_hours) = (reader.hours()?, reader.flight_hours()?);
    if hours.is_none() && flight_hours.is_none() && kind == EntryKind::Flight {
        let found = format!("{} and {} are both empty", reader.name(Column::Hours), reader.name(Column::FlightHours));
        return Err(bad(found, "the meter's reading after the flight, or its length".to_owned()));
    }
    let (level, quantity) = (reader.level()?, reader.quantity(kind)?.filter(|q| q.get() > 0.0));
    let mut entries = Vec::new();
    if level.is_some() || quantity.is_some() {
        if engine.is_none() && reader.reading.aircraft.engines.len() > 1 {
            let column = if level.is_some() { Column::Level } else { Column::Quantity };
            let found = format!("{} \"{}\" without saying which engine", reader.name(column), reader.cell(column));
            let expected = format!("{} in the column engine, or a row of its own", positions(reader.reading.aircraft));
            return Err(bad(found, expected));
        }
        let what = if quantity.is_some() { EntryKind::OilAdded } else { EntryKind::OilLevel };
        let oil = if quantity.is_some() { reader.oil()? } else { None };
        entries.push(LogEntry { level, quantity, oil, ..reader.entry(stamp, what, engine.clone()) });
    }
    entries.push(LogEntry {
        hours,
        flight_hours,
        service: reader.text(Column::Service),
        remarks: reader.text(Column::Remarks),
        ..reader.entry(stamp, kind, engine)
    });
    Ok(entries)
}

/// One engine's oil columns of a row per flight.
fn oil_before(reader: RowReader<'_>, stamp: Stamp, place: &OilPlace) -> Result<Option<LogEntry>, Bad> {
    let unit = place.unit.unwrap_or(reader.house_unit());
    let name = |at: usize| reader.reading.header.names.get(at).map_or("oil", |n| n.written.as_str());
    let level = match place.level {
        Some(at) => reader.dipstick(name(at), &reader.worded(Column::Level, reader.row.cell(at)), unit)?,
        None => None,
    };
    let quantity = match place.added {
        Some(at) => {
            reader.added(name(at), &reader.worded(Column::Quantity, reader.row.cell(at)), unit, MOST_ADDED_QT)?
        }
        None => None,
    };
    let quantity = quantity.filter(|q| q.get() > 0.0);
    let oil = match place.oil.filter(|_| quantity.is_some()) {
        Some(at) => reader.oil_in(name(at), &reader.worded(Column::Oil, reader.row.cell(at)))?,
        None if quantity.is_some() => reader.oil()?,
        None => None,
    };
    let kind = match (quantity, level) {
        (None, None) => return Ok(None),
        (Some(_), _) => EntryKind::OilAdded,
        (None, Some(_)) => EntryKind::OilLevel,
    };
    let engine = place.engine.clone().or_else(|| reader.reading.engine.clone());
    Ok(Some(LogEntry { level, quantity, oil, ..reader.entry(stamp, kind, engine) }))
}

/// A row of another kind among flights, such as an oil change: about the engine it names, else those
/// whose oil columns are filled.
fn maintenance(reader: RowReader<'_>, stamp: Stamp, kind: EntryKind) -> Result<Vec<LogEntry>, Bad> {
    let mut entries = Vec::new();
    for place in &reader.reading.columns.oil {
        let Some(oil) = oil_before(reader, stamp, place)? else { continue };
        let engine = oil.engine.clone();
        entries.push(LogEntry {
            level: oil.level,
            quantity: oil.quantity,
            oil: oil.oil,
            ..single(reader, stamp, kind, engine)?
        });
    }
    let filled = entries.iter().map(|e| e.engine.clone()).collect::<Vec<_>>();
    match reader.engines()? {
        Engines::Blank if !entries.is_empty() => Ok(entries),
        Engines::One(position) if filled.contains(&Some(position.clone())) => {
            entries.retain(|e| e.engine.as_ref() == Some(&position));
            Ok(entries)
        }
        _ => engines_of(reader, kind)?.into_iter().map(|engine| single(reader, stamp, kind, engine)).collect(),
    }
}

/// The engines an entry of this kind is about.
fn engines_of(reader: RowReader<'_>, kind: EntryKind) -> Result<Vec<Option<Arc<str>>>, Bad> {
    use EntryKind as K;
    let aircraft = reader.reading.aircraft;
    let several = aircraft.engines.len() > 1;
    let one_needed = !matches!(kind, K::Flight | K::GroundRun | K::MeterChanged | K::Action | K::Note);
    let expected = || format!("{} for an entry {}", positions(aircraft), kind.word());
    match reader.engines()? {
        Engines::One(position) => Ok(vec![Some(position)]),
        Engines::Blank if several && one_needed => Err(wrong(reader.name(Column::Engine), "", expected())),
        Engines::All if several && one_needed => match kind {
            K::OilLevel | K::OilChanged | K::FilterInspected | K::ScreenCleaned
                if is_nothing(&reader.cell(Column::Quantity)) =>
            {
                Ok(aircraft.engines.iter().map(|e| e.position.clone()).collect())
            }
            _ => Err(wrong(reader.name(Column::Engine), &*reader.cell(Column::Engine), expected())),
        },
        Engines::Blank | Engines::All => Ok(vec![None]),
    }
}

/// An entry of any kind but flights, about one engine.
fn single(reader: RowReader<'_>, stamp: Stamp, kind: EntryKind, engine: Option<Arc<str>>) -> Result<LogEntry, Bad> {
    use EntryKind as K;
    let mut entry = LogEntry {
        hours: reader.hours()?,
        remarks: reader.text(Column::Remarks),
        service: reader.text(Column::Service),
        ..reader.entry(stamp, kind, engine)
    };
    match kind {
        K::OilLevel | K::OilAdded | K::OilChanged => {
            entry.level = reader.level()?;
            entry.quantity = reader.quantity(kind)?.filter(|q| q.get() > 0.0);
            entry.oil = reader.oil()?;
            in_oil_columns(reader, &mut entry)?;
        }
        K::FilterInspected | K::ScreenCleaned => entry.result = reader.result()?,
        K::Action => entry.alert = reader.alert()?,
        K::Installed | K::Removed => {
            let remark = entry.remarks.as_deref().and_then(serial_in);
            entry.serial = reader.text(Column::Serial).or(remark);
        }
        _ => {}
    }
    let lacks = match kind {
        K::OilAdded if entry.quantity.is_none() && entry.level.is_some() => {
            entry.kind = K::OilLevel;
            None
        }
        K::OilAdded if entry.quantity.is_none() => Some((Column::Quantity, "the oil poured in, such as 1 or 0.5")),
        K::OilLevel if entry.level.is_none() => Some((Column::Level, "the dipstick reading, such as 8.5")),
        K::MeterChanged if entry.hours.is_none() => Some((Column::Hours, "the new meter's reading, such as 0.0")),
        _ => None,
    };
    match lacks {
        Some((column, expected)) => {
            let shown = reader.cell(column).to_string();
            Err(wrong(reader.name(column), &shown, format!("{expected}, for an entry {}", kind.word())))
        }
        None => Ok(entry),
    }
}

/// In a sheet with oil columns per engine, an oil entry's figures may stand there.
fn in_oil_columns(reader: RowReader<'_>, entry: &mut LogEntry) -> Result<(), Bad> {
    let place = reader.reading.columns.oil.iter().find(|p| p.engine == entry.engine);
    if let Some(place) = place.filter(|_| entry.level.is_none() && entry.quantity.is_none())
        && let Some(oil) = oil_before(reader, entry.stamp, place)?
    {
        (entry.level, entry.quantity) = (oil.level, oil.quantity);
        entry.oil = oil.oil.or(entry.oil.take());
    }
    Ok(())
}

/// The serial in a remark: the only word, the word after "serial" or "S/N", or the only word with a digit.
fn serial_in(text: &str) -> Option<Arc<str>> {
    let clean = |word: &str| word.trim_matches(|c: char| !c.is_alphanumeric()).to_owned();
    let words: Vec<String> = text.split_whitespace().map(clean).filter(|w| !w.is_empty()).collect();
    if let [only] = &words[..] {
        return Some(only.as_str().into());
    }
    let after = words.iter().position(|w| matches!(w.to_lowercase().as_str(), "serial" | "s/n" | "sn"));
    let mut numbered = words.iter().filter(|w| w.bytes().any(|b| b.is_ascii_digit()));
    let found = match after
        .and_then(|at| words.get(at + 1).filter(|w| !w.eq_ignore_ascii_case("number")).or(words.get(at + 2)))
    {
        Some(word) => word,
        None => numbered.next().filter(|_| numbered.next().is_none())?,
    };
    Some(found.as_str().into())
}
