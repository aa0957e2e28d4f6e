//! What stands before the rows: skipped lines, `sep=`, the header, and the marks it implies.

use std::io::Read;

use super::channel::Columns;
use super::lines::Lines;
use super::reader::Reduction;
use super::recorder::Recorder;
use super::trace::Trace;

impl Reduction<'_> {
    pub fn decimal_mark(&self, delimiter: u8) -> u8 {
        match self.layout.and_then(|l| l.shape.decimal) {
            Some(',') => b',',
            Some(_) => b'.',
            // Semicolons are what a spreadsheet writes where the comma is the decimal mark; a point still reads.
            None if delimiter == b';' => b',',
            None => b'.',
        }
    }

    /// Finds the header; gives the delimiter, or `None` after rejecting the file.
    pub fn header(&mut self, lines: &mut Lines<'_, impl Read>) -> std::io::Result<Option<u8>> {
        let skip = self.layout.map_or(0, |l| l.shape.skip_lines);
        let mut delimiter = self.layout.and_then(|l| l.shape.delimiter).and_then(|d| u8::try_from(d).ok());
        while let Some((number, text)) = lines.next_line()? {
            let text = text.strip_prefix(b"\xEF\xBB\xBF").unwrap_or(&text).trim_ascii();
            if number <= skip || text.iter().all(|b| *b == 0) || text.starts_with(b"#") {
                continue;
            }
            if let Some(named) = text.strip_prefix(b"sep=") {
                delimiter = delimiter.or(named.first().copied());
                continue;
            }
            let delimiter = delimiter.unwrap_or_else(|| likeliest(text));
            let header = self.header_cells(text, delimiter);
            let positions: Vec<_> = self.context.engines.iter().map(|e| e.position.clone()).collect();
            self.columns = Columns::from_header(&header, self.layout, &positions);
            let usable = !self.columns.engines.is_empty() && !self.columns.time.is_empty();
            for (found, expected) in std::mem::take(&mut self.columns.problems) {
                self.reject(number, found, &expected, !usable);
            }
            let engines = self.columns.engines.iter();
            let trace = |spare: &mut Vec<Trace>| spare.pop().unwrap_or_default();
            self.recorders = engines.map(|e| Recorder::new(e.position.clone(), trace(&mut self.spare))).collect();
            return Ok(usable.then_some(delimiter));
        }
        self.reject(0, "no header row".into(), "a row naming the columns, such as time,rpm,cht1_f", true);
        Ok(None)
    }

    fn header_cells(&self, text: &[u8], delimiter: u8) -> Vec<String> {
        let text = match std::str::from_utf8(text) {
            Ok(text) => text.to_owned(),
            Err(_) => encoding_rs::WINDOWS_1252.decode_without_bom_handling(text).0.into_owned(),
        };
        if !text.contains('"') {
            return text.split(char::from(delimiter)).map(|c| c.trim().to_owned()).collect();
        }
        let mut record = csv::StringRecord::new();
        let mut reader = csv::ReaderBuilder::new().has_headers(false).delimiter(delimiter).from_reader(text.as_bytes());
        let _ = reader.read_record(&mut record);
        record.iter().map(|c| c.trim().to_owned()).collect()
    }
}

/// The delimiter a header most likely uses.
fn likeliest(header: &[u8]) -> u8 {
    let count = |d: u8| header.iter().filter(|b| **b == d).count();
    [b',', b';', b'\t'].into_iter().max_by_key(|d| (count(*d), *d == b',')).unwrap_or(b',')
}
