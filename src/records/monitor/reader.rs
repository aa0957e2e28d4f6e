//! From lines to samples: header, time, clock jumps, and each engine's recorder.
//!
//! Rows come many at a time. What decides where a sample belongs (time, speed, rpm) is looked at row by
//! row; the rest is read column by column for the rows that were kept ([`Reduction::fill`]). The rows' times
//! and the recorder's clock are in `moments`; rows that change nothing are taken at once in `steady`.

mod moments;
mod steady;

use std::io::Read;
use std::sync::Arc;

use super::cell::{MISSING, is_value};
use super::cells::{Cells, Cut};
use super::channel::{ALT, Channel, Columns, GS, IAS, LAT, LON, RPM};
use super::clock::Clock;
use super::lines::{Buffers, Cutting, Line, Lines, Part};
use super::quoted::Quoted;
use super::recorder::{Recorder, Step};
use super::trace::Trace;
use super::{ReduceContext, Way, summary};
use crate::records::layout::MonitorLayout;
use crate::records::{Rejection, RunSummary, Source};

/// Rows rejected one by one before the rest is only counted.
const ROWS_NAMED: u32 = 10;
/// Longer steps say nothing of how often the recorder writes, ms.
const LONGEST_STEP_MS: i64 = 10_000;

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
                out.resize(now.rows.len(), MISSING);
                for i in now.positions.iter().map(|i| *i as usize) {
                    out[i] = cells.value(field, now.rows[i]);
                }
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
        if self.goes_on() {
            self.go_on(cells);
            return;
        }
        let [ias, gs, alt] = [IAS, GS, ALT].map(|channel| self.shared(channel));
        for i in 0..self.now.rows.len() {
            let speed = self.speed(ias, gs, i);
            let (line, stamp_ms, alt) = (cells.line(self.now.rows[i]), self.now.stamps[i], self.value(alt, i));
            let Some(at_ms) = self.in_order(stamp_ms, line, cells, i, alt) else { continue };
            for engine in 0..self.recorders.len() {
                self.engine(engine, at_ms, i, speed, cells);
            }
        }
        (0..self.recorders.len()).for_each(|engine| self.fill(engine, cells));
    }

    /// Which shared field holds a channel.
    fn shared(&self, channel: Channel) -> Option<usize> {
        self.columns.shared.iter().position(|f| f.channel == channel)
    }

    /// The value of a shared field in row `i` of those with a time.
    fn value(&self, field: Option<usize>, i: usize) -> i32 {
        field.map_or(MISSING, |f| self.now.shared[f][i])
    }

    /// The aircraft's speed there: through the air, else over the ground.
    fn speed(&self, ias: Option<usize>, gs: Option<usize>, i: usize) -> i32 {
        let through_air = self.value(ias, i);
        if is_value(through_air) { through_air } else { self.value(gs, i) }
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
            let column = trace.column_mut(field.channel);
            match waiting.len() == values.len() {
                true => column.extend_from_slice(values),
                false => column.extend(waiting.iter().map(|i| values[*i as usize])),
            }
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
