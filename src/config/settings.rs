//! `[fleet]`, `[digest]` and `[alerts]`: what is not per engine.

use std::path::{Component, Path, PathBuf};

use chrono::NaiveTime;
use chrono_tz::Tz;

use super::mail;
use super::meant::{Alerts, Digest, FleetSettings};
use super::schedule::Schedule;
use crate::records::keyed::{Keys, Range, nearest};

/// Schedule of the digest unless one is given: half past six every morning.
pub const USUAL_SCHEDULE: &str = "30 6 * * *";
/// Where the state lives unless a folder is given.
pub const USUAL_STATE: &str = "/var/lib/cowlwatch";
/// The engine models file unless one is named.
pub const USUAL_MODELS: &str = "engines.toml";
/// Seconds between two looks at the fleet folder unless given.
pub const USUAL_SCAN_EVERY_S: u32 = 60;

const ZONE: &str = "an IANA time zone such as \"America/Denver\"";

/// Reads `[fleet]`. `None` where a key without a usual value is missing or wrong.
pub fn fleet(top: &Keys<'_>, base: &Path) -> Option<FleetSettings> {
    let Some(keys) = top.table("fleet") else {
        if !top.has("fleet") {
            top.missing("fleet", "a table [fleet] with folder and time_zone");
        }
        return None;
    };
    let path = |name: &str, expected: &str| keys.text(name, expected).map(|written| join(base, written));
    let folder = path("folder", "the folder with one folder per tail number");
    let models = path("models", "the engine models file, such as \"engines.toml\"");
    let state = path("state", "a folder on a local disk");
    let zone = zone(&keys);
    for (name, expected) in [("folder", "the folder with one folder per tail number"), ("time_zone", ZONE)] {
        if !keys.has(name) {
            keys.missing(name, expected);
        }
    }
    let scan_every_s = keys.whole("scan_every_s", Range::new(5.0, 86_400.0, "seconds"));
    let operator = keys.text("operator", "the operator's name").map(str::to_owned);
    keys.done();
    let (folder, time_zone) = (folder?, zone?);
    let state = state.unwrap_or_else(|| PathBuf::from(USUAL_STATE));
    if state.starts_with(&folder) {
        let expected = "a folder outside fleet.folder: nothing is ever written there";
        keys.wrong("state", expected);
    }
    Some(FleetSettings {
        folder,
        models: models.unwrap_or_else(|| base.join(USUAL_MODELS)),
        state,
        time_zone,
        scan_every_s: scan_every_s.unwrap_or(USUAL_SCAN_EVERY_S),
        operator,
    })
}

/// A relative path is relative to the configuration's folder; `.` and `..` are resolved by name.
fn join(base: &Path, written: &str) -> PathBuf {
    let mut path = PathBuf::new();
    for part in base.join(written).components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if matches!(path.components().next_back(), Some(Component::Normal(_))) => {
                path.pop();
            }
            other => path.push(other),
        }
    }
    path
}

fn zone(keys: &Keys<'_>) -> Option<Tz> {
    let written = keys.text("time_zone", ZONE)?;
    let zone = written.parse::<Tz>().ok();
    if zone.is_none() {
        let near = nearest(written, chrono_tz::TZ_VARIANTS.iter().map(|zone| zone.name()));
        let near = near.map(|near| format!("; the nearest is \"{near}\"")).unwrap_or_default();
        keys.wrong("time_zone", format!("{ZONE}{near}"));
    }
    zone
}

/// Reads `[digest]`.
pub fn digest(top: &Keys<'_>) -> Digest {
    let usual = Digest { schedule: USUAL_SCHEDULE.to_owned() };
    let Some(keys) = top.table("digest") else { return usual };
    let example = "five fields: minute hour day month weekday, such as \"30 6 * * *\"";
    let schedule = keys.text("schedule", example).map(str::to_owned);
    keys.done();
    let Some(schedule) = schedule else { return usual };
    if let Err(error) = schedule.parse::<Schedule>() {
        keys.wrong("schedule", error.expected);
        return usual;
    }
    Digest { schedule }
}

/// Reads `[alerts]`.
pub fn alerts(top: &Keys<'_>) -> Alerts {
    let mut alerts = Alerts::default();
    let Some(keys) = top.table("alerts") else { return alerts };
    let days = Range::new(0.25, 90.0, "days");
    if let Some(list) = keys.numbers("remind_after_days", days) {
        if list.is_empty() || list.windows(2).any(|pair| pair[0] > pair[1]) {
            keys.wrong("remind_after_days", format!("a list in which no number is below the one before, {days}"));
        } else {
            alerts.remind_after_days = list;
        }
    }
    if let Some(share) = keys.number("grows_by", Range::new(0.05, 5.0, "as a share: 0.25 is a quarter")) {
        alerts.grows_by = share;
    }
    if let Some(hours) = keys.number("escalate_after_h", Range::new(0.5, 336.0, "hours")) {
        alerts.escalate_after_h = hours;
    }
    if keys.has("escalate_to") {
        alerts.escalate_to = mail::addresses(&keys, "escalate_to");
    }
    alerts.quiet = quiet(&keys);
    if let Some(pass) = keys.flag("warnings_pass") {
        alerts.warnings_pass = pass;
    }
    keys.done();
    alerts
}

fn quiet(keys: &Keys<'_>) -> Option<(NaiveTime, NaiveTime)> {
    let expected = "two times of day, from and to, such as [\"22:00\", \"06:00\"]";
    let written = keys.texts("quiet", expected)?;
    let times: Option<Vec<NaiveTime>> =
        written.iter().map(|time| NaiveTime::parse_from_str(time, "%H:%M").ok()).collect();
    match times.as_deref() {
        Some([from, to]) if from != to => Some((*from, *to)),
        _ => {
            keys.wrong("quiet", expected);
            None
        }
    }
}
