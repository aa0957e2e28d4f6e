//! Whether the end of a text file is there: a copy over a share stops anywhere for any time.

/// `bytes` without a last row that has no line break and fewer cells than the row before it: a file still
/// being written. A cut within the last cell cannot be seen; nor can one in a header without rows.
pub fn fully_there(bytes: &[u8]) -> &[u8] {
    let is_break = |b: &u8| matches!(b, b'\n' | b'\r');
    // NULs end every line in UTF-16, and fill what is set aside for a file before it is written.
    let end = bytes.iter().rposition(|b| *b != 0).map_or(0, |last| last + 1);
    let Some(at) = bytes[..end].iter().rposition(is_break) else { return bytes };
    let rows = &bytes[..at];
    let before = rows.rsplit(is_break).find(|line| line.iter().any(|b| *b != 0 && !b.is_ascii_whitespace()));
    let (last, before) = (&bytes[at + 1..end], before.unwrap_or_default());
    let cells = |line: &[u8], delimiter: u8| line.iter().filter(|b| **b == delimiter).count();
    let most = [b',', b';', b'\t', b'|'].into_iter().max_by_key(|delimiter| cells(before, *delimiter));
    let short = most.is_some_and(|delimiter| cells(last, delimiter) < cells(before, delimiter));
    if !short || last.iter().all(|b| *b == 0) {
        return bytes;
    }
    // The other half of a line break in UTF-16 with the lesser byte first.
    let half = usize::from(at % 2 == 0 && bytes.get(at + 1) == Some(&0));
    &bytes[..=at + half]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_row_cut_short_is_left_out() {
        let whole = b"date,hours,level,remarks\n2026-03-01,1200.5,8.5,\n";
        for cut in 0..whole.len() {
            let expected = if !(26..47).contains(&cut) { &whole[..cut] } else { &whole[..25] };
            assert_eq!(fully_there(&whole[..cut]), expected, "{cut}");
        }
        assert_eq!(fully_there(whole), whole);
        assert_eq!(fully_there(b"a,b,c\r\n1,2\0\0\0"), b"a,b,c\r\n");
        assert_eq!(fully_there(b"a;b;c\r1;2"), b"a;b;c\r");
        assert_eq!(fully_there(b"a,b\n1,2\n\0\0"), b"a,b\n1,2\n\0\0");
    }

    #[test]
    fn a_row_without_its_line_break_is_there() {
        for text in [&b"a,b,c\n1,2,3"[..], b"a,b,c", b"", b"\0\0", b"a\n1", b"a,b\n1,2,3"] {
            assert_eq!(fully_there(text), text);
        }
    }

    #[test]
    fn utf_16() {
        let bytes: Vec<u8> = "a,b,c\n1,2".encode_utf16().flat_map(u16::to_le_bytes).collect();
        assert_eq!(fully_there(&bytes), &bytes[..12]);
        let bytes: Vec<u8> = "a,b,c\n1,2".encode_utf16().flat_map(u16::to_be_bytes).collect();
        assert_eq!(fully_there(&bytes), &bytes[..12]);
    }
}
