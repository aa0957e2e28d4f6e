//! Consumption since the build, with the planned oil changes: how break-in goes.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::consumption::band;
use super::frame::{Labels, by_clock, frame, upright, width};
use super::{ChartError, Picture, drawn, ink, png, svg};
use crate::judge::{BreakIn, EngineView, RatePoint};
use crate::report::words::{numbers, place};

struct Seating<'a> {
    engine: &'a EngineView,
    break_in: &'a BreakIn,
    /// Points of this build, hours counted from it.
    points: Vec<RatePoint>,
}

/// As PNG.
///
/// # Errors
/// If the engine is not in break-in, has too few points, or drawing fails.
pub fn break_in_png(engine: &EngineView) -> Result<Vec<u8>, ChartError> {
    png(&Seating::of(engine)?)
}

/// As SVG.
///
/// # Errors
/// If the engine is not in break-in, has too few points, or drawing fails.
pub fn break_in_svg(engine: &EngineView) -> Result<String, ChartError> {
    svg(&Seating::of(engine)?)
}

/// What the picture shows, for who cannot see it.
pub fn break_in_words(engine: &EngineView) -> String {
    let place = place(&engine.tail, engine.position.as_deref());
    let now = engine.rate.map_or(String::new(), |r| format!(", now {} qt/h", numbers::rate(r.qt_per_h)));
    let hours = engine.hours_since_build.unwrap_or(0.0);
    format!("{place}, {}: consumption over the {} since the build{now}", engine.serial, numbers::hours(hours))
}

impl<'a> Seating<'a> {
    fn of(engine: &'a EngineView) -> Result<Self, ChartError> {
        let missing = || ChartError(format!("{}: nothing of a break-in to draw", engine.serial));
        let break_in = engine.break_in.as_ref().ok_or_else(missing)?;
        let zero = engine.hours - break_in.hours;
        let points: Vec<RatePoint> = engine
            .points
            .iter()
            .filter(|p| p.hours >= zero - 1e-6)
            .map(|p| RatePoint { hours: p.hours - zero, ..*p })
            .collect();
        if points.len() < 2 { Err(missing()) } else { Ok(Self { engine, break_in, points }) }
    }
}

impl Picture for Seating<'_> {
    fn size(&self) -> (u32, u32) {
        (720, 330)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let (e, b) = (self.engine, self.break_in);
        let end = b.length_h.max(b.hours).max(1.0) * 1.03;
        let most = self.points.iter().map(|p| p.rate.qt_per_h.max(p.rate.high.min(1.8 * p.rate.qt_per_h)));
        let top = (most.fold(0.0, f64::max) * 1.1).max(0.05);
        let title = format!("{}, {}: consumption since {}", place(&e.tail, e.position.as_deref()), e.serial, b.kind);
        let legend =
            "Shaded: 90 % interval. Dotted: planned oil change. Circle: oil change made. Ticks below: oil added.";
        let x = by_clock("hours since the build", &e.clock);
        let labels = Labels { title: &title, legend, x: &x, y: "qt/h" };
        let mut chart = frame(area, scale, &labels, 0.0..end, 0.0..top)?;
        for (point, done) in &b.points {
            upright(&mut chart, scale, *point, (0.0, top), &format!("{} h", numbers::short(*point)))?;
            if let Some(h) = done {
                let r = (4.0 * scale) as i32;
                drawn(chart.draw_series([Circle::new(
                    (*h, top * 0.06),
                    r,
                    ink::TEXT.stroke_width(width(1.5, scale)),
                )]))?;
            }
        }
        drawn(chart.draw_series([Polygon::new(band(&self.points, top), ink::RATE.mix(0.16).filled())]))?;
        let line = self.points.iter().map(|p| (p.hours, p.rate.qt_per_h));
        drawn(chart.draw_series(LineSeries::new(line, ink::RATE.stroke_width(width(1.8, scale)))))?;
        let tick = top * 0.03;
        let added = self.points.iter().filter(|p| p.added_qt > 0.0);
        drawn(chart.draw_series(
            added.map(|p| {
                PathElement::new([(p.hours, 0.0), (p.hours, tick)], ink::TEXT.stroke_width(width(1.4, scale)))
            }),
        ))?;
        Ok(())
    }
}
