//! The ways a letter can go.

use std::path::PathBuf;

use super::fault::{self, Fault, MailError};
use super::{folder, smtp::Smtp};
use crate::config::Mail;
use crate::records::Instant;
use crate::shell::store::{Attempt, Waiting};

/// Where letters go.
#[derive(Clone, Debug)]
pub enum Delivery {
    /// To a mail server.
    Smtp(Box<Smtp>),
    /// Into a folder, as `.eml`.
    Folder(PathBuf),
}

impl Delivery {
    /// As configured; without `[mail]`, to `<state>/outbox`.
    pub fn new(mail: Option<&Mail>, state: &std::path::Path) -> Result<Self, MailError> {
        Ok(match mail {
            Some(mail) => Self::Smtp(Box::new(Smtp::new(mail)?)),
            None => Self::Folder(state.join("outbox")),
        })
    }

    /// Tries each letter once, over one connection, and reports each as soon as it is answered for.
    ///
    /// A letter during which the line goes dead counts as tried; those after it do not, so that one
    /// letter a server chokes on holds up no other.
    pub async fn deliver(&self, letters: Vec<Waiting>, now: Instant, mut report: impl FnMut(Attempt)) {
        match self {
            Self::Folder(path) => {
                for letter in letters {
                    let path = path.clone();
                    let written = tokio::task::spawn_blocking(move || {
                        let result = folder::deliver(&path, &letter).map_err(|e| format!("{}: {e}", path.display()));
                        (letter, result.err())
                    });
                    let Ok((letter, error)) = written.await else { continue };
                    let taken = if error.is_none() { letter.to.clone() } else { Vec::new() };
                    report(attempt(&letter, taken, error.map(Fault::dead), now));
                }
            }
            Self::Smtp(smtp) => by_smtp(smtp, letters, now, report).await,
        }
    }
}

async fn by_smtp(smtp: &Smtp, letters: Vec<Waiting>, now: Instant, mut report: impl FnMut(Attempt)) {
    if letters.is_empty() {
        return;
    }
    let mut session = match smtp.connect().await {
        Ok(session) => session,
        Err(fault) => {
            let turned_away = fault.permanent && fault.code.is_some();
            for letter in letters {
                report(Attempt { turned_away, ..attempt(&letter, Vec::new(), Some(fault.clone()), now) });
            }
            return;
        }
    };
    for letter in letters {
        let handed = session.hand(&letter).await;
        report(attempt(&letter, handed.taken, handed.refused, now));
        if handed.broken {
            return;
        }
    }
    session.goodbye().await;
}

fn attempt(letter: &Waiting, taken: Vec<String>, refused: Option<Fault>, now: Instant) -> Attempt {
    let permanent = refused.as_ref().is_some_and(|f| f.permanent);
    let next_try = now + fault::wait(letter.attempts.saturating_add(1), permanent);
    Attempt { id: letter.id, taken, refused: refused.map(|f| f.what), next_try, turned_away: false }
}
