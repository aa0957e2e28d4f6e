//! Rows in which nothing starts, stops or steps: nearly all of a recording, taken without looking at each.

use super::{LONGEST_STEP_MS, Reduction};
use crate::records::monitor::cells::Cells;
use crate::records::monitor::channel::{GS, IAS};
use crate::records::monitor::recorder::RUNNING_RPM;

impl Reduction<'_> {
    /// Nothing starts, stops or steps in these rows: each would be kept and change nothing else.
    pub(super) fn goes_on(&self) -> bool {
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
    pub(super) fn go_on(&mut self, cells: &impl Cells) {
        let (rows, n) = (&self.now.rows, self.now.rows.len());
        let (Some(stamp_ms), before) = (self.now.stamps.last(), n.checked_sub(2).map(|i| self.now.stamps[i])) else {
            return;
        };
        let at_ms = stamp_ms + self.offset_ms;
        let before_ms = before.map_or(self.last_ms.unwrap_or(at_ms), |ms| ms + self.offset_ms);
        (self.spacing_ms, self.last_ms) = (at_ms - before_ms, Some(at_ms));
        let speed = self.speed(self.shared(IAS), self.shared(GS), n - 1);
        for engine in 0..self.recorders.len() {
            let stamps = self.now.stamps.iter().map(|ms| ms + self.offset_ms);
            self.recorders[engine].keep_on(stamps, &self.now.rpm[engine], speed);
            self.now.waiting[engine].0.extend(0..n as u32);
            self.now.waiting[engine].1.extend_from_slice(rows);
        }
        (0..self.recorders.len()).for_each(|engine| self.fill(engine, cells));
    }
}
