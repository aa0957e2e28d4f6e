//! The metrics text, read by the reference parser (PyPI prometheus_client, its OpenMetrics parser).

use std::fs;
use std::process::Command;

use chrono::{DateTime, Utc};
use cowlwatch::report::Undelivered;
use cowlwatch::report::metrics::{AlertCounts, Figures, openmetrics};
use serde_json::Value;

use crate::support::{copy_demo, run, stdout};
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
        alerts: AlertCounts::default(),
        engines: Vec::new(),
        undelivered,
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

/// The file a scan of the demo fleet leaves, with engines and alerts in it, against what `scan --json` says.
#[test]
fn the_reference_parser_reads_what_a_scan_leaves() {
    let folder = copy_demo();
    let args = ["--config", "demo-fleet/cowlwatch.toml", "scan", "--as-of", "2026-03-12T06:00:00-06:00", "--json"];
    let said: Value = serde_json::from_str(&stdout(&run(folder.path(), &args))).unwrap();
    let file = folder.path().join("demo-fleet/state/cowlwatch.prom");
    let read: Value =
        serde_json::from_str(&must(Command::new(python()).arg(helper("read_metrics.py")).arg(&file))).unwrap();
    let value = |key: String| read[key.as_str()].as_f64();
    let mut rates = 0;
    for e in said["engines"].as_array().unwrap().iter().filter(|e| e["rate_qt_per_h"].is_number()) {
        let text = |name: &str| e[name].as_str().unwrap_or("").to_owned();
        let labels = format!("{{position={},serial={},tail={}}}", text("position"), text("serial"), text("tail"));
        if let Some(rate) = value(format!("cowlwatch_engine_oil_quarts_per_hour{labels}")) {
            assert!((rate - e["rate_qt_per_h"].as_f64().unwrap()).abs() < 1e-3, "{labels}");
            rates += 1;
        }
    }
    assert!(rates >= 9, "{rates} engines of the demo have a rate");
    let open = |level: &str| {
        let alerts = said["alerts"].as_array().unwrap();
        alerts.iter().filter(|a| a["level"] == level && a["state"] == "open").count() as f64
    };
    for level in ["warning", "caution", "advisory"] {
        assert_eq!(value(format!("cowlwatch_alerts{{level={level},state=open}}")), Some(open(level)), "{level}");
    }
    // The letters of the scan have gone, and the figures are of after that.
    assert_eq!(value("cowlwatch_letters_waiting".to_owned()), Some(0.0));
    assert!(value("cowlwatch_letters_sent_total".to_owned()) >= Some(1.0));
}
