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

use crate::records::Instant;
use crate::records::local::at_or_after;

/// A digest schedule.
#[derive(Clone, Debug)]
pub struct Schedule {
    /// Runs on the days matched by any of them: cron takes day of month *or* weekday where both are given.
    any: Vec<cron::Schedule>,
}

/// What is wrong with a schedule, and what was expected.
#[derive(Clone, Debug, PartialEq, Eq, Error)]
#[error("digest schedule \"{written}\", expected {expected}")]
pub struct ScheduleError {
    pub written: String,
    pub expected: String,
}

/// What the five fields may hold.
const FIELDS: &str = "minute 0-59, hour 0-23, day 1-31, month 1-12 or Jan-Dec, weekday Mon-Sun, such as \"30 6 * * *\"";

impl FromStr for Schedule {
    type Err = ScheduleError;

    fn from_str(written: &str) -> Result<Self, ScheduleError> {
        let wrong = |expected: String| ScheduleError { written: written.to_owned(), expected };
        let fields: Vec<&str> = written.split_whitespace().collect();
        let [minute, hour, day, month, weekday] = fields[..] else {
            let count = fields.len();
            return Err(wrong(format!("five fields: minute hour day month weekday; this has {count}")));
        };
        if weekday.contains(|c: char| c.is_ascii_digit()) {
            let expected = "weekdays by name, such as Mon-Fri or Mon,Thu: programs disagree about the numbers";
            return Err(wrong(expected.to_owned()));
        }
        let days: &[(&str, &str)] =
            if starred(day) || starred(weekday) { &[(day, weekday)] } else { &[(day, "*"), ("*", weekday)] };
        let any = days
            .iter()
            .map(|(day, weekday)| cron::Schedule::from_str(&format!("0 {minute} {hour} {day} {month} {weekday}")))
            .collect::<Result<Vec<_>, _>>()
            .map_err(|_| wrong(FIELDS.to_owned()))?;
        let schedule = Self { any };
        let start = NaiveDate::from_ymd_opt(2024, 1, 1).unwrap_or_default().and_time(NaiveTime::MIN);
        if schedule.after(start).is_none() {
            return Err(wrong(format!("a time that comes round: {FIELDS}")));
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
            .filter(|date| !made(*date))
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

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "tests")]

    use std::collections::BTreeSet;

    use chrono::Duration;

    use super::*;

    const DENVER: Tz = chrono_tz::America::Denver;

    fn date(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn moment(text: &str) -> Instant {
        text.parse().unwrap()
    }

    /// Looks every minute as the service does; returns the digests by date and moment.
    fn run(schedule: &str, zone: Tz, from: &str, minutes: i64) -> Vec<(NaiveDate, Instant)> {
        let schedule: Schedule = schedule.parse().unwrap();
        let mut made: Vec<(NaiveDate, Instant)> = Vec::new();
        for minute in 0..minutes {
            let now = moment(from) + Duration::minutes(minute);
            let last = made.last().map(|m| m.0);
            if let Some(date) = schedule.due(zone, last, |d| made.iter().any(|m| m.0 == d), now) {
                made.push((date, now));
            }
        }
        made
    }

    /// IANA tz database: America/Denver changes on 2026-03-08 at 02:00 and 2026-11-01 at 02:00.
    #[test]
    fn exactly_one_on_the_days_the_clocks_change() {
        for (schedule, from, expected) in [
            (
                "30 6 * * *",
                "2026-03-07T08:00:00Z",
                vec!["2026-03-07T13:30:00Z", "2026-03-08T12:30:00Z", "2026-03-09T12:30:00Z"],
            ),
            // 02:30 does not exist on 8 March: the first moment after the gap.
            (
                "30 2 * * *",
                "2026-03-07T08:00:00Z",
                vec!["2026-03-07T09:30:00Z", "2026-03-08T09:00:00Z", "2026-03-09T08:30:00Z"],
            ),
            // 01:30 comes twice on 1 November: the first.
            (
                "30 1 * * *",
                "2026-10-31T07:00:00Z",
                vec!["2026-10-31T07:30:00Z", "2026-11-01T07:30:00Z", "2026-11-02T08:30:00Z"],
            ),
        ] {
            let made: Vec<Instant> = run(schedule, DENVER, from, 3 * 1440).into_iter().map(|m| m.1).collect();
            assert_eq!(made, expected.into_iter().map(moment).collect::<Vec<_>>(), "{schedule}");
        }
    }

    #[test]
    fn every_day_of_ten_years_in_odd_zones_has_one() {
        for zone in [DENVER, chrono_tz::Australia::Lord_Howe, chrono_tz::Asia::Kathmandu, chrono_tz::America::Sao_Paulo]
        {
            let schedule: Schedule = "30 0 * * *".parse().unwrap();
            let mut day = date("2016-01-01");
            let mut last = None;
            while day < date("2026-01-01") {
                let noon = at_or_after(day.and_hms_opt(12, 0, 0).unwrap(), zone);
                assert_eq!(schedule.due(zone, last, |d| last == Some(d), noon), Some(day), "{zone}");
                last = Some(day);
                day = day.succ_opt().unwrap();
            }
        }
    }

    #[test]
    fn after_days_of_downtime_one_catches_up() {
        let schedule: Schedule = "30 6 * * *".parse().unwrap();
        let due = |last: &str, now: &str| schedule.due(DENVER, Some(date(last)), |d| d == date(last), moment(now));
        assert_eq!(due("2026-10-01", "2026-10-05T20:00:00Z"), Some(date("2026-10-05")));
        // Back before this morning's time: yesterday's, once; then today's at its hour.
        assert_eq!(due("2026-10-01", "2026-10-05T11:00:00Z"), Some(date("2026-10-04")));
        assert_eq!(due("2026-10-04", "2026-10-05T11:00:00Z"), None);
        assert_eq!(due("2026-10-04", "2026-10-05T12:30:00Z"), Some(date("2026-10-05")));
    }

    #[test]
    fn the_first_start_waits_for_its_hour() {
        let schedule: Schedule = "30 6 * * *".parse().unwrap();
        let due = |now: &str| schedule.due(DENVER, None, |_| false, moment(now));
        assert_eq!(due("2026-10-05T11:00:00Z"), None);
        assert_eq!(due("2026-10-05T12:30:00Z"), Some(date("2026-10-05")));
    }

    #[test]
    fn a_clock_three_days_off_repeats_no_date() {
        let schedule: Schedule = "30 6 * * *".parse().unwrap();
        let mut made: Vec<NaiveDate> = Vec::new();
        let start = moment("2026-05-01T00:00:00Z");
        for hour in 0..(20 * 24) {
            let jump = match hour {
                96..=120 => 3,
                200..=230 => -3,
                _ => 0,
            };
            let now = start + Duration::hours(hour) + Duration::days(jump);
            let last = made.last().copied();
            made.extend(schedule.due(DENVER, last, |d| made.contains(&d), now));
        }
        let dates: BTreeSet<NaiveDate> = made.iter().copied().collect();
        assert_eq!(dates.len(), made.len(), "a date twice");
        // On 9 May the clock showed the 6th at the hour of the digest, and that date had had one; on the
        // 10th, when it was right again, one was due, not two.
        let missing = date("2026-05-09");
        let all: BTreeSet<NaiveDate> = date("2026-05-01").iter_days().take(19).filter(|d| *d != missing).collect();
        assert!(dates.is_superset(&all), "{all:?} − {dates:?}");
    }

    /// POSIX crontab(5): where both day fields are restricted, either matches.
    #[test]
    fn days_of_month_and_weekdays_are_either_or() {
        let made: Vec<NaiveDate> =
            run("0 6 1,15 * mon", DENVER, "2026-06-01T00:00:00Z", 20 * 1440).into_iter().map(|m| m.0).collect();
        let expected: Vec<NaiveDate> = ["2026-06-01", "2026-06-08", "2026-06-15"].map(date).into();
        assert_eq!(made, expected);
        let weekdays = run("0 6 * * mon-fri", DENVER, "2026-06-05T06:00:00Z", 4 * 1440);
        let dates: Vec<NaiveDate> = weekdays.into_iter().map(|m| m.0).collect();
        assert_eq!(dates, ["2026-06-05", "2026-06-08"].map(date));
    }

    #[test]
    fn what_is_refused_says_why() {
        for (written, expected) in [
            ("30 6 * *", "this has 4"),
            ("0 30 6 * * *", "this has 6"),
            ("30 6 * * 1", "weekdays by name"),
            ("30 6 * * mon-5", "weekdays by name"),
            ("61 6 * * *", "minute 0-59"),
            ("30 6 * * someday", "weekday Mon-Sun"),
            ("30 6 30 feb *", "a time that comes round"),
        ] {
            let said = written.parse::<Schedule>().map(drop).unwrap_err().to_string();
            assert!(said.contains(expected) && said.contains(written), "{written}: {said}");
        }
    }

    #[test]
    fn the_next_one_is_known() {
        let schedule: Schedule = "30 6 * * *".parse().unwrap();
        let next = |now: &str| schedule.next(DENVER, moment(now)).unwrap();
        assert_eq!(next("2026-03-07T13:30:00Z"), moment("2026-03-08T12:30:00Z"));
        assert_eq!(next("2026-03-07T13:29:59Z"), moment("2026-03-07T13:30:00Z"));
    }
}
