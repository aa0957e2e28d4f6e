//! When oil changes were due and which change answered which point.

use chrono::{Months, NaiveDate};
use chrono_tz::Tz;

use crate::config::Rules;
use crate::engine::{Engine, What};
use crate::records::{Instant, Source};

/// A point from which it counts as done early: share of the first point, and of later ones.
const EARLY_FIRST: f64 = 0.5;
const EARLY_LATER: f64 = 0.8;

/// An oil change as logged.
#[derive(Clone, Debug)]
pub struct Change {
    /// Engine hours.
    pub hours: f64,
    pub at: Instant,
    pub source: Source,
    /// Index into the engine's events.
    pub event: usize,
}

/// Something due at a number of engine hours.
#[derive(Clone, Debug)]
pub struct Point {
    pub build: usize,
    /// Engine hours at which it is due.
    pub at_hours: f64,
    /// Engine hours from which the interval runs.
    pub from_hours: f64,
    /// A break-in point, or the recurring change.
    pub break_in: bool,
    /// Engine hours at which it was done, and by which change (none: before the records).
    pub done: Option<f64>,
    pub by: Option<usize>,
    /// The build ended before it was done.
    pub dropped: Option<Instant>,
}

/// A calendar limit.
#[derive(Clone, Debug)]
pub struct Calendar {
    pub due: NaiveDate,
    pub from: Instant,
    pub build: usize,
    pub by: Option<usize>,
    pub dropped: Option<Instant>,
}

/// All points of an engine's life so far, in order; the last one not done is what is due next.
#[derive(Clone, Debug, Default)]
pub struct Plan {
    pub changes: Vec<Change>,
    pub points: Vec<Point>,
    pub calendar: Vec<Calendar>,
}

impl Plan {
    /// Lays out the plan of an engine's life.
    pub fn of(engine: &Engine, rules: &Rules, zone: Tz, _as_of: Instant) -> Self {
        let mut walk = Walk { engine, rules, zone, plan: Self::default(), last_change: engine.last_change_hours };
        walk.begin(0, engine.hours_at_start, engine.last_change_hours);
        for (index, event) in engine.events.iter().enumerate() {
            match &event.what {
                What::BuildBegan(_) => {
                    walk.drop_open(event.at);
                    // Taken apart, washed and filled anew: the oil's hours begin with the build.
                    walk.last_change = Some(event.hours);
                    walk.begin(event.build, event.hours, Some(event.hours));
                    walk.calendar(event.build, event.at);
                }
                What::Changed { .. } => walk.changed(index),
                What::Removed => walk.drop_calendar(event.at),
                _ => {}
            }
        }
        walk.plan
    }

    /// What is due next: the first open point.
    pub fn next(&self) -> Option<&Point> {
        self.points.iter().find(|p| p.done.is_none() && p.dropped.is_none())
    }
}

struct Walk<'a> {
    engine: &'a Engine,
    rules: &'a Rules,
    zone: Tz,
    plan: Plan,
    last_change: Option<f64>,
}

impl Walk<'_> {
    /// The points of a build, given the hours now and those of the last change.
    fn begin(&mut self, build: usize, now: f64, last_change: Option<f64>) {
        let begun = &self.engine.builds[build];
        if begun.kind.is_some() && begun.zero_known {
            let zero = begun.zero_hours;
            let mut from = 0.0;
            for (i, &at) in self.rules.break_in.oil_changes_at_h.iter().enumerate() {
                let early = if i == 0 { EARLY_FIRST } else { EARLY_LATER } * at;
                let done_before = last_change.map(|l| l - zero).filter(|&l| l > 0.0 && l >= early);
                // Points already behind when the records begin are not for us to judge.
                let behind = now - zero >= at && (now > zero || at <= 0.0);
                let done = done_before.or(behind.then_some(at)).map(|d| d + zero);
                let point = Point {
                    build,
                    at_hours: zero + at,
                    from_hours: zero + from,
                    break_in: true,
                    done,
                    by: None,
                    dropped: None,
                };
                self.plan.points.push(point);
                from = at;
            }
        }
        if self.plan.next().is_none()
            && let Some(last) = last_change
        {
            self.recurring(build, last);
        }
    }

    fn recurring(&mut self, build: usize, last: f64) {
        self.plan.points.push(Point {
            build,
            at_hours: last + self.rules.oil_change.every_h,
            from_hours: last,
            break_in: false,
            done: None,
            by: None,
            dropped: None,
        });
    }

    fn calendar(&mut self, build: usize, at: Instant) {
        let date = at.with_timezone(&self.zone).date_naive();
        if let Some(due) = date.checked_add_months(Months::new(self.rules.oil_change.every_months)) {
            self.plan.calendar.push(Calendar { due, from: at, build, by: None, dropped: None });
        }
    }

    fn changed(&mut self, index: usize) {
        let event = &self.engine.events[index];
        let change = self.plan.changes.len();
        self.plan.changes.push(Change { hours: event.hours, at: event.at, source: event.source.clone(), event: index });
        self.last_change = Some(event.hours);
        let zero = self.engine.builds[event.build].zero_hours;
        let mut first = true;
        for point in self.plan.points.iter_mut().filter(|p| p.build == event.build) {
            let early = if first { EARLY_FIRST } else { EARLY_LATER } * (point.at_hours - zero);
            first = false;
            let open = point.done.is_none() && point.dropped.is_none();
            if open && (!point.break_in || event.hours - zero >= early) {
                point.done = Some(event.hours);
                point.by = Some(change);
            }
        }
        for limit in self.plan.calendar.iter_mut().filter(|c| c.by.is_none() && c.dropped.is_none()) {
            limit.by = Some(change);
        }
        if self.plan.next().is_none() {
            self.recurring(event.build, event.hours);
        }
        self.calendar(event.build, event.at);
    }

    fn drop_open(&mut self, at: Instant) {
        for point in self.plan.points.iter_mut().filter(|p| p.done.is_none()) {
            point.dropped.get_or_insert(at);
        }
        self.drop_calendar(at);
    }

    /// On the shelf the calendar is the shop's matter.
    fn drop_calendar(&mut self, at: Instant) {
        for limit in self.plan.calendar.iter_mut().filter(|c| c.by.is_none()) {
            limit.dropped.get_or_insert(at);
        }
    }
}
