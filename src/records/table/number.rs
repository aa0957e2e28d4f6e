//! Numbers as people type them: `1482.3`, `1482,3`, `1,482.3`, `1 482,3`, `1'482.3`.

/// Reads a plain decimal number. `decimal` is the sheet's decimal mark where known; a mark that can
/// only be meant the other way is read so (`1,5` in a sheet with points). A letter anywhere, such as
/// an O typed for a zero, is no number.
pub fn number(text: &str, decimal: Option<char>) -> Option<f64> {
    let text = super::trim(text);
    let (sign, digits) = match text.strip_prefix(['-', '\u{2212}']) {
        Some(rest) => (-1.0, rest),
        None => (1.0, text.strip_prefix('+').unwrap_or(text)),
    };
    if digits.is_empty() || digits.len() > 40 {
        return None;
    }
    let blanks = |c: char| matches!(c, ' ' | '\u{a0}' | '\u{202f}' | '\u{2009}' | '\'' | '\u{2019}');
    let plain = if digits.contains(blanks) { ungroup(digits, blanks)? } else { digits.to_owned() };
    let (points, commas) = (plain.matches('.').count(), plain.matches(',').count());
    let plain = match (points, commas) {
        (0, 0) => plain,
        (1, 0) if decimal == Some(',') && grouped(&plain, '.') => plain.replace('.', ""),
        (1, 0) => plain,
        (0, 1) if decimal != Some(',') && grouped(&plain, ',') => plain.replace(',', ""),
        (0, 1) => plain.replace(',', "."),
        (_, 0) if grouped(&plain, '.') => plain.replace('.', ""),
        (0, _) if grouped(&plain, ',') => plain.replace(',', ""),
        _ => {
            let at = plain.rfind(['.', ','])?;
            let mark = if plain[at..].starts_with('.') { ',' } else { '.' };
            let (whole, tail) = (&plain[..at], &plain[at + 1..]);
            if !grouped(whole, mark) {
                return None;
            }
            format!("{}.{tail}", whole.replace(mark, ""))
        }
    };
    let dotted = plain.strip_suffix('.').filter(|s| !s.is_empty()).unwrap_or(&plain);
    if !dotted.bytes().all(|b| b.is_ascii_digit() || b == b'.') || dotted == "." {
        return None;
    }
    dotted.parse::<f64>().ok().map(|value| sign * value)
}

/// `1,482` or `12,345,678`: one to three digits, then groups of three.
fn grouped(text: &str, mark: char) -> bool {
    let mut groups = text.split(mark);
    let first = groups.next().unwrap_or("");
    let digits = |s: &str| s.bytes().all(|b| b.is_ascii_digit());
    (1..=3).contains(&first.len()) && first != "0" && digits(first) && groups.all(|g| g.len() == 3 && digits(g))
}

/// Takes out blanks that group digits by three; `None` if they stand elsewhere.
fn ungroup(text: &str, blank: impl Fn(char) -> bool) -> Option<String> {
    let whole_end = text.find(['.', ',']).unwrap_or(text.len());
    let (whole, tail) = text.split_at(whole_end);
    let joined: String = whole.chars().map(|c| if blank(c) { ' ' } else { c }).collect();
    grouped(&joined, ' ').then(|| format!("{}{tail}", joined.replace(' ', "")))
}
