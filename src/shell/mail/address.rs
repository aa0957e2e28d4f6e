//! Who gets which letter.

use crate::alerts::{Audience, Bundle};
use crate::config::Mail;
use crate::config::meant::{Alerts, Route};

/// What a letter is, as far as its recipients depend on it.
#[derive(Clone, Copy, Debug)]
pub enum Recipients<'a> {
    Digest,
    Alerts(&'a Bundle),
    /// About the program itself: a test, a refused configuration.
    Program,
}

/// The addresses a letter goes to: `[mail] to`, and every route that wants it, each once.
/// An escalation goes to those it is escalated to and to nobody else.
///
/// Without `[mail]` letters go to a folder, and an address of this machine stands in.
pub fn recipients(letter: Recipients<'_>, mail: Option<&Mail>, alerts: &Alerts) -> Vec<String> {
    let mut addresses: Vec<String> = match (letter, mail) {
        (Recipients::Alerts(bundle), _) if bundle.audience == Audience::Escalation => alerts.escalate_to.clone(),
        (_, None) => vec!["maintenance@localhost".to_owned()],
        (_, Some(mail)) => {
            let routes = mail.routes.iter().filter(|r| wants(r, letter)).flat_map(|r| r.to.iter());
            mail.to.iter().chain(routes).cloned().collect()
        }
    };
    let mut seen = std::collections::HashSet::new();
    addresses.retain(|a| seen.insert(a.trim().to_lowercase()));
    addresses
}

/// Who letters are from.
pub fn sender(mail: Option<&Mail>) -> &str {
    mail.map_or("cowlwatch@localhost", |m| &m.from)
}

fn wants(route: &Route, letter: Recipients<'_>) -> bool {
    match letter {
        Recipients::Digest => route.digest,
        Recipients::Program => false,
        Recipients::Alerts(bundle) => {
            bundle.level >= route.at_least
                && (route.tails.is_empty() || route.tails.iter().any(|t| **t == *bundle.tail))
                && (route.kinds.is_empty() || bundle.kinds.iter().any(|k| route.kinds.contains(k)))
        }
    }
}
