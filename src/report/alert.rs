//! `alerts NUMBER`: everything known about one alert, with the line of evidence that led to it.

use chrono_tz::Tz;

use super::plot::{self, Plot};
use super::status::paragraph;
use super::text::wrap;
use super::words::{self, Paragraph, numbers};
use crate::alerts::Alert;
use crate::judge::{EngineView, Finding, Kind, RatePoint};

const WIDTH: usize = 100;
/// Engine hours shown before the change began and after the alert came.
const BEFORE_H: f64 = 40.0;
const AFTER_H: f64 = 15.0;

/// Everything known about one. `otherwise`: what would have kept it away.
pub fn text(alert: &Alert, engines: &[EngineView], otherwise: Option<&Paragraph>, zone: Tz) -> String {
    let paragraphs = words::explain(alert, engines, zone);
    let all = paragraphs.len();
    let shown = |p: &Paragraph| p.title == "What" || p.title.starts_with("Since when");
    let drawn_at = paragraphs.iter().position(|p| !shown(p)).unwrap_or(all);
    let advice_at = paragraphs.iter().position(|p| p.title == "May mean" || p.steps).unwrap_or(all);
    let mut out = String::new();
    out.extend(paragraphs[..drawn_at].iter().map(titled));
    if let Some(course) = course(&alert.finding, engines) {
        out.push_str(&drawing(&course, &alert.finding, zone));
        out.push('\n');
    }
    out.extend(paragraphs[drawn_at..advice_at].iter().chain(otherwise).chain(&paragraphs[advice_at..]).map(titled));
    if !alert.history.is_empty() {
        out.push_str("History\n");
        let near = numbers::date_of(alert.finding.raised, zone);
        for h in &alert.history {
            let line = format!("  {}  {}: {}", numbers::moment(h.at, near, zone), h.by, h.what);
            out.push_str(&wrap(&line, WIDTH, 4));
            out.push('\n');
        }
    }
    out
}

fn titled(p: &Paragraph) -> String {
    format!("{}\n{}\n", p.title, paragraph(p, WIDTH))
}

/// How what is judged came to its limit.
#[derive(Clone, Debug)]
pub struct Course {
    pub what: &'static str,
    /// Flights around the change.
    pub points: Vec<RatePoint>,
    /// Of each point, what was judged and the limit it had to reach.
    pub values: Vec<(f64, f64)>,
    value: fn(f64) -> String,
}

/// The course of an alert that hangs on a limit over time; `None` for the others.
pub fn course(finding: &Finding, engines: &[EngineView]) -> Option<Course> {
    let engine = words::engine_of(finding, engines)?;
    let ceiling = engine.ceiling_qt_per_h.unwrap_or(f64::NAN);
    let rate = |qt_per_h| numbers::rate(qt_per_h);
    let (what, value): (_, fn(f64) -> String) = match finding.kind {
        Kind::OilRateRise | Kind::EnginesDiverged => {
            ("Evidence of a rise (ln of the statistic), and its limit", numbers::short)
        }
        Kind::OilRateFall => ("Evidence of a fall (ln of the statistic), and its limit", numbers::short),
        Kind::OilRateCeiling if ceiling > 0.0 && finding.evidence.get("gone_qt").is_some() => {
            ("Smoothed rate, qt/h, which the last looks ran ahead of, and the configured ceiling", rate)
        }
        Kind::OilRateCeiling if ceiling > 0.0 => ("Rate, qt/h, and the configured ceiling", rate),
        _ => return None,
    };
    let judged = |p: &RatePoint| match finding.kind {
        Kind::OilRateCeiling => (p.rate.qt_per_h, ceiling),
        kind => p.evidence(kind != Kind::OilRateFall),
    };
    let at = finding.hours?;
    let onset = finding.evidence.number("since_hours").unwrap_or(at).min(at);
    let near = |p: &&RatePoint| p.hours >= onset - BEFORE_H && p.hours <= at + AFTER_H;
    let points: Vec<RatePoint> = engine.points.iter().filter(near).copied().collect();
    let values = points.iter().map(judged).collect();
    (points.len() > 1).then_some(Course { what, points, values, value })
}

fn drawing(course: &Course, finding: &Finding, zone: Tz) -> String {
    let (Some(first), Some(last)) = (course.points.first(), course.points.last()) else { return String::new() };
    let points: Vec<(f64, f64)> = course.points.iter().zip(&course.values).map(|(p, (v, _))| (p.hours, *v)).collect();
    // The limit moves a little with the rate: that of the alert's own moment is the one it reached.
    let at = course.points.iter().position(|p| p.at >= finding.raised).unwrap_or(course.points.len() - 1);
    let near = numbers::date_of(finding.raised, zone);
    plot::text(&Plot {
        title: course.what,
        points: &points,
        limit: finding.evidence.number("limit").unwrap_or(course.values[at].1),
        mark: Some(course.points[at].hours),
        value: course.value,
        ends: [plot::end(first.hours, first.at, near, zone), plot::end(last.hours, last.at, near, zone)],
    })
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::report::sample;

    /// The points of the sample ask 7.5 of a rise and 9 of a fall.
    #[test]
    fn a_fall_is_held_against_the_limit_of_falls() {
        let engines = sample::morning().engines;
        for (kind, limit) in [(Kind::OilRateRise, 7.5), (Kind::OilRateFall, 9.0)] {
            let finding = Finding { kind, ..sample::rise() };
            let course = course(&finding, &engines).unwrap();
            assert!(course.values.iter().all(|(_, asked)| *asked == limit), "{kind}: {:?}", course.values);
            let drawn = drawing(&course, &finding, chrono_tz::America::Denver);
            assert!(drawn.contains(&format!("{limit} |- ")), "{drawn}");
        }
    }
}
