//! Sentences about the records: here the log is in doubt, not the engine.

use super::facts::Facts;
use super::numbers;
use crate::judge::{Fact, Kind};

/// The headline, without the engine in front.
pub fn headline(f: &Facts) -> String {
    match f.finding.kind {
        Kind::AdditionNotLogged => addition(f),
        Kind::RefillNotLogged => refill(f),
        Kind::DataSilent => silent(f),
        Kind::HoursDisagree => hours(f),
        Kind::AircraftMissing => missing(f),
        _ => disagree(f),
    }
}

fn addition(f: &Facts) -> String {
    let qt = f.number(&["quarts", "added_qt", "found"]);
    let qt = qt.map_or("an addition".to_owned(), |q| format!("an addition of about {} qt", numbers::plain(q)));
    format!("{qt} before the reading of {} seems not to be logged", day(f))
}

fn refill(f: &Facts) -> String {
    let level = match (f.number(&["expected"]), f.number(&["found", "level_qt"])) {
        (Some(e), Some(l)) => format!(" (level {} qt where {} qt was expected)", numbers::plain(l), numbers::plain(e)),
        _ => String::new(),
    };
    format!("the level jumped on {}{level}: was the oil changed?", day(f))
}

fn day(f: &Facts) -> String {
    f.date(&["at", "date", "since"]).map_or_else(|| f.day(f.near()), |d| f.day(d))
}

fn silent(f: &Facts) -> String {
    let days = f.number(&["days", "silent_days"]);
    let days = days
        .map_or("for some time".to_owned(), |d| format!("for {}", numbers::count(d.floor() as usize, "day", "days")));
    let last = f.date(&["last_record", "last", "since"]);
    let last = last.map_or(String::new(), |d| format!("; last record {}", f.day(d)));
    let what = f.text(&["what"]).map_or(String::new(), |w| format!(" ({w})"));
    format!("nothing new {days}{what}{last}")
}

fn hours(f: &Facts) -> String {
    let line = f.items(&["lines", "line"]).first().map_or(String::new(), |l| format!(" ({l})"));
    match (f.number(&["read_h", "found"]), f.number(&["expected_h", "expected"])) {
        (Some(read), Some(expected)) => {
            let at = f.day(f.near());
            if f.finding.evidence.get("jumped") == Some(&Fact::Flag(true)) && read > expected {
                let more = numbers::hours(read - expected);
                return format!(
                    "by {at} the meter had moved on {more} more than the flights logged{line}: one not logged?"
                );
            }
            format!("meter reading {read:.1} on {at} does not fit, about {expected:.1} expected{line}; set aside")
        }
        _ => match (f.said(&["found"]), f.said(&["expected"])) {
            (Some(found), Some(expected)) => format!("{found}, {expected} expected{line}; set aside"),
            _ => format!("a meter reading does not fit its neighbours{line}; set aside"),
        },
    }
}

fn missing(f: &Facts) -> String {
    let found = f.text(&["found", "what"]).unwrap_or("cannot be read any more");
    if &*f.finding.tail == "fleet" { found.to_owned() } else { format!("the aircraft's folder: {found}") }
}

fn disagree(f: &Facts) -> String {
    let line = f.items(&["lines", "line", "file"]).first().map_or(String::new(), |l| format!("{l}: "));
    match (f.said(&["found", "what"]), f.said(&["expected"])) {
        (Some(found), Some(expected)) => format!("{line}{found}, expected {expected}"),
        (Some(found), None) => format!("{line}{found}"),
        _ if f.finding.kind == Kind::FileRejected => format!("{line}a file or row could not be read"),
        _ => format!("{line}records that do not fit one another"),
    }
}
