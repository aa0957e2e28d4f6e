//! Rows the fast way does not cut (quotes, another number of cells), read by the `csv` crate's own
//! machine. It is built once for a recording: building it for every row costs forty times the row.

use csv_core::{ReadRecordResult, Reader, ReaderBuilder, Terminator};

use super::cell::cell;
use super::cells::Cells;
use super::channel::Field;

/// Cuts one line at a time.
#[derive(Debug)]
pub struct Quoted {
    reader: Reader,
    text: Vec<u8>,
    ends: Vec<usize>,
    cells: usize,
}

impl Quoted {
    pub fn new(delimiter: u8) -> Self {
        let reader = ReaderBuilder::new().delimiter(delimiter).terminator(Terminator::Any(b'\n')).build();
        Self { reader, text: Vec::new(), ends: Vec::new(), cells: 0 }
    }

    /// Cuts `line` (without its end); gives the number of cells, none where there is no record in it.
    pub fn cut(&mut self, line: &[u8]) -> Option<usize> {
        self.reader.reset();
        // A cell is no longer than what it was cut from, and has at least its delimiter there.
        self.text.resize(line.len() + 1, 0);
        self.ends.resize(line.len() + 2, 0);
        let (mut input, mut filled, mut ended) = (line, 0, 0);
        loop {
            let (result, read, wrote, ends) =
                self.reader.read_record(input, &mut self.text[filled..], &mut self.ends[ended..]);
            (filled, ended, input) = (filled + wrote, ended + ends, &input[read..]);
            match result {
                ReadRecordResult::InputEmpty => {}
                ReadRecordResult::Record => {
                    self.cells = ended;
                    return Some(ended);
                }
                _ => return None,
            }
        }
    }

    /// The row cut last, which stands in `line`, with nothing in column `without`; `mark` is the decimal mark.
    pub fn row(&self, mark: u8, line: u32, without: Option<usize>) -> QuotedRow<'_> {
        QuotedRow { of: self, mark, line, without }
    }
}

/// The cells of the row cut last.
pub struct QuotedRow<'a> {
    of: &'a Quoted,
    mark: u8,
    line: u32,
    without: Option<usize>,
}

impl QuotedRow<'_> {
    fn raw(&self, column: usize) -> &[u8] {
        if column >= self.of.cells || self.without == Some(column) {
            return &[];
        }
        let from = if column == 0 { 0 } else { self.of.ends[column - 1] };
        &self.of.text[from..self.of.ends[column]]
    }
}

impl Cells for QuotedRow<'_> {
    fn rows(&self) -> u32 {
        1
    }

    fn line(&self, _: u32) -> u32 {
        self.line
    }

    fn text(&self, _: u32, column: usize) -> &[u8] {
        self.raw(column).trim_ascii_end()
    }

    fn value(&self, field: &mut Field, _: u32) -> i32 {
        field.value(cell(self.raw(field.column), self.mark), self.line)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    proptest! {
        /// The `csv` crate itself, reading the same line alone, gives the same cells.
        #[test]
        fn cells_are_those_of_the_csv_crate(
            lines in prop::collection::vec("[a-c0-9,;\"' \t\r]{1,40}", 1..8),
        ) {
            let mut quoted = Quoted::new(b',');
            for line in &lines {
                let mut record = csv::ByteRecord::new();
                let found = csv::ReaderBuilder::new()
                    .has_headers(false)
                    .flexible(true)
                    .terminator(csv::Terminator::Any(b'\n'))
                    .from_reader(line.as_bytes())
                    .read_byte_record(&mut record);
                let expected: Vec<Vec<u8>> = record.iter().map(<[u8]>::to_vec).collect();
                let count = quoted.cut(line.as_bytes());
                prop_assert_eq!(matches!(found, Ok(true)).then_some(expected.len()), count);
                let row = quoted.row(b'.', 1, None);
                let cells: Vec<Vec<u8>> = (0..count.unwrap_or(0)).map(|i| row.raw(i).to_vec()).collect();
                prop_assert_eq!(cells, expected);
            }
        }
    }
}
