//! The change statistic and its limit: how close the evidence has come to an alarm, either way.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::frame::{Labels, across, by_clock, frame, numbered, thinned, width};
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
                "{place}: change statistic, now {:.1} for a rise and {:.1} for a fall, limit {:.1}",
                p.ln_rise, p.ln_fall, p.limit
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
        // Far beyond the limit nothing more is learnt from the height.
        let limit = points.iter().map(|p| f64::from(p.limit)).fold(1.0, f64::max);
        let most = points.iter().map(|p| f64::from(p.ln_rise.max(p.ln_fall))).fold(0.0, f64::max);
        let top = (most * 1.1).clamp(limit * 1.25, limit * 2.5);
        let title = format!("{}, {}: evidence of a change", place(&e.tail, e.position.as_deref()), e.serial);
        let x = by_clock("engine hours", &e.clock);
        let legend = "Solid: a rise. Thin: a fall. An alert comes when a line reaches the limit.";
        let labels = Labels { title: &title, legend, x: &x, y: "ln of the statistic" };
        let mut chart = frame(area, scale, &labels, first..last, 0.0..top)?;
        let value = |v: f32| f64::from(v).clamp(0.0, top);
        let rise = points.iter().map(|p| (p.hours, value(p.ln_rise)));
        let fall = points.iter().map(|p| (p.hours, value(p.ln_fall)));
        drawn(chart.draw_series(LineSeries::new(fall, ink::OTHER.stroke_width(width(1.0, scale)))))?;
        drawn(chart.draw_series(LineSeries::new(rise, ink::RATE.stroke_width(width(2.0, scale)))))?;
        let now = f64::from(points[points.len() - 1].limit);
        if now > 0.0 {
            across(&mut chart, scale, (first, last), now, ink::LIMIT, &format!("limit {now:.1}"))?;
        }
        if let Some((number, hours)) = self.alert {
            let at = points.iter().find(|p| p.hours >= hours).unwrap_or(&points[points.len() - 1]);
            let high = value(at.ln_rise.max(at.ln_fall)).min(top * 0.9);
            numbered(&mut chart, scale, (at.hours, high), &number.to_string())?;
        }
        Ok(())
    }
}
