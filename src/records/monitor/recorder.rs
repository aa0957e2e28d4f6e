//! One engine's way through a recording: when it starts, when it stops, and what is kept between.

use std::sync::Arc;

use super::cell::{MISSING, is_value};
use super::channel::RPM;
use super::trace::Trace;

/// An engine turns by itself above this (thousandths of an rpm); a starter turns it at under 100 rpm.
pub const RUNNING_RPM: i32 = 300_000;
/// Faster than this the aircraft flies and a lost rpm reading does not mean a stopped engine (thousandths of a knot).
pub const FLYING_KT: i32 = 50_000;
/// How long it must turn to count as started, ms and samples.
const START_MS: i64 = 2_000;
const START_SAMPLES: usize = 3;
/// How long it must stand to count as stopped, ms.
const STOP_MS: i64 = 10_000;
/// How long rpm may be missing without a word of the engine, ms.
const LOST_MS: i64 = 60_000;
/// Longest silence of the recorder within one run on the ground, and in flight, ms.
const SILENCE_MS: i64 = 600_000;
const SILENCE_IN_FLIGHT_MS: i64 = 3_600_000;

/// How a run's recording begins and ends.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Cut {
    /// The engine was already running at the first sample.
    pub start: bool,
    /// The engine was still running at the last sample.
    pub end: bool,
}

/// What to do with a sample.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Step {
    /// The engine stands: nothing is kept.
    Idle,
    /// The sample belongs to the run now open and is to be pushed.
    Keep,
    /// A run is complete; take it, then offer the sample again.
    Ended,
}

#[derive(Debug, Default)]
enum State {
    #[default]
    Off,
    Starting,
    Running,
}

/// Follows one engine.
#[derive(Debug)]
pub struct Recorder {
    pub position: Option<Arc<str>>,
    pub trace: Trace,
    pub cut: Cut,
    state: State,
    /// The last sample that shows the engine running.
    running_ms: i64,
    last_ms: Option<i64>,
    flying: bool,
}

impl Recorder {
    /// `trace` is used for its memory.
    pub fn new(position: Option<Arc<str>>, mut trace: Trace) -> Self {
        trace.begin(0, 0);
        Self { position, trace, cut: Cut::default(), state: State::Off, running_ms: 0, last_ms: None, flying: false }
    }

    /// The engine turns, but not yet for long enough to be a run: its samples may yet be forgotten.
    pub fn starting(&self) -> bool {
        matches!(self.state, State::Starting)
    }

    /// Takes note of a sample: its time, rpm and the aircraft's speed (thousandths or [`MISSING`]).
    pub fn step(&mut self, at_ms: i64, line: u32, rpm: i32, speed: i32) -> Step {
        let running = is_value(rpm) && rpm >= RUNNING_RPM;
        let flying = is_value(speed) && speed >= FLYING_KT;
        let silence = self.last_ms.map_or(0, |last| at_ms - last);
        match self.state {
            State::Off if running => {
                self.cut.start = self.last_ms.is_none() || silence > SILENCE_MS;
                self.cut.end = false;
                self.trace.begin(at_ms, line);
                self.state = State::Starting;
            }
            State::Off => {
                self.last_ms = Some(at_ms);
                return Step::Idle;
            }
            State::Starting if !running || silence > SILENCE_MS => {
                // A kick of the starter or a spike: no run.
                self.state = State::Off;
                self.trace.begin(at_ms, line);
                self.last_ms = Some(at_ms);
                return Step::Idle;
            }
            State::Starting => {
                if self.trace.len() + 1 >= START_SAMPLES && at_ms - self.trace.start_ms >= START_MS {
                    self.state = State::Running;
                }
            }
            State::Running => {
                let longest = if self.flying && flying { SILENCE_IN_FLIGHT_MS } else { SILENCE_MS };
                let lost = !is_value(rpm);
                let stopped = at_ms - self.running_ms >= if lost { LOST_MS } else { STOP_MS };
                if silence > longest || (!running && !flying && stopped) {
                    self.cut.end = silence > longest;
                    return Step::Ended;
                }
            }
        }
        (self.last_ms, self.flying) = (Some(at_ms), flying);
        if running || flying {
            self.running_ms = at_ms;
        }
        Step::Keep
    }

    /// The run now open keeps `more` samples up to `at_ms` if the engine runs in all of them and none is late.
    pub fn keeps_on(&self, at_ms: i64, more: usize) -> bool {
        matches!(self.state, State::Running) && self.trace.takes(at_ms, more)
    }

    /// Takes note of samples as [`Self::step`] and [`Trace::open`] would of each, after [`Self::keeps_on`]; their
    /// times and rpm, and the aircraft's speed at the last.
    pub fn keep_on(&mut self, at_ms: impl Iterator<Item = i64> + Clone, rpm: &[i32], speed: i32) {
        if let Some(last) = at_ms.clone().last() {
            (self.last_ms, self.running_ms) = (Some(last), last);
            self.flying = is_value(speed) && speed >= FLYING_KT;
        }
        self.trace.take(at_ms);
        self.trace.column_mut(RPM).extend_from_slice(rpm);
    }

    /// Ends the run, if there is one: true if [`Self::trace`] now holds it. `cut`: the recording ends here.
    pub fn end(&mut self, cut: bool) -> bool {
        let complete = matches!(self.state, State::Running);
        self.state = State::Off;
        if !complete {
            return false;
        }
        self.cut.end |= cut && self.last_ms == Some(self.running_ms);
        let after = i32::try_from(self.running_ms - self.trace.start_ms + 1).unwrap_or(i32::MAX);
        self.trace.truncate(self.trace.index_at(after));
        self.trace.square();
        // While rpm was lost in flight, the column may hold zeros.
        for v in self.trace.column_mut(RPM) {
            if *v < RUNNING_RPM {
                *v = MISSING;
            }
        }
        true
    }
}
