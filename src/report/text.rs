//! Plain text laid out by columns and by line width.
//!
//! Mails are read on phones and in terminals that do not wrap; everything of ours that is text goes
//! through here. Widths count characters: our words use no wide or combining ones.

/// Breaks `text` at blanks to at most `width` characters a line, later lines indented by `indent`.
/// A number stays with its unit. A word longer than the line stands alone, unbroken.
pub fn wrap(text: &str, width: usize, indent: usize) -> String {
    let mut out = String::new();
    let mut column = 0;
    let lead = text.chars().take_while(|c| *c == ' ').count();
    out.push_str(&" ".repeat(lead));
    column += lead;
    let mut fresh = true;
    for word in with_units(text) {
        let length = word.chars().count();
        if !fresh && column + 1 + length > width {
            out.push('\n');
            out.push_str(&" ".repeat(indent));
            column = indent;
            fresh = true;
        }
        if !fresh {
            out.push(' ');
            column += 1;
        }
        out.push_str(&word);
        column += length;
        fresh = false;
    }
    out
}

/// `text` with a no-break space between a number and its unit.
pub fn glued(text: &str) -> String {
    with_units(text).iter().map(|w| w.replace(' ', "\u{a0}")).collect::<Vec<_>>().join(" ")
}

/// Words, a number together with the unit after it.
fn with_units(text: &str) -> Vec<String> {
    const UNITS: [&str; 16] = [
        "h", "%", "qt", "qt/h", "h/qt", "min", "°F", "°F/min", "psi", "rpm", "inHg", "kt", "ft", "day", "days",
        "quarts",
    ];
    let mut out: Vec<String> = Vec::new();
    for word in text.split_whitespace() {
        let unit = word.trim_end_matches([',', ';', '.', ')', ':', '?']);
        match out.last_mut() {
            Some(last) if UNITS.contains(&unit) && last.ends_with(|c: char| c.is_ascii_digit()) => {
                last.push(' ');
                last.push_str(word);
            }
            _ => out.push(word.to_owned()),
        }
    }
    out
}

/// At most `width` characters, the cut marked with `…`.
pub fn cut(text: &str, width: usize) -> String {
    if text.chars().count() <= width {
        return text.to_owned();
    }
    let kept: String = text.chars().take(width.saturating_sub(1)).collect();
    format!("{}…", kept.trim_end())
}

/// A table with a header row; columns as wide as their widest cell.
#[derive(Clone, Debug, Default)]
pub struct Table {
    head: Vec<&'static str>,
    /// Columns set flush right.
    right: Vec<usize>,
    rows: Vec<Vec<String>>,
}

impl Table {
    pub fn new(head: &[&'static str], right: &[usize]) -> Self {
        Self { head: head.to_vec(), right: right.to_vec(), rows: Vec::new() }
    }

    pub fn row(&mut self, cells: Vec<String>) {
        self.rows.push(cells);
    }

    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// Lays it out; the last column is cut so that no line exceeds `width`.
    pub fn text(&self, width: usize) -> String {
        let columns = self.head.len();
        let mut widths: Vec<usize> = self.head.iter().map(|h| h.chars().count()).collect();
        for row in &self.rows {
            for (w, cell) in widths.iter_mut().zip(row) {
                *w = (*w).max(cell.chars().count());
            }
        }
        let wide: usize = widths.iter().take(columns - 1).map(|w| w + 2).sum();
        // One blank between columns where two would not leave room for the last.
        let gap = if wide + 12 > width { 1 } else { 2 };
        let fixed = wide - (2 - gap) * (columns - 1);
        let last = width.saturating_sub(fixed).max(8);
        let mut out = self.line(&self.head.iter().map(|h| (*h).to_owned()).collect::<Vec<_>>(), &widths, last, gap);
        for row in &self.rows {
            out.push_str(&self.line(row, &widths, last, gap));
        }
        out
    }

    fn line(&self, cells: &[String], widths: &[usize], last: usize, gap: usize) -> String {
        let mut out = String::new();
        for (i, cell) in cells.iter().enumerate() {
            let end = i + 1 == widths.len();
            let cell = if end { cut(cell, last) } else { cell.clone() };
            let pad =
                " ".repeat(widths[i].min(if end { last } else { usize::MAX }).saturating_sub(cell.chars().count()));
            if self.right.contains(&i) {
                out.push_str(&pad);
                out.push_str(&cell);
            } else {
                out.push_str(&cell);
                out.push_str(&pad);
            }
            if !end {
                out.push_str(&" ".repeat(gap));
            }
        }
        format!("{}\n", out.trim_end())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_keep_their_width_and_every_word() {
        let text = "one two three four five six seven eight nine ten eleven twelve";
        let wrapped = wrap(text, 20, 2);
        assert!(wrapped.lines().all(|l| l.chars().count() <= 20), "{wrapped}");
        assert_eq!(wrapped.split_whitespace().collect::<Vec<_>>(), text.split_whitespace().collect::<Vec<_>>());
        assert!(wrapped.lines().skip(1).all(|l| l.starts_with("  ") && !l.starts_with("   ")));
        assert_eq!(wrap("a flight of 12.5 h, then", 16, 0), "a flight of\n12.5 h, then");
        assert_eq!(wrap("a_word_longer_than_the_line b", 5, 0), "a_word_longer_than_the_line\nb");
    }

    #[test]
    fn columns_line_up_and_the_last_is_cut() {
        let mut t = Table::new(&["tail", "rate", "words"], &[1]);
        t.row(vec!["N0417H".into(), "0.1".into(), "a long remark that does not fit".into()]);
        t.row(vec!["N07".into(), "12.25".into(), "ok".into()]);
        assert_eq!(t.text(30), "tail     rate  words\nN0417H    0.1  a long remark…\nN07     12.25  ok\n");
    }
}
