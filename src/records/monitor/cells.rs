//! The cells of rows, however the rows were cut.

use std::ops::Range;

use super::cell::MISSING;
use super::channel::Field;
use super::four::Usual;
use super::lines::Rows;

/// Rows of a recording, all with as many cells as its header.
pub trait Cells {
    fn rows(&self) -> u32;
    /// The line a row stands in, 1-based.
    fn line(&self, row: u32) -> u32;
    fn text(&self, row: u32, column: usize) -> &[u8];
    /// The field's value in our unit, or missing.
    fn value(&self, field: &mut Field, row: u32) -> i32;
    /// Appends [`Self::value`] in each of the rows named, which ascend.
    fn values(&self, field: &mut Field, rows: &[u32], out: &mut Vec<i32>) {
        out.extend(rows.iter().map(|row| self.value(field, *row)));
    }
}

/// Rows cut at their delimiters in the buffer; the decimal mark.
pub struct Cut<'a>(pub Rows<'a>, pub u8);

impl Cells for Cut<'_> {
    fn rows(&self) -> u32 {
        self.0.count()
    }

    fn line(&self, row: u32) -> u32 {
        self.0.line(row)
    }

    fn text(&self, row: u32, column: usize) -> &[u8] {
        self.0.cell(row, column).1.trim_ascii_end()
    }

    fn value(&self, field: &mut Field, row: u32) -> i32 {
        field.other(self.0.cell(row, field.column), self.1, self.line(row))
    }

    fn values(&self, field: &mut Field, rows: &[u32], out: &mut Vec<i32>) {
        let column = field.column;
        let read = |usual: Usual, row: u32| usual.read(self.0.words(row, column)?);
        // Numbers come and go with a digit more.
        let filled = |usual: Usual, row: u32| {
            let words = self.0.words(row, column)?;
            let length = |i: u32| self.0.cell(row + i, column).1.len();
            usual.read([0, 1, 2, 3].map(|i| usual.filled(words[i as usize], length(i))))
        };
        for rows in stretches(rows) {
            let before = out.len();
            out.resize(before + rows.len(), MISSING);
            let out = &mut out[before..];
            let (mut usual, mut row) = (field.usual, rows.start);
            for four in out.as_chunks_mut().0 {
                match read(usual, row).or_else(|| filled(usual, row)) {
                    Some(values) => *four = values,
                    None => usual = self.others(field, row, four),
                }
                row += 4;
            }
            // The last few once more with those before them.
            match (out.last_chunk_mut(), rows.end.checked_sub(4).and_then(|row| read(usual, row))) {
                (Some(four), Some(values)) => *four = values,
                _ => _ = self.others(field, row, &mut out[(row - rows.start) as usize..]),
            }
        }
    }
}

impl Cut<'_> {
    /// The values of cells that need a second look, from `row` on.
    #[inline(never)]
    fn others(&self, field: &mut Field, row: u32, out: &mut [i32]) -> Usual {
        (row..).zip(out).for_each(|(row, out)| *out = self.value(field, row));
        field.usual
    }
}

/// Ascending numbers as ranges without a hole: nearly always a single one.
fn stretches(mut rows: &[u32]) -> impl Iterator<Item = Range<u32>> {
    std::iter::from_fn(move || {
        let (first, last) = (*rows.first()?, *rows.last()?);
        let whole = (last - first) as usize + 1 == rows.len();
        let n = if whole { rows.len() } else { 1 + rows.windows(2).take_while(|two| two[0] + 1 == two[1]).count() };
        rows = &rows[n..];
        Some(first..first + n as u32)
    })
}
