//! The time stamps of a recording: parsed whole once per change of minute, else only the seconds.
//!
//! Local times are resolved with the fleet's zone. In the hour that happens twice in autumn the
//! earlier reading is taken until the clock steps back; in the spring gap the offset before it holds.

use chrono::format::{Parsed, StrftimeItems, parse};
use chrono::{DateTime, NaiveDateTime, TimeDelta, TimeZone};
use chrono_tz::Tz;

/// Shapes tried where no format is given, the ISO 8601 ones first.
const SHAPES: [&str; 8] = [
    "%Y-%m-%dT%H:%M:%S%.f",
    "%Y-%m-%d %H:%M:%S%.f",
    "%Y-%m-%dT%H:%M",
    "%Y-%m-%d %H:%M",
    "%Y/%m/%d %H:%M:%S%.f",
    "%Y%m%dT%H%M%S%.f",
    "%Y%m%d %H%M%S%.f",
    "%d.%m.%Y %H:%M:%S%.f",
];

/// Turns the text of a time stamp into milliseconds since 1970, UTC.
#[derive(Debug)]
pub struct Clock {
    zone: Tz,
    format: Option<String>,
    /// Everything up to and with the last colon, and what followed the seconds.
    minute: Vec<u8>,
    tail: Vec<u8>,
    /// The moment of that minute's zeroth second.
    base_ms: i64,
    last_ms: i64,
    /// The stamp that was read whole, where the quick way may know others of its minute by it.
    like: Option<Like>,
}

/// A stamp by its first 16 and its last 8 bytes, which between them are all it has; its seconds are among the last.
#[derive(Clone, Copy, Debug)]
struct Like {
    length: usize,
    first: u128,
    last: u64,
    /// Where the seconds stand in the last bytes, bits.
    seconds: u32,
}

impl Like {
    /// `None` where the two do not cover it, or the seconds (two digits from `at` on) are not among the last.
    fn of(text: &[u8], at: usize) -> Option<Self> {
        let (first, last) = (text.first_chunk()?, text.last_chunk()?);
        let place = at.checked_sub(text.len() - 8)?;
        let fits = at >= 16 && (16..=24).contains(&text.len());
        let [first, last] = [u128::from_le_bytes(*first), u128::from(u64::from_le_bytes(*last))];
        fits.then_some(Self { length: text.len(), first, last: last as u64, seconds: 8 * place as u32 })
    }

    /// The seconds of a stamp that differs in nothing else.
    #[inline(always)]
    fn seconds(self, text: &[u8]) -> Option<i64> {
        let (first, last) = (text.first_chunk()?, u64::from_le_bytes(*text.last_chunk()?));
        let same = (last ^ self.last) & !(0xFFFF << self.seconds) == 0 && u128::from_le_bytes(*first) == self.first;
        let [tens, ones] = ((last >> self.seconds) as u16 ^ 0x3030).to_le_bytes();
        let seconds = tens <= 5 && ones <= 9;
        (text.len() == self.length && same && seconds).then(|| 10 * i64::from(tens) + i64::from(ones))
    }
}

impl Clock {
    /// `format` in chrono's strftime; `None`: the common shapes are tried.
    pub fn new(zone: Tz, format: Option<String>) -> Self {
        Self { zone, format, minute: Vec::new(), tail: Vec::new(), base_ms: 0, last_ms: i64::MIN, like: None }
    }

    /// Milliseconds since 1970 UTC, or `None` if the text is no time.
    #[inline]
    pub fn read(&mut self, text: &[u8]) -> Option<i64> {
        if let Some(seconds) = self.like.and_then(|like| like.seconds(text)) {
            self.last_ms = self.base_ms + 1000 * seconds;
            return Some(self.last_ms);
        }
        self.otherwise(text)
    }

    /// [`Self::read`] of a stamp in another minute, or written in another way.
    #[inline(never)]
    fn otherwise(&mut self, text: &[u8]) -> Option<i64> {
        let n = self.minute.len();
        if n > 0
            && text.len() > n
            && text[..n] == self.minute[..]
            && let Some((ms, used)) = seconds(&text[n..])
            && text[n + used..] == self.tail[..]
        {
            self.last_ms = self.base_ms + ms;
            return Some(self.last_ms);
        }
        self.whole(text)
    }

    fn whole(&mut self, text: &[u8]) -> Option<i64> {
        let text = text.trim_ascii();
        let words = std::str::from_utf8(text).ok()?.trim();
        let at = match &self.format {
            Some(format) => self.by_format(words, format)?,
            None => self.by_shape(words)?,
        };
        self.minute.clear();
        self.like = None;
        let colon = if text.get(16) == Some(&b':') { Some(16) } else { text.iter().rposition(|b| *b == b':') };
        let with_seconds = text.iter().filter(|b| **b == b':').count() >= 2;
        if let Some(p) = colon.filter(|_| with_seconds)
            && let Some((ms, used)) = seconds(&text[p + 1..])
        {
            self.minute.extend_from_slice(&text[..=p]);
            self.tail = text[p + 1 + used..].to_vec();
            self.base_ms = at - ms;
            self.like = Like::of(text, p + 1).filter(|_| used == 2);
        }
        self.last_ms = at;
        Some(at)
    }

    fn by_shape(&self, text: &str) -> Option<i64> {
        if let Ok(at) = DateTime::parse_from_rfc3339(text) {
            return Some(at.timestamp_millis());
        }
        for with_zone in ["%Y-%m-%dT%H:%M:%S%.f%#z", "%Y-%m-%d %H:%M:%S%.f%#z", "%Y-%m-%dT%H:%M%#z"] {
            if let Ok(at) = DateTime::parse_from_str(text, with_zone) {
                return Some(at.timestamp_millis());
            }
        }
        let (text, utc) = match text.strip_suffix(['Z', 'z']) {
            Some(rest) => (rest.trim_end(), true),
            None => (text, false),
        };
        let naive = SHAPES.iter().find_map(|shape| NaiveDateTime::parse_from_str(text, shape).ok())?;
        if utc { Some(naive.and_utc().timestamp_millis()) } else { self.local(naive) }
    }

    fn by_format(&self, text: &str, format: &str) -> Option<i64> {
        let mut parsed = Parsed::new();
        parse(&mut parsed, text, StrftimeItems::new(format)).ok()?;
        if let Ok(at) = parsed.to_datetime() {
            return Some(at.timestamp_millis());
        }
        self.local(parsed.to_naive_datetime_with_offset(0).ok()?)
    }

    fn local(&self, naive: NaiveDateTime) -> Option<i64> {
        use chrono::LocalResult::{Ambiguous, None as Gap, Single};
        match self.zone.from_local_datetime(&naive) {
            Single(at) => Some(at.timestamp_millis()),
            Ambiguous(early, late) => {
                let early = early.timestamp_millis();
                Some(if early >= self.last_ms { early } else { late.timestamp_millis() })
            }
            Gap => {
                let hour = TimeDelta::hours(1);
                let before = self.zone.from_local_datetime(&naive.checked_sub_signed(hour)?).earliest()?;
                Some((before + hour).timestamp_millis())
            }
        }
    }
}

/// `SS` or `SS.fff` at the head of `text`: milliseconds and the bytes used.
fn seconds(text: &[u8]) -> Option<(i64, usize)> {
    let digit = |i: usize| text.get(i).filter(|b| b.is_ascii_digit()).map(|b| i64::from(b - b'0'));
    let mut ms = (digit(0)? * 10 + digit(1)?) * 1000;
    if ms >= 60_000 {
        return None;
    }
    let mut used = 2;
    if text.get(2) == Some(&b'.') && digit(3).is_some() {
        used = 3;
        let mut unit = 100;
        while let Some(d) = digit(used) {
            ms += d * unit;
            unit /= 10;
            used += 1;
        }
    }
    Some((ms, used))
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const ZONE: Tz = chrono_tz::America::Denver;

    proptest! {
        /// A stamp says the same whatever was read before it.
        #[test]
        fn what_was_read_before_changes_nothing(
            stamps in prop::collection::vec("2026-03-01[T ]14:0[56]:[0-6][0-9a](\\.[0-9])?(Z|\\+00:00|)", 1..20),
        ) {
            let mut clock = Clock::new(chrono_tz::UTC, None);
            for stamp in stamps {
                let alone = Clock::new(chrono_tz::UTC, None).read(stamp.as_bytes());
                prop_assert_eq!(clock.read(stamp.as_bytes()), alone, "{}", stamp);
            }
        }
    }

    fn utc(text: &str) -> i64 {
        DateTime::parse_from_rfc3339(text).unwrap().timestamp_millis()
    }

    #[test]
    fn utc_if_it_says_so_else_local() {
        let mut clock = Clock::new(ZONE, None);
        assert_eq!(clock.read(b"2026-03-01T14:05:33Z"), Some(utc("2026-03-01T14:05:33Z")));
        assert_eq!(clock.read(b"2026-03-01T14:05:34Z"), Some(utc("2026-03-01T14:05:34Z")));
        assert_eq!(clock.read(b"2026-03-01T14:05:34"), Some(utc("2026-03-01T21:05:34Z")));
        assert_eq!(clock.read(b"2026-03-01 14:05:34.200"), Some(utc("2026-03-01T21:05:34.2Z")));
        assert_eq!(clock.read(b"2026-03-01 14:05:34.4"), Some(utc("2026-03-01T21:05:34.4Z")));
        assert_eq!(clock.read(b"2026-03-01T14:05:59+02:00"), Some(utc("2026-03-01T12:05:59Z")));
        assert_eq!(clock.read(b"2026-03-01T14:06:01+02:00"), Some(utc("2026-03-01T12:06:01Z")));
        assert_eq!(clock.read(b"14 o'clock"), None);
        assert_eq!(clock.read(b"2026-03-01T14:06:71Z"), None);
    }

    /// US rule: clocks go back on the first Sunday of November (2026-11-01, 02:00) and forward on 2026-03-08.
    #[test]
    fn the_doubled_and_the_missing_hour() {
        let mut clock = Clock::new(ZONE, None);
        assert_eq!(clock.read(b"2026-11-01T01:59:59"), Some(utc("2026-11-01T07:59:59Z")));
        assert_eq!(clock.read(b"2026-11-01T01:00:00"), Some(utc("2026-11-01T08:00:00Z")));
        let mut clock = Clock::new(ZONE, None);
        assert_eq!(clock.read(b"2026-03-08T01:59:59"), Some(utc("2026-03-08T08:59:59Z")));
        assert_eq!(clock.read(b"2026-03-08T02:00:00"), Some(utc("2026-03-08T09:00:00Z")));
    }

    #[test]
    fn a_format_of_the_operators_own() {
        let mut clock = Clock::new(ZONE, Some("%m/%d/%Y %I:%M:%S %p".into()));
        assert_eq!(clock.read(b"03/01/2026 02:05:33 PM"), Some(utc("2026-03-01T21:05:33Z")));
        assert_eq!(clock.read(b"03/01/2026 02:05:34 PM"), Some(utc("2026-03-01T21:05:34Z")));
        assert_eq!(clock.read(b"03/01/2026 02:05:34 AM"), Some(utc("2026-03-01T09:05:34Z")));
    }
}
