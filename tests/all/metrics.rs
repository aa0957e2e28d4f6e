//! The metrics text, read by the reference parser (PyPI prometheus_client, its OpenMetrics parser).

use std::fs;
use std::process::Command;

use chrono::{DateTime, Utc};
use cowlwatch::report::Undelivered;
use cowlwatch::report::metrics::{Figures, openmetrics};
use serde_json::Value;

use crate::tools::{helper, must, python};

fn at(text: &str) -> DateTime<Utc> {
    text.parse().unwrap()
}

#[test]
fn the_reference_parser_reads_the_metrics() {
    let undelivered =
        Undelivered { letters: 2, oldest: Some(at("2026-03-01T12:00:00Z")), last_error: Some("535".to_owned()) };
    let text = openmetrics(&Figures {
        version: "0.1.0 \"odd\\ build\"",
        last_scan: Some(at("2026-03-01T13:30:00.250Z")),
        scan_s: 0.125,
        files_known: 214,
        files_read: 3,
        files_waiting: 1,
        files_rejected: 0,
        rows_rejected: 2,
        alerts: &[],
        engines: &[],
        undelivered: &undelivered,
        last_mail: None,
        letters_sent: 17,
        digest_sequence: 9,
        last_digest: Some(at("2026-03-01T13:30:00Z")),
        now: at("2026-03-01T13:30:00Z"),
    });
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("metrics.txt");
    fs::write(&file, text).unwrap();
    let said = must(Command::new(python()).arg(helper("read_metrics.py")).arg(&file));
    let read: Value = serde_json::from_str(&said).unwrap();
    let value = |key: &str| read[key].as_f64();
    assert_eq!(value("cowlwatch_last_scan_timestamp_seconds"), Some(1_772_371_800.25));
    assert_eq!(value("cowlwatch_letters_waiting"), Some(2.0));
    assert_eq!(value("cowlwatch_oldest_letter_age_seconds"), Some(5400.0));
    assert_eq!(value("cowlwatch_letters_sent_total"), Some(17.0));
    assert_eq!(value("cowlwatch_files{state=known}"), Some(214.0));
    assert_eq!(value("cowlwatch_alerts{level=warning,state=open}"), Some(0.0));
    assert_eq!(value("cowlwatch_build_info{version=0.1.0 \"odd\\ build\"}"), Some(1.0));
    assert_eq!(value("cowlwatch_last_letter_timestamp_seconds"), None, "none sent yet: no sample, not zero");
}
