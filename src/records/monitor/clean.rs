//! Takes out readings that cannot be: probes that jump, freeze or come and go.
//!
//! A cylinder head weighs kilograms and cannot change by 100 °F from one second to the next; a probe
//! with a loose wire does. What is taken out is said in the summary's doubts.

use super::cell::{MISSING, is_value};
use super::channel::{CHT, CYLINDERS, Channel, GS, IAS, MANIFOLD, OIL_TEMP, RPM};
use super::trace::Trace;

/// How fast a reading may change: thousandths at once, thousandths per second on top, and at most.
struct Pace {
    step: i64,
    per_s: i64,
    most: i64,
}

impl Pace {
    /// A reading may change so much within so many ms.
    fn allows(&self, from: i32, to: i32, ms: i32) -> bool {
        let may = (self.step + self.per_s * i64::from(ms) / 1000).min(self.most);
        i64::from((to - from).abs()) <= may
    }
}

/// Common practice, no source: wider than any real change of a head or of the oil.
const HEAD: Pace = Pace { step: 20_000, per_s: 4_000, most: 100_000 };
const OIL: Pace = Pace { step: 15_000, per_s: 2_000, most: 60_000 };
/// A new level is believed after this long, if nothing speaks against it, ms.
const BELIEVED_MS: i32 = 60_000;
/// … for a head: within this of the other heads' mean, thousandths of °F.
const LIKE_THE_OTHERS: i64 = 60_000;
/// A reading that stays the same to the last digit for this long, while another head moves by
/// [`MOVES`], is frozen, ms.
const FROZEN_MS: i32 = 900_000;
const MOVES: i32 = 40_000;

/// No aircraft comes from this speed to standing within this time: thousandths of a knot, ms.
const ROLLS_KT: i32 = 40_000;
const STANDS_KT: i32 = 3_000;
const STOPS_MS: i32 = 8_000;
/// Power for this long without speed is flown, not stood: rpm (thousandths), ms.
const PULLS_RPM: i32 = 1_800_000;
const PULLS_MS: i32 = 60_000;
/// Manifold pressure that steps by this (thousandths of an inHg) in more than one of so many samples is noise.
const NOISE_INHG: i32 = 4_000;
const NOISE_ONE_IN: usize = 12;

/// Cleans the channels of a run in place; gives the doubts.
pub fn clean(trace: &mut Trace) -> Vec<String> {
    let mut doubts = Vec::new();
    for cylinder in 0..CYLINDERS {
        freeze(trace, cylinder, &mut doubts);
    }
    for channel in [IAS, GS] {
        lost_speed(trace, channel, &mut doubts);
    }
    noise(trace, &mut doubts);
    let mut means = None;
    for channel in (CHT..CHT + CYLINDERS).chain([OIL_TEMP]) {
        let head = channel != OIL_TEMP;
        let pace = if head { &HEAD } else { &OIL };
        if steady(trace.column(channel), pace) {
            continue;
        }
        let heads = if head { Some(&means.get_or_insert_with(|| head_means(trace))[..]) } else { None };
        let t = std::mem::take(&mut trace.t);
        let out = gate(&t, trace.column_mut(channel), pace, heads);
        trace.t = t;
        if out > 0 {
            let what = if head { format!("cylinder head {}", channel - CHT + 1) } else { "oil".to_owned() };
            doubts.push(format!("{what} temperature: {out} readings taken out that jump as no temperature can"));
        }
    }
    doubts
}

/// No gap and no step that would need a closer look: nearly every probe of nearly every run.
fn steady(column: &[i32], pace: &Pace) -> bool {
    let step = pace.step as i32;
    let Some(first) = column.first() else { return true };
    // A missing value is farther from any other than a step. No early end, so that the compiler takes many at once.
    let steps = column.iter().zip(&column[1..]);
    is_value(*first)
        && steps
            .fold(true, |steady, (a, b)| steady & ((b.wrapping_sub(*a).wrapping_add(step) as u32) <= 2 * step as u32))
}

/// Sum and number of the heads at each sample.
fn head_means(trace: &Trace) -> Vec<(i32, i32)> {
    let mut sums = vec![(0, 0); trace.len()];
    for channel in CHT..CHT + CYLINDERS {
        for (sum, v) in sums.iter_mut().zip(trace.column(channel)) {
            if is_value(*v) {
                *sum = (sum.0 + v, sum.1 + 1);
            }
        }
    }
    sums
}

/// Sets readings that jump to missing; gives their number.
fn gate(t: &[i32], column: &mut [i32], pace: &Pace, heads: Option<&[(i32, i32)]>) -> u32 {
    let mut values = column.iter().copied().enumerate().filter(|(_, v)| is_value(*v));
    // The first reading that its successor confirms.
    let mut last = loop {
        match (values.next(), values.clone().next()) {
            (Some((i, v)), Some((j, next))) if pace.allows(v, next, t[j] - t[i]) => break (i, v),
            (Some(_), Some(_)) => {}
            _ => return 0,
        }
    };
    let seed = last.0;
    let mut out = 0;
    let mut other: Option<(usize, usize, i32)> = None;
    for i in 0..column.len() {
        let v = column[i];
        if !is_value(v) || i == seed {
            continue;
        }
        let (at, level) = last;
        if i > seed && pace.allows(level, v, t[i] - t[at]) {
            last = (i, v);
            other = None;
            continue;
        }
        if i > seed {
            other = match other {
                Some((from, at, level)) if pace.allows(level, v, t[i] - t[at]) => {
                    if t[i] - t[from] >= BELIEVED_MS && like_the_others(v, heads, i) {
                        last = (i, v);
                        other = None;
                        continue;
                    }
                    Some((from, i, v))
                }
                _ => Some((i, i, v)),
            };
        }
        column[i] = MISSING;
        out += 1;
    }
    out
}

/// True without other heads to compare with: oil has none, a lone probe is all there is.
fn like_the_others(v: i32, heads: Option<&[(i32, i32)]>, i: usize) -> bool {
    match heads.and_then(|h| h.get(i)) {
        Some((sum, n)) if *n > 1 => {
            let mean = i64::from(sum - v) / i64::from(n - 1);
            (i64::from(v) - mean).abs() <= LIKE_THE_OTHERS
        }
        _ => true,
    }
}

/// Sets a speed that drops to nothing in flight to missing, for as long as it says nothing.
fn lost_speed(trace: &mut Trace, channel: Channel, doubts: &mut Vec<String>) {
    let column = trace.column(channel);
    // A drop comes after a speed, or after nothing. No early end, so that the compiler takes many at once.
    let drops = |a: i32, b: i32| is_value(b) & (b < STANDS_KT) & (!is_value(a) | (a >= ROLLS_KT));
    if !column.iter().zip(column.iter().skip(1)).fold(false, |any, (a, b)| any | drops(*a, *b)) {
        return;
    }
    let mut lost = Vec::new();
    {
        let t = &trace.t;
        let stands = |i: usize| is_value(column[i]) && column[i] < STANDS_KT;
        let mut last: Option<usize> = None;
        let mut i = 0;
        while i < column.len() {
            let dropped = stands(i) && last.is_some_and(|l| column[l] >= ROLLS_KT && t[i] - t[l] <= STOPS_MS);
            if dropped {
                let end = (i..column.len()).find(|k| is_value(column[*k]) && !stands(*k)).unwrap_or(column.len());
                if t[end - 1] - t[i] < PULLS_MS || pulls(trace, i, end) {
                    lost.push((i, end));
                }
                i = end;
                continue;
            }
            if is_value(column[i]) {
                last = Some(i);
            }
            i += 1;
        }
    }
    let mut seconds = 0;
    for (from, to) in lost {
        seconds += (trace.t[to - 1] - trace.t[from]) / 1000;
        trace.column_mut(channel)[from..to].fill(MISSING);
    }
    if seconds > 0 {
        let name = super::channel::name(channel);
        doubts.push(format!("{name} drops to nothing in flight, for {seconds} s in all: left out there"));
    }
}

/// The engine gives power in a stretch for longer than anybody does standing.
fn pulls(trace: &Trace, from: usize, to: usize) -> bool {
    let (mut since, mut longest) = (None, 0);
    for i in from..to {
        match trace.value(RPM, i) {
            Some(rpm) if rpm >= PULLS_RPM => longest = longest.max(trace.t[i] - *since.get_or_insert(trace.t[i])),
            Some(_) => since = None,
            None => {}
        }
    }
    longest >= PULLS_MS
}

/// Leaves out a manifold pressure that jumps to and fro throughout.
fn noise(trace: &mut Trace, doubts: &mut Vec<String>) {
    let column = trace.column(MANIFOLD);
    let jumps = |a: i32, b: i32| is_value(a) & is_value(b) & (b.wrapping_sub(a).wrapping_abs() >= NOISE_INHG);
    let jumps = column.iter().zip(column.iter().skip(1)).map(|(a, b)| u32::from(jumps(*a, *b))).sum::<u32>() as usize;
    if jumps * NOISE_ONE_IN > column.len() && jumps > NOISE_ONE_IN {
        doubts.push(format!("manifold pressure jumps to and fro {jumps} times: left out"));
        trace.column_mut(MANIFOLD).fill(MISSING);
    }
}

/// A stretch of [`FROZEN_MS`] holds two of the samples a third of that apart, with the same value from one to the other.
fn may_be_frozen(t: &[i32], column: &[i32]) -> bool {
    let mut at = 0;
    while at < column.len() {
        let next = t.partition_point(|x| *x < t[at] + FROZEN_MS / 3);
        let same = column.get(at..=next).is_some_and(|part| part.iter().all(|v| *v == column[at]));
        if same && is_value(column[at]) {
            return true;
        }
        at = next;
    }
    false
}

/// Sets long stretches without the least change to missing while another head moves.
fn freeze(trace: &mut Trace, cylinder: usize, doubts: &mut Vec<String>) {
    let channel = CHT + cylinder;
    if !may_be_frozen(&trace.t, trace.column(channel)) {
        return;
    }
    let mut stretches = Vec::new();
    {
        let (t, column) = (&trace.t, trace.column(channel));
        let mut from = 0;
        for i in 1..=column.len() {
            if i == column.len() || column[i] != column[from] {
                if is_value(column[from]) && t[i - 1] - t[from] >= FROZEN_MS {
                    stretches.push((from, i));
                }
                from = i;
            }
        }
    }
    for (from, to) in stretches {
        let t = &trace.t[from..to];
        let moves = (CHT..CHT + CYLINDERS)
            .filter(|c| *c != channel)
            .any(|c| moves(t, trace.column(c).get(from..to).unwrap_or_default()));
        if moves {
            let value = trace.column(channel)[from] / 1000;
            let minutes = (trace.t[to - 1] - trace.t[from]) / 60_000;
            doubts.push(format!("cylinder head {} temperature frozen at {value} °F for {minutes} min", cylinder + 1));
            trace.column_mut(channel)[from..to].fill(MISSING);
        }
    }
}

/// A head's temperature moves by [`MOVES`] as a head can: what a loose probe jumps by is no movement.
fn moves(t: &[i32], column: &[i32]) -> bool {
    let mut values = t.iter().zip(column).filter(|(_, v)| is_value(**v));
    let Some((mut at, mut last)) = values.next() else { return false };
    let (mut low, mut high) = (*last, *last);
    for (t, v) in values {
        if !HEAD.allows(*last, *v, t - at) {
            (low, high) = (*v, *v);
        }
        (low, high) = (low.min(*v), high.max(*v));
        if high - low >= MOVES {
            return true;
        }
        (at, last) = (t, v);
    }
    false
}
