//! The words: one headline per finding, and the paragraphs that explain an alert.
//!
//! Facts come before opinion, and every number with its unit and clock. One file per family of
//! findings; [`checks`] holds what to look at first. Evidence nobody wrote a sentence for is still
//! told, by its name.

mod break_in;
mod brief;
pub mod checks;
mod consumption;
mod explain;
pub mod facts;
pub mod numbers;
mod oil;
mod others;
mod otherwise;
mod records;
mod running;

use chrono_tz::Tz;

use crate::judge::{EnginePhase, EngineView, Finding, Kind, Level};
use facts::Facts;

pub use brief::{brief, engine_of};
pub(in crate::report) use explain::capital;
pub use explain::{Paragraph, explain, identity, state_words};
pub use otherwise::otherwise;

/// The caution every mail and page carries.
pub const CAUTION: &str = "Advisory only, computed from records and recordings that may be wrong or missing. It does not \
    determine airworthiness. Follow the aircraft and engine makers' current instructions, airworthiness directives and \
    your approved programme. An authorised person inspects, decides and returns to service. These files are not \
    maintenance records in the legal sense. No alert means that nothing was computed, not that an engine is good.";

/// The sentence that goes with a rise together with metal or falling oil pressure.
pub const DO_NOT_FLY: &str = "Recommended: do not fly until inspected.";

/// How to acknowledge, for the foot of a mail.
pub const HOW_TO_ANSWER: [&str; 2] = [
    "cowlwatch acknowledge NUMBER --by NAME --note \"…\"",
    "or an `action` row in the logbook, the alert's number in `result`, the words in `remarks`.",
];

/// One sentence: what changed, both numbers, the clock, since when. On a twin it names the engine.
pub fn headline(finding: &Finding, zone: Tz) -> String {
    let named = finding.serial.is_some() || !finding.kind.about_records();
    let engine = if named { (Facts { finding, zone }).engine() } else { String::new() };
    format!("{engine}{}", sentence(finding, zone))
}

/// [`headline`] without the engine, for where its place stands beside it.
pub fn sentence(finding: &Finding, zone: Tz) -> String {
    let f = Facts { finding, zone };
    match finding.kind {
        Kind::OilRateRise
        | Kind::OilRateFall
        | Kind::OilRateCeiling
        | Kind::OilRateCreep
        | Kind::OilEndurance
        | Kind::EnginesDiverged
        | Kind::OilGradeChanged => consumption::headline(&f),
        Kind::OilChangeDue | Kind::OilChangeOverdue | Kind::FilterNotInspected | Kind::MetalFound | Kind::OilWrong => {
            oil::headline(&f)
        }
        Kind::GroundRunLong
        | Kind::FirstRunLong
        | Kind::TakeoffRpm
        | Kind::ManifoldHigh
        | Kind::ChtHigh
        | Kind::OilTempHigh
        | Kind::OilPressureFalling
        | Kind::CoolingFast
        | Kind::PowerStepLarge
        | Kind::BreakInPower
        | Kind::BreakInProfile => running::headline(&f),
        Kind::BreakInStabilised => break_in::headline(&f),
        Kind::AdditionNotLogged
        | Kind::RefillNotLogged
        | Kind::DataSilent
        | Kind::HoursDisagree
        | Kind::FileRejected
        | Kind::AircraftMissing
        | Kind::RecordsConflict => records::headline(&f),
    }
}

/// Where an engine stands: `break-in 11.0 h`, `learning`, `watched`.
pub fn phase(e: &EngineView) -> String {
    match (e.phase, e.hours_since_build) {
        (EnginePhase::BreakIn, Some(h)) => format!("break-in {h:.1} h"),
        (EnginePhase::BreakIn, None) => "break-in".to_owned(),
        (EnginePhase::Learning, _) => "learning".to_owned(),
        (EnginePhase::Watched, _) => "watched".to_owned(),
    }
}

/// What a level asks for: `before the next flight`, `soon`, `for information`.
pub fn urgency(level: Level) -> &'static str {
    match level {
        Level::Warning => "before the next flight",
        Level::Caution => "soon",
        Level::Advisory => "for information",
    }
}

/// A level told by shape, so that colour is never needed: triangle, diamond, circle.
pub fn shape(level: Level) -> &'static str {
    match level {
        Level::Warning => "▲",
        Level::Caution => "◆",
        Level::Advisory => "○",
    }
}

/// `N0417H left`, or the tail alone where it has one engine.
pub fn place(tail: &str, position: Option<&str>) -> String {
    position.filter(|p| !p.is_empty()).map_or_else(|| tail.to_owned(), |p| format!("{tail} {p}"))
}

#[cfg(test)]
mod tests;
