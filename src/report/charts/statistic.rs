//! The change statistic and its limit: how close the evidence has come to an alarm, either way.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::frame::{Chart, Labels, by_clock, dashed, frame, numbered, thinned, width};
use super::{ChartError, Picture, drawn, ink, png, svg};
use crate::judge::{EngineView, RatePoint};
use crate::report::words::place;

struct Statistic<'a> {
    engine: &'a EngineView,
    points: Vec<RatePoint>,
    /// The alert's number and the engine hours at which it came.
    alert: Option<(u32, f64)>,
}

/// As PNG.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn statistic_png(engine: &EngineView) -> Result<Vec<u8>, ChartError> {
    png(&Statistic::of(engine)?)
}

/// As SVG.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn statistic_svg(engine: &EngineView) -> Result<String, ChartError> {
    svg(&Statistic::of(engine)?)
}

/// The stretch around one alert, as SVG, with the alert marked.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn alert_svg(engine: &EngineView, number: u32, hours: f64, points: Vec<RatePoint>) -> Result<String, ChartError> {
    svg(&Statistic { alert: Some((number, hours)), points, ..Statistic::of(engine)? })
}

/// What the picture shows, for who cannot see it.
pub fn statistic_words(engine: &EngineView) -> String {
    let place = place(&engine.tail, engine.position.as_deref());
    engine.points.last().map_or_else(
        || format!("{place}: no change statistic yet"),
        |p| {
            format!(
                "{place}: change statistic, now {:.1} for a rise (limit {:.1}) and {:.1} for a fall (limit {:.1})",
                p.ln_rise, p.rise_limit, p.ln_fall, p.fall_limit
            )
        },
    )
}

impl<'a> Statistic<'a> {
    fn of(engine: &'a EngineView) -> Result<Self, ChartError> {
        if engine.points.len() < 2 {
            return Err(ChartError(format!("{}: fewer than two points", engine.serial)));
        }
        Ok(Self { engine, points: thinned(&engine.points, 900), alert: None })
    }
}

/// How high the picture reaches: far beyond the limit nothing more is learnt from it.
pub fn height(evidence: impl Iterator<Item = (f64, f64)>) -> f64 {
    let (most, limit) = evidence.fold((0.0f64, 1.0f64), |(a, b), (value, limit)| (a.max(value), b.max(limit)));
    (most * 1.1).clamp(limit * 1.25, limit * 2.5)
}

/// The evidence of a rise, else of a fall, and dashed the limit it has to reach.
pub fn judged<B: DrawingBackend>(
    chart: &mut Chart<'_, B>,
    scale: f64,
    points: &[RatePoint],
    rise: bool,
    top: f64,
    style: ShapeStyle,
) -> Result<(), ChartError> {
    let of = |part: fn((f64, f64)) -> f64| points.iter().map(move |p| (p.hours, part(p.evidence(rise)).min(top)));
    drawn(chart.draw_series(LineSeries::new(of(|(value, _)| value), style)))?;
    dashed(chart, scale, of(|(_, limit)| limit), (6.0, 6.0), style)
}

impl Picture for Statistic<'_> {
    fn size(&self) -> (u32, u32) {
        (720, 260)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let (e, points) = (self.engine, &self.points);
        if points.len() < 2 {
            return Err(ChartError(format!("{}: fewer than two points", e.serial)));
        }
        let (first, last) = (points[0].hours, points[points.len() - 1].hours);
        let last = last.max(first + 1.0);
        let top = height(points.iter().flat_map(|p| [p.evidence(true), p.evidence(false)]));
        let title = format!("{}, {}: evidence of a change", place(&e.tail, e.position.as_deref()), e.serial);
        let x = by_clock("engine hours", &e.clock);
        let legend = "Thick: a rise. Thin: a fall. Dashed: the limit that each has to reach.";
        let labels = Labels { title: &title, legend, x: &x, y: "ln of the statistic" };
        let mut chart = frame(area, scale, &labels, first..last, 0.0..top)?;
        for (rise, color, wide) in [(false, ink::OTHER, 1.0), (true, ink::RATE, 2.0)] {
            judged(&mut chart, scale, points, rise, top, color.stroke_width(width(wide, scale)))?;
        }
        if let Some((number, hours)) = self.alert {
            let at = points.iter().find(|p| p.hours >= hours).unwrap_or(&points[points.len() - 1]);
            let high = at.evidence(true).0.max(at.evidence(false).0).min(top * 0.9);
            numbered(&mut chart, scale, (at.hours, high), &number.to_string())?;
        }
        Ok(())
    }
}
