//! Puts a tail's log entries in order of time.
//!
//! Sheets are kept newest first, rows lack a time of day, several files overlap. Dates rule; within
//! a day times where given, else the order in the file, else the meter.

use std::sync::Arc;

use chrono::{Days, NaiveTime};
use chrono_tz::Tz;

use crate::records::local::at_or_after;
use crate::records::{Instant, LogEntry, Stamp};
use crate::units::Hours;

/// The moment of a stamp. Without a time: the day's first moment, so that an entry is never later than
/// the moment it was written.
pub fn moment(stamp: Stamp, zone: Tz) -> Instant {
    at_or_after(stamp.date.and_time(stamp.time.unwrap_or(NaiveTime::MIN)), zone)
}

/// The last moment of a local date.
pub fn end_of(date: chrono::NaiveDate, zone: Tz) -> Instant {
    let next = date.checked_add_days(Days::new(1)).unwrap_or(date);
    at_or_after(next.and_time(NaiveTime::MIN), zone) - chrono::TimeDelta::seconds(1)
}

/// Entries in order of time, each with its moment; those after `as_of` are left out.
pub fn in_order(entries: &[LogEntry], zone: Tz, as_of: Instant) -> Vec<(Instant, &LogEntry)> {
    let mut files: Vec<(&Arc<str>, Vec<&LogEntry>)> = Vec::new();
    for entry in entries {
        match files.last_mut() {
            Some((file, list)) if *file == &entry.source.file => list.push(entry),
            _ => files.push((&entry.source.file, vec![entry])),
        }
    }
    let mut all: Vec<(Stamp, &LogEntry)> = Vec::with_capacity(entries.len());
    for (_, list) in files {
        all.extend(one_file(list));
    }
    all.sort_by_key(|(stamp, _)| (stamp.date, stamp.time));
    all.into_iter()
        .map(|(stamp, entry)| {
            (moment(Stamp { time: stamp.time.filter(|_| entry.stamp.time.is_some()), ..stamp }, zone), entry)
        })
        .scan(Instant::MIN_UTC, |last, (at, entry)| {
            // Rows without a time stand behind the timed ones they follow.
            *last = (*last).max(at);
            Some((*last, entry))
        })
        .filter(|(at, _)| *at <= as_of)
        .collect()
}

/// One file's entries oldest first, each with the time it has or inherits from the row before it.
fn one_file(mut list: Vec<&LogEntry>) -> Vec<(Stamp, &LogEntry)> {
    let steps = |list: &[&LogEntry], wanted: std::cmp::Ordering| {
        list.windows(2).filter(|w| w[1].stamp.date.cmp(&w[0].stamp.date) == wanted).count()
    };
    let (up, down) = (steps(&list, std::cmp::Ordering::Greater), steps(&list, std::cmp::Ordering::Less));
    if down > up {
        let mut groups: Vec<Vec<&LogEntry>> = Vec::new();
        for entry in list {
            match groups.last_mut() {
                Some(group) if group[0].source.line == entry.source.line => group.push(entry),
                _ => groups.push(vec![entry]),
            }
        }
        list = groups.into_iter().rev().flatten().collect();
    }
    if up.min(down) > 0 {
        by_meter_within_days(&mut list);
    }
    let mut before: Option<(Stamp, Option<Hours>)> = None;
    list.into_iter()
        .map(|entry| {
            let same_day = before.filter(|(s, _)| s.date == entry.stamp.date);
            let earlier = same_day.and_then(|(s, _)| s.time);
            let meter = same_day.and_then(|(_, h)| h);
            // A flight over midnight is written with the day it began and the time it ended: where the
            // meter says that the order of the rows is right, a time that goes back does not change it.
            let meter_agrees = meter.zip(entry.hours).is_some_and(|(h, now)| now >= h);
            let time = match (entry.stamp.time, earlier) {
                (Some(time), Some(earlier)) if time < earlier && meter_agrees => Some(earlier),
                (time, earlier) => time.or(earlier),
            };
            let stamp = Stamp { date: entry.stamp.date, time };
            before = Some((stamp, entry.hours.or(meter)));
            (stamp, entry)
        })
        .collect()
}

/// In a file in no order, rows of one day without times are ordered by the meter.
fn by_meter_within_days(list: &mut [&LogEntry]) {
    list.sort_by_key(|e| e.stamp.date);
    for day in list.chunk_by_mut(|a, b| a.stamp.date == b.stamp.date) {
        if day.iter().all(|e| e.stamp.time.is_none() && e.hours.is_some()) {
            let hours = |e: &LogEntry| e.hours.map_or(0.0, |h| h.get());
            day.sort_by(|a, b| hours(a).total_cmp(&hours(b)));
        }
    }
}
