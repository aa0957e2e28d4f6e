//! The cells of a row, however the row was cut.

use super::cell::cell_in;
use super::lines::Row;

/// The cells of one row.
pub trait Cells {
    fn text(&self, column: usize) -> &[u8];
    fn number(&self, column: usize) -> i32;
}

/// A row cut at its delimiters in the buffer; the decimal mark.
pub struct Cut<'a>(pub Row<'a>, pub u8);

impl Cells for Cut<'_> {
    fn text(&self, column: usize) -> &[u8] {
        let (from, to) = self.place(column);
        self.0.buffer[from..to].trim_ascii_end()
    }

    fn number(&self, column: usize) -> i32 {
        let (from, to) = self.place(column);
        cell_in(self.0.buffer, from, to, self.1)
    }
}

impl Cut<'_> {
    fn place(&self, column: usize) -> (usize, usize) {
        let from = if column == 0 { self.0.from } else { self.0.ends[column - 1] as usize + 1 };
        (from, self.0.ends[column] as usize)
    }
}
