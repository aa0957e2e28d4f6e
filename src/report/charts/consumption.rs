//! An engine's consumption picture: rate with its band, baseline, ceiling, additions, oil changes, alarms.

use plotters::coord::Shift;
use plotters::prelude::*;

use super::frame::{Labels, across, by_clock, frame, numbered, thinned, upright, width};
use super::{ChartError, Picture, drawn, ink, png, svg};
use crate::alerts::Alert;
use crate::judge::{EngineView, Kind, RatePoint};
use crate::report::words::{numbers, place};

/// Points drawn at most: more than pixels would not be seen.
const POINTS: usize = 900;
/// Oil changes labelled up to this many; beyond, lines alone.
const LABELLED: usize = 8;

/// The picture of an engine's consumption.
pub(super) struct Consumption<'a> {
    engine: &'a EngineView,
    alarms: Vec<(f64, u32)>,
}

/// The kinds whose letters and pages show the consumption picture.
pub fn about_consumption(kind: Kind) -> bool {
    matches!(
        kind,
        Kind::OilRateRise
            | Kind::OilRateFall
            | Kind::OilRateCeiling
            | Kind::OilRateCreep
            | Kind::OilEndurance
            | Kind::EnginesDiverged
            | Kind::OilGradeChanged
            | Kind::BreakInStabilised
    )
}

/// As PNG, with the alarms of this engine among `alerts`.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn consumption_png(engine: &EngineView, alerts: &[Alert]) -> Result<Vec<u8>, ChartError> {
    png(&Consumption::of(engine, alerts)?)
}

/// As SVG, with the alarms of this engine among `alerts`.
///
/// # Errors
/// If there is nothing to draw or drawing fails.
pub fn consumption_svg(engine: &EngineView, alerts: &[Alert]) -> Result<String, ChartError> {
    svg(&Consumption::of(engine, alerts)?)
}

/// What the picture shows, for who cannot see it.
pub fn consumption_words(engine: &EngineView) -> String {
    let place = place(&engine.tail, engine.position.as_deref());
    let (Some(first), Some(last)) = (engine.points.first(), engine.points.last()) else {
        return format!("{place}, {}: no consumption rate yet", engine.serial);
    };
    let (low, high) =
        engine.points.iter().fold((f64::MAX, f64::MIN), |(l, h), p| (l.min(p.rate.qt_per_h), h.max(p.rate.qt_per_h)));
    let base = engine.baseline_qt_per_h.map_or(String::new(), |b| format!(", baseline {}", numbers::rate(b)));
    format!(
        "{place}, {}: consumption from {:.0} to {:.0} engine hours, between {} and {} qt/h, now {}{base}",
        engine.serial,
        first.hours,
        last.hours,
        numbers::rate(low),
        numbers::rate(high),
        numbers::rate(last.rate.qt_per_h)
    )
}

impl<'a> Consumption<'a> {
    fn of(engine: &'a EngineView, alerts: &[Alert]) -> Result<Self, ChartError> {
        if engine.points.len() < 2 {
            return Err(ChartError(format!("{}: fewer than two points", engine.serial)));
        }
        let alarms = alerts
            .iter()
            .filter(|a| about_consumption(a.kind()) && a.finding.serial.as_ref() == Some(&engine.serial))
            .filter_map(|a| Some((a.finding.hours?, a.number)))
            .collect();
        Ok(Self { engine, alarms })
    }

    /// The top of the scale: what matters fits, a wide band of the first hours may be cut.
    fn top(&self) -> f64 {
        let rates = self.engine.points.iter().map(|p| p.rate.qt_per_h.max(p.rate.high.min(1.6 * p.rate.qt_per_h)));
        let most = rates.fold(self.engine.baseline_qt_per_h.unwrap_or(0.0) * 1.5, f64::max);
        (most * 1.15).max(0.05)
    }

    fn legend(&self, top: f64) -> String {
        let ceiling = match self.engine.ceiling_qt_per_h {
            Some(c) if c > top => format!("; ceiling {} qt/h lies above the picture", numbers::rate(c)),
            _ => String::new(),
        };
        format!("Shaded: 90 % interval. Dotted: oil change. Ticks below: oil added. Diamond: alert{ceiling}.")
    }
}

impl Picture for Consumption<'_> {
    fn size(&self) -> (u32, u32) {
        (720, 330)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let e = self.engine;
        let (first, last) = (e.points[0].hours, e.points[e.points.len() - 1].hours);
        let last = last.max(first + 1.0);
        let top = self.top();
        let title = format!("{}, {}: consumption", place(&e.tail, e.position.as_deref()), e.serial);
        let x = by_clock("engine hours", &e.clock);
        let labels = Labels { title: &title, legend: &self.legend(top), x: &x, y: "qt/h" };
        let margin = (last - first) * 0.02;
        let mut chart = frame(area, scale, &labels, first..last + margin, 0.0..top)?;
        let changes: Vec<f64> = e.oil_changes_h.iter().copied().filter(|h| *h > first && *h < last).collect();
        for h in &changes {
            upright(&mut chart, scale, *h, (0.0, top), if changes.len() <= LABELLED { "oil" } else { "" })?;
        }
        let points = thinned(&e.points, POINTS);
        drawn(chart.draw_series([Polygon::new(band(&points, top), ink::RATE.mix(0.16).filled())]))?;
        if let Some(b) = e.baseline_qt_per_h {
            across(&mut chart, scale, (first, last), b, ink::SOFT, &format!("baseline {}", numbers::rate(b)))?;
        }
        if let Some(c) = e.ceiling_qt_per_h.filter(|c| *c <= top) {
            across(&mut chart, scale, (first, last), c, ink::LIMIT, &format!("ceiling {}", numbers::rate(c)))?;
        }
        let line = points.iter().map(|p| (p.hours, p.rate.qt_per_h));
        drawn(chart.draw_series(LineSeries::new(line, ink::RATE.stroke_width(width(1.8, scale)))))?;
        let tick = top * 0.03;
        let added = e.points.iter().filter(|p| p.added_qt > 0.0);
        drawn(chart.draw_series(
            added.map(|p| {
                PathElement::new([(p.hours, 0.0), (p.hours, tick)], ink::TEXT.stroke_width(width(1.4, scale)))
            }),
        ))?;
        for (hours, number) in self.alarms.iter().filter(|(h, _)| (first..=last + margin).contains(h)) {
            numbered(&mut chart, scale, (*hours, rate_at(&e.points, *hours).min(top)), &number.to_string())?;
        }
        Ok(())
    }
}

/// The outline of the band, cut at the top of the scale.
pub(super) fn band(points: &[RatePoint], top: f64) -> Vec<(f64, f64)> {
    let upper = points.iter().map(|p| (p.hours, p.rate.high.min(top)));
    let lower = points.iter().rev().map(|p| (p.hours, p.rate.low.clamp(0.0, top)));
    upper.chain(lower).collect()
}

fn rate_at(points: &[RatePoint], hours: f64) -> f64 {
    let i = points.partition_point(|p| p.hours < hours).min(points.len() - 1);
    points[i].rate.qt_per_h
}
