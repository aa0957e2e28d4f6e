//! `[mail]` and `[[mail.route]]`. What could leak the password or send a letter astray is refused.

use std::net::IpAddr;
use std::path::Path;

use super::meant::{Mail, Route, Security};
use crate::judge::{Kind, Level};
use crate::records::keyed::{Keys, Range, one_of};

const ADDRESS: &str = "an address such as \"maintenance@example.org\"";

/// Reads `[mail]`; `None` where it is left out (letters then go to the outbox folder) or cannot be used.
pub fn mail(top: &Keys<'_>, base: &Path) -> Option<Mail> {
    let keys = top.table("mail")?;
    refuse_password(&keys);
    let server = server(&keys);
    let security = security(&keys, server.as_deref());
    let usual_port = match security {
        Security::StartTls => 587,
        Security::Tls => 465,
        Security::None => 25,
    };
    let port = keys.whole("port", Range::new(1.0, 65_535.0, "as a port")).and_then(|p| u16::try_from(p).ok());
    let username = keys.text("username", "the name to log in with").map(str::to_owned);
    let file = |name: &str| keys.text(name, "the name of a file").map(|written| base.join(written));
    let (password_file, ca_file) = (file("password_file"), file("ca_file"));
    if password_file.is_some() && username.is_none() {
        keys.missing("username", "the name that goes with password_file");
    }
    if ca_file.is_some() && security == Security::None {
        keys.wrong("ca_file", "none with security = \"none\", which checks no certificate");
    }
    let from = from(&keys);
    if !keys.has("to") {
        keys.missing("to", format!("at least one recipient, {ADDRESS}"));
    }
    let to = addresses(&keys, "to");
    let routes = keys.tables("route").iter().filter_map(route).collect();
    keys.done();
    let (server, from) = (server?, from?);
    Some(Mail {
        server,
        port: port.unwrap_or(usual_port),
        security,
        username,
        password_file,
        ca_file,
        from,
        to,
        routes,
    })
}

/// A password in the configuration is readable by whoever may read that; it is refused and not repeated.
fn refuse_password(keys: &Keys<'_>) {
    for name in ["password", "passwd", "pass", "secret"] {
        if keys.node(name).is_some() {
            let found = format!("{} in the configuration", keys.named(name));
            let expected = "password_file = \"smtp-password\" (mode 0600), or the systemd credential smtp-password";
            keys.problems().add(keys.line_of(name), found, expected);
        }
    }
}

fn server(keys: &Keys<'_>) -> Option<String> {
    let expected = "a host name or address without scheme, port or login, such as \"mail.example.org\"";
    if !keys.has("server") {
        keys.missing("server", expected);
    }
    let written = keys.text("server", expected)?;
    let plain = written.parse::<IpAddr>().is_ok()
        || written.chars().all(|c| c.is_ascii_alphanumeric() || matches!(c, '.' | '-' | '_'));
    if !plain {
        // Not repeated: such a line may carry a login.
        keys.problems().add(keys.line_of("server"), format!("{} is no plain host", keys.named("server")), expected);
        return None;
    }
    Some(written.to_owned())
}

fn security(keys: &Keys<'_>, server: Option<&str>) -> Security {
    let words = [("starttls", Security::StartTls), ("tls", Security::Tls), ("none", Security::None)];
    let security = keys.choice("security", &words).unwrap_or(Security::StartTls);
    if security == Security::None && server.is_some_and(|server| !loopback(server)) {
        keys.wrong("security", "\"starttls\" or \"tls\"; \"none\" only where server is this machine (127.0.0.1)");
    }
    security
}

fn loopback(server: &str) -> bool {
    server.eq_ignore_ascii_case("localhost") || server.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

fn from(keys: &Keys<'_>) -> Option<String> {
    if !keys.has("from") {
        keys.missing("from", ADDRESS);
    }
    let from = keys.text("from", ADDRESS)?;
    if !address_holds(from) {
        keys.wrong("from", ADDRESS);
        return None;
    }
    Some(from.to_owned())
}

/// Reads a list of recipients (one may stand alone); wrong ones are named and left out.
pub fn addresses(keys: &Keys<'_>, name: &str) -> Vec<String> {
    let Some(list) = keys.texts(name, &format!("recipients without control characters, {ADDRESS}")) else {
        return Vec::new();
    };
    if list.is_empty() {
        keys.wrong(name, format!("at least one recipient, {ADDRESS}"));
    }
    let (good, bad): (Vec<String>, Vec<String>) = list.into_iter().partition(|address| address_holds(address));
    for address in bad {
        keys.problems().add(keys.line_of(name), format!("{} has \"{address}\"", keys.named(name)), ADDRESS);
    }
    good
}

/// `name@host.example` or `A Name <name@host.example>`, in ASCII where the server reads it.
fn address_holds(text: &str) -> bool {
    let bare = match text.split_once('<') {
        Some((_, rest)) => match rest.strip_suffix('>') {
            Some(bare) => bare,
            None => return false,
        },
        None => text,
    };
    let Some((local, host)) = bare.rsplit_once('@') else { return false };
    let local_holds = !local.is_empty()
        && local.len() <= 64
        && local.chars().all(|c| c.is_ascii_alphanumeric() || "!#$%&'*+-/=?^_`{|}~.".contains(c))
        && !local.starts_with('.')
        && !local.ends_with('.')
        && !local.contains("..");
    let label_holds = |label: &str| {
        !label.is_empty() && label.len() <= 63 && label.chars().all(|c| c.is_ascii_alphanumeric() || c == '-')
    };
    local_holds && host.len() <= 253 && host.split('.').all(label_holds)
}

fn route(keys: &Keys<'_>) -> Option<Route> {
    if !keys.has("to") {
        keys.missing("to", format!("at least one recipient, {ADDRESS}"));
    }
    let to = addresses(keys, "to");
    let levels = [Level::Advisory, Level::Caution, Level::Warning].map(|level| (level.word(), level));
    let route = Route {
        at_least: keys.choice("at_least", &levels).unwrap_or(Level::Advisory),
        tails: keys.texts("tails", "tail numbers such as [\"N0417H\"]").unwrap_or_default(),
        kinds: kinds(keys),
        digest: keys.flag("digest").unwrap_or(false),
        to,
    };
    keys.done();
    (!route.to.is_empty()).then_some(route)
}

fn kinds(keys: &Keys<'_>) -> Vec<Kind> {
    let known: Vec<&str> = Kind::ALL.iter().map(|kind| kind.word()).collect();
    let mut kinds = Vec::new();
    for word in keys.texts("kinds", "kinds of alert such as [\"metal-found\"]").unwrap_or_default() {
        match Kind::ALL.iter().find(|kind| kind.word() == word) {
            Some(kind) => kinds.push(*kind),
            None => {
                let found = format!("{} has \"{word}\"", keys.named("kinds"));
                keys.problems().add(keys.line_of("kinds"), found, one_of(&word, &known));
            }
        }
    }
    kinds
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forms of RFC 5321 section 4.1.2 (from memory): dot-string local parts, no blanks or control characters.
    #[test]
    fn addresses_are_told_from_what_is_none() {
        for good in ["a@example.org", "Chief <chief.insp+n04@mail.example.org>", "o'neil@example.org", "root@localhost"]
        {
            assert!(address_holds(good), "{good}");
        }
        for bad in [
            "",
            "a",
            "@example.org",
            "a@",
            "a b@example.org",
            "a@exa mple.org",
            "a@b..org",
            ".a@b.org",
            "A <a@b.org",
            "é@b.org",
        ] {
            assert!(!address_holds(bad), "{bad}");
        }
    }
}
