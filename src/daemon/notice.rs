//! What is told of the program itself: letters in the outbox like any other, lines in the journal.

use chrono::DateTime;
use chrono_tz::Tz;
use tracing::{info, warn};

use super::pass::Rules;
use crate::engine::{Model, Models};
use crate::records::{Instant, Source};
use crate::report::letters;
use crate::shell::mail::{self, Post, Recipients};
use crate::shell::store::{Store, StoreError};

/// A new configuration was refused; told as the old one has it.
pub(super) fn refused(store: &mut Store, rules: &Rules, why: &str, now: Instant) -> Result<(), StoreError> {
    let lines: Vec<String> = why.lines().map(str::to_owned).collect();
    post(store, rules, "configuration refused; the old one stays in force", &lines, "configuration-refused", now)
}

/// For a while nothing could be written, so nothing was judged and no mail went.
pub(super) fn written_again(
    store: &mut Store,
    rules: &Rules,
    since: Instant,
    why: &str,
    now: Instant,
) -> Result<(), StoreError> {
    let zone = rules.config.settings.fleet.time_zone;
    let lines = [
        format!("From {} to {} nothing could be written: {why}.", local(since, zone), local(now, zone)),
        "In that time no new records were judged and no mail was sent. Nothing is lost: the files have been read \
         again since, and what they show is told late."
            .to_owned(),
    ];
    post(store, rules, "back after a time without a writable state", &lines, "state-written-again", now)
}

/// Logs each setting that holds another value than before.
pub(super) fn changes(rules: &Rules, before: &Rules) {
    let mut changes = rules.config.changes_since(&before.config);
    let (mine, old) = (&rules.models, &before.models);
    let names = mine.keys().chain(old.keys().filter(|name| !mine.contains_key(*name)));
    // The line a model stands on is no news.
    let content = |models: &Models, name: &str| {
        models.get(name).map(|model| Model { source: Source { file: "".into(), line: 0 }, ..(**model).clone() })
    };
    let models = names.filter(|name| content(mine, name) != content(old, name));
    changes.extend(models.map(|name| format!("engine model {name}: described otherwise")));
    for change in &changes {
        info!(%change, "configuration changed");
    }
    if changes.is_empty() {
        info!("configuration unchanged");
    }
    if rules.config.settings.fleet.state != before.config.settings.fleet.state {
        warn!("fleet.state takes effect when the service is started anew");
    }
}

fn local(at: Instant, zone: Tz) -> String {
    let local: DateTime<Tz> = at.with_timezone(&zone);
    local.format("%-d %b %H:%M").to_string()
}

fn post(
    store: &mut Store,
    rules: &Rules,
    what: &str,
    lines: &[String],
    slug: &str,
    now: Instant,
) -> Result<(), StoreError> {
    let settings = &rules.config.settings;
    let (fleet, mail) = (&settings.fleet, settings.mail.as_ref());
    let letter = letters::notice(what, lines, fleet.operator.as_deref(), now, fleet.time_zone);
    let to = mail::recipients(Recipients::Program, mail, &settings.alerts);
    let pass = store.begin()?;
    mail::post(&pass, &letter, Post { kind: "notice", slug, made: now, from: mail::sender(mail), to: &to })?;
    pass.commit()
}
