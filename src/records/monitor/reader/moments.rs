//! When each sample was: its time, and a recorder whose clock steps.

use super::{LONGEST_STEP_MS, Reduction};
use crate::records::monitor::cells::Cells;
use crate::records::monitor::recorder::RUNNING_RPM;

/// Position is read this often, ms: it only tells how far the aircraft is from the field.
const POSITION_EVERY_MS: i64 = 5_000;
/// No time.
const NONE: i64 = i64::MIN;
/// A step of the clock of an hour, give or take, ms.
const HOUR_MS: i64 = 3_600_000;
const HOUR_WITHIN_MS: i64 = 60_000;
/// A step back by more than this is another recording in the same file, ms.
const ANOTHER_RECORDING_MS: i64 = 3 * HOUR_MS;

impl Reduction<'_> {
    /// Reads the time of each row; those without one are rejected.
    pub(super) fn times(&mut self, cells: &impl Cells) {
        let mut stamps = std::mem::take(&mut self.now.stamps);
        stamps.clear();
        stamps.extend((0..cells.rows()).map(|row| self.time(cells, row).unwrap_or(NONE)));
        let rows = &mut self.now.rows;
        rows.clear();
        rows.extend(0..cells.rows());
        if stamps.contains(&NONE) {
            rows.retain(|row| stamps[*row as usize] != NONE);
            stamps.retain(|stamp| *stamp != NONE);
        }
        self.now.positions.clear();
        for (i, stamp_ms) in (0..).zip(&stamps) {
            if stamp_ms - self.position_ms.max(0) >= POSITION_EVERY_MS || *stamp_ms < self.position_ms {
                self.position_ms = *stamp_ms;
                self.now.positions.push(i);
            }
        }
        self.now.stamps = stamps;
    }

    /// The time of a row, which is rejected without one.
    #[inline(always)]
    fn time(&mut self, cells: &impl Cells, row: u32) -> Option<i64> {
        let single = if let [column] = self.columns.time[..] { Some(cells.text(row, column)) } else { None };
        let at = match single {
            Some(text) => self.clock.read(text),
            None => {
                self.stamp.clear();
                for column in &self.columns.time {
                    if !self.stamp.is_empty() {
                        self.stamp.push(b' ');
                    }
                    self.stamp.extend_from_slice(cells.text(row, *column).trim_ascii());
                }
                self.clock.read(&self.stamp)
            }
        };
        // The first may hold units.
        if !std::mem::take(&mut self.first_row) && at.is_none() {
            let found = format!("time \"{}\"", String::from_utf8_lossy(single.unwrap_or(&self.stamp)));
            self.reject_row(cells.line(row), found, "a time such as 2026-03-01T14:05:33");
        }
        at
    }

    /// The sample's time on a clock that does not step; `None` drops the sample.
    pub(super) fn in_order(&mut self, stamp_ms: i64, line: u32, cells: &impl Cells, i: usize, alt: i32) -> Option<i64> {
        let mut at_ms = stamp_ms + self.offset_ms;
        let Some(last) = self.last_ms else {
            self.last_ms = Some(at_ms);
            return Some(at_ms);
        };
        let step = at_ms - last;
        if step == 0 {
            return None;
        }
        let an_hour_on = (step - HOUR_MS).abs() <= HOUR_WITHIN_MS && self.one_moment(cells, i, alt);
        if step < -ANOTHER_RECORDING_MS {
            (0..self.recorders.len()).for_each(|engine| self.fill(engine, cells));
            self.close_runs(true);
            self.offset_ms = 0;
            at_ms = stamp_ms;
        } else if step < 0 || an_hour_on {
            self.offset_ms += self.spacing_ms - step;
            at_ms = last + self.spacing_ms;
            let way = if step < 0 { "back" } else { "forward" };
            let by = (step.abs() + if step < 0 { self.spacing_ms } else { -self.spacing_ms }) / 1000;
            if self.doubts.len() < 5 {
                self.doubts.push(format!("the recorder's clock was set {way} by {by} s at line {line}"));
            }
        } else if step <= LONGEST_STEP_MS {
            self.spacing_ms = step;
        }
        self.last_ms = Some(at_ms);
        Some(at_ms)
    }

    fn one_moment(&mut self, cells: &impl Cells, i: usize, alt: i32) -> bool {
        (0..self.recorders.len()).any(|engine| {
            self.fill(engine, cells);
            let (rpm, trace) = (self.now.rpm[engine][i], &self.recorders[engine].trace);
            rpm >= RUNNING_RPM && trace.len() > 0 && trace.continues(rpm, alt)
        })
    }
}
