//! Four cells of a column at once.
//!
//! A recorder writes a channel the same way row after row: the mark at the same place, no sign, a value
//! in range. Knowing that beforehand leaves no search and no branch on the digits. Cells that are
//! otherwise are noticed and read one by one (`cell`), with the same value; a property test below
//! holds the two together.

use wide::bytemuck::cast;
use wide::{i16x8, i32x4, i32x8, u8x16, u16x8, u64x2};

/// A byte of each eight.
const ZEROS: u64 = 0x3030_3030_3030_3030;
/// What stands for a cell that is not of the usual kind.
const FOREIGN: u64 = !0;

/// How a column's cells are written, and what they may hold.
#[derive(Clone, Copy, Debug)]
pub struct Usual {
    /// The bytes before and after the mark in a word that ends with the cell's last byte.
    before: u64,
    after: u64,
    /// The byte the mark is in, and what it holds there less '0'.
    at: u64,
    mark: u64,
    /// From the digits to thousandths.
    scale: i32,
    /// Plausible range, of the digits as a whole number.
    low: i32,
    high: i32,
}

impl Usual {
    /// Cells written like `text`, with values from `low` to `high` thousandths. More than three decimals are not usual.
    pub fn like(text: &[u8], mark: u8, low: i32, high: i32) -> Self {
        let decimals = text.iter().rev().position(|b| *b == mark);
        let (before, after, at, mark) = match decimals {
            Some(decimals @ 1..=3) => {
                let place = 56 - 8 * decimals;
                ((1 << place) - 1, !0 << (place + 8), 0xFF << place, u64::from(mark ^ b'0') << place)
            }
            _ => (0, !0, 0, 0),
        };
        let scale = [1000, 100, 10, 1][decimals.filter(|d| *d <= 3).unwrap_or(0)];
        Self { before, after, at, mark, scale, low: -(-low.max(0)).div_euclid(scale), high: high.div_euclid(scale) }
    }

    /// No cell at all.
    pub fn none() -> Self {
        Self::like(b"", b'.', i32::MAX, i32::MIN)
    }

    /// The values of four such cells, thousandths; `None` if one of them is not usual.
    #[inline(always)]
    pub fn read(&self, words: [u64; 4]) -> Option<[i32; 4]> {
        let [a, b, c, d] = words;
        let (upper, lower) = (u64x2::new([a, b]), u64x2::new([c, d]));
        let [before, after, at, mark] = [self.before, self.after, self.at, self.mark].map(u64x2::splat);
        let unmarked = |v: u64x2| (v & after) | ((v & before) << 8);
        let (x, y) = (unmarked(upper), unmarked(lower));
        let digits: u8x16 = cast::<_, u8x16>(x).max(cast(y)).saturating_sub(u8x16::splat(9));
        let marks: u8x16 = cast(((upper ^ mark) | (lower ^ mark)) & at);
        if (digits | marks).simd_eq(u8x16::splat(0)).to_bitmask() != 0xFFFF {
            return None;
        }
        let pairs = |v: u64x2| {
            let v: u16x8 = cast(v);
            let tens: i16x8 = cast((v * u16x8::splat(10) + (v >> 8)) & u16x8::splat(0xFF));
            tens.dot(i16x8::new([100, 1, 100, 1, 100, 1, 100, 1]))
        };
        let quads: i32x8 = cast([pairs(x), pairs(y)]);
        let v = i16x8::from_i32x8_saturate(quads).dot(i16x8::new([10_000, 1, 10_000, 1, 10_000, 1, 10_000, 1]));
        let out = i32x4::splat(self.low).simd_gt(v) | v.simd_gt(i32x4::splat(self.high));
        if out.to_bitmask() != 0 {
            return None;
        }
        Some((v * i32x4::splat(self.scale)).to_array())
    }
}

/// The digits of the cell `buffer[from..to]` for [`Usual::read`]: the last one in the top byte, nothing before the first.
#[inline(always)]
pub fn word(buffer: &[u8], from: usize, to: usize) -> u64 {
    let len = to.wrapping_sub(from);
    match buffer.get(from..from + 8).and_then(<[u8]>::first_chunk) {
        Some(bytes) if len.wrapping_sub(1) < 8 => (u64::from_le_bytes(*bytes) ^ ZEROS) << (64 - 8 * len),
        _ => FOREIGN,
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::records::monitor::cell::{MISSING, cell};

    fn text() -> impl Strategy<Value = String> {
        prop_oneof![
            4 => "[0-9]{1,4}\\.[0-9]",
            4 => "[0-9]{0,3}\\.[0-9]{0,4}",
            2 => "[0-9]{1,9}",
            1 => "[-+ .0-9a]{0,10}",
        ]
    }

    proptest! {
        /// Whatever is given as a value is what the plain way gives, and in range; and cells written alike are not refused.
        #[test]
        fn four_at_once_read_as_the_plain_way(texts in prop::array::uniform4(text()), like in text(), low in -5i32..5) {
            let (low, high) = (low * 1000, 4_500_000);
            let usual = Usual::like(like.as_bytes(), b'.', low, high);
            let words = texts.each_ref().map(|t| {
                let padded = format!("#{t}########");
                word(padded.as_bytes(), 1, 1 + t.len())
            });
            let plain = texts.each_ref().map(|t| cell(t.as_bytes(), b'.'));
            if let Some(values) = usual.read(words) {
                prop_assert_eq!(values, plain);
                prop_assert!(values.iter().all(|v| (low..=high).contains(v)));
            }
            let decimals = |t: &str| t.rsplit_once('.').map_or(0, |(_, d)| d.len());
            let digits = |t: &str| t.bytes().all(|b| b == b'.' || b.is_ascii_digit()) && (1..=8).contains(&t.len());
            let alike = texts.iter().all(|t| digits(t) && !t.ends_with('.') && decimals(t) == decimals(&like));
            let usual_like = decimals(&like) <= 3 && !like.ends_with('.') && like.matches('.').count() <= 1;
            let sound = texts.iter().all(|t| t.matches('.').count() <= 1);
            let in_range = plain.iter().all(|v| *v != MISSING && (low.max(0)..=high).contains(v));
            if alike && usual_like && sound && in_range {
                prop_assert!(usual.read(words).is_some(), "{:?} like {:?}", texts, like);
            }
        }
    }
}
