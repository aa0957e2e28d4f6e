//! One recorded run: its phases shaded, power above, the hottest cylinder and the oil below.

mod shown;
mod words;

use chrono_tz::Tz;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::frame::{Chart, across, dashed, heading, letters, width};
use super::{ChartError, Picture, drawn, ink, png, svg};
use crate::records::run::AirBasis;
use crate::report::RunPicture;
use crate::report::words::{numbers, place};
use shown::{Lines, Span, Upper, length_min, lines, peaks, spans};

pub use words::run_words;

/// Height of title and legend, and of the upper panel, CSS pixels.
const HEAD: f64 = 50.0;
const UPPER: f64 = 178.0;
/// A phase narrower than this, of the whole width, goes without its word.
const WORDED: f64 = 0.085;

/// As PNG.
///
/// # Errors
/// If the recording has nothing to draw or drawing fails.
pub fn run_png(run: &RunPicture, zone: Tz) -> Result<Vec<u8>, ChartError> {
    png(&Drawn::of(run, zone)?)
}

/// As SVG.
///
/// # Errors
/// If the recording has nothing to draw or drawing fails.
pub fn run_svg(run: &RunPicture, zone: Tz) -> Result<String, ChartError> {
    svg(&Drawn::of(run, zone)?)
}

struct Drawn<'a> {
    run: &'a RunPicture,
    zone: Tz,
    length: f64,
    spans: Vec<Span>,
    upper: Upper,
    heads: Lines,
    oil: Lines,
}

impl<'a> Drawn<'a> {
    fn of(run: &'a RunPicture, zone: Tz) -> Result<Self, ChartError> {
        let length = length_min(run);
        if length <= 0.0 {
            return Err(ChartError(format!("{}: no samples of this run", run.serial)));
        }
        let (heads, oil) = (lines(run, |p| &p.cht_f, 1.0), lines(run, |p| &p.oil_temp_f, 1.0));
        Ok(Self { run, zone, length, spans: spans(run), upper: Upper::of(run), heads, oil })
    }

    fn title(&self) -> String {
        let run = self.run;
        let start = run.parts.first().map(|p| p.start).unwrap_or_default();
        let date = numbers::long_day(numbers::date_of(start, self.zone));
        let time = start.with_timezone(&self.zone).format("%H:%M");
        format!("{}, {}: run of {date} {time}", place(&run.tail, run.position.as_deref()), run.serial)
    }

    fn legend(&self) -> &'static str {
        match self.run.parts.first().map(|p| p.basis) {
            Some(AirBasis::Speed) => {
                "Shaded: ground darker, climb and descent lighter; ground told by speed. Diamond: hottest moment."
            }
            Some(AirBasis::Height) => {
                "Shaded: ground darker, climb and descent lighter; ground told by height. Diamond: hottest moment."
            }
            Some(AirBasis::Power) => {
                "Shaded: ground darker; inferred from power alone, no speed or height recorded. Diamond: hottest moment."
            }
            _ => "Ground and air cannot be told apart. Diamond: hottest moment.",
        }
    }

    /// An empty panel with the phases shaded.
    fn panel<'b, B: DrawingBackend + 'b>(
        &self,
        area: &DrawingArea<B, Shift>,
        scale: f64,
        (bottom, top): (f64, f64),
        y: &str,
        x: Option<&str>,
    ) -> Result<Chart<'b, B>, ChartError> {
        let px = |v: f64| (v * scale) as i32;
        let mut chart = drawn(
            ChartBuilder::on(area)
                .margin_top(px(4.0))
                .margin_right(px(16.0))
                .margin_left(px(6.0))
                .margin_bottom(px(4.0))
                .x_label_area_size(px(if x.is_some() { 38.0 } else { 4.0 }))
                .y_label_area_size(px(54.0))
                .build_cartesian_2d(0.0..self.length, bottom..top),
        )?;
        for span in self.spans.iter().filter(|s| s.group.shade() > 0.0) {
            let fill = ink::SOFT.mix(span.group.shade()).filled();
            drawn(chart.draw_series([Rectangle::new([(span.from, bottom), (span.to.min(self.length), top)], fill)]))?;
        }
        let mut mesh = chart.configure_mesh();
        mesh.disable_x_mesh()
            .max_light_lines(0)
            .bold_line_style(ink::RULE)
            .axis_style(ink::SOFT.stroke_width(width(1.0, scale)))
            .label_style(letters(13.0, scale, ink::SOFT))
            .axis_desc_style(letters(13.0, scale, ink::TEXT))
            .x_labels(if x.is_some() { 9 } else { 0 })
            .y_labels(5)
            .x_label_formatter(&|v| format!("{v:.0}"))
            .y_label_formatter(&|v| format!("{v:.0}"))
            .set_all_tick_mark_size(px(4.0))
            .y_desc(y);
        if let Some(x) = x {
            mesh.x_desc(x);
        }
        drawn(mesh.draw())?;
        Ok(chart)
    }

    fn draw_upper<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let points = self.upper.points(self.run);
        let most = points.iter().flatten().map(|p| p.1).fold(0.0, f64::max);
        let top = match self.upper {
            Upper::Power => most.max(100.0) * 1.18,
            _ => most.max(1.0) * 1.25,
        };
        let y = match self.upper {
            Upper::Power if self.upper.name(self.run) != "power" => "power, at most, %",
            Upper::Power => "power, %",
            Upper::Manifold => "manifold, inHg",
            Upper::Rpm => "rpm",
        };
        let mut chart = self.panel(area, scale, (0.0, top), y, None)?;
        if let (Upper::Power, Some([low, high])) = (self.upper, self.run.limits.power_pct) {
            let band = ink::RATE.mix(0.16).filled();
            drawn(chart.draw_series([Rectangle::new([(0.0, low), (self.length, high)], band)]))?;
            // At the foot, where no flown power lies.
            let style = letters(12.0, scale, ink::RATE).pos(Pos::new(HPos::Center, VPos::Bottom));
            let words = format!("shaded across: break-in band {low:.0} to {high:.0} %");
            let words = Text::new(words, (0, -(3.0 * scale) as i32), style);
            drawn(chart.draw_series([EmptyElement::at((self.length / 2.0, 0.0)) + words]))?;
        }
        for line in points {
            drawn(chart.draw_series(LineSeries::new(line, ink::RATE.stroke_width(width(2.0, scale)))))?;
        }
        for span in self.spans.iter().filter(|s| s.to - s.from >= WORDED * self.length) {
            let style = letters(12.0, scale, ink::SOFT).pos(Pos::new(HPos::Center, VPos::Top));
            let words = Text::new(span.group.word(), (0, (2.0 * scale) as i32), style);
            drawn(chart.draw_series([EmptyElement::at(((span.from + span.to) / 2.0, top)) + words]))?;
        }
        Ok(())
    }

    fn draw_lower<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let values = || self.heads.iter().chain(&self.oil).flatten().map(|p| p.1);
        let limits = [
            self.run.limits.cht_f.filter(|_| !self.heads.is_empty()),
            self.run.limits.oil_temp_f.filter(|_| !self.oil.is_empty()),
        ];
        let most = values().chain(limits.into_iter().flatten()).fold(150.0, f64::max);
        let least = values().fold(most, f64::min).min(most - 100.0);
        let range = ((least / 50.0).floor() * 50.0, most + 45.0);
        let start = self.run.parts.first().map(|p| p.start).unwrap_or_default();
        let x = format!("minutes after {}", start.with_timezone(&self.zone).format("%H:%M"));
        let mut chart = self.panel(area, scale, range, "°F", Some(&x))?;
        for (limit, words) in limits.into_iter().zip(["limit", "oil limit"]) {
            if let Some(limit) = limit {
                across(&mut chart, scale, (0.0, self.length), limit, ink::LIMIT, "")?;
                // Where cruise keeps heads above and oil below.
                let style = letters(12.0, scale, ink::LIMIT).pos(Pos::new(HPos::Center, VPos::Bottom));
                let words = Text::new(format!("{words} {limit:.0}"), (0, -(2.0 * scale) as i32), style);
                drawn(chart.draw_series([EmptyElement::at((self.length * 0.7, limit)) + words]))?;
            }
        }
        for line in &self.heads {
            drawn(
                chart.draw_series(LineSeries::new(line.iter().copied(), ink::OTHER.stroke_width(width(2.2, scale)))),
            )?;
        }
        for line in &self.oil {
            let style = ink::TEXT.stroke_width(width(1.8, scale));
            dashed(&mut chart, scale, line.iter().copied(), (5.0, 3.0), style)?;
        }
        for (what, peak, at) in peaks(self.run) {
            let color = if what == "oil" { ink::TEXT } else { ink::OTHER };
            let cylinder = peak.cylinder.map_or(String::new(), |c| format!(" {c}"));
            let r = (4.0 * scale) as i32;
            let diamond = Polygon::new(vec![(0, -r), (r, 0), (0, r), (-r, 0)], color.filled());
            // Words stay inside the picture.
            let (side, dx) = if at > self.length * 0.55 { (HPos::Right, -2) } else { (HPos::Left, 2) };
            let style = letters(13.0, scale, color).pos(Pos::new(side, VPos::Bottom));
            let words = format!("{what}{cylinder}, {:.0} °F", peak.value);
            let label = Text::new(words, (dx * r, -r - (1.0 * scale) as i32), style);
            drawn(chart.draw_series([EmptyElement::at((at, f64::from(peak.value))) + diamond + label]))?;
        }
        Ok(())
    }
}

impl Picture for Drawn<'_> {
    fn size(&self) -> (u32, u32) {
        (720, 440)
    }

    fn draw<B: DrawingBackend>(&self, area: &DrawingArea<B, Shift>, scale: f64) -> Result<(), ChartError> {
        let px = |v: f64| (v * scale) as i32;
        heading(area, scale, &self.title(), self.legend())?;
        let (_, below) = area.split_vertically(px(HEAD));
        let (upper, lower) = below.split_vertically(px(UPPER));
        self.draw_upper(&upper, scale)?;
        self.draw_lower(&lower, scale)
    }
}

#[cfg(test)]
mod tests;
