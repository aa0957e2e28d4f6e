//! Words and pictures for people: digest, letters, charts, page. Data in, text or bytes out.
//!
//! The only place with words for people; everything here is pure and takes the moment as an argument.

pub mod alert;
pub mod break_in_sheet;
pub mod charts;
pub mod compare;
pub mod digest;
pub mod html;
pub mod json;
pub mod letters;
pub mod metrics;
pub mod page;
pub mod plot;
pub mod status;
pub mod text;
pub mod thresholds;
pub mod words;

#[cfg(test)]
pub(crate) mod sample;

pub use digest::digest;

use crate::alerts::Alert;
use std::sync::Arc;

use crate::judge::{EngineView, RunLimits};
use crate::records::monitor::Strip;
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
    pub tail: Arc<str>,
    pub last_record: Option<Instant>,
    /// Nothing new for longer than `records.silent_days`.
    pub silent: bool,
    /// The folder cannot be read.
    pub missing: bool,
    /// Its aircraft.toml or a log, read before, cannot be read now.
    pub spoilt: bool,
}

/// A recorded run to be drawn.
#[derive(Clone, Debug, PartialEq)]
pub struct RunPicture {
    pub serial: Arc<str>,
    pub tail: Arc<str>,
    pub position: Option<Arc<str>>,
    /// The recording its first sample stands in.
    pub file: Arc<str>,
    /// The run's pieces in order of time: a recorder may have gone on in another file.
    pub parts: Vec<Strip>,
    pub limits: RunLimits,
    /// It is the engine's latest recorded run.
    pub latest: bool,
    /// Alerts that are about it.
    pub alerts: Vec<u32>,
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
    /// Answers to alerts in the logs that could not be carried out.
    pub unplaced: Vec<Rejection>,
    /// Recorded runs to be drawn: the latest of each engine, and those that live alerts are about.
    pub pictures: Vec<RunPicture>,
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

impl Letter {
    /// The HTML part as one file: pictures inside it (RFC 2397) instead of beside it.
    pub fn standalone_html(&self) -> String {
        let mut html = self.html.clone();
        for (id, bytes, _) in &self.pictures {
            html = html.replace(&format!("cid:{id}\""), &format!("data:image/png;base64,{}\"", base64(bytes)));
        }
        html
    }
}

/// Base64 of RFC 4648 section 4.
fn base64(bytes: &[u8]) -> String {
    const SIGNS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut out = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for chunk in bytes.chunks(3) {
        let word = chunk.iter().fold(0u32, |w, &b| w << 8 | u32::from(b)) << (8 * (3 - chunk.len()));
        for place in 0..4 {
            let sign = if place > chunk.len() { '=' } else { SIGNS[(word >> (18 - 6 * place) & 63) as usize] as char };
            out.push(sign);
        }
    }
    out
}

#[cfg(test)]
mod base64_tests {
    /// The test vectors of RFC 4648 section 10.
    #[test]
    fn base64_follows_rfc_4648() {
        for (plain, coded) in [
            ("", ""),
            ("f", "Zg=="),
            ("fo", "Zm8="),
            ("foo", "Zm9v"),
            ("foob", "Zm9vYg=="),
            ("fooba", "Zm9vYmE="),
            ("foobar", "Zm9vYmFy"),
        ] {
            assert_eq!(super::base64(plain.as_bytes()), coded);
        }
    }
}
