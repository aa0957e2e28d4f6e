//! Where a row's cells begin.
//!
//! A recorder writes row after row in one shape: each cell as long as in the row before, up to the last one that is
//! wanted. Then the places are those of the row before, moved along; in any other row they are looked for delimiter by
//! delimiter, and that row's shape is the one to be expected from then on.

use wide::u8x16;

use super::lines::Cutting;

/// Bytes looked at at once; so many may be looked at beyond a row.
pub const BLOCK: usize = 64;

/// The shape of the row cut last.
#[derive(Debug, Default)]
pub struct Shape {
    /// By block, which bytes are delimiters; of the last block those up to the last wanted cell's end count.
    blocks: Vec<u64>,
    counts: u64,
    /// Delimiters among them.
    delimiters: u32,
    /// Bytes up to the end of the last of them.
    length: usize,
    /// Where that row began, and its wanted cells, and one more; nothing where it had not as many cells.
    from: u32,
    starts: Vec<u32>,
}

impl Shape {
    /// Forgets what to expect.
    pub fn clear(&mut self) {
        self.starts.clear();
    }

    /// Writes where the wanted cells of the row `from..to` begin, and one more; false if it has not as many cells as
    /// the header.
    #[inline]
    pub fn cut(&mut self, buffer: &[u8], from: usize, to: usize, cutting: Cutting, starts: &mut [u32]) -> bool {
        let row = Row { buffer, from, to, delimiter: cutting.delimiter };
        if self.starts.is_empty() || to - from < self.length {
            return self.learn(row, cutting, starts);
        }
        let (mut differs, mut last) = (0, 0);
        for (block, expected) in self.blocks.iter().enumerate() {
            differs |= last;
            last = row.delimiters(block) ^ expected;
        }
        if (differs | (last & self.counts)) != 0 {
            return self.learn(row, cutting, starts);
        }
        let after = (self.blocks.len()..=row.last_block()).map(|block| row.delimiters(block).count_ones());
        let cells = 1 + self.delimiters + last.count_ones() + after.sum::<u32>();
        self.place(row, cutting, starts);
        cells as usize == cutting.width
    }

    /// [`Self::cut`] of a row that differs from the one before.
    #[inline(never)]
    fn learn(&mut self, row: Row<'_>, cutting: Cutting, starts: &mut [u32]) -> bool {
        let wanted = cutting.keep.min(cutting.width.saturating_sub(1));
        self.blocks.clear();
        self.starts.clear();
        (self.counts, self.length) = (0, 0);
        (starts[0], self.from) = (row.from as u32, row.from as u32);
        let (mut cells, mut found) = (1, 0);
        for block in 0..=row.last_block() {
            let mut left = row.delimiters(block);
            cells += left.count_ones() as usize;
            if found == wanted {
                continue;
            }
            self.blocks.push(left);
            let at = row.from + BLOCK * block + 1;
            for start in &mut starts[found + 1..=wanted] {
                if left == 0 {
                    break;
                }
                *start = (at + left.trailing_zeros() as usize) as u32;
                self.counts = left ^ (left - 1);
                left &= left - 1;
                found += 1;
            }
        }
        if found < wanted {
            return false;
        }
        if let Some(last) = self.blocks.last_mut() {
            *last &= self.counts;
        }
        self.delimiters = wanted as u32;
        self.length = starts[wanted] as usize - row.from;
        self.starts.extend_from_slice(starts);
        end(row, cutting, starts);
        cells == cutting.width
    }

    fn place(&self, row: Row<'_>, cutting: Cutting, starts: &mut [u32]) {
        let by = (row.from as u32).wrapping_sub(self.from);
        for (start, before) in starts.iter_mut().zip(&self.starts) {
            *start = before.wrapping_add(by);
        }
        end(row, cutting, starts);
    }
}

/// A row's last cell ends with the row.
fn end(row: Row<'_>, cutting: Cutting, starts: &mut [u32]) {
    if cutting.keep == cutting.width {
        starts[cutting.keep] = row.to as u32 + 1;
    }
}

/// A row in its buffer.
#[derive(Clone, Copy)]
struct Row<'a> {
    buffer: &'a [u8],
    from: usize,
    to: usize,
    delimiter: u8,
}

impl Row<'_> {
    fn last_block(&self) -> usize {
        (self.to - self.from) / BLOCK
    }

    /// Which bytes of a block are delimiters.
    #[inline(always)]
    fn delimiters(&self, block: usize) -> u64 {
        let at = self.from + BLOCK * block;
        let parts = self.buffer.get(at..at + BLOCK).unwrap_or(&[0; BLOCK]).as_chunks().0;
        let delimiter = u8x16::splat(self.delimiter);
        let bits =
            |(i, part): (usize, &[u8; 16])| u64::from(u8x16::new(*part).simd_eq(delimiter).to_bitmask()) << (16 * i);
        let all = parts.iter().enumerate().map(bits).fold(0, |all, bits| all | bits);
        // What follows the row is another's.
        let left = self.to - at;
        if left < BLOCK { all & ((1 << left) - 1) } else { all }
    }
}
