#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]
use super::number::number;
use super::*;

/// Rows as (line, cells) and faults as (line, found).
type Texts = (Vec<(u32, Vec<String>)>, Vec<(u32, String)>);

fn texts(bytes: &[u8]) -> Texts {
    let sheet = Sheet::from_text(bytes, &Shape::default());
    (
        sheet.rows.iter().map(|r| (r.line, r.cells.iter().map(ToString::to_string).collect())).collect(),
        sheet.faults.iter().map(|f| (f.line, f.found.clone())).collect(),
    )
}

fn row(line: u32, cells: &[&str]) -> (u32, Vec<String>) {
    (line, cells.iter().map(|c| (*c).to_owned()).collect())
}

/// RFC 4180 section 2: quotes doubled, delimiters and line breaks within quotes.
#[test]
fn quotes_follow_rfc_4180() {
    let (rows, faults) = texts(b"a,b,c\r\n\"aaa\",\"b \r\nbb\",\"c\"\"cc\"\r\nzzz,\"y,y\",xxx\r\n");
    assert_eq!(rows, [row(1, &["a", "b", "c"]), row(2, &["aaa", "b \nbb", "c\"cc"]), row(4, &["zzz", "y,y", "xxx"])]);
    assert_eq!(faults, []);
}

#[test]
fn an_unbalanced_quote_costs_one_line() {
    let text = "date,hours,remarks\n2026-03-01,1.0,\"fine\n2026-03-02,2.0,ok\n2026-03-03,3.0,\"said \"\"good\"\"\"\n2026-03-04,4.0,\n";
    let (rows, faults) = texts(text.as_bytes());
    assert_eq!(rows.iter().map(|r| r.0).collect::<Vec<_>>(), [1, 3, 4, 5]);
    assert_eq!(faults, [(2, "a quotation mark opened in cell 3 that is not closed".to_owned())]);
}

#[test]
fn an_unbalanced_quote_on_the_last_line_is_told() {
    let (rows, faults) = texts(b"a,b\n1,\"x");
    assert_eq!(rows.len(), 1);
    assert_eq!(faults.len(), 1);
}

#[test]
fn every_encoding_reads_the_same() {
    let text = "date;remarks\n2026-03-01;3,5 °C, naïve – “ok”\n";
    let utf16 = |little: bool, mark: bool| {
        let marked = if mark { format!("\u{feff}{text}") } else { text.to_owned() };
        marked.encode_utf16().flat_map(|u| if little { u.to_le_bytes() } else { u.to_be_bytes() }).collect::<Vec<u8>>()
    };
    let ansi = encoding_rs::WINDOWS_1252.encode(text).0.into_owned();
    let expected = texts(text.as_bytes());
    assert_eq!(expected.0[1].1[1], "3,5 °C, naïve – “ok”");
    for bytes in [
        format!("\u{feff}{text}").into_bytes(),
        utf16(true, true),
        utf16(false, true),
        utf16(true, false),
        utf16(false, false),
        ansi,
    ] {
        assert_eq!(texts(&bytes), expected);
    }
}

#[test]
fn delimiters_are_found() {
    for (text, delimiter) in [
        ("date,hours\n2026-03-01,1.5\n", ','),
        ("date;hours\n01.03.2026;1,5\n02.03.2026;1,7\n", ';'),
        ("date\thours\tremarks\n2026-03-01\t1,5\ta, b; c\n", '\t'),
        ("date|hours\n2026-03-01|1.5\n", '|'),
        ("sep=;\nx,y;b\n1,2;3\n", ';'),
    ] {
        assert_eq!(sniff(text.as_bytes(), &Shape::default()).delimiter, delimiter, "{text}");
    }
}

#[test]
fn the_decimal_mark_is_found() {
    let mark = |text: &str| sniff(text.as_bytes(), &Shape::default()).decimal;
    assert_eq!(mark("a;b\n1,5;x\n"), Some(','));
    assert_eq!(mark("a;b\n1.5;x\n"), Some('.'));
    assert_eq!(mark("a;b\n1,482;x\n"), None);
}

#[test]
fn nul_bytes_and_long_lines_cost_their_line() {
    let mut text = b"a,b\n1,2\n".to_vec();
    text.extend(b"3,");
    text.extend(vec![b'x'; 300_000]);
    text.extend(b"\n5,6\n7,\x008\n");
    text.extend(vec![0; 1_000_000]);
    let (rows, faults) = texts(&text);
    assert_eq!(rows, [row(1, &["a", "b"]), row(2, &["1", "2"]), row(4, &["5", "6"])]);
    assert_eq!(faults.iter().map(|f| f.0).collect::<Vec<_>>(), [3, 5, 6]);
    assert_eq!(faults[1].1, "NUL bytes");
    assert_eq!(faults[2].1, "NUL bytes");
}

#[test]
fn numbers_as_people_type_them() {
    for (text, decimal, value) in [
        ("1482.3", None, Some(1482.3)),
        ("1482,3", None, Some(1482.3)),
        ("1,482.3", None, Some(1482.3)),
        ("1.482,3", None, Some(1482.3)),
        ("1 482,3", None, Some(1482.3)),
        ("1\u{a0}482,3", Some(','), Some(1482.3)),
        ("1\u{202f}482.3", None, Some(1482.3)),
        ("1'482.3", None, Some(1482.3)),
        ("1,482", None, Some(1482.0)),
        ("1,482", Some(','), Some(1.482)),
        ("1.482", None, Some(1.482)),
        ("1.482", Some(','), Some(1482.0)),
        ("1,482,300", None, Some(1_482_300.0)),
        ("0,482", None, Some(0.482)),
        ("1,5", Some('.'), Some(1.5)),
        (".5", None, Some(0.5)),
        (",5", None, Some(0.5)),
        ("5.", None, Some(5.0)),
        ("-3", None, Some(-3.0)),
        ("\u{2212}3", None, Some(-3.0)),
        ("+3", None, Some(3.0)),
        ("1O", None, None),
        ("l", None, None),
        ("1 2", None, None),
        ("1..2", None, None),
        ("1,2,3", None, None),
        ("1,23.4", None, None),
        ("", None, None),
        (".", None, None),
        ("-", None, None),
        ("1e5", None, None),
        ("NaN", None, None),
        ("inf", None, None),
        ("٣", None, None),
    ] {
        assert_eq!(number(text, decimal), value, "{text} with {decimal:?}");
    }
}
