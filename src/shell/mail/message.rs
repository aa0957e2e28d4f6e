//! A letter as RFC 5322: plain text and HTML side by side (RFC 2046 multipart/alternative), the
//! pictures inside the HTML part (RFC 2387 multipart/related), so that every reader shows it whole.

use lettre::address::Envelope;
use lettre::message::header::{ContentType, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MultiPart, SinglePart};
use lettre::{Address, Message};

use crate::records::Instant;
use crate::report::Letter;

/// What stands above the letter's text.
#[derive(Clone, Debug)]
pub struct Head<'a> {
    /// `Name <user@example.org>` or the bare address.
    pub from: &'a str,
    pub to: &'a [String],
    pub date: Instant,
    /// Number of the letter's row, and what tells this state from others.
    pub row: u32,
    pub state: &'a str,
}

/// Control characters have no place in a header (a line break there would start another header, or
/// panic inside lettre): they become blanks.
pub fn plain(text: &str) -> String {
    text.chars().map(|c| if c.is_control() { ' ' } else { c }).collect::<String>().trim().to_owned()
}

/// A mailbox as configured.
pub fn mailbox(text: &str) -> Result<Mailbox, String> {
    let text = plain(text);
    text.parse().map_err(|e| format!("mail address \"{text}\": {e}, expected such as maintenance@example.org"))
}

/// The bare address for the envelope.
pub fn bare(text: &str) -> Result<String, String> {
    Ok(mailbox(text)?.email.to_string())
}

/// `<cowlwatch.STATE.ROW@DOMAIN>`: the same for a row however often it is sent.
fn message_id(head: &Head<'_>, from: &Address) -> String {
    format!("<cowlwatch.{}.{}@{}>", head.state, head.row, from.domain())
}

/// Makes the message; returns its Message-ID and its bytes (CRLF lines, 7-bit).
///
/// # Errors
/// An address that cannot be one, named.
pub fn build(letter: &Letter, head: &Head<'_>) -> Result<(String, Vec<u8>), String> {
    let from = mailbox(head.from)?;
    let id = message_id(head, &from.email);
    let mut builder = Message::builder()
        .from(from.clone())
        .subject(plain(&letter.subject))
        .message_id(Some(id.clone()))
        .date(head.date.into())
        // RFC 3834: no holiday replies to a machine.
        .raw_header(HeaderValue::new(HeaderName::new_from_ascii_str("Auto-Submitted"), "auto-generated".to_owned()));
    let mut addresses = Vec::new();
    for to in head.to {
        let to = mailbox(to)?;
        addresses.push(to.email.clone());
        builder = builder.to(to);
    }
    let envelope = Envelope::new(Some(from.email), addresses).map_err(|e| e.to_string())?;
    let message = builder.envelope(envelope).multipart(body(letter)?).map_err(|e| e.to_string())?;
    Ok((id, message.formatted()))
}

fn body(letter: &Letter) -> Result<MultiPart, String> {
    let text = SinglePart::plain(letter.text.clone());
    let html = SinglePart::html(letter.html.clone());
    let alternative = MultiPart::alternative().singlepart(text);
    if letter.pictures.is_empty() {
        return Ok(alternative.singlepart(html));
    }
    let png = ContentType::parse("image/png").map_err(|e| e.to_string())?;
    let mut related = MultiPart::related().singlepart(html);
    for (id, bytes, _alternative_text) in &letter.pictures {
        related = related.singlepart(Attachment::new_inline(plain(id)).body(bytes.clone(), png.clone()));
    }
    Ok(alternative.multipart(related))
}
