//! The letter of `cowlwatch mail-test`.

use chrono_tz::Tz;

use crate::records::Instant;
use crate::report::Letter;

/// One pixel, to see whether the reader shows pictures inside a letter (PNG, W3C 2003, 1 × 1 grey).
const DOT: [u8; 67] = [
    0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a, 0x00, 0x00, 0x00, 0x0d, 0x49, 0x48, 0x44, 0x52, 0x00, 0x00, 0x00,
    0x01, 0x00, 0x00, 0x00, 0x01, 0x08, 0x00, 0x00, 0x00, 0x00, 0x3a, 0x7e, 0x9b, 0x55, 0x00, 0x00, 0x00, 0x0a, 0x49,
    0x44, 0x41, 0x54, 0x78, 0x9c, 0x63, 0x68, 0x00, 0x00, 0x00, 0x82, 0x00, 0x81, 0x77, 0xcd, 0x72, 0xb6, 0x00, 0x00,
    0x00, 0x00, 0x49, 0x45, 0x4e, 0x44, 0xae, 0x42, 0x60, 0x82,
];

/// A test message: nothing in it is about an engine.
pub fn trial(operator: Option<&str>, now: Instant, zone: Tz) -> Letter {
    let when = now.with_timezone(&zone).format("%Y-%m-%d %H:%M %Z");
    let whose = operator.map_or(String::new(), |o| format!(" of {o}"));
    let said = format!(
        "This is a test message from cowlwatch{whose}, sent {when}. Letters about engines will come the same way.\n\
         Nothing is to be done about it."
    );
    let html = crate::report::html::escape(&said).replace('\n', "<br>");
    Letter {
        subject: "cowlwatch: test message".to_owned(),
        text: format!("{said}\n"),
        html: format!(
            "<!doctype html><html><body><p>{html}</p><img src=\"cid:dot\" alt=\"\" width=\"1\" height=\"1\"></body></html>\n"
        ),
        pictures: vec![("dot".to_owned(), DOT.to_vec(), String::new())],
    }
}
