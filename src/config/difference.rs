//! What is different in a configuration read anew, line by line, for the log of the service.

use std::collections::BTreeMap;

use super::{Config, Settings};
use crate::records::Source;

impl Config {
    /// Every setting that holds another value than in `old`: `consumption.smallest_change: 1.5 -> 2 (c.toml:12)`.
    /// No password is in a configuration, so none can be in here.
    pub fn changes_since(&self, old: &Self) -> Vec<String> {
        let (mine, before) = (self.by_key(), old.by_key());
        let changed = mine.iter().filter(|(key, (value, _))| before.get(*key).map(|(was, _)| was) != Some(value));
        let mut said: Vec<String> = changed
            .map(|(key, (value, source))| {
                let was = before.get(key).map_or("not set", |(was, _)| was);
                let source = source.as_ref().map_or(String::new(), |source| format!(" ({source})"));
                format!("{key}: {was} -> {value}{source}")
            })
            .collect();
        let gone = before.iter().filter(|(key, _)| !mine.contains_key(*key));
        said.extend(gone.map(|(key, (was, _))| format!("{key}: {was} -> not set")));
        let layouts = format!("{:?}", self.layouts) != format!("{:?}", old.layouts);
        said.extend(layouts.then(|| "layouts: described otherwise".to_owned()));
        said
    }

    fn by_key(&self) -> BTreeMap<String, (String, Option<Source>)> {
        let plain = plain(&self.settings).into_iter().map(|(key, value)| (key, (value, None)));
        let scopes = self.scopes.settings().into_iter().map(|(key, (value, source))| (key, (value, Some(source))));
        plain.chain(scopes).collect()
    }
}

/// What is not a threshold, by key.
fn plain(settings: &Settings) -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    let mut put = |key: &str, value: String| {
        found.insert(key.to_owned(), value);
    };
    let fleet = &settings.fleet;
    put("fleet.folder", fleet.folder.display().to_string());
    put("fleet.models", fleet.models.display().to_string());
    put("fleet.state", fleet.state.display().to_string());
    put("fleet.time_zone", fleet.time_zone.to_string());
    put("fleet.scan_every_s", fleet.scan_every_s.to_string());
    fleet.operator.iter().for_each(|name| put("fleet.operator", format!("{name:?}")));
    put("digest.schedule", format!("{:?}", settings.digest.schedule));
    let alerts = &settings.alerts;
    put("alerts.remind_after_days", format!("{:?}", alerts.remind_after_days));
    put("alerts.grows_by", alerts.grows_by.to_string());
    put("alerts.escalate_after_h", alerts.escalate_after_h.to_string());
    put("alerts.escalate_to", format!("{:?}", alerts.escalate_to));
    put("alerts.warnings_pass", alerts.warnings_pass.to_string());
    if let Some((from, to)) = alerts.quiet {
        put("alerts.quiet", format!("{} to {}", from.format("%H:%M"), to.format("%H:%M")));
    }
    let Some(mail) = &settings.mail else {
        put("mail", "to the outbox folder".to_owned());
        return found;
    };
    put("mail.server", mail.server.clone());
    put("mail.port", mail.port.to_string());
    put("mail.security", format!("{:?}", mail.security).to_lowercase());
    mail.username.iter().for_each(|name| put("mail.username", name.clone()));
    mail.password_file.iter().for_each(|file| put("mail.password_file", file.display().to_string()));
    mail.ca_file.iter().for_each(|file| put("mail.ca_file", file.display().to_string()));
    put("mail.from", mail.from.clone());
    put("mail.to", mail.to.join(", "));
    for (number, route) in mail.routes.iter().enumerate() {
        put(&format!("mail.route {}", number + 1), format!("{route:?}"));
    }
    found
}
