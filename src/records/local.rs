//! Local time to a moment, also on the two days a year when that is not one to one.

use chrono::{Duration, LocalResult, NaiveDateTime, TimeZone};
use chrono_tz::Tz;

use crate::records::Instant;

/// The moment at which clocks in `zone` show `local`: the first of two where they show it twice,
/// and the first moment after the gap where they skip it.
pub fn at_or_after(local: NaiveDateTime, zone: Tz) -> Instant {
    match zone.from_local_datetime(&local) {
        LocalResult::Single(at) | LocalResult::Ambiguous(at, _) => at.to_utc(),
        LocalResult::None => after_gap(local, zone),
    }
}

/// Zones have skipped from minutes up to a whole day (Pacific/Apia, 2011): look two days ahead.
fn after_gap(local: NaiveDateTime, zone: Tz) -> Instant {
    const MINUTES: i64 = 2 * 24 * 60;
    // Every gap in the tz database since 1970 starts and ends on a whole minute.
    let whole = local - Duration::nanoseconds(local.and_utc().timestamp_nanos_opt().unwrap_or(0) % 60_000_000_000);
    (1..=MINUTES)
        .find_map(|m| zone.from_local_datetime(&(whole + Duration::minutes(m))).earliest())
        .map_or_else(|| local.and_utc(), |at| at.to_utc())
}

#[cfg(test)]
mod tests {
    use chrono::NaiveDate;

    use super::*;

    fn shown(zone: Tz, date: (i32, u32, u32), time: (u32, u32)) -> String {
        let local = NaiveDate::from_ymd_opt(date.0, date.1, date.2).and_then(|d| d.and_hms_opt(time.0, time.1, 0));
        local.map_or_else(String::new, |l| at_or_after(l, zone).to_rfc3339())
    }

    /// IANA tz database, America/Denver 2026: 02:00 on 8 March becomes 03:00 (UTC−7 to −6),
    /// 02:00 on 1 November becomes 01:00. Pacific/Apia had no 30 December 2011.
    #[test]
    fn gaps_go_forward_and_overlaps_take_the_first() {
        let denver = chrono_tz::America::Denver;
        assert_eq!(shown(denver, (2026, 3, 8), (2, 30)), "2026-03-08T09:00:00+00:00");
        assert_eq!(shown(denver, (2026, 3, 8), (6, 30)), "2026-03-08T12:30:00+00:00");
        assert_eq!(shown(denver, (2026, 11, 1), (1, 30)), "2026-11-01T07:30:00+00:00");
        assert_eq!(shown(chrono_tz::Pacific::Apia, (2011, 12, 30), (6, 30)), "2011-12-30T10:00:00+00:00");
    }
}
