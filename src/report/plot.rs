//! A line over time in plain characters, for a terminal: how near something came to its limit.

use super::words::numbers;

/// Columns and rows of the drawing itself.
const COLUMNS: usize = 64;
const ROWS: usize = 8;

/// What is drawn.
#[derive(Clone, Debug)]
pub struct Plot<'a> {
    pub title: &'a str,
    /// (engine hours, value), in order of hours; at least two.
    pub points: &'a [(f64, f64)],
    pub limit: f64,
    /// Engine hours at which the alert came.
    pub mark: Option<f64>,
    /// How a value is written.
    pub value: fn(f64) -> String,
    /// What stands below the left and the right end.
    pub ends: [String; 2],
}

/// The drawing, at most 80 columns wide; nothing where there are fewer than two points.
pub fn text(plot: &Plot<'_>) -> String {
    let (Some(first), Some(last)) = (plot.points.first(), plot.points.last()) else { return String::new() };
    if plot.points.len() < 2 || last.0 <= first.0 {
        return String::new();
    }
    let most = plot.points.iter().map(|p| p.1).fold(plot.limit, f64::max);
    let top = (most * 1.08).min(plot.limit * 2.5).max(f64::MIN_POSITIVE);
    let column = |hours: f64| {
        (((hours - first.0) / (last.0 - first.0) * (COLUMNS - 1) as f64).round() as usize).min(COLUMNS - 1)
    };
    let row = |value: f64| ((value.clamp(0.0, top) / top * (ROWS - 1) as f64).round() as usize).min(ROWS - 1);
    let limit_row = row(plot.limit);
    let mut cells = vec![[' '; COLUMNS]; ROWS];
    for (i, cell) in cells[limit_row].iter_mut().enumerate() {
        if i % 2 == 0 {
            *cell = '-';
        }
    }
    for (i, highest) in by_column(plot.points, column).into_iter().enumerate() {
        // What reached the limit must not look as if it had stayed below it, nor the other way about.
        let mut at = row(highest);
        if highest < plot.limit && at == limit_row && at > 0 {
            at -= 1;
        }
        cells[at][i] = '•';
    }
    if let Some(mark) = plot.mark {
        let at = column(mark);
        let on = (0..ROWS).rev().find(|r| cells[*r][at] == '•').unwrap_or(limit_row);
        cells[on][at] = '◆';
    }
    let limit_word = (plot.value)(plot.limit);
    let zero = (plot.value)(0.0);
    let wide = limit_word.chars().count().max(zero.chars().count());
    let mut out = format!("{}\n", plot.title);
    for r in (0..ROWS).rev() {
        let label = if r == limit_row {
            limit_word.as_str()
        } else if r == 0 {
            zero.as_str()
        } else {
            ""
        };
        let line: String = cells[r].iter().collect();
        out.push_str(format!("  {label:>wide$} |{line}").trim_end());
        out.push('\n');
    }
    let [left, right] = &plot.ends;
    let gap = COLUMNS.saturating_sub(left.chars().count() + right.chars().count()).max(1);
    out.push_str(&format!(
        "  {:wide$} +{}\n  {:wide$}  {left}{}{right}\n",
        "",
        "-".repeat(COLUMNS),
        "",
        " ".repeat(gap)
    ));
    out
}

/// The highest value of each column; a column without one repeats the one before it.
fn by_column(points: &[(f64, f64)], column: impl Fn(f64) -> usize) -> Vec<f64> {
    let mut highest = vec![f64::NAN; COLUMNS];
    for (hours, value) in points {
        let slot = &mut highest[column(*hours)];
        *slot = slot.max(*value);
    }
    let mut last = points[0].1;
    for slot in &mut highest {
        if slot.is_nan() {
            *slot = last;
        }
        last = *slot;
    }
    highest
}

/// `1254.1 h, 9 Feb`.
pub fn end(hours: f64, at: crate::records::Instant, near: chrono::NaiveDate, zone: chrono_tz::Tz) -> String {
    format!("{hours:.1} h, {}", numbers::day(numbers::date_of(at, zone), near))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn plot(points: &[(f64, f64)]) -> String {
        let ends = ["100.0 h".to_owned(), "163.0 h".to_owned()];
        text(&Plot { title: "Title", points, limit: 4.0, mark: Some(163.0), value: numbers::short, ends })
    }

    /// Worked out on paper: top 7 × 1.08 = 7.56, seven steps of 1.08; the limit of 4 is on step 3.7, so row 4;
    /// 63 hours on 64 columns, so one an hour; the last value, 7, is on step 6.5, so row 6 (rounded away from zero).
    #[test]
    fn the_limit_the_line_and_the_mark_are_where_they_belong() {
        let points: Vec<(f64, f64)> = (0..64).map(|h| (100.0 + f64::from(h), f64::from(h) / 9.0)).collect();
        let drawn = plot(&points);
        let lines: Vec<&str> = drawn.lines().collect();
        assert_eq!(lines.len(), 1 + ROWS + 2);
        assert!(lines[4].starts_with("  4 |- - ") && lines[8].starts_with("  0 |••"), "{drawn}");
        assert!(lines[2].ends_with('◆') && lines[2].chars().count() == 5 + COLUMNS, "{drawn}");
        assert!(lines[10].starts_with("     100.0 h") && lines[10].ends_with("163.0 h"));
        assert!(drawn.lines().all(|line| line.chars().count() <= 80));
    }

    #[test]
    fn what_stays_below_the_limit_is_drawn_below_it() {
        let drawn = plot(&[(100.0, 0.0), (130.0, 3.9), (163.0, 3.9)]);
        let limit = drawn.lines().find(|line| line.starts_with("  4 |")).unwrap_or_default();
        assert!(!limit.contains('•') && !limit.contains('◆'), "{drawn}");
    }

    #[test]
    fn too_few_points_make_no_drawing() {
        assert_eq!(plot(&[(100.0, 1.0)]), "");
    }
}
