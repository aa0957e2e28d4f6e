//! What of a run its picture shows: groups of phases, channels as lines, peaks, in minutes after the start.

use crate::records::monitor::{Series, Strip};
use crate::records::run::{Peak, Phase};
use crate::report::RunPicture;

/// Phases as a reader thinks of them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Group {
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

    pub fn word(self) -> &'static str {
        match self {
            Self::Ground => "ground",
            Self::Climb => "climb",
            Self::Cruise => "cruise",
            Self::Descent => "descent",
        }
    }

    pub fn shade(self) -> f64 {
        match self {
            Self::Ground => 0.20,
            Self::Climb | Self::Descent => 0.09,
            Self::Cruise => 0.0,
        }
    }
}

/// Lines without gaps: minutes, value.
pub type Lines = Vec<Vec<(f64, f64)>>;

/// One channel of a strip.
type Channel = fn(&Strip) -> &Series;

/// A group of phases, minutes after the run's start.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Span {
    pub group: Group,
    pub from: f64,
    pub to: f64,
}

/// Minutes from the run's start to a part's.
fn offset_min(run: &RunPicture, part: &Strip) -> f64 {
    run.parts.first().map_or(0.0, |first| (part.start - first.start).num_milliseconds() as f64 / 60_000.0)
}

/// Minutes from the run's start to its end.
pub fn length_min(run: &RunPicture) -> f64 {
    run.parts
        .last()
        .map_or(0.0, |last| offset_min(run, last) + (last.end - last.start).num_milliseconds() as f64 / 60_000.0)
}

/// Groups of phases that follow one another.
pub fn spans(run: &RunPicture) -> Vec<Span> {
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
pub fn peaks(run: &RunPicture) -> Vec<(&'static str, Peak, f64)> {
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
pub enum Upper {
    Power,
    Manifold,
    Rpm,
}

impl Upper {
    pub fn of(run: &RunPicture) -> Self {
        let has = |get: Channel| run.parts.iter().any(|p| !get(p).is_empty());
        match () {
            () if has(|p| &p.power_pct) => Self::Power,
            () if has(|p| &p.manifold) => Self::Manifold,
            () => Self::Rpm,
        }
    }

    pub fn name(self, run: &RunPicture) -> String {
        match self {
            Self::Power => {
                let at_most = run.parts.iter().any(|p| p.power_from.as_deref() == Some("fuel flow"));
                if at_most { "power (at most, from fuel flow)".to_owned() } else { "power".to_owned() }
            }
            Self::Manifold => "manifold pressure".to_owned(),
            Self::Rpm => "rpm".to_owned(),
        }
    }

    pub fn unit(self) -> &'static str {
        match self {
            Self::Power => "%",
            Self::Manifold => "inHg",
            Self::Rpm => "rpm",
        }
    }

    pub fn points(self, run: &RunPicture) -> Lines {
        let (get, per): (Channel, f64) = match self {
            Self::Power => (|p| &p.power_pct, 1.0),
            Self::Manifold => (|p| &p.manifold, 0.1),
            Self::Rpm => (|p| &p.rpm, 10.0),
        };
        lines(run, get, per)
    }
}

/// A channel as lines; `per` is the unit its whole numbers count.
pub fn lines(run: &RunPicture, get: Channel, per: f64) -> Lines {
    let mut lines = vec![Vec::new()];
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
