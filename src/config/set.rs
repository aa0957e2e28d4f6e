//! One threshold given on the command line: `--set consumption.smallest_change=2`.
//!
//! It becomes a line of a configuration, so that the same reader refuses it in the same words.

use super::NO_THRESHOLDS;
use super::scope::NARROWINGS;
use crate::config::keys::SECTIONS;
use crate::records::keyed::one_of;
use crate::records::{Rejection, Source};

/// A setting as a text for [`Config::with_changes`](super::Config::with_changes), and its name in messages.
///
/// # Errors
/// No `=`, or a key that is no threshold.
pub fn line(written: &str) -> Result<(String, String), Rejection> {
    let name = format!("--set {written}");
    let refuse = |found: String, expected: String| Rejection {
        source: Source { file: name.as_str().into(), line: 0 },
        found,
        expected,
        whole_file: false,
    };
    let Some((key, value)) = written.split_once('=') else {
        let expected = "KEY=VALUE, such as consumption.smallest_change=2".to_owned();
        return Err(refuse("no = in it".to_owned(), expected));
    };
    let (key, value) = (key.trim(), value.trim());
    let table = key.split('.').next().unwrap_or_default().trim();
    if NO_THRESHOLDS.contains(&table) || !key.contains('.') {
        let known: Vec<&str> = SECTIONS.into_iter().chain(["levels"]).chain(NARROWINGS).collect();
        let expected = format!("a key of {}", one_of(table, &known));
        return Err(refuse(format!("{key} is no threshold"), expected));
    }
    // The shell takes quotes away: what is no value of TOML is meant as text.
    let is_value = !value.contains('\n') && toml::from_str::<toml::Table>(&format!("v = {value}")).is_ok();
    let value = if is_value { value.to_owned() } else { toml::Value::String(value.to_owned()).to_string() };
    Ok((format!("{key} = {value}\n"), name))
}

/// A setting is one line: its number says nothing.
pub fn without_line(mut rejection: Rejection) -> Rejection {
    if rejection.source.file.starts_with("--set ") {
        rejection.source.line = 0;
    }
    rejection
}
