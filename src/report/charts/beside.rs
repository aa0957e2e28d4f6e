//! The change statistic and its limit under two sets of thresholds, one over the other.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::frame::{Labels, by_clock, frame, thinned, width};
use super::statistic::{height, judged};
use super::{ChartError, Picture, ink, svg};
use crate::judge::{EngineView, RatePoint};
use crate::records::Instant;
use crate::report::words::place;

struct Beside<'a> {
    today: &'a EngineView,
    rise: bool,
    points: [Vec<RatePoint>; 2],
}

/// As SVG, from a moment on. `rise`: the evidence of a rise, else of a fall.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn beside_svg(today: &EngineView, other: &EngineView, rise: bool, from: Instant) -> Result<String, ChartError> {
    let cut = |e: &EngineView| thinned(&e.points.iter().filter(|p| p.at >= from).copied().collect::<Vec<_>>(), 900);
    let points = [cut(today), cut(other)];
    if points.iter().any(|p| p.len() < 2) {
        return Err(ChartError(format!("{}: fewer than two points", today.serial)));
    }
    svg(&Beside { today, rise, points })
}

/// What the picture shows, for who cannot see it.
pub fn beside_words(today: &EngineView, rise: bool) -> String {
    let place = place(&today.tail, today.position.as_deref());
    let what = if rise { "rise" } else { "fall" };
    format!("{place}: evidence of a {what} and the limit it has to reach, today's and the other's")
}

impl Picture for Beside<'_> {
    fn size(&self) -> (u32, u32) {
        (720, 260)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let all = || self.points.iter().flatten();
        let first = all().map(|p| p.hours).fold(f64::INFINITY, f64::min);
        let last = all().map(|p| p.hours).fold(first + 1.0, f64::max);
        let top = height(all().map(|p| p.evidence(self.rise)));
        let e = self.today;
        let what = if self.rise { "rise" } else { "fall" };
        let title = format!("{}, {}: evidence of a {what}", place(&e.tail, e.position.as_deref()), e.serial);
        let x = by_clock("engine hours", &e.clock);
        let legend = "Thick: today's. Thin: the other's. Dashed: the limit that each has to reach.";
        let labels = Labels { title: &title, legend, x: &x, y: "ln of the statistic" };
        let mut chart = frame(area, scale, &labels, first..last, 0.0..top)?;
        for (points, color, wide) in [(&self.points[1], ink::OTHER, 1.0), (&self.points[0], ink::RATE, 2.0)] {
            judged(&mut chart, scale, points, self.rise, top, color.stroke_width(width(wide, scale)))?;
        }
        Ok(())
    }
}
