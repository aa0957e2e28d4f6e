//! From lines to samples: header, time, clock jumps, and each engine's recorder.

use std::io::Read;
use std::sync::Arc;

use super::cell::{MISSING, is_value};
use super::cells::{Cells, Cut};
use super::channel::{ALT, Columns, GS, IAS, LAT, LON, RPM};
use super::clock::Clock;
use super::lines::{Lines, Row};
use super::quoted::Quoted;
use super::recorder::{Recorder, Step};
use super::{ReduceContext, Way, summary};
use crate::records::layout::MonitorLayout;
use crate::records::{Rejection, RunSummary, Source};

/// Rows rejected one by one before the rest is only counted.
const ROWS_NAMED: u32 = 10;
/// Position is read this often, ms: it only tells how far the aircraft is from the field.
const POSITION_EVERY_MS: i64 = 5_000;
/// A step of the clock of an hour, give or take, ms.
const HOUR_MS: i64 = 3_600_000;
const HOUR_WITHIN_MS: i64 = 60_000;
/// A step back by more than this is another recording in the same file, ms.
const ANOTHER_RECORDING_MS: i64 = 3 * HOUR_MS;

/// One recording being read.
pub struct Reduction<'a> {
    file: Arc<str>,
    pub layout: Option<&'a MonitorLayout>,
    pub context: &'a ReduceContext,
    pub columns: Columns,
    clock: Clock,
    pub recorders: Vec<Recorder>,
    /// Added to every time stamp after a step of the clock, ms.
    offset_ms: i64,
    last_ms: Option<i64>,
    spacing_ms: i64,
    position_ms: i64,
    shared: Vec<i32>,
    stamp: Vec<u8>,
    first_row: bool,
    doubts: Vec<String>,
    runs: Vec<RunSummary>,
    rejections: Vec<Rejection>,
    rows_rejected: u32,
    /// Made at the first row the fast way does not cut.
    quoted: Option<Quoted>,
}

impl<'a> Reduction<'a> {
    pub fn new(file: &str, layout: Option<&'a MonitorLayout>, context: &'a ReduceContext) -> Self {
        let zone = match layout.and_then(|l| l.time.zone.as_deref()) {
            Some("utc" | "UTC") => chrono_tz::UTC,
            Some(name) => name.parse().unwrap_or(context.zone),
            None => context.zone,
        };
        Self {
            file: Arc::from(file),
            layout,
            context,
            columns: Columns {
                width: 0,
                time: Vec::new(),
                engines: Vec::new(),
                shared: Vec::new(),
                problems: Vec::new(),
            },
            clock: Clock::new(zone, layout.and_then(|l| l.time.format.clone())),
            recorders: Vec::new(),
            offset_ms: 0,
            last_ms: None,
            spacing_ms: 1000,
            position_ms: i64::MIN,
            shared: Vec::new(),
            stamp: Vec::new(),
            first_row: true,
            doubts: Vec::new(),
            runs: Vec::new(),
            rejections: Vec::new(),
            rows_rejected: 0,
            quoted: None,
        }
    }

    /// Reads everything.
    pub fn run(mut self, input: impl Read, way: Way) -> (Vec<RunSummary>, Vec<Rejection>) {
        let input = super::text::Text::new(input, self.layout.and_then(|l| l.shape.encoding.as_deref()));
        let mut lines = Lines::new(input);
        match self.header(&mut lines) {
            Ok(Some(delimiter)) => {
                let mark = self.decimal_mark(delimiter);
                let width = self.columns.width;
                let read = lines.each(delimiter, width, way == Way::Csv, |row| self.row(row, delimiter, mark));
                if let Err(e) = read {
                    self.reject(0, format!("cannot be read to its end ({e})"), "a readable file", false);
                }
                self.close();
            }
            Ok(None) => {}
            Err(e) => self.reject(0, format!("cannot be read ({e})"), "a readable file", true),
        }
        (self.runs, self.rejections)
    }

    pub fn reject(&mut self, line: u32, found: String, expected: &str, whole_file: bool) {
        let source = Source { file: self.file.clone(), line };
        self.rejections.push(Rejection { source, found, expected: expected.to_owned(), whole_file });
    }

    fn reject_row(&mut self, line: u32, found: String, expected: &str) {
        self.rows_rejected += 1;
        if self.rows_rejected <= ROWS_NAMED {
            self.reject(line, found, expected, false);
        }
    }

    fn row(&mut self, row: Row<'_>, delimiter: u8, mark: u8) {
        if row.too_long {
            return self.reject_row(row.line, "a line of more than 65,000 characters".into(), "one row per sample");
        }
        // A remark, whichever way the row would be cut.
        if row.buffer[row.from..row.to].first() == Some(&b'#') {
            return;
        }
        if !row.ends.is_empty() {
            return self.sample(&Cut(row, mark), row.line);
        }
        let text = row.buffer[row.from..row.to].trim_ascii_end();
        if text.is_empty() || text.iter().all(|b| *b == 0) {
            return;
        }
        let mut quoted = self.quoted.take().unwrap_or_else(|| Quoted::new(delimiter));
        match quoted.cut(text) {
            Some(cells) if cells == self.columns.width => self.sample(&quoted.row(mark), row.line),
            // A row cut short at the end of a file that is still being written is no fault.
            _ if row.unfinished => {}
            cells => {
                let expected = format!("{} cells as in the header", self.columns.width);
                self.reject_row(row.line, format!("{} cells", cells.unwrap_or(0)), &expected);
            }
        }
        self.quoted = Some(quoted);
    }

    fn sample(&mut self, cells: &impl Cells, line: u32) {
        let first = std::mem::take(&mut self.first_row);
        let Some(stamp_ms) = self.time(cells) else {
            if !first {
                let text = String::from_utf8_lossy(&self.stamp).into_owned();
                self.reject_row(line, format!("time \"{text}\""), "a time such as 2026-03-01T14:05:33");
            }
            return;
        };
        self.shared.clear();
        let mut speed = MISSING;
        let mut alt = MISSING;
        let read_position = stamp_ms - self.position_ms.max(0) >= POSITION_EVERY_MS || stamp_ms < self.position_ms;
        for field in &mut self.columns.shared {
            let skipped = matches!(field.channel, LAT | LON) && !read_position;
            let v = if skipped { MISSING } else { field.value(cells.number(field.column), line) };
            match field.channel {
                IAS => speed = v,
                GS if !is_value(speed) => speed = v,
                ALT => alt = v,
                _ => {}
            }
            self.shared.push(v);
        }
        if read_position {
            self.position_ms = stamp_ms;
        }
        let Some(at_ms) = self.in_order(stamp_ms, line, cells, alt) else { return };
        for i in 0..self.recorders.len() {
            self.engine(i, at_ms, line, speed, cells);
        }
    }

    fn time(&mut self, cells: &impl Cells) -> Option<i64> {
        if let [column] = self.columns.time[..] {
            let at = self.clock.read(cells.text(column));
            if at.is_none() {
                self.stamp.clear();
                self.stamp.extend_from_slice(cells.text(column));
            }
            return at;
        }
        self.stamp.clear();
        for column in &self.columns.time {
            if !self.stamp.is_empty() {
                self.stamp.push(b' ');
            }
            self.stamp.extend_from_slice(cells.text(*column).trim_ascii());
        }
        self.clock.read(&self.stamp)
    }

    /// The sample's time on a clock that does not step; `None` drops the sample.
    fn in_order(&mut self, stamp_ms: i64, line: u32, cells: &impl Cells, alt: i32) -> Option<i64> {
        let mut at_ms = stamp_ms + self.offset_ms;
        let Some(last) = self.last_ms else {
            self.last_ms = Some(at_ms);
            return Some(at_ms);
        };
        let step = at_ms - last;
        if step == 0 {
            return None;
        }
        let an_hour_on = (step - HOUR_MS).abs() <= HOUR_WITHIN_MS && self.one_moment(cells, alt);
        if step < -ANOTHER_RECORDING_MS {
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
        } else if step <= 10_000 {
            self.spacing_ms = step;
        }
        self.last_ms = Some(at_ms);
        Some(at_ms)
    }

    fn one_moment(&mut self, cells: &impl Cells, alt: i32) -> bool {
        self.columns.engines.iter_mut().zip(&self.recorders).any(|(columns, recorder)| {
            let rpm = columns.fields.first().map_or(MISSING, |f| cells.number(f.column));
            rpm >= super::recorder::RUNNING_RPM && recorder.trace.len() > 0 && recorder.trace.continues(rpm, alt)
        })
    }

    fn engine(&mut self, i: usize, at_ms: i64, line: u32, speed: i32, cells: &impl Cells) {
        let (recorder, columns) = (&mut self.recorders[i], &mut self.columns.engines[i]);
        let rpm = columns.fields.first_mut().map_or(MISSING, |f| f.value(cells.number(f.column), line));
        let step = recorder.step(at_ms, line, rpm, speed);
        if step == Step::Ended {
            self.take(i, false);
            return self.engine(i, at_ms, line, speed, cells);
        }
        if step == Step::Idle || !recorder.trace.open(at_ms) {
            return;
        }
        recorder.trace.put(RPM, rpm);
        for field in columns.fields.iter_mut().skip(1) {
            let v = field.value(cells.number(field.column), line);
            recorder.trace.put(field.channel, v);
        }
        for (field, v) in self.columns.shared.iter().zip(&self.shared) {
            recorder.trace.put(field.channel, *v);
        }
    }

    /// Ends engine `i`'s run and summarises it.
    fn take(&mut self, i: usize, cut: bool) {
        let recorder = &mut self.recorders[i];
        if recorder.end(cut) {
            let engine = self.context.engine(&recorder.position);
            let mut run = summary::summarise(recorder, &self.file, engine);
            run.doubts.extend(self.doubts.iter().cloned());
            self.runs.push(run);
        }
    }

    fn close_runs(&mut self, cut: bool) {
        for i in 0..self.recorders.len() {
            self.take(i, cut);
        }
    }

    fn close(&mut self) {
        self.close_runs(true);
        if self.rows_rejected > ROWS_NAMED {
            let more = self.rows_rejected - ROWS_NAMED;
            self.reject(0, format!("{more} further rows that could not be read"), "rows like the others", false);
        }
        let fields = self.columns.engines.iter().flat_map(|e| &e.fields).chain(&self.columns.shared);
        let bad: Vec<_> = fields.filter_map(|f| f.bad.map(|(line, n)| (line, n, f.channel))).collect();
        for (line, n, channel) in bad {
            let name = super::channel::name(channel);
            self.reject(line, format!("{n} cells of {name} that are no number"), "a number, or nothing", false);
        }
        self.runs.sort_by(|a, b| a.start.cmp(&b.start).then_with(|| a.engine.cmp(&b.engine)));
    }
}
