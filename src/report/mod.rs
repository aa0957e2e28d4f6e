//! Words and pictures for people: digest, letters, charts, page. Data in, text or bytes out.
//!
//! The only place with words for people; everything here is pure and takes the moment as an argument.

pub mod break_in_sheet;
pub mod charts;
pub mod compare;
pub mod digest;
pub mod html;
pub mod json;
pub mod letters;
pub mod metrics;
pub mod page;
pub mod status;
pub mod text;
pub mod thresholds;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;

pub use digest::digest;

use crate::alerts::Alert;
use crate::judge::EngineView;
use crate::records::{Instant, Rejection};

/// What is known of the mail waiting to go out.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Undelivered {
    pub letters: u32,
    pub oldest: Option<Instant>,
    /// The last refusal, as the server worded it.
    pub last_error: Option<String>,
}

/// One aircraft's freshness, for the line "11 engines reported, 1 silent".
#[derive(Clone, Debug, PartialEq)]
pub struct Freshness {
    pub tail: std::sync::Arc<str>,
    pub last_record: Option<Instant>,
    /// Nothing new for longer than `records.silent_days`.
    pub silent: bool,
    /// The folder cannot be read.
    pub missing: bool,
}

/// Everything a digest or the page is made of.
#[derive(Clone, Debug)]
pub struct Morning {
    pub operator: Option<String>,
    pub zone: chrono_tz::Tz,
    pub as_of: Instant,
    /// Number of this digest, counted from 1 without gaps.
    pub sequence: u32,
    /// When the digest before this one was made.
    pub previous: Option<Instant>,
    /// Open, acknowledged and muted alerts, and those closed since `previous`.
    pub alerts: Vec<Alert>,
    pub engines: Vec<EngineView>,
    pub aircraft: Vec<Freshness>,
    /// Rows and files that could not be read, not yet mended.
    pub rejections: Vec<Rejection>,
    pub undelivered: Undelivered,
    /// True on the first pass over a fleet: one summary of the past instead of a flood.
    pub first: bool,
}

/// A letter ready to be addressed.
#[derive(Clone, Debug, PartialEq)]
pub struct Letter {
    pub subject: String,
    pub text: String,
    pub html: String,
    /// Inline pictures: (content id, PNG bytes, alternative text).
    pub pictures: Vec<(String, Vec<u8>, String)>,
}
