//! An engine's events in order of time, and among them those of the engine beside it.
//!
//! Where nobody writes down what was flown, the other engine of a twin is the only witness of it: it flew
//! the same flights. Both engines' entries are gone through in the same order whichever of the two is
//! followed, so that both come to the same view of what happened.

use std::collections::{HashMap, HashSet, VecDeque};
use std::sync::Arc;

use super::track::{NO_SERVICE, Numbering, UNNAMED};
use crate::engine::{Engine, Event, What};
use crate::records::Instant;

/// One event to be gone through.
#[derive(Clone, Copy, Debug)]
pub struct Step<'a> {
    pub event: &'a Event,
    /// The engine it is of: `None`, the one followed; else which of its mates.
    pub mate: Option<usize>,
    /// Number of a flight's kind of service.
    pub service: u8,
    /// The same flight on a mate.
    pub beside: Option<(usize, &'a Event)>,
}

impl Step<'_> {
    /// A flight whose service nobody wrote down.
    pub fn is_unnamed(&self) -> bool {
        self.service == UNNAMED
    }
}

/// When, and on what: the same for both engines of a twin, whether they share rows or have a sheet each.
fn flown(event: &Event) -> Option<(Instant, &str)> {
    matches!(event.what, What::Flight { inferred: false, .. }).then(|| (event.at, &*event.tail))
}

/// The words for kinds of service, by their numbers.
pub fn words(engine: &Engine) -> Arc<[Arc<str>]> {
    let mut numbering = Numbering::default();
    engine.events.iter().for_each(|event| {
        numbering.number(&event.what);
    });
    numbering.words()
}

/// The engine's events, with those of the `mates` that ever flew beside it in between.
pub fn of<'a>(engine: &'a Engine, mates: &[&'a Engine]) -> Vec<Step<'a>> {
    let mut numbering = Numbering::default();
    let own: Vec<Step<'a>> = engine
        .events
        .iter()
        .map(|event| Step { event, mate: None, service: numbering.number(&event.what), beside: None })
        .collect();
    if mates.is_empty() || !own.iter().any(Step::is_unnamed) {
        return own;
    }
    let shared = shared(engine, mates);
    let taken: HashSet<(usize, usize)> = shared.values().copied().collect();
    let mut next = vec![0; mates.len()];
    let mut steps = Vec::with_capacity(2 * own.len());
    for (k, mut step) in own.into_iter().enumerate() {
        let same = shared.get(&k).copied();
        for (m, mate) in mates.iter().enumerate() {
            let comes_first = |i: usize, e: &Event| match same {
                Some((of, flight)) if of == m => i < flight,
                _ => (e.at, &mate.serial) < (step.event.at, &engine.serial) && !taken.contains(&(m, i)),
            };
            while let Some(event) = mate.events.get(next[m]).filter(|e| comes_first(next[m], e)) {
                steps.push(Step { event, mate: Some(m), service: NO_SERVICE, beside: None });
                next[m] += 1;
            }
        }
        if let Some((m, i)) = same {
            step.beside = Some((m, &mates[m].events[i]));
            next[m] = next[m].max(i + 1);
        }
        steps.push(step);
    }
    steps
}

/// Which of the engine's events are flights that a mate flew beside, with the mate and its event.
fn shared(engine: &Engine, mates: &[&Engine]) -> HashMap<usize, (usize, usize)> {
    // Several where the log gives no times: the first goes with the first.
    let mut beside: HashMap<_, VecDeque<(usize, usize)>> = HashMap::new();
    for (m, mate) in mates.iter().enumerate() {
        for (i, event) in mate.events.iter().enumerate() {
            if let Some(key) = flown(event) {
                beside.entry(key).or_default().push_back((m, i));
            }
        }
    }
    let own = engine.events.iter().enumerate().filter_map(|(k, event)| flown(event).map(|key| (k, key)));
    own.filter_map(|(k, key)| Some((k, beside.get_mut(&key)?.pop_front()?))).collect()
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;
    use crate::judge::running::made;

    fn engine(serial: &str, events: &[(&str, What)]) -> Engine {
        let mut engine = made::engine(None, 0.0);
        engine.serial = serial.into();
        for (at, what) in events {
            made::push(&mut engine, made::at(at), 1.0, what.clone());
        }
        engine
    }

    fn flight(service: Option<&str>) -> What {
        What::Flight { hours: 1.0, service: service.map(Into::into), inferred: false }
    }

    /// Which engine each step is of, its time, and whether the other flew beside.
    fn order(engine: &Engine, mate: &Engine) -> Vec<(String, String, bool)> {
        let steps = of(engine, &[mate]);
        let serial = |s: &Step<'_>| if s.mate.is_some() { mate.serial.to_string() } else { engine.serial.to_string() };
        steps.iter().map(|s| (serial(s), s.event.at.format("%H:%M").to_string(), s.beside.is_some())).collect()
    }

    #[test]
    fn entries_of_both_engines_come_in_the_same_order_whichever_is_followed() {
        let level = |qt| What::Level { qt };
        let a = engine(
            "A",
            &[
                ("2026-03-01T08:00:00Z", level(7.0)),
                ("2026-03-01T08:10:00Z", flight(None)),
                ("2026-03-01T10:00:00Z", level(6.75)),
                ("2026-03-01T12:00:00Z", flight(None)),
            ],
        );
        let b = engine(
            "B",
            &[
                ("2026-03-01T08:00:00Z", level(6.5)),
                ("2026-03-01T08:10:00Z", level(6.5)),
                ("2026-03-01T08:10:00Z", flight(None)),
                ("2026-03-01T09:00:00Z", level(6.25)),
                ("2026-03-01T12:00:00Z", flight(None)),
            ],
        );
        let looks = |steps: Vec<(String, String, bool)>| -> Vec<(String, String)> {
            steps.into_iter().filter(|s| !s.2).map(|s| (s.0, s.1)).collect()
        };
        let expected = [("A", "08:00"), ("B", "08:00"), ("B", "08:10"), ("B", "09:00"), ("A", "10:00")];
        let expected = expected.map(|(who, at)| (who.to_owned(), at.to_owned())).to_vec();
        assert_eq!(looks(order(&a, &b)), expected);
        assert_eq!(looks(order(&b, &a)), expected);
        assert_eq!(order(&a, &b).iter().filter(|s| s.2).count(), 2);
    }

    /// Where the service is written down, the mate's entries are not needed and are left out.
    #[test]
    fn with_services_written_down_only_the_engine_itself_is_gone_through() {
        let a = engine("A", &[("2026-03-01T08:10:00Z", flight(Some("charter")))]);
        let b = engine(
            "B",
            &[("2026-03-01T08:00:00Z", What::Level { qt: 6.0 }), ("2026-03-01T08:10:00Z", flight(Some("charter")))],
        );
        assert_eq!(order(&a, &b).len(), 1);
        assert_eq!(order(&a, &b)[0].0, "A");
    }
}
