//! From lines to samples: header, time, clock jumps, and each engine's recorder.
//!
//! Rows come many at a time. What decides where a sample belongs (time, speed, rpm) is looked at row by
//! row; the rest is read column by column for the rows that were kept ([`Reduction::fill`]).

use std::io::Read;
use std::sync::Arc;

use super::cell::{MISSING, is_value};
use super::cells::{Cells, Cut};
use super::channel::{ALT, Channel, Columns, GS, IAS, LAT, LON, RPM};
use super::clock::Clock;
use super::lines::{Buffers, Cutting, Line, Lines, Part};
use super::quoted::Quoted;
use super::recorder::{RUNNING_RPM, Recorder, Step};
use super::trace::Trace;
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
/// Longer steps say nothing of how often the recorder writes, ms.
const LONGEST_STEP_MS: i64 = 10_000;
/// A step back by more than this is another recording in the same file, ms.
const ANOTHER_RECORDING_MS: i64 = 3 * HOUR_MS;

/// The rows being looked at.
#[derive(Debug, Default)]
struct Now {
    /// Rows with a time, and their times, ms.
    rows: Vec<u32>,
    stamps: Vec<i64>,
    /// Of those, the ones whose position is read, as indices.
    positions: Vec<u32>,
    /// Their values by shared field, and rpm by engine.
    shared: Vec<Vec<i32>>,
    rpm: Vec<Vec<i32>>,
    /// By engine, what was kept and has not all its values yet: indices, and rows.
    waiting: Vec<(Vec<u32>, Vec<u32>)>,
}

/// Kept from one recording to the next: fresh memory costs a tenth of the time a recording takes.
#[derive(Debug, Default)]
pub struct Memory {
    buffers: Buffers,
    traces: Vec<Trace>,
    now: Now,
}

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
    now: Now,
    stamp: Vec<u8>,
    first_row: bool,
    doubts: Vec<String>,
    runs: Vec<RunSummary>,
    rejections: Vec<Rejection>,
    rows_rejected: u32,
    /// Made at the first row the fast way does not cut.
    quoted: Option<Quoted>,
    /// Traces for their memory.
    pub spare: Vec<Trace>,
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
            now: Now::default(),
            stamp: Vec::new(),
            first_row: true,
            doubts: Vec::new(),
            runs: Vec::new(),
            rejections: Vec::new(),
            rows_rejected: 0,
            quoted: None,
            spare: Vec::new(),
        }
    }

    /// Reads everything.
    pub fn run(mut self, input: impl Read, way: Way, memory: &mut Memory) -> (Vec<RunSummary>, Vec<Rejection>) {
        std::mem::swap(&mut self.now, &mut memory.now);
        std::mem::swap(&mut self.spare, &mut memory.traces);
        let input = super::text::Text::new(input, self.layout.and_then(|l| l.shape.encoding.as_deref()));
        let mut lines = Lines::new(input, &mut memory.buffers);
        match self.header(&mut lines) {
            Ok(Some(delimiter)) => {
                let mark = self.decimal_mark(delimiter);
                let cutting = Cutting { delimiter, width: self.columns.width, keep: self.columns.keep() };
                let cutting = (way == Way::Fast).then_some(cutting);
                self.now.shared.resize(self.columns.shared.len(), Vec::new());
                self.now.rpm.resize(self.recorders.len(), Vec::new());
                self.now.waiting.resize(self.recorders.len(), Default::default());
                let read = lines.each(cutting, |part| match part {
                    Part::Rows(rows) => self.samples(&Cut(rows, mark)),
                    Part::Line(line) => self.line(line, delimiter, mark),
                });
                if let Err(e) = read {
                    self.reject(0, format!("cannot be read to its end ({e})"), "a readable file", false);
                }
                self.close();
            }
            Ok(None) => {}
            Err(e) => self.reject(0, format!("cannot be read ({e})"), "a readable file", true),
        }
        memory.now = self.now;
        memory.traces = self.spare;
        memory.traces.extend(self.recorders.into_iter().map(|r| r.trace));
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

    fn line(&mut self, line: Line<'_>, delimiter: u8, mark: u8) {
        let text = line.text.trim_ascii_end();
        // NULs are what is set aside for a file before it is written.
        if text.first() == Some(&b'#') || text.iter().all(|b| *b == 0) {
            return;
        }
        if line.too_long {
            return self.reject_row(line.line, "a line of more than 65,000 characters".into(), "one row per sample");
        }
        let mut quoted = self.quoted.take().unwrap_or_else(|| Quoted::new(delimiter));
        // The end of a file that is still being written: of the last cell digits may be missing.
        let last = line.unfinished.then(|| self.columns.width.saturating_sub(1));
        match quoted.cut(text) {
            Some(_) if last.is_some_and(|last| self.columns.time.contains(&last)) => {}
            Some(cells) if cells == self.columns.width => self.samples(&quoted.row(mark, line.line, last)),
            // A row cut short there is no fault.
            _ if line.unfinished => {}
            cells => {
                let expected = format!("{} cells as in the header", self.columns.width);
                self.reject_row(line.line, format!("{} cells", cells.unwrap_or(0)), &expected);
            }
        }
        self.quoted = Some(quoted);
    }

    fn samples(&mut self, cells: &impl Cells) {
        self.times(cells);
        let (columns, now) = (&mut self.columns, &mut self.now);
        for (field, out) in columns.shared.iter_mut().zip(&mut now.shared) {
            out.clear();
            if matches!(field.channel, LAT | LON) {
                let (rows, mut some) = (now.positions.iter().map(|i| now.rows[*i as usize]), Vec::new());
                cells.values(field, &rows.collect::<Vec<_>>(), &mut some);
                out.resize(now.rows.len(), MISSING);
                now.positions.iter().zip(some).for_each(|(i, v)| out[*i as usize] = v);
            } else {
                cells.values(field, &now.rows, out);
            }
        }
        for (engine, out) in columns.engines.iter_mut().zip(&mut now.rpm) {
            out.clear();
            if let Some(field) = engine.fields.first_mut() {
                cells.values(field, &now.rows, out);
            }
        }
        let shared = |channel: Channel| self.columns.shared.iter().position(|f| f.channel == channel);
        let (ias, gs, alt) = (shared(IAS), shared(GS), shared(ALT));
        if self.goes_on() {
            self.go_on(cells);
            return;
        }
        for i in 0..self.now.rows.len() {
            let value = |field: Option<usize>| field.map_or(MISSING, |f| self.now.shared[f][i]);
            let speed = if is_value(value(ias)) { value(ias) } else { value(gs) };
            let (line, stamp_ms, alt) = (cells.line(self.now.rows[i]), self.now.stamps[i], value(alt));
            let Some(at_ms) = self.in_order(stamp_ms, line, cells, i, alt) else { continue };
            for engine in 0..self.recorders.len() {
                self.engine(engine, at_ms, i, speed, cells);
            }
        }
        (0..self.recorders.len()).for_each(|engine| self.fill(engine, cells));
    }

    /// Nothing starts, stops or steps in these rows: each would be kept and change nothing else.
    fn goes_on(&self) -> bool {
        let (Some(last), Some(newest)) = (self.last_ms, self.now.stamps.last()) else { return false };
        let stamps = &self.now.stamps;
        let steps = |a: i64, b: i64| (1..=LONGEST_STEP_MS).contains(&(b - a));
        steps(last, stamps[0] + self.offset_ms)
            && stamps.iter().zip(&stamps[1..]).fold(true, |all, (a, b)| all & steps(*a, *b))
            && self.recorders.iter().zip(&self.now.rpm).all(|(recorder, rpm)| {
                recorder.keeps_on(*newest + self.offset_ms, rpm.len())
                    && rpm.iter().fold(true, |all, v| all & (*v >= RUNNING_RPM))
            })
    }

    /// Keeps all rows, after [`Self::goes_on`].
    fn go_on(&mut self, cells: &impl Cells) {
        let (rows, n) = (&self.now.rows, self.now.rows.len());
        let (Some(stamp_ms), before) = (self.now.stamps.last(), n.checked_sub(2).map(|i| self.now.stamps[i])) else {
            return;
        };
        let at_ms = stamp_ms + self.offset_ms;
        let before_ms = before.map_or(self.last_ms.unwrap_or(at_ms), |ms| ms + self.offset_ms);
        (self.spacing_ms, self.last_ms) = (at_ms - before_ms, Some(at_ms));
        let value = |channel: Channel| {
            let field = self.columns.shared.iter().position(|f| f.channel == channel);
            field.map_or(MISSING, |f| self.now.shared[f][n - 1])
        };
        let speed = if is_value(value(IAS)) { value(IAS) } else { value(GS) };
        for engine in 0..self.recorders.len() {
            let stamps = self.now.stamps.iter().map(|ms| ms + self.offset_ms);
            self.recorders[engine].keep_on(stamps, &self.now.rpm[engine], speed);
            self.now.waiting[engine].0.extend(0..n as u32);
            self.now.waiting[engine].1.extend_from_slice(rows);
        }
        (0..self.recorders.len()).for_each(|engine| self.fill(engine, cells));
    }

    /// Reads the time of each row; those without one are rejected.
    fn times(&mut self, cells: &impl Cells) {
        self.now.rows.clear();
        self.now.stamps.clear();
        self.now.positions.clear();
        for row in 0..cells.rows() {
            let first = std::mem::take(&mut self.first_row);
            let Some(stamp_ms) = self.time(cells, row) else {
                // The first may hold units.
                if !first {
                    let text = String::from_utf8_lossy(&self.stamp).into_owned();
                    self.reject_row(cells.line(row), format!("time \"{text}\""), "a time such as 2026-03-01T14:05:33");
                }
                continue;
            };
            if stamp_ms - self.position_ms.max(0) >= POSITION_EVERY_MS || stamp_ms < self.position_ms {
                self.position_ms = stamp_ms;
                self.now.positions.push(self.now.rows.len() as u32);
            }
            self.now.rows.push(row);
            self.now.stamps.push(stamp_ms);
        }
    }

    fn time(&mut self, cells: &impl Cells, row: u32) -> Option<i64> {
        if let [column] = self.columns.time[..] {
            let at = self.clock.read(cells.text(row, column));
            if at.is_none() {
                self.stamp.clear();
                self.stamp.extend_from_slice(cells.text(row, column));
            }
            return at;
        }
        self.stamp.clear();
        for column in &self.columns.time {
            if !self.stamp.is_empty() {
                self.stamp.push(b' ');
            }
            self.stamp.extend_from_slice(cells.text(row, *column).trim_ascii());
        }
        self.clock.read(&self.stamp)
    }

    /// The sample's time on a clock that does not step; `None` drops the sample.
    fn in_order(&mut self, stamp_ms: i64, line: u32, cells: &impl Cells, i: usize, alt: i32) -> Option<i64> {
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

    /// Offers row `i` of those with a time to an engine's recorder.
    fn engine(&mut self, engine: usize, at_ms: i64, i: usize, speed: i32, cells: &impl Cells) {
        let (row, rpm) = (self.now.rows[i], self.now.rpm[engine][i]);
        if self.recorders[engine].starting() || self.recorders[engine].trace.full() {
            self.fill(engine, cells);
        }
        let recorder = &mut self.recorders[engine];
        let step = recorder.step(at_ms, cells.line(row), rpm, speed);
        if step == Step::Ended {
            self.fill(engine, cells);
            self.take(engine, false);
            return self.engine(engine, at_ms, i, speed, cells);
        }
        if step == Step::Keep && recorder.trace.open(at_ms) {
            recorder.trace.column_mut(RPM).push(rpm);
            self.now.waiting[engine].0.push(i as u32);
            self.now.waiting[engine].1.push(row);
        }
    }

    /// Gives the samples kept of an engine since the last time all their values.
    fn fill(&mut self, engine: usize, cells: &impl Cells) {
        let (now, trace) = (&mut self.now, &mut self.recorders[engine].trace);
        let (waiting, rows) = &mut now.waiting[engine];
        if waiting.is_empty() {
            return;
        }
        for field in self.columns.engines[engine].fields.iter_mut().skip(1) {
            cells.values(field, rows, trace.column_mut(field.channel));
        }
        for (field, values) in self.columns.shared.iter().zip(&now.shared) {
            trace.column_mut(field.channel).extend(waiting.iter().map(|i| values[*i as usize]));
        }
        waiting.clear();
        rows.clear();
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
