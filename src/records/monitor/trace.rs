//! The samples of one run, by channel, held until the run ends.
//!
//! Phases need hindsight (was that the landing?), so a run is kept whole: at most [`CAP`] samples,
//! after which every second one is dropped and the spacing doubled. Memory stays bounded whatever
//! the length of a recording or the rate of its recorder.

use super::cell::{MISSING, is_value};
use super::channel::{ALT, CHANNELS, Channel, RPM};

/// Most samples kept of a run: 18 h at one a second.
pub const CAP: usize = 65_536;

/// Samples of one run. Values are thousandths, [`MISSING`] where there is none.
#[derive(Clone, Debug, Default)]
pub struct Trace {
    /// Milliseconds since 1970 UTC of the first sample.
    pub start_ms: i64,
    /// Line of the first sample.
    pub line: u32,
    /// Milliseconds after `start_ms`, rising.
    pub t: Vec<i32>,
    columns: [Vec<i32>; CHANNELS],
    /// Every how manieth sample is kept.
    every: u32,
    skipped: u32,
}

impl Trace {
    /// Empties it for a run that begins at `start_ms` in `line`.
    pub fn begin(&mut self, start_ms: i64, line: u32) {
        self.t.clear();
        for column in &mut self.columns {
            column.clear();
        }
        (self.start_ms, self.line, self.every, self.skipped) = (start_ms, line, 1, 0);
    }

    pub fn len(&self) -> usize {
        self.t.len()
    }

    /// A channel's values, empty if the recording has none.
    pub fn column(&self, channel: Channel) -> &[i32] {
        &self.columns[channel]
    }

    pub fn column_mut(&mut self, channel: Channel) -> &mut Vec<i32> {
        &mut self.columns[channel]
    }

    /// A channel's value, if there is one.
    pub fn value(&self, channel: Channel, i: usize) -> Option<i32> {
        self.columns[channel].get(i).copied().filter(|v| is_value(*v))
    }

    /// The channel is recorded at all.
    pub fn has(&self, channel: Channel) -> bool {
        self.columns[channel].iter().any(|v| is_value(*v))
    }

    /// Opens a sample at `at_ms`; false if thinning drops it. Each channel's value is then to be added.
    pub fn open(&mut self, at_ms: i64) -> bool {
        self.skipped += 1;
        if self.skipped < self.every {
            return false;
        }
        self.skipped = 0;
        if self.full() {
            self.thin();
        }
        let Ok(t) = i32::try_from(at_ms - self.start_ms) else { return false };
        self.t.push(t);
        true
    }

    /// Whether `more` samples, the last at `at_ms`, can be taken without thinning.
    pub fn takes(&self, at_ms: i64, more: usize) -> bool {
        self.every == 1 && self.t.len() + more <= CAP && i32::try_from(at_ms - self.start_ms).is_ok()
    }

    /// Opens samples at each of the times, after [`Self::takes`].
    pub fn take(&mut self, at_ms: impl Iterator<Item = i64>) {
        self.t.extend(at_ms.map(|ms| (ms - self.start_ms) as i32));
    }

    /// The next sample that is opened makes room by dropping every second one: all must have their values.
    pub fn full(&self) -> bool {
        self.t.len() >= CAP
    }

    fn thin(&mut self) {
        let halve = |column: &mut Vec<i32>| {
            let mut i = 0;
            column.retain(|_| {
                i += 1;
                i % 2 == 1
            });
        };
        halve(&mut self.t);
        self.columns.iter_mut().for_each(halve);
        self.every *= 2;
    }

    /// Forgets everything from sample `n` on.
    pub fn truncate(&mut self, n: usize) {
        self.t.truncate(n);
        for column in &mut self.columns {
            column.truncate(n);
        }
    }

    /// Makes every channel that is recorded as long as the time, so that indices agree.
    pub fn square(&mut self) {
        let n = self.t.len();
        for column in &mut self.columns {
            if !column.is_empty() {
                column.resize(n, MISSING);
            }
        }
    }

    /// Seconds after the start of the run.
    pub fn seconds(&self, i: usize) -> f32 {
        (f64::from(self.t[i]) / 1000.0) as f32
    }

    /// First sample at or after `t` milliseconds.
    pub fn index_at(&self, t: i32) -> usize {
        self.t.partition_point(|x| *x < t)
    }

    /// Engine and aircraft before a silence and after it look like one and the same moment.
    pub fn continues(&self, rpm: i32, alt: i32) -> bool {
        let near = |channel: Channel, now: i32, within: i32| {
            self.columns[channel]
                .last()
                .is_none_or(|last| !is_value(*last) || !is_value(now) || (last - now).abs() <= within)
        };
        near(RPM, rpm, 150_000) && near(ALT, alt, 300_000)
    }
}
