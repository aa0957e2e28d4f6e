//! From words to a row of the outbox.

use super::message::{self, Head};
use crate::records::Instant;
use crate::report::Letter;
use crate::shell::store::{NewLetter, Pass, StoreError, Waiting};

/// A letter on its way into the outbox.
#[derive(Clone, Copy, Debug)]
pub struct Post<'a> {
    /// `alert`, `digest`, `summary`, `configuration` …
    pub kind: &'a str,
    /// For the file name: `digest-2026-03-01`.
    pub slug: &'a str,
    pub made: Instant,
    pub from: &'a str,
    pub to: &'a [String],
}

/// What came of posting.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Posted {
    /// The letter's row.
    pub id: u32,
    /// Recipients left out because they are no mail addresses, and why.
    pub left_out: Vec<String>,
}

/// Puts a letter into the outbox, in the transaction of the pass that decided it. One address that
/// is none costs nobody else the letter.
///
/// # Errors
/// No recipient is left, the sender is no address, or the state cannot be written.
pub fn post(pass: &Pass<'_>, letter: &Letter, post: Post<'_>) -> Result<Posted, StoreError> {
    let from = message::bare(post.from).map_err(StoreError::Letter)?;
    let mut left_out = Vec::new();
    let (mut to, mut bare) = (Vec::new(), Vec::new());
    for address in post.to {
        match message::bare(address) {
            Ok(address_only) => {
                to.push(address.clone());
                bare.push(address_only);
            }
            Err(why) => left_out.push(why),
        }
    }
    let new = NewLetter { kind: post.kind.to_owned(), slug: post.slug.to_owned(), made: post.made, from, to: bare };
    let id = pass.enqueue(&new, |row| {
        let head = Head { from: post.from, to: &to, date: post.made, row: row.id, state: row.state };
        message::build(letter, &head)
    })?;
    Ok(Posted { id, left_out })
}

/// A letter that is sent at once and not kept: `mail-test`.
///
/// # Errors
/// An address that is none.
pub fn unkept(letter: &Letter, post: Post<'_>, mark: &str) -> Result<Waiting, String> {
    let head = Head { from: post.from, to: post.to, date: post.made, row: 0, state: mark };
    let (message_id, message) = message::build(letter, &head)?;
    Ok(Waiting {
        id: 0,
        message_id,
        kind: post.kind.to_owned(),
        slug: post.slug.to_owned(),
        made: post.made,
        from: message::bare(post.from)?,
        to: post.to.iter().map(|t| message::bare(t)).collect::<Result<_, _>>()?,
        message,
        attempts: 0,
    })
}
