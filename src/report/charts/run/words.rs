//! The picture of a run in words.

use chrono_tz::Tz;

use super::shown::{Group, Upper, length_min, peaks, spans};
use crate::records::run::AirBasis;
use crate::report::RunPicture;
use crate::report::words::{numbers, place};

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
    let points = upper.points(run);
    let cruise: Vec<f64> = spans(run)
        .iter()
        .filter(|s| s.group == Group::Cruise)
        .flat_map(|s| points.iter().flatten().filter(|(x, _)| *x >= s.from && *x < s.to))
        .map(|(_, y)| *y)
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
