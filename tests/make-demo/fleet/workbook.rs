//! N04KM's log: a workbook with a sheet for flights and one for the shop, dates as dates.

use rust_xlsxwriter::{DocProperties, ExcelDateTime, Format, Workbook, Worksheet, XlsxError};

use super::world::{Entry, Happening, Leg, Tail};

/// The workbook's bytes; the creation date is fixed so that they are always the same.
pub fn bytes(tail: &Tail) -> Vec<u8> {
    build(tail).unwrap_or_default()
}

fn build(tail: &Tail) -> Result<Vec<u8>, XlsxError> {
    let mut book = Workbook::new();
    let created = ExcelDateTime::from_ymd(2026, 11, 1)?;
    book.set_properties(&DocProperties::new().set_creation_datetime(&created));
    let stamp = Format::new().set_num_format("m/d/yyyy hh:mm");
    let legs = tail.log.iter().filter_map(|h| if let Happening::Leg(leg) = h { Some(leg) } else { None });
    flights(book.add_worksheet(), &stamp, legs)?;
    let entries = tail.log.iter().filter_map(|h| if let Happening::Entry(entry) = h { Some(entry) } else { None });
    shop(book.add_worksheet(), &stamp, entries)?;
    book.save_to_buffer()
}

fn when(date: chrono::NaiveDate, minute: i64) -> Result<ExcelDateTime, XlsxError> {
    use chrono::Datelike;
    let (year, month, day) = (date.year() as u16, date.month() as u8, date.day() as u8);
    ExcelDateTime::from_ymd(year, month, day)?.and_hms((minute / 60) as u16, (minute % 60) as u8, 0)
}

fn head(sheet: &mut Worksheet, names: &[&str]) -> Result<(), XlsxError> {
    for (column, name) in names.iter().enumerate() {
        sheet.write_string(0, column as u16, *name)?;
    }
    Ok(())
}

fn flights<'a>(sheet: &mut Worksheet, stamp: &Format, legs: impl Iterator<Item = &'a Leg>) -> Result<(), XlsxError> {
    sheet.set_name("Flights")?;
    head(
        sheet,
        &["Off blocks", "Tach", "Hours", "Kind", "Left dip", "Left added", "Right dip", "Right added", "Remarks"],
    )?;
    for (place, leg) in legs.enumerate() {
        let row = place as u32 + 1;
        sheet.write_datetime_with_format(row, 0, &when(leg.date, leg.off)?, stamp)?;
        sheet.write_number(row, 1, leg.meter as f64 / 10.0)?;
        sheet.write_number(row, 2, leg.length as f64 / 10.0)?;
        sheet.write_string(row, 3, leg.service)?;
        for (column, seat) in [(4, "left"), (6, "right")] {
            let Some(dip) = leg.dips.iter().find(|d| d.seat == seat) else { continue };
            if let Some(level) = dip.level {
                sheet.write_number(row, column, level)?;
            }
            match dip.added.parse::<f64>() {
                Ok(quarts) => sheet.write_number(row, column + 1, quarts)?,
                Err(_) => sheet.write_string(row, column + 1, &dip.added)?,
            };
        }
        if !leg.remarks.is_empty() {
            sheet.write_string(row, 8, leg.remarks)?;
        }
    }
    Ok(())
}

fn shop<'a>(sheet: &mut Worksheet, stamp: &Format, entries: impl Iterator<Item = &'a Entry>) -> Result<(), XlsxError> {
    sheet.set_name("Shop")?;
    head(sheet, &["When", "Engine", "Tach", "Work", "Dip after", "Oil", "Finding", "Serial", "Notes"])?;
    for (place, entry) in entries.enumerate() {
        let row = place as u32 + 1;
        sheet.write_datetime_with_format(row, 0, &when(entry.date, entry.minute)?, stamp)?;
        sheet.write_number(row, 2, entry.meter as f64 / 10.0)?;
        if let Some(level) = entry.level {
            sheet.write_number(row, 4, level)?;
        }
        for (column, text) in [
            (1, entry.seat),
            (3, word(entry.what)),
            (5, entry.oil),
            (6, entry.result),
            (7, entry.serial),
            (8, entry.remarks.as_str()),
        ] {
            if !text.is_empty() {
                sheet.write_string(row, column, text)?;
            }
        }
    }
    Ok(())
}

/// The shop's own words.
fn word(what: &str) -> &str {
    match what {
        "oil-changed" => "oil & filter",
        "filter-inspected" => "filter cut",
        "removed" => "engine off",
        "installed" => "engine on",
        other => other,
    }
}
