#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use chrono::{Duration, NaiveTime, TimeZone, Utc};

use super::reconcile::WITHDRAWN;
use super::*;
use crate::config::meant::Alerts;
use crate::judge::{Evidence, Settled};
use crate::records::Source;

const ZONE: chrono_tz::Tz = chrono_tz::America::Denver;

fn at(day: u32, hour: u32) -> Instant {
    Utc.with_ymd_and_hms(2026, 3, 1, hour, 0, 0).unwrap() + Duration::days(i64::from(day) - 1)
}

fn finding(kind: Kind, subject: &str, raised: Instant) -> Finding {
    Finding {
        kind,
        level: kind.usual_level(),
        tail: "N0417H".into(),
        position: Some("left".into()),
        serial: Some("H-2207".into()),
        subject: subject.to_owned(),
        raised,
        hours: None,
        settled: None,
        size: 1.0,
        evidence: Evidence::default(),
    }
}

fn rise() -> Finding {
    finding(Kind::OilRateRise, "rise 1", at(1, 1))
}

fn metal() -> Finding {
    finding(Kind::MetalFound, "filter 2026-03-01", at(1, 1))
}

fn sized(finding: Finding, size: f64) -> Finding {
    Finding { size, ..finding }
}

fn levelled(finding: Finding, level: Level) -> Finding {
    Finding { level, ..finding }
}

fn settled(finding: Finding, at: Instant) -> Finding {
    Finding { settled: Some(Settled { at, why: "oil changed".into(), source: None }), ..finding }
}

/// A run of passes with its alerts, as the service has it.
struct Passes {
    alerts: Vec<Alert>,
    policy: Alerts,
    actions: Vec<Action>,
    unplaced: Vec<Unplaced>,
    /// Each pass makes a digest.
    morning: bool,
}

impl Passes {
    fn new() -> Self {
        let (alerts, actions, unplaced) = Default::default();
        Self { alerts, policy: Alerts::default(), actions, unplaced, morning: true }
    }

    fn outcome(&mut self, now: Instant, findings: &[Finding], first: bool) -> Outcome {
        let pass = Pass { now, zone: ZONE, first, morning: self.morning, policy: &self.policy };
        let outcome = reconcile(self.alerts.clone(), findings.to_vec(), &self.actions, &Rest::default(), &pass);
        self.alerts = outcome.alerts.clone();
        self.unplaced = outcome.unplaced.clone();
        outcome
    }

    /// What is said, in short.
    fn pass(&mut self, now: Instant, findings: &[Finding]) -> Vec<(u32, Why, How)> {
        self.outcome(now, findings, false).says().map(|s| (s.number, s.why, s.how)).collect()
    }

    fn state(&self, number: u32) -> State {
        self.alerts.iter().find(|a| a.number == number).unwrap().state
    }

    fn get(&mut self, number: u32) -> &mut Alert {
        self.alerts.iter_mut().find(|a| a.number == number).unwrap()
    }
}

#[test]
fn a_warning_goes_at_once_and_the_rest_waits_for_the_morning() {
    let mut passes = Passes::new();
    let silent = levelled(finding(Kind::DataSilent, "silent", at(1, 2)), Level::Warning);
    let said = passes.pass(at(1, 3), &[silent, rise(), metal()]);
    let expected = [(1, Why::Raised, How::AtOnce), (2, Why::Raised, How::Digest), (3, Why::Raised, How::Digest)];
    assert_eq!(said, expected, "raised at the same hour: numbered by identity; records never go singly");
    assert_eq!(passes.pass(at(1, 3), &[rise(), metal()]).len(), 1, "only the closing of the withdrawn one");
}

#[test]
fn the_same_records_say_nothing_twice_and_store_nothing_twice() {
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[rise(), metal()]);
    for minute in 0..50 {
        let outcome = passes.outcome(at(1, 3) + Duration::minutes(minute), &[rise(), metal()], false);
        assert_eq!(outcome.says().count(), 0);
        assert!(outcome.changed.is_empty());
    }
}

#[test]
fn numbers_follow_raised_and_are_never_given_again() {
    let mut passes = Passes::new();
    let late = finding(Kind::ChtHigh, "run b", at(2, 0));
    let early = finding(Kind::ChtHigh, "run a", at(1, 0));
    passes.pass(at(3, 0), &[late.clone(), early.clone()]);
    assert_eq!(passes.alerts.iter().map(|a| &*a.finding.subject).collect::<Vec<_>>(), ["run a", "run b"]);
    passes.pass(at(4, 0), &[]);
    passes.pass(at(5, 0), &[finding(Kind::ChtHigh, "run c", at(5, 0))]);
    assert_eq!(passes.alerts.iter().map(|a| a.number).collect::<Vec<_>>(), [1, 2, 3]);
}

#[test]
fn settled_on_first_sight_is_kept_but_not_mailed() {
    let mut passes = Passes::new();
    let outcome = passes.outcome(at(9, 0), &[settled(metal(), at(2, 0))], false);
    assert_eq!(outcome.decisions, [Decision::Silent { number: 1, because: Silence::SettledOnFirstSight }]);
    let closed = passes.get(1).closed.clone().unwrap();
    assert_eq!((closed.at, closed.by, &*closed.why), (at(2, 0), None, "oil changed"));
}

#[test]
fn a_first_pass_is_one_summary() {
    let mut passes = Passes::new();
    let outcome =
        passes.outcome(at(9, 0), &[rise(), metal(), settled(finding(Kind::ChtHigh, "x", at(1, 0)), at(2, 0))], true);
    assert!(outcome.says().all(|s| s.how == How::Summary));
    assert_eq!(outcome.says().count(), 2);
    assert!(bundles(&outcome).is_empty());
    assert!(passes.pass(at(9, 1), &[rise(), metal()]).is_empty());
}

#[test]
fn growth_by_a_quarter_speaks_and_less_does_not() {
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[sized(metal(), 2.0)]);
    assert!(passes.pass(at(1, 4), &[sized(metal(), 2.49)]).is_empty());
    assert_eq!(passes.pass(at(1, 5), &[sized(metal(), 2.5)]), [(1, Why::Grew { from: 2.0, to: 2.5 }, How::AtOnce)]);
    assert!(passes.pass(at(1, 6), &[sized(metal(), 3.1)]).is_empty(), "measured on what was told");
    assert!(passes.pass(at(1, 7), &[sized(metal(), 2.0)]).is_empty());
    assert!(passes.pass(at(1, 8), &[sized(metal(), 2.6)]).is_empty(), "shrinking and growing back is no news");
}

#[test]
fn a_change_of_level_speaks_up_at_once_and_down_in_the_morning() {
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[rise()]);
    let up = Why::LevelRose { from: Level::Caution, to: Level::Warning };
    let down = Why::LevelFell { from: Level::Warning, to: Level::Caution };
    assert_eq!(passes.pass(at(1, 4), &[levelled(rise(), Level::Warning)]), [(1, up, How::AtOnce)]);
    assert_eq!(passes.pass(at(1, 5), &[rise()]), [(1, down, How::Digest)]);
    // To and fro within a day sends no further single mail.
    assert_eq!(passes.pass(at(1, 6), &[levelled(rise(), Level::Warning)]), [(1, up, How::Digest)]);
    passes.pass(at(1, 7), &[rise()]);
    assert_eq!(passes.pass(at(3, 7), &[levelled(rise(), Level::Warning)]), [(1, up, How::AtOnce)]);
}

#[test]
fn reminders_thin_out() {
    let mut passes = Passes::new();
    passes.pass(at(1, 12), &[rise()]);
    let mut days = Vec::new();
    for day in 2..40 {
        for (_, why, how) in passes.pass(at(day, 12), &[rise()]) {
            assert_eq!((how, why), (How::Digest, Why::Reminder { nth: u32::try_from(days.len()).unwrap() + 1 }));
            days.push(day);
        }
    }
    // Default 1, 2, 4, 7 days between, the last one again and again.
    assert_eq!(days, [2, 4, 8, 15, 22, 29, 36]);
}

/// Raised at 18:00, told in the digest of the next morning at 06:30; judged every ten minutes as the service does,
/// the digest some seconds earlier or later each day, and an hour earlier from 8 March on (Denver).
#[test]
fn reminders_come_with_the_morning_they_are_for() {
    let mut passes = Passes::new();
    passes.morning = false;
    passes.pass(at(2, 1), &[rise()]);
    let mut days = Vec::new();
    for day in 2..40 {
        let digest = at(day, if day < 8 { 13 } else { 12 }) + Duration::seconds(i64::from(day * 7919 % 60));
        passes.morning = true;
        days.extend(passes.pass(digest, &[rise()]).iter().map(|s| (day, s.1)));
        passes.morning = false;
        for minutes in (10..1420).step_by(30) {
            assert_eq!(passes.pass(digest + Duration::minutes(minutes), &[rise()]), []);
        }
    }
    // The digest of the 2nd told it as new: 1, 2, 4, 7, 7 … days from there.
    let expected = [3, 5, 9, 16, 23, 30, 37].into_iter().zip(1..).map(|(day, nth)| (day, Why::Reminder { nth }));
    assert_eq!(days, expected.collect::<Vec<_>>());
}

/// A false rise to 2.2 times the baseline was told and left open; the real doubling comes on top of what
/// the engine truly used, so the size told is never passed.
#[test]
fn a_further_change_speaks_though_the_size_told_was_larger() {
    let again = |size: f64, day: u32| Finding {
        evidence: Evidence::default().with("changed_again", at(day, 0)),
        ..sized(rise(), size)
    };
    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[sized(rise(), 2.2)]);
    assert_eq!(passes.pass(at(5, 0), &[again(2.0, 4)]), [(1, Why::ChangedAgain, How::Digest)]);
    assert_eq!(passes.pass(at(5, 1), &[again(2.0, 4)]), [], "told once");
    // Measured on what was told last: 2.0, so 2.5 has grown by a quarter.
    assert_eq!(passes.pass(at(5, 2), &[again(2.5, 4)]), [(1, Why::Grew { from: 2.0, to: 2.5 }, How::Digest)]);
    // Half way back is no news; one more rise after it is, and an acknowledgement does not cover it.
    assert_eq!(passes.pass(at(5, 3), &[again(1.6, 5)]), []);
    passes.get(1).acknowledge("Dana", "", None, at(5, 4)).unwrap();
    assert_eq!(passes.pass(at(5, 5), &[again(1.6, 5)]), []);
    assert_eq!(passes.pass(at(6, 0), &[again(1.7, 6)]), [(1, Why::ChangedAgain, How::Digest)]);
    assert_eq!(passes.state(1), State::Open);
}

#[test]
fn reminders_do_not_hide_slow_growth() {
    let mut passes = Passes::new();
    passes.pass(at(1, 12), &[sized(rise(), 1.0)]);
    let mut grew = Vec::new();
    for day in 2..30 {
        let size = 1.0 + 0.02 * f64::from(day - 1);
        grew.extend(passes.pass(at(day, 12), &[sized(rise(), size)]).iter().filter_map(|s| match s.1 {
            Why::Grew { from, .. } => Some((day, from)),
            _ => None,
        }));
    }
    // 1 → 1.26 on the 14th (1.25 misses by rounding at most a day), measured on 1.0 in spite of the reminders between.
    assert!(matches!(grew.first(), Some((13..=15, from)) if (*from - 1.0).abs() < 1e-9), "{grew:?}");
}

#[test]
fn a_withdrawn_record_closes_its_alert() {
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[rise()]);
    assert_eq!(passes.pass(at(1, 4), &[]), [(1, Why::Closed, How::Digest)]);
    let closed = passes.get(1).closed.clone().unwrap();
    assert_eq!((closed.at, closed.by, &*closed.why), (at(1, 4), None, WITHDRAWN));
    assert!(passes.pass(at(1, 5), &[]).is_empty());
}

#[test]
fn a_corrected_record_keeps_its_alert() {
    let mut passes = Passes::new();
    passes.pass(at(5, 0), &[finding(Kind::MetalFound, "filter 2026-03-04", at(4, 0))]);
    passes.get(1).acknowledge("Dana", "sent to the laboratory", None, at(5, 1)).unwrap();
    // The date was mis-keyed: another subject, the same matter.
    assert!(passes.pass(at(5, 2), &[finding(Kind::MetalFound, "filter 2026-03-03", at(3, 0))]).is_empty());
    assert_eq!((passes.alerts.len(), passes.state(1)), (1, State::Acknowledged));
    assert_eq!(passes.alerts[0].key, "metal-found|H-2207|filter 2026-03-03");
}

#[test]
fn another_kind_engine_or_a_later_event_is_not_a_correction() {
    for (new, expected) in [
        (finding(Kind::MetalFound, "filter 2026-03-06", at(6, 0)), "later than first sight"),
        (Finding { serial: Some("H-2208".into()), ..finding(Kind::MetalFound, "b", at(3, 0)) }, "another engine"),
        (finding(Kind::OilWrong, "b", at(3, 0)), "another kind"),
    ] {
        let mut passes = Passes::new();
        passes.pass(at(5, 0), &[finding(Kind::MetalFound, "filter 2026-03-04", at(4, 0))]);
        let said = passes.pass(at(6, 1), &[new]);
        assert_eq!(
            said.iter().map(|s| (s.0, s.1)).collect::<Vec<_>>(),
            [(1, Why::Closed), (2, Why::Raised)],
            "{expected}"
        );
    }
}

#[test]
fn a_value_about_its_limit_does_not_nag() {
    for (first, quiet_h, how) in [(metal(), 24, How::AtOnce), (rise(), 7 * 24, How::Digest)] {
        let mut passes = Passes::new();
        passes.pass(at(1, 0), std::slice::from_ref(&first));
        for hour in 1..quiet_h {
            let now = at(1, 0) + Duration::hours(hour);
            let findings = if hour % 2 == 0 { vec![first.clone()] } else { vec![settled(first.clone(), now)] };
            for (_, why, how) in passes.pass(now, &findings) {
                assert!(
                    matches!(why, Why::Closed | Why::Reminder { .. }) && how == How::Digest,
                    "{hour} h: {why:?} {how:?}"
                );
            }
        }
        assert_eq!(passes.alerts.len(), 1);
        // Long after it was last told, it is news again.
        let later = at(20, 1);
        assert!(
            passes.state(1) == State::Closed || passes.pass(at(20, 0), &[settled(first.clone(), at(20, 0))]).len() == 1
        );
        assert_eq!(passes.pass(later, &[first]), [(1, Why::Reopened, how)]);
    }
}

#[test]
fn coming_back_larger_is_told() {
    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[sized(metal(), 1.0)]);
    passes.pass(at(1, 1), &[settled(metal(), at(1, 1))]);
    assert_eq!(passes.pass(at(1, 2), &[sized(metal(), 2.0)]), [(1, Why::Grew { from: 1.0, to: 2.0 }, How::AtOnce)]);
}

#[test]
fn acknowledged_is_quiet_until_its_end_or_growth() {
    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[metal()]);
    passes.get(1).acknowledge("Dana", "borescope booked", Some(at(10, 0)), at(1, 1)).unwrap();
    for day in 2..10 {
        let outcome = passes.outcome(at(day, 0), &[metal()], false);
        let because = Silence::Acknowledged { until: Some(at(10, 0)) };
        assert_eq!(outcome.decisions, [Decision::Silent { number: 1, because }]);
    }
    assert_eq!(passes.pass(at(10, 0), &[metal()]), [(1, Why::AcknowledgementRanOut, How::AtOnce)]);
    assert_eq!(passes.state(1), State::Open);
    assert!(passes.pass(at(10, 1), &[metal()]).is_empty());

    passes.get(1).acknowledge("Dana", "", None, at(11, 0)).unwrap();
    assert!(passes.pass(at(40, 0), &[metal()]).is_empty());
    assert_eq!(passes.pass(at(41, 0), &[sized(metal(), 1.25)]).len(), 1);
}

#[test]
fn muted_is_quiet_until_its_end_unless_it_becomes_a_warning() {
    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[rise()]);
    passes.get(1).mute("Dana", "known", at(20, 0), at(1, 1)).unwrap();
    assert!(passes.pass(at(5, 0), &[sized(rise(), 9.0)]).is_empty(), "growth does not break a mute");
    let up = Why::LevelRose { from: Level::Caution, to: Level::Warning };
    assert_eq!(passes.pass(at(6, 0), &[levelled(rise(), Level::Warning)]), [(1, up, How::AtOnce)]);

    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[rise()]);
    passes.get(1).mute("Dana", "known", at(20, 0), at(1, 1)).unwrap();
    assert!(passes.pass(at(19, 23), &[rise()]).is_empty());
    assert_eq!(passes.pass(at(20, 0), &[rise()]), [(1, Why::MuteRanOut, How::Digest)]);
}

#[test]
fn closed_by_a_person_stays_closed_unless_it_grows() {
    let mut passes = Passes::new();
    passes.pass(at(1, 0), &[sized(rise(), 2.0)]);
    passes.get(1).close("Dana", "gasket replaced", at(1, 1)).unwrap();
    assert_eq!(closings(&passes.alerts), [Closing { key: rise().key(), at: at(1, 1) }]);
    for (day, findings) in [(2, vec![sized(rise(), 2.4)]), (30, vec![]), (31, vec![sized(rise(), 2.4)])] {
        assert!(passes.pass(at(day, 0), &findings).is_empty());
        assert_eq!(passes.state(1), State::Closed);
    }
    assert_eq!(passes.pass(at(32, 0), &[sized(rise(), 2.5)]), [(1, Why::Grew { from: 2.0, to: 2.5 }, How::Digest)]);
    assert_eq!(passes.state(1), State::Open);
    assert!(closings(&passes.alerts).is_empty());
}

#[test]
fn people_must_say_who_and_why_and_until_when() {
    let mut alert = Alert::new(4, rise(), at(1, 0));
    assert_eq!(alert.acknowledge(" ", "", None, at(1, 1)), Err(Refused::NoName));
    assert_eq!(alert.acknowledge("Dana", "", Some(at(1, 1)), at(1, 1)), Err(Refused::EndPassed(at(1, 1))));
    assert_eq!(alert.mute("Dana", "", at(1, 0), at(1, 1)), Err(Refused::EndPassed(at(1, 0))));
    assert_eq!(alert.mute("Dana", "", at(400, 0), at(1, 1)), Err(Refused::TooLong));
    assert_eq!(alert.close("Dana", " ", at(1, 1)), Err(Refused::NoReason));
    assert_eq!(alert.close("Dana", "done", at(1, 1)), Ok(()));
    assert_eq!(alert.mute("Dana", "", at(9, 0), at(1, 2)), Err(Refused::Closed(4)));
    assert_eq!(alert.history.len(), 2, "refusals leave no trace");
}

#[test]
fn quiet_hours_hold_warnings_only_where_told_to() {
    let quiet = Some((NaiveTime::from_hms_opt(20, 0, 0).unwrap(), NaiveTime::from_hms_opt(6, 0, 0).unwrap()));
    // 06:00 UTC on 2 March is 23:00 on the 1st in Denver; quiet ends at 13:00 UTC.
    let mut passes = Passes::new();
    passes.policy.quiet = quiet;
    assert_eq!(passes.pass(at(2, 6), &[metal()]), [(1, Why::Raised, How::AtOnce)]);

    let mut passes = Passes::new();
    passes.policy = Alerts { quiet, warnings_pass: false, ..Alerts::default() };
    let outcome = passes.outcome(at(2, 6), &[metal()], false);
    let because = Silence::QuietHours { until: at(2, 13) };
    assert_eq!(outcome.decisions, [Decision::Silent { number: 1, because }]);
    assert!(passes.pass(at(2, 12), &[metal()]).is_empty());
    assert_eq!(passes.pass(at(2, 13), &[metal()]), [(1, Why::Raised, How::AtOnce)]);

    // Something owed survives the quiet hours too.
    passes.get(1).acknowledge("Dana", "", Some(at(4, 5)), at(2, 14)).unwrap();
    assert!(passes.pass(at(4, 6), &[metal()]).is_empty());
    assert_eq!(passes.pass(at(4, 13), &[metal()]), [(1, Why::AcknowledgementRanOut, How::AtOnce)]);
}

#[test]
fn an_unanswered_warning_escalates_once() {
    let mut passes = Passes::new();
    passes.policy.escalate_to = vec!["director@example.org".into()];
    passes.pass(at(1, 0), &[metal(), rise()]);
    assert!(passes.pass(at(1, 11), &[metal(), rise()]).is_empty());
    let outcome = passes.outcome(at(1, 12), &[metal(), rise()], false);
    let bundle = bundles(&outcome);
    assert_eq!((bundle.len(), bundle[0].audience, bundle[0].says[0].why), (1, Audience::Escalation, Why::Escalated));
    assert!(passes.pass(at(1, 13), &[metal(), rise()]).is_empty());

    let mut passes = Passes::new();
    passes.policy.escalate_to = vec!["director@example.org".into()];
    passes.pass(at(1, 0), &[metal()]);
    passes.get(1).acknowledge("Dana", "", None, at(1, 1)).unwrap();
    assert!(passes.pass(at(1, 20), &[metal()]).is_empty());
}

#[test]
fn one_letter_for_each_aircraft() {
    let mut passes = Passes::new();
    let right = Finding { position: Some("right".into()), serial: Some("H-2208".into()), ..metal() };
    let other = Finding { tail: "N0500A".into(), serial: Some("A-1".into()), ..metal() };
    let low = finding(Kind::OilEndurance, "1", at(1, 2));
    let outcome = passes.outcome(at(1, 3), &[other, low, right, metal(), rise()], false);
    let letters = bundles(&outcome);
    let told: Vec<_> = letters.iter().map(|b| (&*b.tail, b.says.len(), b.level)).collect();
    assert_eq!(told, [("N0417H", 3, Level::Warning), ("N0500A", 1, Level::Warning)]);
}

fn action(number: u32, day: u32, text: &str) -> Action {
    Action {
        number,
        tail: "N0417H".into(),
        at: at(day, 18),
        text: Some(text.into()),
        source: Source { file: "N0417H/logbook.csv".into(), line: 12 },
    }
}

#[test]
fn a_logbook_entry_closes_once_and_taking_it_back_opens_again() {
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[metal()]);
    passes.actions = vec![action(1, 2, "filter cut again, source found")];
    passes.pass(at(2, 19), &[metal()]);
    let closed = passes.get(1).closed.clone().unwrap();
    assert_eq!((closed.at, &*closed.why), (at(2, 18), "filter cut again, source found"));
    assert!(closed.by.unwrap().contains("N0417H/logbook.csv:12"));

    // The row moves: still the same entry. It grows: open again, and the old entry does not close it once more.
    passes.actions[0].source.line = 13;
    assert!(passes.pass(at(2, 20), &[metal()]).is_empty());
    assert_eq!(passes.pass(at(3, 0), &[sized(metal(), 2.0)]).len(), 1);
    assert_eq!(passes.state(1), State::Open);
    assert!(passes.unplaced.is_empty());

    passes.actions = vec![action(1, 4, "done")];
    passes.pass(at(4, 19), &[sized(metal(), 2.0)]);
    assert_eq!(passes.state(1), State::Closed);
    passes.actions.clear();
    assert_eq!(passes.pass(at(6, 0), &[sized(metal(), 2.0)]), [(1, Why::Reopened, How::AtOnce)]);
}

#[test]
fn logbook_entries_acknowledge_and_mute_by_their_first_word() {
    for (text, state) in [
        ("acknowledged until 2026-03-09, parts ordered", State::Acknowledged),
        ("Acknowledge: looking into it", State::Acknowledged),
        ("mute until 2026-03-20", State::Muted),
        // A mute has an end: without one nothing is done.
        ("mute", State::Open),
        ("mute until friday", State::Open),
        ("acknowledged until 9 March", State::Open),
        ("replaced the gasket", State::Closed),
    ] {
        let mut passes = Passes::new();
        passes.pass(at(1, 3), &[rise()]);
        passes.actions = vec![action(1, 1, text)];
        passes.pass(at(2, 0), &[rise()]);
        assert_eq!(passes.state(1), state, "{text}");
    }
    let mut passes = Passes::new();
    passes.pass(at(1, 3), &[rise()]);
    passes.actions = vec![action(1, 1, "mute until 2026-03-09")];
    passes.pass(at(2, 0), &[rise()]);
    // The day itself counts, by local time: quiet until 2026-03-10T00:00−06:00.
    assert!(passes.pass(at(10, 5), &[rise()]).is_empty());
    assert_eq!(passes.pass(at(10, 6), &[rise()]), [(1, Why::MuteRanOut, How::Digest)]);
}

#[test]
fn an_entry_about_the_wrong_alert_does_nothing_and_says_so() {
    let mut passes = Passes::new();
    passes.pass(at(5, 3), &[finding(Kind::OilRateRise, "rise 1", at(5, 1))]);
    passes.actions =
        vec![action(9, 5, "done"), Action { tail: "N0500A".into(), ..action(1, 5, "done") }, action(1, 2, "done")];
    passes.pass(at(6, 0), &[finding(Kind::OilRateRise, "rise 1", at(5, 1))]);
    assert_eq!((passes.state(1), passes.unplaced.len()), (State::Open, 3));
    assert!(passes.unplaced[1].why.contains("alert 1, which is about N0417H"));
}

#[test]
fn a_clock_that_jumps_days_loses_nothing_and_repeats_nothing_singly() {
    let mut passes = Passes::new();
    passes.pass(at(5, 0), &[metal()]);
    for day in [8, 5, 2, 5, 8, 5] {
        for said in passes.pass(at(day, 1), &[metal()]) {
            assert_eq!(said.2, How::Digest, "{said:?}");
        }
    }
    assert_eq!((passes.alerts.len(), passes.state(1)), (1, State::Open));
}

/// A clock that was years ahead for a while must not put off what is due until then.
#[test]
fn a_clock_set_back_from_years_ahead_silences_nothing() {
    let mut passes = Passes::new();
    passes.policy.escalate_to = vec!["director@example.org".into()];
    passes.policy.escalate_after_h = 24.0;
    let ahead = at(1, 3) + Duration::days(1500);
    assert_eq!(passes.pass(ahead, &[metal(), rise()]).len(), 2);
    assert!(passes.pass(at(5, 3), &[metal(), rise()]).is_empty());
    // A day and the first step of the reminders later, as if told on the 5th.
    assert_eq!(passes.pass(at(6, 4), &[metal(), rise()])[0], (1, Why::Escalated, How::Escalation));
    let reminded = (6..20).any(|day| passes.pass(at(day, 4), &[metal(), rise()]).iter().any(|s| s.0 == 2));
    assert!(reminded, "{:?}", passes.get(2).told);
}

/// Alerts are stored as JSON; what comes back must decide as before.
#[test]
fn alerts_survive_being_stored() {
    let mut passes = Passes::new();
    let odd = sized(Finding { evidence: Evidence::default().with("ratio", 0.1 + 0.2), ..rise() }, 1.0 / 3.0);
    passes.pass(at(1, 0), &[odd.clone(), metal()]);
    passes.get(1).acknowledge("Dana", "note", None, at(1, 1)).unwrap();
    let text = serde_json::to_string(&passes.alerts).unwrap();
    let back: Vec<Alert> = serde_json::from_str(&text).unwrap();
    assert_eq!(back, passes.alerts);
    passes.alerts = back;
    assert!(passes.outcome(at(1, 2), &[odd, metal()], false).changed.is_empty());
}

#[test]
fn what_is_settled_and_told_sleeps_and_nothing_else() {
    let mut passes = Passes::new();
    let mut rests = |now, findings: &[Finding]| {
        passes.outcome(now, findings, false).alerts.iter().map(Alert::rests).collect::<Vec<_>>()
    };
    let old = settled(metal(), at(2, 1));
    let over = settled(rise(), at(4, 1));
    assert_eq!(rests(at(2, 6), std::slice::from_ref(&old)), [Some(at(2, 6))], "settled on first sight");
    assert_eq!(rests(at(3, 6), &[old.clone(), rise()]), [Some(at(2, 6)), None], "open");
    assert_eq!(rests(at(4, 6), &[old, over.clone()]), [Some(at(2, 6)), Some(at(4, 6))], "closed by the records");
    assert_eq!(rests(at(5, 6), &[over]), [Some(at(2, 6)), Some(at(4, 6))], "withdrawn");
    assert!(passes.get(1).memory.gone);
    let with = |change: fn(&mut Alert), alert: &Alert| {
        let mut alert = alert.clone();
        change(&mut alert);
        alert.rests()
    };
    let closed = passes.get(2).clone();
    let by_person = |a: &mut Alert| a.closed.as_mut().unwrap().by = Some("Dana".to_owned());
    assert_eq!(with(by_person, &closed), None, "closed by a person: growth may open it");
    assert_eq!(with(|a| a.memory.owed = Some(Why::Reopened), &closed), None, "something is still to be said");
    assert_eq!(with(|a| a.memory.unanswered_since = Some(at(4, 1)), &closed), None, "somebody is waited for");
    assert_eq!(with(|a| a.memory.escalated = Some(at(4, 1)), &closed), None, "and has been passed over");
    let by_entry = |a: &mut Alert| a.memory.closed_by_action = Some("an entry".to_owned());
    assert_eq!(with(by_entry, &closed), None, "that may be taken back");
    assert_eq!(with(|a| a.told.as_mut().unwrap().at = at(6, 6), &closed), Some(at(6, 6)), "told since");
    assert_eq!(with(|a| a.memory.last_single = Some(at(7, 6)), &closed), Some(at(7, 6)), "mailed since");
}

/// Made some at a time, a long past gives the same alerts, numbers and decisions as made all at once.
#[test]
fn a_long_past_seen_for_the_first_time_is_as_if_seen_at_once() {
    let policy = Passes::new().policy;
    let one = |i: u32| {
        // Nine of ten settled; some twice; not in order of time.
        let raised = at(1, 0) + Duration::minutes(i64::from(i * 7919 % 2600));
        let finding = finding(Kind::ChtHigh, &format!("run {}", i % 2550), raised);
        if i.is_multiple_of(10) { finding } else { settled(finding, raised + Duration::hours(1)) }
    };
    let findings: Vec<Finding> = (0..2600).map(one).collect();
    let action = |number: u32, text: &str| Action {
        number,
        tail: "N0417H".into(),
        at: at(8, 0),
        text: Some(text.into()),
        source: Source { file: "N0417H/logbook.csv".into(), line: number },
    };
    let actions: Vec<Action> = [0, 7, 1000, 1001, 1950, 2550, 2551]
        .iter()
        .flat_map(|n| [action(*n, "acknowledged"), action(*n, "cleaned")])
        .collect();
    let pass = Pass { now: at(9, 0), zone: ZONE, first: true, morning: true, policy: &policy };
    let at_once = reconcile(Vec::new(), findings.clone(), &actions, &Rest::default(), &pass);
    let mut stored = Vec::new();
    let outcome = first_sight(findings, &actions, &pass, |some| {
        stored.extend(some.changed().cloned());
        Ok::<_, ()>(())
    })
    .unwrap();
    assert_eq!(stored.len(), 2550);
    assert_eq!(stored, at_once.alerts);
    assert_eq!(outcome.changed, at_once.changed);
    assert_eq!(outcome.decisions, at_once.decisions);
    let refused = |outcome: &Outcome| {
        let mut lines: Vec<String> = outcome.unplaced.iter().map(|u| format!("{} {}", u.source, u.why)).collect();
        lines.sort();
        lines
    };
    assert_eq!(refused(&outcome), refused(&at_once));
    assert!(refused(&outcome).len() >= 4);
    let open = at_once.alerts.iter().filter(|a| a.is_live());
    assert!(outcome.alerts.iter().filter(|a| a.is_live()).eq(open) && outcome.alerts.len() < 300);
}
