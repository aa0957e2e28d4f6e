//! The cells of rows, however the rows were cut.

use super::cell::cell_in;
use super::channel::Field;
use super::four::word;
use super::lines::Rows;

/// Rows of a recording, all with as many cells as its header.
pub trait Cells {
    fn rows(&self) -> u32;
    /// The line a row stands in, 1-based.
    fn line(&self, row: u32) -> u32;
    fn text(&self, row: u32, column: usize) -> &[u8];
    /// Appends the field's value in our unit, or missing, in each of the rows named.
    fn values(&self, field: &mut Field, rows: &[u32], out: &mut Vec<i32>);
}

/// Rows cut at their delimiters in the buffer; the decimal mark.
pub struct Cut<'a>(pub Rows<'a>, pub u8);

impl Cells for Cut<'_> {
    fn rows(&self) -> u32 {
        self.0.starts.len() as u32 / self.0.stride
    }

    fn line(&self, row: u32) -> u32 {
        self.0.line + row
    }

    fn text(&self, row: u32, column: usize) -> &[u8] {
        let (from, to) = self.place(row, column);
        self.0.buffer[from..to].trim_ascii_end()
    }

    fn values(&self, field: &mut Field, rows: &[u32], out: &mut Vec<i32>) {
        out.reserve(rows.len());
        let mut usual = field.usual;
        for four in rows.chunks(4) {
            let word = |row: u32| {
                let (from, to) = self.place(row, field.column);
                word(self.0.buffer, from, to)
            };
            if let &[a, b, c, d] = four
                && let Some(values) = usual.read([word(a), word(b), word(c), word(d)])
            {
                out.extend_from_slice(&values);
                continue;
            }
            for &row in four {
                let (from, to) = self.place(row, field.column);
                let raw = cell_in(self.0.buffer, from, to, self.1);
                out.push(field.other(&self.0.buffer[from..to], raw, self.1, self.line(row)));
            }
            usual = field.usual;
        }
    }
}

impl Cut<'_> {
    #[inline(always)]
    fn place(&self, row: u32, column: usize) -> (usize, usize) {
        let at = (row * self.0.stride + column as u32) as usize;
        let [from, next] = self.0.starts.get(at..at + 2).and_then(<[u32]>::first_chunk).copied().unwrap_or([0, 1]);
        (from as usize, next as usize - 1)
    }
}
