//! One cell of a recording as a fixed-point number: thousandths, in an `i32`.
//!
//! Fixed point keeps thresholds exact (24.0 inHg is 24 000, not 23.999 999). This is the plain way, for
//! any cell; cells that are written as usual are read four at once (`four`), with the same value.

/// No value: an empty cell or a placeholder.
pub const MISSING: i32 = i32::MIN;
/// A cell that holds neither a number nor a usual placeholder.
pub const BAD: i32 = i32::MIN + 1;

/// True for a value, false for [`MISSING`] and [`BAD`].
pub fn is_value(v: i32) -> bool {
    v > BAD
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
    let (mut digits, mut decimals, mut marked) = (0u64, 0u32, false);
    for &b in rest {
        let digit = b.wrapping_sub(b'0');
        if digit <= 9 {
            // Digits beyond the ninth decimal cannot matter.
            if decimals < 9 {
                digits = digits.checked_mul(10)?.checked_add(u64::from(digit))?;
                decimals += u32::from(marked);
            }
        } else if (b == mark || b == b'.') && !marked {
            // A sheet with decimal commas may still hold a recorder's points.
            marked = true;
        } else {
            return None;
        }
    }
    (rest.len() > usize::from(marked)).then(|| fixed(digits, decimals, negative))
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
            assert_eq!(cell(text.as_bytes(), b'.'), want, "{text:?}");
        }
        assert_eq!(cell(b"24,5", b','), 24_500);
        assert_eq!(cell(b"24.5", b','), 24_500);
    }

    proptest! {
        /// Against the standard library's own reading of decimal numbers.
        #[test]
        fn agrees_with_the_standard_library(text in "-?[0-9]{1,4}(\\.[0-9]{0,5})?") {
            let want = (text.parse::<f64>().unwrap_or(f64::NAN) * 1000.0 * 100.0).round() / 100.0;
            prop_assert!((f64::from(cell(text.as_bytes(), b'.')) - want).abs() <= 0.5 + 1e-6);
        }
    }
}
