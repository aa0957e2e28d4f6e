//! Workbooks made to do harm: the child that reads them is limited, and one fault is all that is left.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fs::{self, File};
use std::io::Write;
use std::path::Path;
use std::time::{Duration, Instant};

use cowlwatch::records::layout::Shape;
use cowlwatch::records::table::Sheet;
use cowlwatch::shell::workbook::read_with;
use zip::write::SimpleFileOptions;

use crate::support::PROGRAM;

fn read(path: &Path) -> Sheet {
    read_with(Path::new(PROGRAM), File::open(path).unwrap(), &Shape::default()).unwrap()
}

/// A zip archive of `parts`, each its name, its beginning, a piece repeated, and its end.
fn archive(path: &Path, parts: &[(&str, &str, &str, usize, &str)]) {
    let mut zip = zip::ZipWriter::new(File::create(path).unwrap());
    for (name, start, piece, times, end) in parts {
        zip.start_file(*name, SimpleFileOptions::default().compression_level(Some(1))).unwrap();
        zip.write_all(start.as_bytes()).unwrap();
        let block = piece.repeat(1000);
        for _ in 0..times / 1000 {
            zip.write_all(block.as_bytes()).unwrap();
        }
        zip.write_all(end.as_bytes()).unwrap();
    }
    zip.finish().unwrap();
}

const RELATIONS: &str = "<?xml version=\"1.0\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
    <Relationship Id=\"rId1\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships/worksheet\" Target=\"worksheets/sheet1.xml\"/>\
    <Relationship Id=\"rId2\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings\" Target=\"sharedStrings.xml\"/></Relationships>";
const ROOT: &str = "<?xml version=\"1.0\"?><Relationships xmlns=\"http://schemas.openxmlformats.org/package/2006/relationships\">\
    <Relationship Id=\"rId1\" Type=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument\" Target=\"xl/workbook.xml\"/></Relationships>";
const BOOK: &str = "<?xml version=\"1.0\"?><workbook xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\" \
    xmlns:r=\"http://schemas.openxmlformats.org/officeDocument/2006/relationships\"><sheets><sheet name=\"Log\" sheetId=\"1\" r:id=\"rId1\"/></sheets></workbook>";
const SHEET: &str =
    "<?xml version=\"1.0\"?><worksheet xmlns=\"http://schemas.openxmlformats.org/spreadsheetml/2006/main\"><sheetData>";

/// A workbook with this sheet data and these shared strings.
fn book(path: &Path, sheet: (&str, usize), strings: (&str, usize)) {
    archive(
        path,
        &[
            ("_rels/.rels", ROOT, "", 0, ""),
            ("xl/_rels/workbook.xml.rels", RELATIONS, "", 0, ""),
            ("xl/workbook.xml", BOOK, "", 0, ""),
            ("xl/sharedStrings.xml", "<?xml version=\"1.0\"?><sst>", strings.0, strings.1, "</sst>"),
            ("xl/worksheets/sheet1.xml", SHEET, sheet.0, sheet.1, "</sheetData></worksheet>"),
        ],
    );
}

/// A small OpenDocument file of ninety million cells.
pub fn bomb(path: &Path) {
    let row = "<table:table-row table:number-rows-repeated=\"1000000\"><table:table-cell office:value-type=\"float\" \
               office:value=\"1\" table:number-columns-repeated=\"90\"/></table:table-row>";
    let start = format!("<?xml version=\"1.0\"?><office:document-content><table:table table:name=\"Log\">{row}");
    archive(
        path,
        &[
            ("mimetype", "application/vnd.oasis.opendocument.spreadsheet", "", 0, ""),
            ("META-INF/manifest.xml", "<?xml version=\"1.0\"?><manifest:manifest/>", "", 0, ""),
            ("content.xml", &start, "", 0, "</table:table></office:document-content>"),
        ],
    );
}

#[test]
fn one_value_in_the_last_cell_is_no_harm() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    let mut made = rust_xlsxwriter::Workbook::new();
    made.add_worksheet().write_string(1_048_575, 16_383, "x").unwrap();
    made.save(&path).unwrap();
    let sheet = read(&path);
    assert_eq!(sheet.rows.len(), 0);
    assert_eq!(sheet.faults.len(), 1);
    assert_eq!(sheet.faults[0].line, 1_048_576);
    assert_eq!(sheet.faults[0].found, "content right of column 512; it was not read");
}

#[test]
fn a_bomb_of_shared_strings_costs_its_file_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    book(&path, ("<row/>", 1000), ("<si><t>a</t></si>", 12_000_000));
    assert!(fs::metadata(&path).unwrap().len() < 4_000_000);
    let began = Instant::now();
    let sheet = read(&path);
    assert!(began.elapsed() < Duration::from_secs(40));
    assert_eq!(sheet.rows, []);
    assert_eq!(sheet.faults.len(), 1);
    assert_eq!(sheet.faults[0].found, "a workbook that takes more than 128 MB or 20 s to read");
    assert_eq!(sheet.faults[0].line, 0);
}

#[test]
fn an_opendocument_row_repeated_a_million_times_costs_its_file_alone() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.ods");
    bomb(&path);
    let sheet = read(&path);
    assert_eq!(sheet.rows, []);
    assert_eq!(sheet.faults.len(), 1);
    assert_eq!(sheet.faults[0].found, "a workbook that takes more than 128 MB or 20 s to read");
}

#[test]
fn a_sheet_without_end_is_read_to_the_limit() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    book(&path, ("<row><c><v>1</v></c><c><v>2</v></c></row>", 400_000), ("", 0));
    let sheet = read(&path);
    assert_eq!(sheet.rows.len(), 100_000);
    assert_eq!(sheet.faults.len(), 1);
    assert_eq!(sheet.faults[0].line, 100_001);
}

#[test]
fn damaged_and_mistaken_files_say_what_they_are() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    let mut whole = Vec::new();
    rust_xlsxwriter::Workbook::new().save(&path).unwrap();
    whole.extend(fs::read(&path).unwrap());
    for (bytes, found) in [
        (&whole[..whole.len() / 2], "a workbook that cannot be read ("),
        (&b"PK\x03\x04"[..], "a workbook that cannot be read ("),
        (&[0xD0, 0xCF, 0x11, 0xE0, 0xA1, 0xB1, 0x1A, 0xE1][..], "an old (.xls) or password-protected workbook"),
        (&b"%PDF-1.7\n"[..], "no workbook"),
    ] {
        fs::write(&path, bytes).unwrap();
        let sheet = read(&path);
        assert_eq!(sheet.faults.len(), 1, "{found}");
        assert!(sheet.faults[0].found.starts_with(found), "{}", sheet.faults[0].found);
    }
    // Text under a workbook's name is read as text.
    fs::write(&path, "date,entry\n2026-03-01,note\n").unwrap();
    assert_eq!(read(&path).rows.len(), 2);
}

#[test]
fn a_program_that_is_no_reader_gives_one_fault() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("logbook.xlsx");
    fs::write(&path, b"PK\x03\x04").unwrap();
    for program in ["/bin/false", "/bin/true"] {
        let sheet = read_with(Path::new(program), File::open(&path).unwrap(), &Shape::default()).unwrap();
        assert_eq!((sheet.rows.len(), sheet.faults.len()), (0, 1), "{program}");
    }
    // That is no fault of the workbook, and must not stick to it.
    let error = read_with(Path::new("/nonexistent"), File::open(&path).unwrap(), &Shape::default()).unwrap_err();
    assert!(error.to_string().starts_with("the reader of workbooks could not be started: "), "{error}");
}
