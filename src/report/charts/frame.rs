//! Axes, captions and marks that the larger charts share.

use std::ops::Range;

use plotters::coord::Shift;
use plotters::coord::types::RangedCoordf64;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::{ChartError, FAMILY, drawn, ink};

/// A chart with two axes of decimals.
pub type Chart<'a, B> = ChartContext<'a, B, Cartesian2d<RangedCoordf64, RangedCoordf64>>;

/// What stands around a chart.
pub struct Labels<'a> {
    pub title: &'a str,
    /// One line below the title: what the marks mean.
    pub legend: &'a str,
    pub x: &'a str,
    pub y: &'a str,
}

/// A line's width in whole pixels, never none.
pub fn width(width: f64, scale: f64) -> u32 {
    (width * scale).round().max(1.0) as u32
}

/// Letters of a size, in an ink.
pub fn letters(size: f64, scale: f64, color: RGBColor) -> TextStyle<'static> {
    (FAMILY, size * scale).into_font().color(&color)
}

/// Background, title, and the legend below it.
pub fn heading<B: DrawingBackend>(
    area: &DrawingArea<B, Shift>,
    scale: f64,
    title: &str,
    legend: &str,
) -> Result<(), ChartError> {
    let px = |v: f64| (v * scale) as i32;
    drawn(area.fill(&ink::GROUND))?;
    drawn(area.draw_text(title, &letters(15.0, scale, ink::TEXT), (px(12.0), px(9.0))))?;
    drawn(area.draw_text(legend, &letters(12.0, scale, ink::SOFT), (px(12.0), px(30.0))))?;
    Ok(())
}

/// `engine hours (tach)`: what an axis counts and by which clock. `hours`: `engine hours`.
pub fn by_clock(hours: &str, clock: &str) -> String {
    format!("{hours} ({})", clock.trim_end_matches(" hours"))
}

/// Background, title, legend, axes with a light grid.
pub fn frame<'a, B: DrawingBackend + 'a>(
    area: &DrawingArea<B, Shift>,
    scale: f64,
    labels: &Labels,
    x: Range<f64>,
    y: Range<f64>,
) -> Result<Chart<'a, B>, ChartError> {
    heading(area, scale, labels.title, labels.legend)?;
    let px = |v: f64| (v * scale) as i32;
    let mut chart = drawn(
        ChartBuilder::on(area)
            .margin_top(px(52.0))
            .margin_right(px(18.0))
            .margin_left(px(6.0))
            .margin_bottom(px(6.0))
            .x_label_area_size(px(38.0))
            .y_label_area_size(px(52.0))
            .build_cartesian_2d(x, y.clone()),
    )?;
    let decimals = if y.end - y.start > 4.0 {
        0
    } else if y.end - y.start > 0.4 {
        1
    } else {
        2
    };
    drawn(
        chart
            .configure_mesh()
            .disable_x_mesh()
            .max_light_lines(0)
            .bold_line_style(ink::RULE)
            .axis_style(ink::SOFT.stroke_width(width(1.0, scale)))
            .label_style(letters(12.0, scale, ink::SOFT))
            .axis_desc_style(letters(12.0, scale, ink::TEXT))
            .x_labels(8)
            .y_labels(6)
            .x_label_formatter(&|v| format!("{v:.0}"))
            .y_label_formatter(&|v| format!("{v:.decimals$}"))
            .set_all_tick_mark_size(px(4.0))
            .x_desc(labels.x)
            .y_desc(labels.y)
            .draw(),
    )?;
    Ok(chart)
}

/// A dashed line across the chart at `y`, with words at its left end above it, where marks of new alerts do not stand.
pub fn across<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    scale: f64,
    (from, to): (f64, f64),
    y: f64,
    color: RGBColor,
    words: &str,
) -> Result<(), ChartError> {
    dashed(chart, scale, [(from, y), (to, y)].into_iter(), (6.0, 6.0), color.stroke_width(width(1.3, scale)))?;
    let style = letters(12.0, scale, color).pos(Pos::new(HPos::Left, VPos::Bottom));
    drawn(
        chart.draw_series([EmptyElement::at((from, y))
            + Text::new(words.to_owned(), ((4.0 * scale) as i32, -(2.0 * scale) as i32), style)]),
    )?;
    Ok(())
}

/// A broken line: lengths of its dashes and of the gaps between them.
pub fn dashed<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    scale: f64,
    line: impl Iterator<Item = (f64, f64)> + Clone,
    (dash, gap): (f64, f64),
    style: ShapeStyle,
) -> Result<(), ChartError> {
    let px = |v: f64| (v * scale) as i32;
    drawn(chart.draw_series(DashedLineSeries::new(line, px(dash), px(gap), style)))?;
    Ok(())
}

/// A dotted upright line at `x`, with words at its top if any.
pub fn upright<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    scale: f64,
    x: f64,
    (bottom, top): (f64, f64),
    words: &str,
) -> Result<(), ChartError> {
    dashed(chart, scale, [(x, bottom), (x, top)].into_iter(), (2.0, 3.0), ink::SOFT.stroke_width(width(1.0, scale)))?;
    if !words.is_empty() {
        let style = letters(11.0, scale, ink::SOFT).pos(Pos::new(HPos::Left, VPos::Top));
        let at = ((3.0 * scale) as i32, 0);
        drawn(chart.draw_series([EmptyElement::at((x, top)) + Text::new(words.to_owned(), at, style)]))?;
    }
    Ok(())
}

/// A diamond with a number above it.
pub fn numbered<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    scale: f64,
    at: (f64, f64),
    words: &str,
) -> Result<(), ChartError> {
    let r = (5.0 * scale) as i32;
    let diamond = Polygon::new(vec![(0, -r), (r, 0), (0, r), (-r, 0)], ink::LIMIT.filled());
    let style = letters(12.0, scale, ink::LIMIT).pos(Pos::new(HPos::Center, VPos::Bottom));
    let label = Text::new(words.to_owned(), (0, -r - (2.0 * scale) as i32), style);
    drawn(chart.draw_series([EmptyElement::at(at) + diamond + label]))?;
    Ok(())
}

/// At most `most` of them, evenly picked, the last always among them.
pub fn thinned<T: Copy>(points: &[T], most: usize) -> Vec<T> {
    if points.len() <= most {
        return points.to_vec();
    }
    let step = points.len().div_ceil(most);
    let mut out: Vec<T> = points.iter().step_by(step).copied().collect();
    out.extend(points.last().copied().filter(|_| !(points.len() - 1).is_multiple_of(step)));
    out
}
