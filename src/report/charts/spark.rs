//! The small chart beside an engine in the digest: the last hours' rate with its band, and the baseline.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::frame::width;
use super::{ChartError, Picture, drawn, ink, png};
use crate::judge::{EngineView, RatePoint};
use crate::report::words::numbers;
use crate::report::words::place;

/// Engine hours looked back over.
const BACK_H: f64 = 150.0;

struct Spark<'a> {
    points: &'a [RatePoint],
    baseline: Option<f64>,
}

/// The small chart as PNG.
///
/// # Errors
/// If it cannot be drawn, or there is nothing to draw.
pub fn spark_png(engine: &EngineView) -> Result<Vec<u8>, ChartError> {
    let points = recent(engine);
    if points.len() < 2 {
        return Err(ChartError("fewer than two points".to_owned()));
    }
    png(&Spark { points, baseline: engine.baseline_qt_per_h })
}

/// What the small chart shows, for who cannot see it.
pub fn spark_words(engine: &EngineView) -> String {
    let place = place(&engine.tail, engine.position.as_deref());
    let points = recent(engine);
    let (Some(first), Some(last)) = (points.first(), points.last()) else {
        return format!("{place}: no rate yet");
    };
    let base = engine.baseline_qt_per_h.map_or(String::new(), |b| format!(", baseline {}", numbers::rate(b)));
    format!(
        "{place}: {} to {} qt/h over the last {:.0} h{base}",
        numbers::rate(first.rate.qt_per_h),
        numbers::rate(last.rate.qt_per_h),
        last.hours - first.hours
    )
}

/// The points of the last hours of this build.
fn recent(engine: &EngineView) -> &[RatePoint] {
    let Some(last) = engine.points.last() else { return &[] };
    let since_build = engine.hours_since_build.unwrap_or(BACK_H);
    let from = last.hours - BACK_H.min(since_build + 0.01);
    let start = engine.points.partition_point(|p| p.hours < from);
    &engine.points[start..]
}

impl Picture for Spark<'_> {
    fn size(&self) -> (u32, u32) {
        (132, 44)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let (first, last) = (&self.points[0], &self.points[self.points.len() - 1]);
        let top = self.points.iter().map(|p| p.rate.qt_per_h * 1.25).fold(self.baseline.unwrap_or(0.0) * 1.6, f64::max);
        let top = top.max(0.02);
        drawn(area.fill(&ink::GROUND))?;
        let mut chart = drawn(
            ChartBuilder::on(area)
                .margin((4.0 * scale) as i32)
                .build_cartesian_2d(first.hours..last.hours.max(first.hours + 0.1), 0.0..top),
        )?;
        let upper = self.points.iter().map(|p| (p.hours, p.rate.high.min(top)));
        let lower = self.points.iter().rev().map(|p| (p.hours, p.rate.low.max(0.0)));
        let band: Vec<(f64, f64)> = upper.chain(lower).collect();
        drawn(chart.draw_series([Polygon::new(band, ink::RATE.mix(0.16).filled())]))?;
        if let Some(b) = self.baseline {
            let dash = (4.0 * scale) as i32;
            let line = [(first.hours, b), (last.hours, b)];
            drawn(chart.draw_series(DashedLineSeries::new(
                line,
                dash,
                dash,
                ink::SOFT.stroke_width(width(1.0, scale)),
            )))?;
        }
        let line = self.points.iter().map(|p| (p.hours, p.rate.qt_per_h));
        drawn(chart.draw_series(LineSeries::new(line, ink::RATE.stroke_width(width(1.6, scale)))))?;
        let end = (last.hours, last.rate.qt_per_h.min(top));
        drawn(chart.draw_series([Circle::new(end, (2.2 * scale) as i32, ink::RATE.filled())]))?;
        Ok(())
    }
}
