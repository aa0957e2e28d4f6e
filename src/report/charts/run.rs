//! One recorded run: its phases shaded, power above, the hottest cylinder and the oil below.

use chrono_tz::Tz;
use plotters::coord::Shift;
use plotters::prelude::*;
use plotters::style::text_anchor::{HPos, Pos, VPos};

use super::frame::{Chart, across, letters, width};
use super::{ChartError, Picture, drawn, ink, png, svg};
use crate::records::monitor::{Series, Strip};
use crate::records::run::{AirBasis, Peak, Phase};
use crate::report::RunPicture;
use crate::report::words::{numbers, place};

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

/// What the picture shows, for who cannot see it.
pub fn run_words(run: &RunPicture, zone: Tz) -> String {
    let Some(first) = run.parts.first() else { return String::new() };
    let near = numbers::date_of(first.start, zone);
    let minutes = |group: Group| {
        let mine = spans(run).into_iter().filter(|s| s.group == group);
        mine.map(|s| s.to - s.from).sum::<f64>()
    };
    let total = length_min(run);
    let mut out = format!(
        "{}, {}: run of {}, {total:.0} min",
        place(&run.tail, run.position.as_deref()),
        run.serial,
        numbers::moment(first.start, near, zone)
    );
    let ground = minutes(Group::Ground);
    out.push_str(&match first.basis {
        AirBasis::Unknown => "; ground and air cannot be told apart".to_owned(),
        AirBasis::Power => format!(", {ground:.0} of them on the ground, inferred from power alone"),
        _ => format!(", {ground:.0} of them on the ground"),
    });
    let upper = Upper::of(run);
    let cruise: Vec<f64> = spans(run)
        .iter()
        .filter(|s| s.group == Group::Cruise)
        .flat_map(|s| upper.points(run).flatten().filter(|(x, _)| *x >= s.from && *x < s.to))
        .map(|(_, y)| y)
        .collect();
    if let Some(middle) = median(cruise) {
        out.push_str(&format!(
            "; {} in cruise around {} {}",
            upper.name(run),
            numbers::plain(middle.round()),
            upper.unit()
        ));
    }
    for (what, peak, at) in peaks(run) {
        let cylinder = peak.cylinder.map_or(String::new(), |c| format!(" ({c})"));
        let when = first.start + chrono::TimeDelta::seconds((at * 60.0) as i64);
        out.push_str(&format!(
            "; {what}{cylinder} up to {:.0} °F at {}",
            peak.value,
            when.with_timezone(&zone).format("%H:%M")
        ));
    }
    out
}

fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    values.get(values.len() / 2).copied()
}

/// Phases as a reader thinks of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Group {
    Ground,
    Climb,
    Cruise,
    Descent,
}

impl Group {
    fn of(phase: Phase) -> Self {
        match phase {
            Phase::Ground | Phase::TaxiOut | Phase::RunUp | Phase::TaxiIn => Self::Ground,
            Phase::TakeOff | Phase::Climb => Self::Climb,
            Phase::Cruise => Self::Cruise,
            Phase::Descent => Self::Descent,
        }
    }

    fn word(self) -> &'static str {
        match self {
            Self::Ground => "ground",
            Self::Climb => "climb",
            Self::Cruise => "cruise",
            Self::Descent => "descent",
        }
    }

    fn shade(self) -> f64 {
        match self {
            Self::Ground => 0.20,
            Self::Climb | Self::Descent => 0.09,
            Self::Cruise => 0.0,
        }
    }
}

/// One channel of a strip.
type Channel = fn(&Strip) -> &Series;

/// A group of phases, minutes after the run's start.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Span {
    group: Group,
    from: f64,
    to: f64,
}

/// Minutes from the run's start to a part's.
fn offset_min(run: &RunPicture, part: &Strip) -> f64 {
    run.parts.first().map_or(0.0, |first| (part.start - first.start).num_milliseconds() as f64 / 60_000.0)
}

fn length_min(run: &RunPicture) -> f64 {
    run.parts
        .last()
        .map_or(0.0, |last| offset_min(run, last) + (last.end - last.start).num_milliseconds() as f64 / 60_000.0)
}

fn spans(run: &RunPicture) -> Vec<Span> {
    let mut spans: Vec<Span> = Vec::new();
    for part in &run.parts {
        let by = offset_min(run, part);
        for segment in &part.segments {
            let (group, to) = (Group::of(segment.phase), by + f64::from(segment.to_s) / 60.0);
            match spans.last_mut() {
                Some(last) if last.group == group => last.to = to,
                _ => spans.push(Span { group, from: by + f64::from(segment.from_s) / 60.0, to }),
            }
        }
    }
    spans
}

/// The peaks with their minute: the hottest head and the hottest oil.
fn peaks(run: &RunPicture) -> Vec<(&'static str, Peak, f64)> {
    let highest = |get: fn(&Strip) -> Option<Peak>| {
        let there = run.parts.iter().filter_map(|p| get(p).map(|peak| (peak, offset_min(run, p))));
        let (peak, by) = there.max_by(|a, b| a.0.value.total_cmp(&b.0.value))?;
        Some((peak, by + f64::from(peak.at_s) / 60.0))
    };
    let heads = highest(|p| p.cht_peak_f).map(|(p, at)| ("hottest cylinder", p, at));
    heads.into_iter().chain(highest(|p| p.oil_temp_peak_f).map(|(p, at)| ("oil", p, at))).collect()
}

/// Which channel stands in the upper panel: power where it is known.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Upper {
    Power,
    Manifold,
    Rpm,
}

impl Upper {
    fn of(run: &RunPicture) -> Self {
        let has = |get: Channel| run.parts.iter().any(|p| !get(p).is_empty());
        match () {
            () if has(|p| &p.power_pct) => Self::Power,
            () if has(|p| &p.manifold) => Self::Manifold,
            () => Self::Rpm,
        }
    }

    fn name(self, run: &RunPicture) -> String {
        match self {
            Self::Power => {
                let at_most = run.parts.iter().any(|p| p.power_from.as_deref() == Some("fuel flow"));
                if at_most { "power (at most, from fuel flow)".to_owned() } else { "power".to_owned() }
            }
            Self::Manifold => "manifold pressure".to_owned(),
            Self::Rpm => "rpm".to_owned(),
        }
    }

    fn unit(self) -> &'static str {
        match self {
            Self::Power => "%",
            Self::Manifold => "inHg",
            Self::Rpm => "rpm",
        }
    }

    fn points(self, run: &RunPicture) -> impl Iterator<Item = Vec<(f64, f64)>> {
        let (get, per): (Channel, f64) = match self {
            Self::Power => (|p| &p.power_pct, 1.0),
            Self::Manifold => (|p| &p.manifold, 0.1),
            Self::Rpm => (|p| &p.rpm, 10.0),
        };
        lines(run, get, per).into_iter()
    }
}

/// A channel as lines without gaps: minutes, value.
fn lines(run: &RunPicture, get: Channel, per: f64) -> Vec<Vec<(f64, f64)>> {
    let mut lines: Vec<Vec<(f64, f64)>> = vec![Vec::new()];
    for part in &run.parts {
        let by = offset_min(run, part);
        for (k, value) in get(part).iter().enumerate() {
            let x = by + (k as f64 + 0.5) * f64::from(part.every_s) / 60.0;
            match (value, lines.last_mut()) {
                (Some(v), Some(line)) => line.push((x, f64::from(*v) * per)),
                _ => lines.push(Vec::new()),
            }
        }
        lines.push(Vec::new());
    }
    lines.retain(|l| !l.is_empty());
    lines
}

struct Drawn<'a> {
    run: &'a RunPicture,
    zone: Tz,
    length: f64,
    spans: Vec<Span>,
    upper: Upper,
    heads: Vec<Vec<(f64, f64)>>,
    oil: Vec<Vec<(f64, f64)>>,
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
        let points: Vec<Vec<(f64, f64)>> = self.upper.points(self.run).collect();
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
        let dash = ((5.0 * scale) as i32, (3.0 * scale) as i32);
        for line in &self.oil {
            drawn(chart.draw_series(DashedLineSeries::new(
                line.iter().copied(),
                dash.0,
                dash.1,
                ink::TEXT.stroke_width(width(1.8, scale)),
            )))?;
        }
        for (what, peak, at) in peaks(self.run) {
            let color = if what == "oil" { ink::TEXT } else { ink::OTHER };
            let cylinder = peak.cylinder.map_or(String::new(), |c| format!(" {c}"));
            let what = if cylinder.is_empty() { what } else { "hottest cylinder" };
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
        drawn(area.fill(&ink::GROUND))?;
        drawn(area.draw_text(&self.title(), &letters(15.0, scale, ink::TEXT), (px(12.0), px(9.0))))?;
        drawn(area.draw_text(self.legend(), &letters(12.0, scale, ink::SOFT), (px(12.0), px(30.0))))?;
        let (_, below) = area.split_vertically(px(HEAD));
        let (upper, lower) = below.split_vertically(px(UPPER));
        self.draw_upper(&upper, scale)?;
        self.draw_lower(&lower, scale)
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::judge::RunLimits;
    use crate::report::sample::at;

    /// Ten minutes on the ground, ten of climb, forty of cruise, ten down, ten on the ground.
    fn picture() -> RunPicture {
        let ends = [(Phase::TaxiOut, 600.0), (Phase::TakeOff, 640.0), (Phase::Climb, 1200.0), (Phase::Cruise, 3600.0)];
        let ends = ends.into_iter().chain([(Phase::Descent, 4200.0), (Phase::TaxiIn, 4800.0)]);
        let mut from_s = 0.0;
        let segments = ends
            .map(|(phase, to_s)| {
                let segment = crate::records::run::Segment { phase, from_s, to_s };
                from_s = to_s;
                segment
            })
            .collect();
        let by_phase = |ground: i16, climb: i16, cruise: i16| {
            (0..240)
                .map(|k| match k * 20 {
                    0..600 | 4200.. => Some(ground),
                    600..1200 => Some(climb),
                    _ => Some(cruise),
                })
                .collect::<Vec<_>>()
        };
        let strip = Strip {
            start: at(3, 6, 7, 57),
            end: at(3, 6, 9, 17),
            basis: AirBasis::Speed,
            segments,
            every_s: 20.0,
            power_pct: by_phase(20, 95, 68),
            power_from: Some("chart".to_owned()),
            cht_f: by_phase(280, 391, 360),
            oil_temp_f: by_phase(150, 185, 190),
            cht_peak_f: Some(Peak { value: 391.0, at_s: 1100.0, cylinder: Some(3) }),
            oil_temp_peak_f: Some(Peak { value: 191.0, at_s: 3000.0, cylinder: None }),
            ..Strip::default()
        };
        RunPicture {
            serial: "E-0201".into(),
            tail: "N0217H".into(),
            position: None,
            file: "N0217H/monitor/a.csv".into(),
            parts: vec![strip],
            limits: RunLimits { cht_f: Some(420.0), oil_temp_f: Some(240.0), power_pct: Some([65.0, 75.0]) },
            latest: true,
            alerts: Vec::new(),
        }
    }

    #[test]
    fn words_for_who_cannot_see_it() {
        assert_eq!(
            run_words(&picture(), chrono_tz::America::Denver),
            "N0217H, E-0201: run of 6 Mar 07:57, 80 min, 20 of them on the ground; power in cruise around 68 %; \
             hottest cylinder (3) up to 391 °F at 08:15; oil up to 191 °F at 08:47"
        );
        let mut inferred = picture();
        inferred.parts[0].basis = AirBasis::Power;
        assert!(run_words(&inferred, chrono_tz::America::Denver).contains("inferred from power alone"));
    }

    #[test]
    fn it_is_drawn_with_everything_and_with_next_to_nothing() {
        let zone = chrono_tz::America::Denver;
        let svg = run_svg(&picture(), zone).unwrap();
        for word in
            ["cruise", "climb", "ground", "break-in band 65 to 75 %", "hottest cylinder 3, 391 °F", "oil limit 240"]
        {
            assert!(svg.contains(word), "{word}");
        }
        assert!(run_png(&picture(), zone).unwrap().starts_with(b"\x89PNG"));
        let mut bare = picture();
        let strip = &mut bare.parts[0];
        for series in [&mut strip.power_pct, &mut strip.cht_f, &mut strip.oil_temp_f] {
            series.clear();
        }
        (strip.segments, strip.basis, strip.cht_peak_f, strip.oil_temp_peak_f) =
            (Vec::new(), AirBasis::Unknown, None, None);
        assert!(run_svg(&bare, zone).unwrap().contains("cannot be told apart"));
        bare.parts.clear();
        assert!(run_svg(&bare, zone).is_err());
    }

    /// A recorder that goes on in another file after two minutes: one picture, the gap left open.
    #[test]
    fn two_parts_are_one_picture() {
        let mut run = picture();
        let mut next = run.parts[0].clone();
        (next.start, next.end) = (at(3, 6, 9, 19), at(3, 6, 10, 39));
        run.parts.push(next);
        assert!((length_min(&run) - 162.0).abs() < 1e-9);
        assert!(run_words(&run, chrono_tz::America::Denver).contains("162 min, 42 of them"));
        assert_eq!(lines(&run, |p| &p.cht_f, 1.0).len(), 2);
    }
}
