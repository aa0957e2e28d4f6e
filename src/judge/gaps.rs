//! Questions about the records: silence, readings that disagree, entries that do not fit.
//!
//! Told apart from engine findings: here the log is in doubt, not the engine. Silence must never
//! look like health, so an aircraft nothing is heard of is said aloud.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use chrono::TimeDelta;

use super::{Evidence, Finding, Kind, Settled};
use crate::config::Rules;
use crate::engine::{AircraftHistory, Query};
use crate::records::{Instant, Rejection, Source, visible};

fn days(days: f64) -> TimeDelta {
    TimeDelta::minutes((days * 1440.0) as i64)
}

/// Silences longer than the rules allow, past and present.
pub fn silent(aircraft: &AircraftHistory, rules: &Rules, as_of: Instant) -> Vec<Finding> {
    let allowed = days(rules.records.silent_days);
    let now = aircraft.heard.last().map(|&last| (last, None));
    let past = aircraft.heard.windows(2).map(|w| (w[0], Some(w[1])));
    past.chain(now)
        .filter(|(from, to)| to.unwrap_or(as_of) - *from > allowed)
        .map(|(from, to)| {
            let mut finding =
                about(Kind::DataSilent, &aircraft.tail, from + allowed, format!("since {}", from.format("%Y-%m-%d")));
            let until = to.unwrap_or(as_of);
            finding.size = (until - from).num_minutes() as f64 / 1440.0;
            finding.settled = to.map(|at| Settled { at, why: "records arrived again".to_owned(), source: None });
            finding.evidence = Evidence::default()
                .with("last_record", from)
                .with("days", finding.size)
                .with("allowed_days", rules.records.silent_days);
            finding
        })
        .collect()
}

/// A question found while the histories were put together, as a finding.
pub fn question(query: &Query, rules: &Rules, as_of: Instant) -> Finding {
    let mut finding = match query {
        Query::HoursDisagree { tail, at, read, expected, jumped, lines } => {
            let mut f = about(Kind::HoursDisagree, tail, *at, format!("at {}", lines_key(lines)));
            f.size = (read - expected).abs();
            f.evidence = Evidence::default()
                .with("found", format!("meter {read:.1}"))
                .with("expected", format!("about {expected:.1} from the flights and readings around it"))
                .with("read_h", *read)
                .with("expected_h", *expected)
                .with("jumped", *jumped)
                .with("lines", lines.clone());
            f
        }
        Query::UnknownPosition { tail, at, position, known, source } => {
            let mut f = about(Kind::RecordsConflict, tail, *at, format!("position at {source}"));
            let known: Vec<&str> = known.iter().map(|p| &**p).collect();
            let expected = if known.is_empty() { "no position".to_owned() } else { known.join(" or ") };
            f.evidence = said(format!("engine position \"{position}\""), expected, source);
            f
        }
        Query::SerialTwice { serial, at, places, lines } => {
            let mut f = about(Kind::RecordsConflict, serial, *at, format!("serial {serial} twice"));
            f.tail = places.first().and_then(|p| p.split(' ').next()).unwrap_or("").into();
            f.serial = Some(serial.clone());
            f.evidence = Evidence::default()
                .with("found", format!("engine {serial} in {}", places.join(" and in ")))
                .with("expected", "each serial in one place; the second is left out until this is mended")
                .with("lines", lines.clone());
            f
        }
        Query::UnknownModel { tail, serial, model, source } => {
            let mut f = about(Kind::RecordsConflict, tail, as_of, format!("model of {serial}"));
            f.serial = Some(serial.clone());
            f.evidence = said(
                format!("engine model \"{model}\" of {serial}"),
                "a name from the engine models file".to_owned(),
                source,
            );
            f
        }
        Query::RecorderClock { tail, at, since, ahead_h, agree, until, lines } => {
            let mut f = about(Kind::RecordsConflict, tail, *at, format!("recorder clock {}", lines_key(lines)));
            let way = if *ahead_h > 0 { "ahead of" } else { "behind" };
            let hours = ahead_h.abs();
            f.evidence = Evidence::default()
                .with("found", format!("the recorder's clock {hours} h {way} the logbook, {agree} flights agree"))
                .with(
                    "expected",
                    "the recorder set to the fleet's time, or its zone said in the layout (time.zone); \
                     the flights are joined all the same",
                )
                .with("since", *since)
                .with("ahead_h", *ahead_h as f64)
                .with("lines", lines.clone());
            f.settled = until.as_ref().map(|(at, source)| Settled {
                at: *at,
                why: "the recorder's clock fits the logbook again".to_owned(),
                source: Some(source.clone()),
            });
            f
        }
        Query::Incomplete { tail, at, what, expected, source } => {
            let mut f = about(Kind::RecordsConflict, tail, *at, format!("entry at {source}"));
            f.evidence = said(what.clone(), expected.clone(), source);
            f
        }
    };
    let fades = finding.raised + days(rules.records.event_days);
    if finding.kind == Kind::HoursDisagree && fades <= as_of {
        finding.settled = Some(Settled { at: fades, why: "set aside; no longer shown".to_owned(), source: None });
    }
    finding
}

/// Files with rows that could not be read, one finding for each however many rows it concerns.
/// `changed` gives a file's time of modification, where it is known.
pub fn rejected(rejections: &[Rejection], changed: impl Fn(&str) -> Option<Instant>, as_of: Instant) -> Vec<Finding> {
    let mut by_file: BTreeMap<&Arc<str>, Vec<&Rejection>> = BTreeMap::new();
    for rejection in rejections {
        by_file.entry(&rejection.source.file).or_default().push(rejection);
    }
    let told = by_file.into_iter().map(|(file, list)| {
        let tail: Arc<str> = file.split('/').next().unwrap_or("").into();
        let raised = changed(file).unwrap_or(as_of).min(as_of);
        let mut finding = about(Kind::FileRejected, &tail, raised, file.to_string());
        finding.size = list.len() as f64;
        finding.evidence = Evidence::default()
            .with("found", visible(&list[0].found))
            .with("expected", list[0].expected.clone())
            .with("rows", list.len() as f64)
            .with("whole_file", list.iter().any(|r| r.whole_file))
            .with("lines", list.iter().map(|r| r.source.clone()).take(12).collect::<Vec<_>>());
        finding
    });
    told.collect()
}

/// Known aircraft whose folder is gone. All of them at once is one question about the share, not one
/// for each aircraft. `unanswered`: why the fleet folder itself could not be read, if so.
pub fn missing(missing: &BTreeSet<String>, known: usize, unanswered: Option<&str>, as_of: Instant) -> Vec<Finding> {
    let expected = "the folder as before; what is known is kept";
    let all = unanswered.is_some() || (missing.len() == known && known > 1);
    if all && known > 0 {
        let found = unanswered.map_or_else(
            || "the fleet folder is there, but no aircraft is in it".to_owned(),
            |why| format!("the fleet folder does not answer ({why})"),
        );
        let mut finding = about(Kind::AircraftMissing, &"fleet".into(), as_of, "folder".to_owned());
        finding.evidence = Evidence::default().with("found", found).with("expected", expected);
        return vec![finding];
    }
    let one = |tail: &String| {
        let mut finding = about(Kind::AircraftMissing, &tail.as_str().into(), as_of, "folder".to_owned());
        finding.evidence =
            Evidence::default().with("found", "its folder or aircraft.toml is gone").with("expected", expected);
        finding
    };
    missing.iter().map(one).collect()
}

fn lines_key(lines: &[Source]) -> String {
    lines.first().map(ToString::to_string).unwrap_or_default()
}

fn said(found: String, expected: String, source: &Source) -> Evidence {
    Evidence::default().with("found", found).with("expected", expected).with("lines", vec![source.clone()])
}

fn about(kind: Kind, tail: &Arc<str>, raised: Instant, subject: String) -> Finding {
    Finding {
        kind,
        level: kind.usual_level(),
        tail: tail.clone(),
        position: None,
        serial: None,
        subject,
        raised,
        hours: None,
        settled: None,
        size: 1.0,
        evidence: Evidence::default(),
    }
}
