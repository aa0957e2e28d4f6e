//! Who gets which letter.

use super::message::bare;
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
    addresses.retain(|a| seen.insert(bare(a).unwrap_or_else(|_| a.trim().to_owned()).to_lowercase()));
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::config::meant::Security;
    use crate::judge::{Kind, Level};

    fn mail(routes: Vec<Route>) -> Mail {
        Mail {
            server: "localhost".into(),
            port: 587,
            security: Security::StartTls,
            username: None,
            password_file: None,
            ca_file: None,
            from: "cowlwatch@example.org".into(),
            to: vec!["maintenance@example.org".into()],
            routes,
        }
    }

    fn route(to: &str) -> Route {
        Route { to: vec![to.into()], at_least: Level::Advisory, tails: vec![], kinds: vec![], digest: false }
    }

    fn bundle(tail: &str, level: Level, kind: Kind, audience: Audience) -> Bundle {
        Bundle { tail: tail.into(), audience, level, kinds: vec![kind], says: vec![] }
    }

    #[test]
    fn routes_add_those_who_want_a_letter_and_nobody_twice() {
        let configured = mail(vec![
            Route { at_least: Level::Warning, ..route("warnings@example.org") },
            Route { tails: vec!["N0500A".into()], ..route("owner@example.org") },
            Route { kinds: vec![Kind::MetalFound], ..route("shop@example.org") },
            Route { digest: true, at_least: Level::Warning, ..route("office@example.org") },
            route(" Maintenance@Example.org"),
            route("The Desk <maintenance@example.org>"),
        ]);
        let alerts = Alerts { escalate_to: vec!["director@example.org".into()], ..Alerts::default() };
        let to = |letter| {
            let got = recipients(letter, Some(&configured), &alerts);
            got.iter().map(|a| a.split('@').next().unwrap_or("").to_owned()).collect::<Vec<_>>()
        };
        let metal = bundle("N0417H", Level::Warning, Kind::MetalFound, Audience::Usual);
        assert_eq!(to(Recipients::Alerts(&metal)), ["maintenance", "warnings", "shop", "office"]);
        let other = bundle("N0500A", Level::Caution, Kind::ChtHigh, Audience::Usual);
        assert_eq!(to(Recipients::Alerts(&other)), ["maintenance", "owner"]);
        let escalated = bundle("N0500A", Level::Warning, Kind::MetalFound, Audience::Escalation);
        assert_eq!(to(Recipients::Alerts(&escalated)), ["director"]);
        assert_eq!(to(Recipients::Digest), ["maintenance", "office"]);
        assert_eq!(to(Recipients::Program), ["maintenance"]);
        assert_eq!(recipients(Recipients::Digest, None, &alerts), ["maintenance@localhost"]);
    }
}
