//! Configuration and models from disk, times from arguments.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{NaiveDate, NaiveDateTime, NaiveTime, Utc};
use chrono_tz::Tz;

use super::{Stop, exit};
use crate::config;
use crate::daemon::pass::Rules;
use crate::engine::order;
use crate::records::local::at_or_after;
use crate::records::{Instant, Rejection, Source};

/// Reads configuration and models. Every problem of both is in the list.
pub fn read(path: &Path) -> Result<Rules, Vec<Rejection>> {
    match read_partly(path) {
        (Some(rules), problems) if problems.is_empty() => Ok(rules),
        (_, problems) => Err(problems),
    }
}

/// As [`read`], but with problems too: what could be read. `None` where the fleet's folder is not known.
pub fn read_partly(path: &Path) -> (Option<Rules>, Vec<Rejection>) {
    let name = path.display().to_string();
    let text = match std::fs::read_to_string(path) {
        Ok(text) => text,
        Err(e) => return (None, vec![unreadable(&name, &e, "a configuration file; name it with --config FILE")]),
    };
    let (config, mut problems) = config::load_partly(&text, &name, &folder_of(path));
    let Some(config) = config else { return (None, problems) };
    let models_path = config.settings.fleet.models.clone();
    let models_name = models_path.display().to_string();
    let file = match std::fs::read_to_string(&models_path) {
        Ok(text) => {
            let (file, of_models) = config::models::parse(&text, &models_name);
            problems.extend(of_models);
            file
        }
        Err(e) => {
            problems.push(unreadable(&models_name, &e, "the engine models file named by fleet.models"));
            config::ModelsFile::default()
        }
    };
    let config = config.with_models(&file);
    (Some(Rules { config: Arc::new(config), models: Arc::new(file.models) }), problems)
}

fn unreadable(file: &str, error: &std::io::Error, expected: &str) -> Rejection {
    Rejection {
        source: Source { file: file.into(), line: 0 },
        found: format!("cannot be read ({error})"),
        expected: expected.to_owned(),
        whole_file: true,
    }
}

fn folder_of(path: &Path) -> PathBuf {
    let folder = path.parent().filter(|p| !p.as_os_str().is_empty()).unwrap_or(Path::new("."));
    folder.canonicalize().unwrap_or_else(|_| folder.to_owned())
}

/// The same for a command: problems end it with exit 78.
pub fn rules(path: &Path) -> Result<Rules, Stop> {
    read(path).map_err(|problems| refused(&problems))
}

/// Every problem of a configuration, and exit 78.
pub fn refused(problems: &[Rejection]) -> Stop {
    let lines: Vec<String> = problems.iter().map(ToString::to_string).collect();
    Stop::new(exit::CONFIGURATION, format!("configuration not usable\n{}", lines.join("\n")))
}

/// A moment from an argument, in the fleet's zone; a bare date means its end.
pub fn moment(text: &str, zone: Tz) -> Result<Instant, Stop> {
    if let Ok(at) = chrono::DateTime::parse_from_rfc3339(text) {
        return Ok(at.to_utc());
    }
    for format in ["%Y-%m-%dT%H:%M:%S", "%Y-%m-%dT%H:%M", "%Y-%m-%d %H:%M:%S", "%Y-%m-%d %H:%M"] {
        if let Ok(local) = NaiveDateTime::parse_from_str(text, format) {
            return Ok(at_or_after(local, zone));
        }
    }
    match NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        Ok(date) => Ok(order::end_of(date, zone)),
        Err(_) => Err(Stop::new(
            exit::USAGE,
            format!("time \"{text}\", expected such as 2026-03-01T06:30 (local) or 2026-03-01T06:30:00-07:00"),
        )),
    }
}

/// The first moment of a date given as an argument, or the moment given.
pub fn moment_from(text: &str, zone: Tz) -> Result<Instant, Stop> {
    match NaiveDate::parse_from_str(text, "%Y-%m-%d") {
        Ok(date) => Ok(at_or_after(date.and_time(NaiveTime::MIN), zone)),
        Err(_) => moment(text, zone),
    }
}

/// `--as-of`, or now.
pub fn as_of(text: Option<&str>, zone: Tz) -> Result<Instant, Stop> {
    text.map_or_else(|| Ok(Utc::now()), |t| moment(t, zone))
}
