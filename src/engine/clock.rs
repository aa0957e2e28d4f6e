//! One continuous clock from meter readings, flights and meter changes.
//!
//! Readings are mis-keyed (1734.8 for 1743.8), left out, and start anew when a meter is replaced.
//! The chain of readings that needs the fewest exceptions is taken as true: a reading that does not
//! fit the flights is set aside, a jump that later readings confirm is running nobody logged.

use chrono::NaiveDate;

/// How many readings in a row may be set aside.
const LOOK_BACK: usize = 8;
/// Cost of a jump, in readings set aside: two readings that agree with each other outweigh it.
const JUMP_COST: f64 = 1.5;
/// Most a meter can turn in a day when no flights are logged to check it against, h.
const MOST_PER_DAY_H: f64 = 12.0;
/// Meter readings are written to a tenth: differences below this are nothing, h.
const NOTHING_H: f64 = 0.05;

/// One row of a log as the clock sees it, in order of time.
#[derive(Clone, Copy, Debug, Default)]
pub struct Row {
    pub date: NaiveDate,
    pub reading: Option<f64>,
    /// A flight or ground run, with its logged length if given.
    pub run: Option<Option<f64>>,
    /// The meter was replaced; `reading` is the new one's.
    pub meter_changed: bool,
}

/// A reading that was not believed.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Doubt {
    pub row: usize,
    pub read: f64,
    pub expected: f64,
    /// Rows it was checked against.
    pub before: Option<usize>,
    pub after: Option<usize>,
    /// The meter jumped and stayed: running nobody logged, or a meter change without an entry.
    pub jumped: bool,
}

/// The clock, row by row.
#[derive(Clone, Debug, Default)]
pub struct Clock {
    /// Hours gained by the row's own run.
    pub run_h: Vec<f64>,
    /// Hours that passed on the meter before the row without a logged run.
    pub unlogged_h: Vec<f64>,
    pub doubts: Vec<Doubt>,
}

/// Builds the clock. `start` is the meter when the records begin, `tolerance_h` what a reading may differ from the flights.
pub fn build(rows: &[Row], start: Option<f64>, tolerance_h: f64) -> Clock {
    let mut clock = Clock { run_h: vec![0.0; rows.len()], unlogged_h: vec![0.0; rows.len()], doubts: Vec::new() };
    let mut from = 0;
    let mut start = start;
    while from < rows.len() {
        let next = (from + 1..rows.len()).find(|&i| rows[i].meter_changed).unwrap_or(rows.len());
        let stretch = Stretch::new(&rows[from..next], start, tolerance_h);
        stretch.fill(&mut clock, from);
        start = rows.get(next).and_then(|r| r.reading);
        from = next;
    }
    clock
}

/// Rows between two meter changes.
struct Stretch<'a> {
    rows: &'a [Row],
    /// Readings as (row or `None` for the start, value).
    readings: Vec<(Option<usize>, f64)>,
    /// Sum of logged run hours up to and including a row, in meter hours.
    run_sum: Vec<f64>,
    /// Runs of unknown length up to and including a row.
    unknown_sum: Vec<u32>,
    /// Meter hours per logged flight hour.
    ratio: f64,
    tolerance_h: f64,
}

impl<'a> Stretch<'a> {
    fn new(rows: &'a [Row], start: Option<f64>, tolerance_h: f64) -> Self {
        let mut readings = Vec::with_capacity(rows.len() + 1);
        let changed = rows.first().is_some_and(|r| r.meter_changed);
        if let (Some(value), false) = (start, changed) {
            readings.push((None, value));
        }
        readings.extend(rows.iter().enumerate().filter_map(|(i, r)| r.reading.map(|v| (Some(i), v))));
        let mut stretch = Self { rows, readings, run_sum: vec![], unknown_sum: vec![], ratio: 1.0, tolerance_h };
        stretch.sum();
        stretch.learn();
        stretch.sum();
        stretch
    }

    fn sum(&mut self) {
        let (mut sum, mut unknown) = (0.0, 0);
        self.run_sum.clear();
        self.unknown_sum.clear();
        for row in self.rows {
            match row.run {
                Some(Some(h)) => sum += h * self.ratio,
                Some(None) => unknown += 1,
                None => {}
            }
            self.run_sum.push(sum);
            self.unknown_sum.push(unknown);
        }
    }

    /// Learns what the meter turns per logged hour, and how loosely the two agree in this log.
    fn learn(&mut self) {
        let pairs: Vec<(f64, f64)> = self
            .readings
            .windows(2)
            .map(|w| (w[1].1 - w[0].1, self.logged(w[0].0, w[1].0).0))
            .filter(|&(d, run)| run >= 0.3 && d > 0.4 * run && d < 2.5 * run)
            .collect();
        if pairs.len() < 5 {
            return;
        }
        let ratio = median(pairs.iter().map(|(d, run)| d / run).collect());
        let spread = median(pairs.iter().map(|(d, run)| (d - ratio * run).abs()).collect());
        self.ratio = ratio;
        self.tolerance_h = self.tolerance_h.max(5.0 * 1.4826 * spread);
    }

    /// Logged meter hours and runs of unknown length after reading `a` up to reading `b`.
    fn logged(&self, a: Option<usize>, b: Option<usize>) -> (f64, u32) {
        let at = |r: Option<usize>| r.map_or((0.0, 0), |i| (self.run_sum[i], self.unknown_sum[i]));
        let ((sum_a, unknown_a), (sum_b, unknown_b)) = (at(a), at(b));
        (sum_b - sum_a, unknown_b - unknown_a)
    }

    fn date(&self, reading: usize) -> NaiveDate {
        let row = self.readings[reading].0.unwrap_or(0);
        self.rows[row].date
    }

    /// Whether this part of the log gives run lengths at all.
    fn logs_runs(&self, a: usize, b: usize) -> bool {
        let low = self.readings[a].0.unwrap_or(0).saturating_sub(12);
        let high = (self.readings[b].0.unwrap_or(0) + 12).min(self.rows.len() - 1);
        self.run_sum[high] - self.run_sum[low] > 0.0
    }

    fn plausible(&self, a: usize, b: usize) -> bool {
        let gained = self.readings[b].1 - self.readings[a].1;
        if gained < -NOTHING_H {
            return false;
        }
        let (run, unknown) = self.logged(self.readings[a].0, self.readings[b].0);
        let days = (self.date(b) - self.date(a)).num_days().max(0) as f64;
        if unknown > 0 || !self.logs_runs(a, b) {
            return gained >= run - self.tolerance_h && gained <= run + MOST_PER_DAY_H * (days + 1.0);
        }
        (gained - run).abs() <= self.tolerance_h + 0.15 * run
    }

    /// The chain of readings with the fewest exceptions, as indices into `readings`.
    fn chain(&self) -> Vec<usize> {
        let n = self.readings.len();
        let mut best: Vec<(f64, Option<usize>)> = Vec::with_capacity(n);
        for i in 0..n {
            let mut choice = (i as f64, None);
            for (j, (so_far, _)) in best.iter().enumerate().skip(i.saturating_sub(LOOK_BACK)) {
                let link = if self.plausible(j, i) { 0.0 } else { JUMP_COST };
                let cost = so_far + (i - j - 1) as f64 + link;
                if cost < choice.0 {
                    choice = (cost, Some(j));
                }
            }
            best.push(choice);
        }
        let end = (n.saturating_sub(LOOK_BACK)..n).min_by(|&a, &b| {
            let cost = |i: usize| best[i].0 + (n - 1 - i) as f64;
            cost(a).total_cmp(&cost(b)).then(b.cmp(&a))
        });
        let mut chain = Vec::new();
        let mut at = end;
        while let Some(i) = at {
            chain.push(i);
            at = best[i].1;
        }
        chain.reverse();
        chain
    }

    fn fill(&self, clock: &mut Clock, offset: usize) {
        for (i, row) in self.rows.iter().enumerate() {
            if let Some(Some(h)) = row.run {
                clock.run_h[offset + i] = h * self.ratio;
            }
        }
        let chain = self.chain();
        for pair in chain.windows(2) {
            self.between(pair[0], pair[1], clock, offset);
        }
        self.doubts(&chain, clock, offset);
    }

    /// Spreads what the meter gained between two believed readings over the runs between them.
    fn between(&self, a: usize, b: usize, clock: &mut Clock, offset: usize) {
        let ((row_a, value_a), (row_b, value_b)) = (self.readings[a], self.readings[b]);
        let Some(row_b) = row_b else { return };
        let first = row_a.map_or(0, |i| i + 1);
        let (run, unknown) = self.logged(row_a, Some(row_b));
        let gained = value_b - value_a;
        let days = (self.date(b) - self.date(a)).num_days().max(0) as f64;
        if self.plausible(a, b) {
            let left = (gained - run).max(0.0);
            for i in first..=row_b {
                match self.rows[i].run {
                    Some(Some(h)) if unknown == 0 && run > 0.0 => {
                        clock.run_h[offset + i] = h * self.ratio * (gained / run).max(0.0);
                    }
                    Some(None) => clock.run_h[offset + i] = left / f64::from(unknown),
                    _ => {}
                }
            }
            if unknown == 0 && run == 0.0 && gained > NOTHING_H {
                clock.unlogged_h[offset + row_b] = gained;
            }
        } else if gained > run && gained - run <= 24.0 * (days + 1.0) {
            clock.unlogged_h[offset + row_b] = gained - run;
        }
    }

    fn doubts(&self, chain: &[usize], clock: &mut Clock, offset: usize) {
        let row = |reading: usize| self.readings[reading].0.map(|r| r + offset);
        for (k, &believed) in chain.iter().enumerate() {
            let previous = k.checked_sub(1).map(|k| chain[k]);
            let after_previous = previous.map_or(0, |p| p + 1);
            for dropped in after_previous..believed {
                self.doubt(dropped, previous, Some(believed), false, clock, &row);
            }
            if let Some(p) = previous.filter(|&p| !self.plausible(p, believed)) {
                self.doubt(believed, Some(p), None, true, clock, &row);
            }
        }
        if let Some(&last) = chain.last() {
            for dropped in last + 1..self.readings.len() {
                self.doubt(dropped, Some(last), None, false, clock, &row);
            }
        }
    }

    fn doubt(
        &self,
        at: usize,
        before: Option<usize>,
        after: Option<usize>,
        jumped: bool,
        clock: &mut Clock,
        row: &dyn Fn(usize) -> Option<usize>,
    ) {
        let Some(here) = row(at) else { return };
        let expected = match (before, after) {
            (Some(b), _) => self.readings[b].1 + self.logged(self.readings[b].0, self.readings[at].0).0,
            (None, Some(a)) => self.readings[a].1 - self.logged(self.readings[at].0, self.readings[a].0).0,
            (None, None) => self.readings[at].1,
        };
        clock.doubts.push(Doubt {
            row: here,
            read: self.readings[at].1,
            expected,
            before: before.and_then(row),
            after: after.and_then(row),
            jumped,
        });
    }
}

fn median(mut values: Vec<f64>) -> f64 {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(0.0)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn rows(list: &[(u32, Option<f64>, Option<f64>)]) -> Vec<Row> {
        list.iter()
            .map(|&(day, reading, run)| Row {
                date: NaiveDate::from_ymd_opt(2026, 3, day).unwrap_or_default(),
                reading,
                run: run.map(Some),
                meter_changed: false,
            })
            .collect()
    }

    fn close(a: f64, b: f64) -> bool {
        (a - b).abs() < 1e-9
    }

    #[test]
    fn flights_follow_the_meter() {
        let clock = build(&rows(&[(1, Some(101.2), Some(1.3)), (2, Some(102.0), Some(0.8))]), Some(100.0), 0.3);
        assert!(close(clock.run_h[0], 1.2) && close(clock.run_h[1], 0.8), "{clock:?}");
        assert!(clock.doubts.is_empty());
    }

    #[test]
    fn a_transposed_reading_is_set_aside_and_the_clock_goes_on() {
        let list = [
            (1, Some(2744.8), Some(1.2)),
            (2, Some(2764.0), Some(1.2)),
            (3, Some(2747.3), Some(1.3)),
            (4, Some(2748.4), Some(1.1)),
        ];
        let clock = build(&rows(&list), Some(2743.6), 0.3);
        assert_eq!(clock.doubts.len(), 1);
        let doubt = clock.doubts[0];
        assert_eq!((doubt.row, doubt.before, doubt.after, doubt.jumped), (1, Some(0), Some(2), false));
        assert!(close(doubt.expected, 2746.0));
        assert!(close(clock.run_h.iter().sum(), 2748.4 - 2743.6));
    }

    #[test]
    fn the_last_reading_alone_cannot_move_the_clock() {
        let clock = build(&rows(&[(1, Some(101.0), Some(1.0)), (2, Some(120.0), Some(1.0))]), Some(100.0), 0.3);
        assert!(close(clock.run_h.iter().sum::<f64>() + clock.unlogged_h.iter().sum::<f64>(), 2.0));
        assert_eq!(clock.doubts.len(), 1);
    }

    #[test]
    fn a_jump_that_stays_is_running_nobody_logged() {
        let list = [
            (1, Some(101.0), Some(1.0)),
            (2, Some(105.0), Some(1.0)),
            (3, Some(106.0), Some(1.0)),
            (4, Some(107.0), Some(1.0)),
        ];
        let clock = build(&rows(&list), Some(100.0), 0.3);
        assert!(close(clock.unlogged_h[1], 3.0), "{clock:?}");
        assert!(close(clock.run_h.iter().sum(), 4.0));
        assert!(clock.doubts.len() == 1 && clock.doubts[0].jumped);
    }

    #[test]
    fn additions_only_take_their_hours_from_the_meter() {
        let list = [
            (1, Some(500.0), None),
            (8, Some(508.0), None),
            (12, Some(580.4), None),
            (15, Some(516.2), None),
            (22, Some(524.0), None),
        ];
        let clock = build(&rows(&list), None, 0.3);
        assert!(close(clock.unlogged_h.iter().sum(), 24.0), "{clock:?}");
        assert_eq!(clock.doubts.len(), 1);
    }

    #[test]
    fn a_new_meter_continues_the_clock() {
        let mut list = rows(&[
            (1, Some(2146.0), Some(1.0)),
            (2, None, Some(1.3)),
            (3, Some(0.0), None),
            (4, Some(1.1), Some(1.1)),
        ]);
        list[2].meter_changed = true;
        let clock = build(&list, Some(2145.0), 0.3);
        assert!(close(clock.run_h.iter().sum(), 3.4), "{clock:?}");
        assert!(clock.doubts.is_empty());
    }
}
