//! What the commands that only show look at: a scratch copy of the state, brought up to date from the
//! files as of a moment. Nothing of it stays.

use chrono_tz::Tz;

use super::{Cli, Stop, load, scan};
use crate::alerts::Alert;
use crate::daemon::pass::{Done, Rules};
use crate::records::Instant;
use crate::shell::store::Store;

pub struct Seen {
    pub rules: Rules,
    pub zone: Tz,
    pub now: Instant,
    pub store: Store,
    pub done: Done,
    /// All of them, by number.
    pub alerts: Vec<Alert>,
}

impl Seen {
    /// As of `as_of`, or now.
    pub fn of(cli: &Cli, as_of: Option<&str>) -> Result<Self, Stop> {
        let rules = load::rules(&cli.config)?;
        let zone = rules.config.settings.fleet.time_zone;
        let now = load::as_of(as_of, zone)?;
        let mut store = Store::scratch(Some(&rules.config.settings.fleet.state))?;
        let done = scan::round(&mut store, &rules, now, false)?;
        let alerts = store.alerts()?;
        Ok(Self { rules, zone, now, store, done, alerts })
    }

    /// Alerts that are not closed.
    pub fn live(&self) -> Vec<Alert> {
        self.alerts.iter().filter(|a| a.is_live()).cloned().collect()
    }
}
