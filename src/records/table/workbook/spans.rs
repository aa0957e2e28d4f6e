//! Cells of an OpenDocument sheet that are merged down over several rows, which the parts that read its values do not
//! tell of (OASIS OpenDocument 1.3 part 3, 19.676 to 19.679: spanned and repeated rows and columns).

use std::io::{BufReader, Cursor};

use quick_xml::Reader;
use quick_xml::events::{BytesStart, Event};

/// The first and the last cell, each by row and column, 0-based.
pub type Span = ((u32, u32), (u32, u32));

/// Merged areas of more than one row in the `sheet`th sheet, 0-based; the first `most` of them. `None`: damaged.
pub fn merged_down(bytes: &[u8], sheet: usize, most: usize) -> Option<Vec<Span>> {
    let mut archive = zip::ZipArchive::new(Cursor::new(bytes)).ok()?;
    let mut reader = Reader::from_reader(BufReader::new(archive.by_name("content.xml").ok()?));
    let (mut buffer, mut spans) = (Vec::new(), Vec::new());
    let (mut tables, mut row, mut next, mut column) = (0_usize, 0_u32, 0_u32, 0_u32);
    while spans.len() < most {
        buffer.clear();
        match reader.read_event_into(&mut buffer).ok()? {
            Event::Start(e) | Event::Empty(e) => match e.name().as_ref() {
                "table:table" if e.try_get_attribute("table:name").ok()?.is_some() => tables += 1,
                "table:table-row" if tables == sheet + 1 => {
                    (row, column) = (next, 0);
                    next = next.saturating_add(count(&e, "table:number-rows-repeated")?);
                }
                "table:table-cell" | "table:covered-table-cell" if tables == sheet + 1 => {
                    let down = count(&e, "table:number-rows-spanned")?;
                    if down > 1 {
                        spans.push(((row, column), (row.saturating_add(down - 1), column)));
                    }
                    column = column.saturating_add(count(&e, "table:number-columns-repeated")?);
                }
                _ => {}
            },
            Event::End(e) if e.name().as_ref() == "table:table" && tables == sheet + 1 => break,
            Event::Eof => break,
            _ => {}
        }
    }
    Some(spans)
}

/// A number of rows or columns; one where nothing is said. `None`: no number.
fn count(element: &BytesStart<'_>, attribute: &str) -> Option<u32> {
    let said = element.try_get_attribute(attribute).ok()?;
    said.map_or(Some(1), |said| said.value.parse().ok())
}
