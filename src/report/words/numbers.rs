//! How numbers, dates and moments are written for people, everywhere the same.
//!
//! A rate without its clock, or a date that may be of last year, has to be asked about; these
//! helpers make the plain way the right one.

use chrono::{Datelike, NaiveDate};
use chrono_tz::Tz;

use crate::records::Instant;

/// A consumption rate, qt/h: two decimals, below 0.1 three where the third is not zero.
pub fn rate(qt_per_h: f64) -> String {
    let text = if qt_per_h.abs() < 0.0995 { format!("{qt_per_h:.3}") } else { format!("{qt_per_h:.2}") };
    match text.strip_suffix('0') {
        Some(short) if qt_per_h.abs() < 0.0995 => short.to_owned(),
        _ => text,
    }
}

/// Two rates side by side, with the digits it takes to tell them apart.
pub fn rates(from: f64, to: f64) -> (String, String) {
    let (a, b) = (rate(from), rate(to));
    if a == b && from != to { (format!("{from:.3}"), format!("{to:.3}")) } else { (a, b) }
}

/// Hours per quart, one decimal; `–` where nothing is used.
pub fn hours_per_qt(qt_per_h: f64) -> String {
    if qt_per_h > 1e-4 { format!("{:.1}", 1.0 / qt_per_h) } else { "–".to_owned() }
}

/// At most one decimal, without a trailing `.0`: `5`, `13.4`, `2300`.
pub fn short(value: f64) -> String {
    let text = format!("{value:.1}");
    let text = text.strip_suffix(".0").unwrap_or(&text);
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

/// As [`short`], but small values keep two significant digits.
pub fn plain(value: f64) -> String {
    let size = value.abs();
    if size == 0.0 || size >= 10.0 {
        short(value)
    } else if size >= 0.995 {
        let text = format!("{value:.2}");
        text.trim_end_matches('0').trim_end_matches('.').to_owned()
    } else {
        format!("{value:.3}").trim_end_matches('0').trim_end_matches('.').to_owned()
    }
}

/// A setting as one would write it into the configuration: up to six decimals, none that say nothing.
pub fn exact(value: f64) -> String {
    let text = format!("{value:.6}");
    text.trim_end_matches('0').trim_end_matches('.').to_owned()
}

/// Hours with one decimal and their unit.
pub fn hours(value: f64) -> String {
    format!("{} h", short(value))
}

/// A share (0.24) as `24 %`; below one percent with a decimal.
pub fn percent(share: f64) -> String {
    let pct = share * 100.0;
    if pct.abs() < 0.95 && pct != 0.0 { format!("{pct:.1} %") } else { format!("{pct:.0} %") }
}

/// A probability in percent, never rounded up to certainty.
pub fn probability(p: f64) -> String {
    if p > 0.99 {
        "over 99 %".to_owned()
    } else if p < 0.01 {
        "under 1 %".to_owned()
    } else {
        percent(p)
    }
}

/// The local date of a moment.
pub fn date_of(at: Instant, zone: Tz) -> NaiveDate {
    at.with_timezone(&zone).date_naive()
}

/// `9 Feb`, with the year where it is not that of `near`.
pub fn day(date: NaiveDate, near: NaiveDate) -> String {
    let format = if date.year() == near.year() { "%-d %b" } else { "%-d %b %Y" };
    date.format(format).to_string()
}

/// `27 Feb 18:10`, local, with the year where it is not that of `near`.
pub fn moment(at: Instant, near: NaiveDate, zone: Tz) -> String {
    let local = at.with_timezone(&zone);
    format!("{} {}", day(local.date_naive(), near), local.format("%H:%M"))
}

/// `Fri 27 Feb 2026`.
pub fn long_day(date: NaiveDate) -> String {
    date.format("%a %-d %b %Y").to_string()
}

/// For programs: RFC 3339 with the zone's offset, to the second.
pub fn iso(at: Instant, zone: Tz) -> String {
    at.with_timezone(&zone).to_rfc3339_opts(chrono::SecondsFormat::Secs, false)
}

/// `1 engine`, `3 engines`; `words` is the singular and the plural.
pub fn count(n: usize, one: &str, many: &str) -> String {
    format!("{n} {}", if n == 1 { one } else { many })
}

/// `a, b and c`.
pub fn list<S: AsRef<str>>(items: &[S]) -> String {
    match items {
        [] => String::new(),
        [one] => one.as_ref().to_owned(),
        [most @ .., last] => {
            let most: Vec<&str> = most.iter().map(AsRef::as_ref).collect();
            format!("{} and {}", most.join(", "), last.as_ref())
        }
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use chrono::TimeZone;

    #[test]
    fn rates_that_differ_look_different() {
        assert_eq!(rates(0.11, 0.24), ("0.11".into(), "0.24".into()));
        assert_eq!(rates(0.121, 0.124), ("0.121".into(), "0.124".into()));
        assert_eq!([rate(0.085), rate(0.09), rate(0.1), rate(0.0999)], ["0.085", "0.09", "0.10", "0.10"]);
        assert_eq!(hours_per_qt(0.11), "9.1");
        assert_eq!(hours_per_qt(0.0), "–");
    }

    #[test]
    fn numbers_are_short_without_losing_what_matters() {
        assert_eq!([short(5.0), short(13.44), short(-0.01)], ["5", "13.4", "0"]);
        assert_eq!([plain(0.005), plain(1.5), plain(2300.0), plain(0.0)], ["0.005", "1.5", "2300", "0"]);
        assert_eq!([percent(0.24), percent(0.004), percent(1.0)], ["24 %", "0.4 %", "100 %"]);
        assert_eq!([probability(0.998), probability(0.93)], ["over 99 %", "93 %"]);
    }

    /// Denver is UTC-7 in winter and UTC-6 in summer (IANA tz database, from memory).
    #[test]
    fn moments_are_local_and_carry_the_offset() {
        let zone = chrono_tz::America::Denver;
        let at = chrono::Utc.with_ymd_and_hms(2026, 3, 1, 2, 30, 0).unwrap();
        let near = NaiveDate::from_ymd_opt(2026, 3, 1).unwrap();
        assert_eq!(moment(at, near, zone), "28 Feb 19:30");
        assert_eq!(iso(at, zone), "2026-02-28T19:30:00-07:00");
        assert_eq!(day(near, NaiveDate::from_ymd_opt(2027, 1, 1).unwrap()), "1 Mar 2026");
        assert_eq!(list(&["a", "b", "c"]), "a, b and c");
    }
}
