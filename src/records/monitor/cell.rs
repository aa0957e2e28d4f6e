//! One cell of a recording as a fixed-point number: thousandths, in an `i32`.
//!
//! Fixed point keeps thresholds exact (24.0 inHg is 24 000, not 23.999 999) and is read eight
//! digits at a time. The eight-digit way and the plain way give the same value for every input; a
//! property test below holds them to it. "Eight digits at once" is the well-known trick of three
//! multiplications on a 64-bit word (common practice, no single source).

/// No value: an empty cell or a placeholder.
pub const MISSING: i32 = i32::MIN;
/// A cell that holds neither a number nor a usual placeholder.
pub const BAD: i32 = i32::MIN + 1;

/// True for a value, false for [`MISSING`] and [`BAD`].
pub fn is_value(v: i32) -> bool {
    v > BAD
}

const ONES: u64 = 0x0101_0101_0101_0101;
const HIGH: u64 = 0x8080_8080_8080_8080;

/// Reads the cell `line[from..to]`; `mark` is the decimal mark.
///
/// `line` is the buffer the cell lies in: with eight bytes before `to` the fast way is open.
#[inline]
pub fn cell_in(line: &[u8], from: usize, to: usize, mark: u8) -> i32 {
    if to == from {
        return MISSING;
    }
    if to >= 8
        && to - from <= 8
        && let Ok(bytes) = <[u8; 8]>::try_from(&line[to - 8..to])
        && let Some(v) = eight(u64::from_le_bytes(bytes), to - from, mark)
    {
        return v;
    }
    cell(&line[from..to], mark)
}

/// At most eight characters, right-aligned in `word` (the last one in the top byte), of which `len` count.
/// `None` for anything but an optional minus, digits and at most one decimal mark.
#[inline]
fn eight(word: u64, len: usize, mark: u8) -> Option<i32> {
    let keep = !0u64 << (8 * (8 - len));
    let mut v = (word & keep) | ((ONES * u64::from(b'0')) & !keep);
    let first = 8 * (8 - len);
    let negative = (v >> first) as u8 == b'-';
    if negative {
        v ^= u64::from(b'-' ^ b'0') << first;
    }
    let x = v ^ (ONES * u64::from(mark));
    let hit = x.wrapping_sub(ONES) & !x & HIGH;
    let mut decimals = 0;
    if hit != 0 {
        let p = hit.trailing_zeros() / 8;
        decimals = 7 - p;
        let low = v & ((1u64 << (8 * p)) - 1);
        let high = v & !((1u64 << (8 * p)) - 1) & !(0xFFu64 << (8 * p));
        v = high | (low << 8) | u64::from(b'0');
    }
    let digits = v ^ (ONES * u64::from(b'0'));
    if (digits | digits.wrapping_add(ONES * 6)) & (ONES * 0xF0) != 0 {
        return None;
    }
    if len == usize::from(negative) + usize::from(hit != 0) {
        return None;
    }
    Some(fixed(together(digits) >> 32, decimals, negative))
}

/// `digits` with `decimals` of them after the mark, in thousandths, rounded half away from zero; too large: missing.
#[inline]
fn fixed(digits: u64, decimals: u32, negative: bool) -> i32 {
    const POWERS: [u64; 10] = [1, 10, 100, 1000, 10_000, 100_000, 1_000_000, 10_000_000, 100_000_000, 1_000_000_000];
    let thousandths = match decimals {
        0..=3 => digits.saturating_mul(POWERS[3 - decimals as usize]),
        _ => {
            let by = POWERS[(decimals as usize - 3).min(9)];
            (digits + by / 2) / by
        }
    };
    match i32::try_from(thousandths) {
        Ok(v) if negative => -v,
        Ok(v) => v,
        Err(_) => MISSING,
    }
}

/// Eight digits, the last one in the top byte, as a number in the upper half.
#[inline(always)]
fn together(digits: u64) -> u64 {
    let v = digits.wrapping_mul(10).wrapping_add(digits >> 8);
    (v & 0x0000_00FF_0000_00FF)
        .wrapping_mul(0x000F_4240_0000_0064)
        .wrapping_add(((v >> 16) & 0x0000_00FF_0000_00FF).wrapping_mul(0x0000_2710_0000_0001))
}

/// Reads a cell the plain way: blanks around it, a sign, any number of digits; placeholders are missing.
pub fn cell(text: &[u8], mark: u8) -> i32 {
    let text = text.trim_ascii();
    if text.is_empty() {
        return MISSING;
    }
    plain(text, mark).unwrap_or_else(|| if placeholder(text) { MISSING } else { BAD })
}

fn plain(text: &[u8], mark: u8) -> Option<i32> {
    let (negative, rest) = match text[0] {
        b'-' => (true, &text[1..]),
        b'+' => (false, &text[1..]),
        _ => (false, text),
    };
    let (mut digits, mut decimals, mut seen, mut marked) = (0u64, 0u32, false, false);
    for &b in rest {
        match b {
            b'0'..=b'9' => {
                seen = true;
                // Digits beyond the ninth decimal cannot matter.
                if marked && decimals == 9 {
                    continue;
                }
                digits = digits.checked_mul(10)?.checked_add(u64::from(b - b'0'))?;
                decimals += u32::from(marked);
            }
            // A sheet with decimal commas may still hold a recorder's points.
            _ if (b == mark || b == b'.') && !marked => marked = true,
            _ => return None,
        }
    }
    seen.then(|| fixed(digits, decimals, negative))
}

/// What recorders write where they have no value.
fn placeholder(text: &[u8]) -> bool {
    text.iter().all(|b| matches!(b, b'-' | b'*' | b'_' | b'.' | b'?' | 0))
        || [
            &b"nan"[..],
            b"na",
            b"n/a",
            b"null",
            b"none",
            b"inf",
            b"-inf",
            b"#n/a",
            b"invalid",
            b"off",
            b"fail",
            b"err",
            b"error",
        ]
        .iter()
        .any(|word| text.eq_ignore_ascii_case(word))
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn both(text: &str) -> (i32, i32) {
        let padded = format!("########{text}");
        (cell_in(padded.as_bytes(), 8, padded.len(), b'.'), cell(text.as_bytes(), b'.'))
    }

    #[test]
    fn values_in_thousandths() {
        for (text, want) in [
            ("24", 24_000),
            ("24.0", 24_000),
            ("-3.25", -3_250),
            (".5", 500),
            ("5.", 5_000),
            ("2412", 2_412_000),
            ("0.0005", 1),
            ("0.00049", 0),
            ("-105.12345", -105_123),
            ("+7.1", 7_100),
            (" 7.1 \r", 7_100),
            ("9999999999", MISSING),
            ("", MISSING),
            ("---", MISSING),
            ("NaN", MISSING),
            ("-", MISSING),
            ("1O", BAD),
            ("1.2.3", BAD),
            ("--5", BAD),
        ] {
            assert_eq!(both(text), (want, want), "{text:?}");
        }
        assert_eq!(cell(b"24,5", b','), 24_500);
        assert_eq!(cell(b"24.5", b','), 24_500);
    }

    proptest! {
        #[test]
        fn eight_digits_at_once_reads_as_the_plain_way(text in "[-+ .0-9a]{0,10}") {
            let (fast, slow) = both(&text);
            prop_assert_eq!(fast, slow);
        }

        /// Against the standard library's own reading of decimal numbers.
        #[test]
        fn agrees_with_the_standard_library(text in "-?[0-9]{1,4}(\\.[0-9]{0,5})?") {
            let want = (text.parse::<f64>().unwrap_or(f64::NAN) * 1000.0 * 100.0).round() / 100.0;
            prop_assert!((f64::from(both(&text).0) - want).abs() <= 0.5 + 1e-6);
        }
    }
}
