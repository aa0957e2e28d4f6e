//! Random lives of findings, people's doings and clock jumps: what must hold whatever happens.
#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Duration, TimeZone, Utc};
use proptest::prelude::*;

use super::*;
use crate::config::meant::Alerts;
use crate::judge::{Evidence, Settled};

/// What one finding is like in one pass.
#[derive(Clone, Copy, Debug)]
struct Seen {
    present: bool,
    settled: bool,
    warning: bool,
    size: f64,
}

#[derive(Clone, Copy, Debug)]
enum Person {
    Nothing,
    Acknowledge(i64),
    Mute(i64),
    Close,
}

#[derive(Clone, Debug)]
struct Round {
    hours_on: i64,
    seen: Vec<Seen>,
    person: Person,
    about: usize,
}

fn seen() -> impl Strategy<Value = Seen> {
    (prop::bool::weighted(0.8), prop::bool::weighted(0.2), prop::bool::ANY, 0.5..4.0_f64)
        .prop_map(|(present, settled, warning, size)| Seen { present, settled, warning, size })
}

fn person() -> impl Strategy<Value = Person> {
    prop_oneof![
        6 => Just(Person::Nothing),
        1 => (1..300_i64).prop_map(Person::Acknowledge),
        1 => (1..300_i64).prop_map(Person::Mute),
        1 => Just(Person::Close),
    ]
}

fn round() -> impl Strategy<Value = Round> {
    // Mostly forwards, now and then a clock three days off either way.
    let hours = prop_oneof![8 => 0..48_i64, 1 => Just(72), 1 => Just(-72)];
    (hours, prop::collection::vec(seen(), 5), person(), 0..5_usize).prop_map(|(hours_on, seen, person, about)| Round {
        hours_on,
        seen,
        person,
        about,
    })
}

fn findings(round: &Round, now: Instant) -> Vec<Finding> {
    let present = round.seen.iter().enumerate().filter(|(_, s)| s.present);
    present
        .map(|(i, seen)| Finding {
            kind: if i == 4 { Kind::HoursDisagree } else { Kind::OilRateRise },
            level: if seen.warning { Level::Warning } else { Level::Caution },
            tail: "N0417H".into(),
            position: None,
            serial: Some(format!("H-{i}").into()),
            subject: "1".to_owned(),
            raised: Utc.with_ymd_and_hms(2026, 1, 1, 0, 0, 0).unwrap() + Duration::hours(i as i64),
            hours: None,
            settled: seen.settled.then(|| Settled { at: now, why: "done".into(), source: None }),
            size: seen.size,
            evidence: Evidence::default(),
        })
        .collect()
}

fn act(alerts: &mut [Alert], round: &Round, now: Instant) -> Option<u32> {
    let alert = alerts.get_mut(round.about)?;
    let done = match round.person {
        Person::Nothing => return None,
        Person::Acknowledge(hours) => alert.acknowledge("Dana", "", Some(now + Duration::hours(hours)), now),
        Person::Mute(hours) => alert.mute("Dana", "", now + Duration::hours(hours), now),
        Person::Close => alert.close("Dana", "done", now),
    };
    done.ok().map(|()| alert.number)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    #[test]
    fn whatever_happens(rounds in prop::collection::vec(round(), 1..60)) {
        let policy = Alerts { escalate_to: vec!["director@example.org".into()], ..Alerts::default() };
        let mut now = Utc.with_ymd_and_hms(2026, 3, 1, 0, 0, 0).unwrap();
        let mut alerts: Vec<Alert> = Vec::new();
        let mut keys: BTreeMap<u32, String> = BTreeMap::new();
        for round in &rounds {
            now += Duration::hours(round.hours_on);
            act(&mut alerts, round, now);
            let pass = Pass { now, zone: chrono_tz::UTC, first: false, morning: round.hours_on % 3 == 0, policy: &policy };
            let findings = findings(round, now);
            let before = alerts.clone();
            let outcome = reconcile(alerts, findings.clone(), &[], &Rest::default(), &pass);

            // Every finding has its alert, every alert of before is still there under its number and key.
            for finding in &findings {
                prop_assert_eq!(outcome.alerts.iter().filter(|a| a.key == finding.key()).count(), 1);
            }
            for alert in &outcome.alerts {
                prop_assert_eq!(keys.entry(alert.number).or_insert(alert.key.clone()), &alert.key);
            }
            prop_assert!(before.iter().all(|b| outcome.alert(b.number).is_some()));
            // One decision each; what is not stored has not changed.
            let decided: BTreeSet<u32> = outcome.decisions.iter().map(|d| match d {
                Decision::Say(say) => say.number,
                Decision::Silent { number, .. } => *number,
            }).collect();
            prop_assert_eq!(decided.len(), outcome.alerts.len());
            for old in before.iter().filter(|b| !outcome.changed.contains(&b.number)) {
                prop_assert_eq!(Some(old), outcome.alert(old.number));
            }
            check_states(&outcome, &findings, &pass)?;
            // The same records at the same moment say nothing more and change nothing; only an escalation
            // that was due beside something else goes to its own audience in the next pass.
            let again = reconcile(outcome.alerts, findings.clone(), &[], &Rest::default(), &pass);
            prop_assert!(again.says().all(|s| s.how == How::Escalation));
            let third = reconcile(again.alerts.clone(), findings, &[], &Rest::default(), &pass);
            prop_assert_eq!(third.says().count(), 0);
            prop_assert!(third.changed.is_empty());
            alerts = again.alerts;
        }
    }
}

/// Lets those sleep that may, as a pass does; gives those awake and the others.
fn lay_down(alerts: &[Alert], previous: Option<Instant>) -> (Vec<Alert>, Vec<Alert>) {
    let sleeps = |alert: &&Alert| alert.rests().zip(previous).is_some_and(|(rests, previous)| rests <= previous);
    let (asleep, awake): (Vec<&Alert>, Vec<&Alert>) = alerts.iter().partition(sleeps);
    (awake.into_iter().cloned().collect(), asleep.into_iter().cloned().collect())
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]
    /// A pass that lets alerts sleep does, says and asks what one does that looks at all of them.
    #[test]
    fn sleep_changes_nothing(rounds in prop::collection::vec(round(), 1..60)) {
        let policy = Alerts { escalate_to: vec!["director@example.org".into()], ..Alerts::default() };
        let mut now = Utc.with_ymd_and_hms(2026, 3, 1, 0, 0, 0).unwrap();
        let mut alerts: Vec<Alert> = Vec::new();
        let (mut digests, mut entries) = (Vec::new(), Vec::new());
        for round in &rounds {
            now += Duration::hours(round.hours_on);
            act(&mut alerts, round, now);
            // A log in which entries come and are taken back.
            match round.hours_on % 7 {
                1 | 2 => entries.push(Action {
                    number: round.about as u32 + 1,
                    tail: "N0417H".into(),
                    at: now,
                    text: (round.hours_on % 7 == 1).then(|| "acknowledged".into()),
                    source: crate::records::Source { file: "N0417H/logbook.csv".into(), line: 2 },
                }),
                3 => entries.truncate(entries.len() / 2),
                _ => {}
            }
            let morning = round.hours_on % 3 == 0;
            let pass = Pass { now, zone: chrono_tz::UTC, first: false, morning, policy: &policy };
            let findings = findings(round, now);
            let previous = digests.iter().filter(|at| **at <= now).max().copied();
            let whole = reconcile(alerts.clone(), findings.clone(), &entries, &Rest::default(), &pass);

            let (mut awake, mut sleeping) = lay_down(&alerts, previous);
            let sleeper = |a: &Alert| Sleeper { number: a.number, key: a.key.as_str().into(), gone: a.memory.gone };
            let mut asleep = Asleep::new(sleeping.iter().map(sleeper), alerts.len() as u32);
            let mut left = findings;
            asleep.meet(&mut left);
            let (woken, rest) = asleep.wake(&entries);
            awake.extend(sleeping.extract_if(.., |a| woken.contains(&a.number)));
            let part = reconcile(awake, left, &entries, &rest, &pass);

            prop_assert_eq!(part.says().collect::<Vec<_>>(), whole.says().collect::<Vec<_>>());
            prop_assert_eq!(&part.changed, &whole.changed);
            prop_assert_eq!(&part.unplaced, &whole.unplaced);
            // What digest and page list of closed ones is not asleep either.
            let ended = |a: &Alert| a.memory.ended.or(a.closed.as_ref().map(|c| c.at));
            let listed = |a: &&Alert| a.told.is_some() && ended(a) > previous;
            prop_assert!(!sleeping.iter().any(|a| a.is_live() || (previous.is_some() && listed(&a))));
            let mut together = [part.alerts, sleeping].concat();
            together.sort_by_key(|a| a.number);
            prop_assert_eq!(&together, &whole.alerts);
            if morning {
                digests.push(now);
            }
            alerts = whole.alerts;
        }
    }
}

fn check_states(outcome: &Outcome, findings: &[Finding], pass: &Pass<'_>) -> Result<(), TestCaseError> {
    for alert in &outcome.alerts {
        let finding = findings.iter().find(|f| f.key() == alert.key);
        let unsettled = finding.is_some_and(|f| f.settled.is_none());
        prop_assert_eq!(alert.state == State::Closed, alert.closed.is_some());
        // What the records show unsettled is live unless a person closed it; what they do not show is not.
        let by_person = alert.closed.as_ref().is_some_and(|c| c.by.is_some());
        prop_assert_eq!(alert.is_live(), unsettled && !by_person, "{:?}", alert);
        // A live warning about an engine has been told, or somebody has it in hand.
        if alert.is_live() {
            prop_assert!(alert.told.is_some());
        }
        if alert.state == State::Muted {
            prop_assert!(alert.muted_until.is_some_and(|u| u > pass.now));
        }
        if alert.state == State::Acknowledged {
            prop_assert!(alert.acknowledged.as_ref().is_some_and(|a| a.until.is_some_and(|u| u > pass.now)));
        }
    }
    for say in outcome.says().filter(|s| matches!(s.how, How::AtOnce | How::Escalation)) {
        let alert = outcome.alert(say.number).unwrap();
        prop_assert_eq!((alert.level(), alert.kind().about_records()), (Level::Warning, false));
    }
    Ok(())
}
