//! Ground from air: by speed, else by height, else by power; nothing in a recording says it outright.
//!
//! A recording has no weight-on-wheels switch, so every figure that rests on this says what it was
//! told by. The numbers below are common practice, no source: light piston aircraft taxi under
//! 30 kt and lift off above 50 kt.

use super::cell::is_value;
use super::channel::{ALT, Channel, GS, IAS, MANIFOLD, RPM};
use super::figures::pieces;
use super::trace::Trace;
use crate::records::run::AirBasis;

/// Airborne at this speed, on the ground again below the lower one, thousandths of a knot.
const UP_KT: i32 = 50_000;
const DOWN_KT: i32 = 40_000;
/// … held for this long, ms.
const SPEED_HELD_MS: i32 = 8_000;
/// Airborne this far above where the run stood, thousandths of a foot.
const UP_FT: i32 = 200_000;
/// Height changes by less than this when standing or rolling, thousandths of a foot …
const LEVEL_FT: i32 = 50_000;
/// … for this long with the engine near idle, ms.
const LEVEL_HELD_MS: i32 = 30_000;
/// Height looked at for so long on the ground to know where the surface is, and for so long in the roll and the
/// rollout to see the aircraft leave it and touch it, ms. This far above it is in the air, thousandths of a foot.
const SURFACE_MS: i32 = 60_000;
const ROLL_MS: i32 = 90_000;
const OFF_FT: i32 = 30_000;
/// A height that wanders by more than this on the ground tells nothing, thousandths of a foot.
const WANDERS_FT: i32 = 100_000;
/// Taxi rpm stays below this share of the red line, cruise and descent above (thousandths).
const IDLE_SHARE: i64 = 640;
const POWER_SHARE: i64 = 780;
/// Take-off power is held longer than any run-up, ms.
const POWER_HELD_MS: i32 = 60_000;
/// A landed engine idles for longer than a glide, ms.
const IDLE_HELD_MS: i32 = 90_000;

/// The airborne parts of a run as index ranges, and what told them.
#[derive(Clone, Debug)]
pub struct Air {
    pub basis: AirBasis,
    pub spans: Vec<(usize, usize)>,
    pub doubts: Vec<String>,
}

/// Tells ground from air. `red_line` in thousandths of an rpm.
pub fn tell(trace: &Trace, red_line: i32) -> Air {
    let mut doubts = Vec::new();
    let powered = longest_above(trace, share(red_line, POWER_SHARE));
    let speed = [IAS, GS].into_iter().find(|c| usable(trace, *c, 5_000, powered, &mut doubts));
    if let Some(channel) = speed {
        let mut spans = by_speed(trace, channel);
        if trace.has(ALT) {
            from_the_surface(trace, &mut spans);
        }
        return Air { basis: AirBasis::Speed, spans, doubts };
    }
    if usable(trace, ALT, 50_000, powered, &mut doubts) {
        return Air { basis: AirBasis::Height, spans: by_height(trace, red_line), doubts };
    }
    // A run that never had the engine above idle was on the ground whatever else is missing.
    if trace.column(RPM).iter().filter(|v| is_value(**v)).count() * 10 >= trace.len() * 9 {
        return Air { basis: AirBasis::Power, spans: by_power(trace, red_line), doubts };
    }
    Air { basis: AirBasis::Unknown, spans: Vec::new(), doubts }
}

fn share(red_line: i32, thousandths: i64) -> i32 {
    (i64::from(red_line) * thousandths / 1000) as i32
}

/// The longest stretch with rpm above `rpm`, ms.
fn longest_above(trace: &Trace, rpm: i32) -> i32 {
    let (mut from, mut longest) = (None, 0);
    for (t, v) in trace.t.iter().zip(trace.column(RPM)) {
        if *v >= rpm {
            longest = longest.max(*t - *from.get_or_insert(*t));
        } else if is_value(*v) {
            from = None;
        }
    }
    longest
}

/// Recorded nearly throughout, and not stuck while the engine pulled for minutes.
fn usable(trace: &Trace, channel: Channel, moves: i32, powered_ms: i32, doubts: &mut Vec<String>) -> bool {
    let values = trace.column(channel).iter().copied().filter(|v| is_value(*v));
    let (n, low, high) = values.fold((0, i32::MAX, i32::MIN), |(n, l, h), v| (n + 1, l.min(v), h.max(v)));
    if n == 0 {
        return false;
    }
    let name = super::channel::name(channel);
    if n * 10 < trace.len() * 8 {
        doubts.push(format!("{name} is missing in {} of {} samples", trace.len() - n, trace.len()));
        return false;
    }
    if high - low < moves && powered_ms >= 3 * POWER_HELD_MS {
        doubts.push(format!("{name} stayed at {} while the engine ran at power", low / 1000));
        return false;
    }
    true
}

/// Follows a condition with two thresholds, each to be held for a while; a change counts from where it began.
struct Held {
    on: bool,
    since: Option<usize>,
    held: [i32; 2],
}

impl Held {
    /// `held`: ms for switching on and off.
    fn new(held: [i32; 2]) -> Self {
        Self { on: false, since: None, held }
    }

    /// Where the state changed, if it did. `contrary`: sample `i` speaks for the other state.
    fn step(&mut self, t: &[i32], i: usize, contrary: bool) -> Option<usize> {
        if !contrary {
            self.since = None;
            return None;
        }
        let since = *self.since.get_or_insert(i);
        if t[i] - t[since] < self.held[usize::from(self.on)] {
            return None;
        }
        self.on = !self.on;
        self.since = None;
        Some(since)
    }
}

fn spans(n: usize, changes: &[usize]) -> Vec<(usize, usize)> {
    changes.chunks(2).map(|c| (c[0], c.get(1).copied().unwrap_or(n))).filter(|(a, b)| a < b).collect()
}

fn by_speed(trace: &Trace, channel: Channel) -> Vec<(usize, usize)> {
    let column = trace.column(channel);
    let mut held = Held::new([SPEED_HELD_MS; 2]);
    let mut changes = Vec::new();
    for (start, part) in pieces(column, 0, column.len()) {
        // Nothing speaks for the other state. No early end, so that the compiler takes many at once.
        let quiet = if held.on {
            part.iter().fold(true, |quiet, v| quiet & (*v >= DOWN_KT))
        } else {
            part.iter().fold(true, |quiet, v| quiet & is_value(*v) & (*v < UP_KT))
        };
        if quiet {
            held.since = None;
            continue;
        }
        for (i, v) in (start..).zip(part).filter(|(_, v)| is_value(**v)) {
            let contrary = if held.on { *v < DOWN_KT } else { *v >= UP_KT };
            if let Some(at) = held.step(&trace.t, i, contrary) {
                changes.push(at);
            }
        }
    }
    spans(trace.len(), &changes)
}

/// Narrows spans of flying speed to the time between leaving the surface and touching it, where height shows them:
/// an aircraft rolls faster than it taxies before the one and after the other.
fn from_the_surface(trace: &Trace, spans: &mut [(usize, usize)]) {
    let n = trace.len();
    let mut before = 0;
    for span in spans {
        let (up, down) = *span;
        let rolling = up..trace.index_at(trace.t[up].saturating_add(ROLL_MS)).min(down);
        if let Some(ground) = surface(trace, trace.index_at(trace.t[up] - SURFACE_MS).max(before), up)
            && let Some(above) = rolling.clone().find(|i| trace.value(ALT, *i).is_some_and(|v| v >= ground + OFF_FT))
        {
            let last = (rolling.start..above).rev().find(|i| trace.value(ALT, *i).is_some_and(|v| v <= ground));
            span.0 = last.unwrap_or(up);
        }
        if down < n {
            let after = trace.index_at(trace.t[down].saturating_add(SURFACE_MS)).min(n);
            let rollout = trace.index_at(trace.t[down] - ROLL_MS).max(span.0)..down;
            if let Some(ground) = surface(trace, down, after)
                && let Some(above) =
                    rollout.clone().rev().find(|i| trace.value(ALT, *i).is_some_and(|v| v >= ground + OFF_FT))
            {
                let first = (above..down).find(|i| trace.value(ALT, *i).is_some_and(|v| v <= ground));
                span.1 = first.unwrap_or(down);
            }
        }
        before = down;
    }
}

/// The highest the aircraft stood in a stretch on the ground; `None` if height tells nothing there.
fn surface(trace: &Trace, from: usize, to: usize) -> Option<i32> {
    let heights = (from..to).filter_map(|i| trace.value(ALT, i));
    let (low, high) = heights.fold((i32::MAX, i32::MIN), |(l, h), v| (l.min(v), h.max(v)));
    (low <= high && high - low <= WANDERS_FT).then_some(high)
}

/// Up: well above the field. Down: level, with the engine near idle, for half a minute.
fn by_height(trace: &Trace, red_line: i32) -> Vec<(usize, usize)> {
    let (alt, rpm) = (trace.column(ALT), trace.column(RPM));
    let idle = share(red_line, IDLE_SHARE);
    let mut field = alt.iter().copied().find(|v| is_value(*v)).unwrap_or(0);
    let (mut on, mut since, mut changes) = (false, None::<(usize, i32)>, Vec::new());
    let mut low = 0;
    for (i, v) in alt.iter().copied().enumerate().filter(|(_, v)| is_value(*v)) {
        if !on {
            if v <= field + LEVEL_FT / 2 {
                low = i + 1;
                field = field.min(v).max(field - LEVEL_FT);
            } else if v >= field + UP_FT {
                changes.push(low);
                (on, since) = (true, None);
            }
            continue;
        }
        let idles = rpm.get(i).is_none_or(|r| *r < idle);
        match since {
            Some((from, level)) if idles && (v - level).abs() <= LEVEL_FT => {
                if trace.t[i] - trace.t[from] >= LEVEL_HELD_MS {
                    changes.push(from);
                    (on, since, field, low) = (false, None, v, i);
                }
            }
            _ => since = idles.then_some((i, v)),
        }
    }
    spans(trace.len(), &changes)
}

fn by_power(trace: &Trace, red_line: i32) -> Vec<(usize, usize)> {
    let (rpm, manifold) = (trace.column(RPM), trace.column(MANIFOLD));
    let (power, idle) = (share(red_line, POWER_SHARE), share(red_line, IDLE_SHARE));
    let mut held = Held::new([POWER_HELD_MS, IDLE_HELD_MS]);
    let mut changes = Vec::new();
    for (i, v) in rpm.iter().enumerate().filter(|(_, v)| is_value(**v)) {
        let pulls = manifold.get(i).is_none_or(|m| !is_value(*m) || *m >= 18_000);
        let contrary = if held.on { *v < idle } else { *v >= power && pulls };
        if let Some(at) = held.step(&trace.t, i, contrary) {
            changes.push(at);
        }
    }
    spans(trace.len(), &changes)
}
