//! When the morning digest is due: five cron fields, walked on naive local time and resolved to the zone here.
//!
//! The `cron` crate wants a seconds field, counts weekdays from Sunday = 1, skips a run in the
//! spring gap and doubles it in the autumn overlap. So weekdays are accepted by name only, the walk
//! is on local time without a zone, and [`at_or_after`] places it. The date of a digest is its
//! identity: whatever the clock does, a date has one at most.

use std::str::FromStr;

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime, TimeZone, Utc};
use chrono_tz::Tz;
use thiserror::Error;

use crate::alerts::local::at_or_after;
use crate::records::Instant;

/// A digest schedule.
#[derive(Clone, Debug)]
pub struct Schedule {
    /// Runs on the days matched by any of them: cron takes day of month *or* weekday where both are given.
    any: Vec<cron::Schedule>,
}

/// What is wrong with a schedule, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("digest schedule \"{written}\": {what}, expected five fields such as 30 6 * * * or 0 6 * * mon-fri")]
pub struct ScheduleError {
    pub written: String,
    pub what: String,
}

impl FromStr for Schedule {
    type Err = ScheduleError;

    fn from_str(written: &str) -> Result<Self, ScheduleError> {
        let wrong = |what: String| ScheduleError { written: written.to_owned(), what };
        let fields: Vec<&str> = written.split_whitespace().collect();
        let [minute, hour, day, month, weekday] = fields[..] else {
            return Err(wrong(format!("{} fields", fields.len())));
        };
        if weekday.contains(|c: char| c.is_ascii_digit()) {
            return Err(wrong(format!("weekday \"{weekday}\" as a number (programs count them differently)")));
        }
        let days: &[(&str, &str)] =
            if starred(day) || starred(weekday) { &[(day, weekday)] } else { &[(day, "*"), ("*", weekday)] };
        let any = days
            .iter()
            .map(|(day, weekday)| cron::Schedule::from_str(&format!("0 {minute} {hour} {day} {month} {weekday}")))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|e| wrong(e.to_string().trim().replace('\n', " ")))?;
        let schedule = Self { any };
        let start = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap_or_default().and_time(NaiveTime::MIN);
        if schedule.after(start).is_none() {
            return Err(wrong("no such day ever comes".to_owned()));
        }
        Ok(schedule)
    }
}

fn starred(field: &str) -> bool {
    field == "*" || field == "?"
}

impl Schedule {
    /// The first run after `local`, clocks showing local time.
    fn after(&self, local: NaiveDateTime) -> Option<NaiveDateTime> {
        let from = Utc.from_utc_datetime(&local);
        self.any.iter().filter_map(|s| s.after(&from).next()).min().map(|at| at.naive_utc())
    }

    /// The first run of `date`, if it has one, as a moment in `zone`.
    fn on(&self, date: NaiveDate, zone: Tz) -> Option<Instant> {
        let eve = date.and_time(NaiveTime::MIN) - chrono::Duration::seconds(1);
        self.after(eve).filter(|at| at.date() == date).map(|at| at_or_after(at, zone))
    }

    /// The date whose digest is due at `now`, if one is.
    ///
    /// Today's, once its time has come, unless `made` says that date has had one. Otherwise the
    /// latest earlier one, if later than `last` (the date of the digest made last): after days of
    /// downtime that is a single digest, not one for each day, and a clock set back repeats nothing.
    pub fn due(
        &self,
        zone: Tz,
        last: Option<NaiveDate>,
        made: impl Fn(NaiveDate) -> bool,
        now: Instant,
    ) -> Option<NaiveDate> {
        // A monthly or yearly schedule is looked for a year back.
        const LOOK_BACK_DAYS: u64 = 366;
        let today = now.with_timezone(&zone).date_naive();
        let passed = |date| self.on(date, zone).is_some_and(|at| at <= now);
        if passed(today) {
            return Some(today).filter(|date| !made(*date));
        }
        let last = last?;
        (1..=LOOK_BACK_DAYS)
            .map_while(|back| today.checked_sub_days(Days::new(back)))
            .take_while(|date| *date > last)
            .find(|date| passed(*date))
    }

    /// When the next digest will be due after `now`.
    pub fn next(&self, zone: Tz, now: Instant) -> Option<Instant> {
        let mut date = now.with_timezone(&zone).date_naive();
        for _ in 0..(366 * 8) {
            if let Some(at) = self.on(date, zone).filter(|at| *at > now) {
                return Some(at);
            }
            date = date.checked_add_days(Days::new(1))?;
        }
        None
    }
}
