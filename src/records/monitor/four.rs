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

/// How a column's cells are written, and what they may hold.
#[derive(Clone, Copy, Debug)]
pub struct Usual {
    /// The bytes before and after the mark in a word that ends with the cell's last byte.
    before: u64x2,
    after: u64x2,
    /// The bytes of the mark and of what stands before the cell, and what they hold there less '0'.
    at: u64x2,
    there: u64x2,
    /// What stands before a cell, and noughts; how long the cell may be.
    fill: u64,
    length: usize,
    /// How far the digits are then from thousandths, bits.
    down: u32,
    /// Plausible range, thousandths.
    low: i32x4,
    high: i32x4,
}

impl Usual {
    /// Cells written like `text`, after a byte like `lead`, with values from `low` to `high` thousandths. Not usual are
    /// more than seven characters, and numbers that take more than eight digits in thousandths.
    pub fn like(lead: u8, text: &[u8], mark: u8, low: i32, high: i32) -> Self {
        let decimals = text.iter().rev().position(|b| *b == mark);
        let whole = text.len() - decimals.map_or(0, |d| d + 1);
        if text.is_empty() || text.len() > 7 || whole > 5 || decimals.is_some_and(|d| !(1..=3).contains(&d)) {
            return Self::none();
        }
        let first = 64 - 8 * text.len();
        let (digits, lead) = (!0 << first, u64::from(lead ^ b'0') << (first - 8));
        let at = 0xFF << (first - 8);
        let (low, high) = (i32x4::splat(low.max(0)), i32x4::splat(high));
        let words = |words: [u64; 4]| words.map(u64x2::splat);
        let ([before, after, at, there], down) = match decimals {
            Some(decimals) => {
                let place = 56 - 8 * decimals;
                let mark = u64::from(mark ^ b'0') << place;
                let (before, after) = (digits & ((1 << place) - 1), !0 << (place + 8));
                (words([before, after, at | 0xFF << place, lead | mark]), 24 - 8 * decimals as u32)
            }
            None => (words([0, digits, at, lead]), 24),
        };
        let (fill, length) = (ZEROS ^ lead, text.len());
        Self { before, after, at, there, fill, length, down, low, high }
    }

    /// No cell at all.
    pub fn none() -> Self {
        let (none, low, high) = (u64x2::splat(0), i32x4::splat(i32::MAX), i32x4::splat(i32::MIN));
        Self { before: none, after: none, at: none, there: none, fill: 0, length: 0, down: 0, low, high }
    }

    /// The word of a cell of `length` characters as if it had as many as usual, with noughts before it; one that is
    /// longer or empty stays what it is, and is not usual.
    #[inline(always)]
    pub fn filled(&self, word: u64, length: usize) -> u64 {
        if length == 0 || length > self.length {
            return word;
        }
        let cell = !0 << (64 - 8 * length);
        (word & cell) | (self.fill & !cell)
    }

    /// The values of four such cells, thousandths; `None` if one of them is not usual. A word is the eight bytes that
    /// end with the cell.
    #[inline(always)]
    pub fn read(&self, words: [u64; 4]) -> Option<[i32; 4]> {
        let [a, b, c, d] = words;
        let zeros = u64x2::splat(ZEROS);
        let (upper, lower) = (u64x2::new([a, b]) ^ zeros, u64x2::new([c, d]) ^ zeros);
        let digits = |v: u64x2| ((v & self.after) | ((v & self.before) << 8u32)) >> self.down;
        let (x, y) = (digits(upper), digits(lower));
        let foreign: u8x16 = cast::<_, u8x16>(x).max(cast(y)).saturating_sub(u8x16::splat(9));
        let others: u8x16 = cast(((upper ^ self.there) | (lower ^ self.there)) & self.at);
        if (foreign | others).simd_eq(u8x16::splat(0)).to_bitmask() != 0xFFFF {
            return None;
        }
        let pairs = |v: u64x2| {
            let v: u16x8 = cast(v);
            let tens: i16x8 = cast((v * u16x8::splat(10) + (v >> 8)) & u16x8::splat(0xFF));
            tens.dot(i16x8::new([100, 1, 100, 1, 100, 1, 100, 1]))
        };
        let quads: i32x8 = cast([pairs(x), pairs(y)]);
        let v = i16x8::from_i32x8_saturate(quads).dot(i16x8::new([10_000, 1, 10_000, 1, 10_000, 1, 10_000, 1]));
        let out = self.low.simd_gt(v) | v.simd_gt(self.high);
        (out.to_bitmask() == 0).then(|| v.to_array())
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;
    use crate::records::monitor::cell::cell;

    fn text() -> impl Strategy<Value = String> {
        prop_oneof![
            4 => "[0-9]{1,4}\\.[0-9]",
            4 => "[0-9]{0,3}\\.[0-9]{0,4}",
            2 => "[0-9]{1,9}",
            1 => "[-+ .0-9a]{0,10}",
        ]
    }

    fn word(text: &str) -> u64 {
        let cell = format!("########,{text}");
        cell.as_bytes().last_chunk().map_or(0, |word| u64::from_le_bytes(*word))
    }

    proptest! {
        /// Whatever is given as a value is what the plain way gives, and in range; and cells written alike are not refused.
        #[test]
        fn four_at_once_read_as_the_plain_way(texts in prop::array::uniform4(text()), like in text(), low in -5i32..5) {
            let (low, high) = (low * 1000, 4_500_000);
            let usual = Usual::like(b',', like.as_bytes(), b'.', low, high);
            let words = texts.each_ref().map(|t| word(t));
            let filled = texts.each_ref().map(|t| usual.filled(word(t), t.len()));
            let plain = texts.each_ref().map(|t| cell(t.as_bytes(), b'.'));
            for values in [words, filled].into_iter().filter_map(|words| usual.read(words)) {
                prop_assert_eq!(values, plain);
                prop_assert!(values.iter().all(|v| (low..=high).contains(v)));
            }
        }

        /// Four cells written alike, and four of different lengths, are read.
        #[test]
        fn cells_written_as_usual_are_read(
            numbers in prop::array::uniform4(1000u32..9999), short in 1u32..=999, decimals in 0usize..=3, more in 0usize..=1,
        ) {
            let write = |digits: String| {
                let (whole, part) = digits.split_at(digits.len() - decimals);
                if decimals == 0 { digits } else { format!("{whole}.{part}") }
            };
            let texts = numbers.map(|n| write(format!("{}{n}", "7".repeat(more))));
            let usual = Usual::like(b',', texts[0].as_bytes(), b'.', 0, i32::MAX);
            let plain = |texts: &[String; 4]| texts.each_ref().map(|t| cell(t.as_bytes(), b'.'));
            prop_assert_eq!(usual.read(texts.each_ref().map(|t| word(t))), Some(plain(&texts)));
            let mut texts = texts;
            texts[1] = write(format!("{short:0>decimals$}"));
            prop_assert_eq!(usual.read(texts.each_ref().map(|t| word(t))), None);
            prop_assert_eq!(usual.read(texts.each_ref().map(|t| usual.filled(word(t), t.len()))), Some(plain(&texts)));
        }
    }
}
