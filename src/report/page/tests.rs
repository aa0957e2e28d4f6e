#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::report::sample;

fn text(pages: &[(String, Vec<u8>)], path: &str) -> String {
    String::from_utf8(pages.iter().find(|p| p.0 == path).unwrap().1.clone()).unwrap()
}

#[test]
fn every_engine_has_a_page_and_every_link_leads_somewhere() {
    let m = sample::morning();
    let pages = pages(&m);
    let index = text(&pages, "index.html");
    for e in &m.engines {
        assert!(pages.iter().any(|p| p.0 == format!("engine/{}.html", e.serial)));
    }
    for link in index.split("href=\"").skip(1).filter_map(|l| l.split('"').next()).filter(|l| !l.starts_with('#')) {
        assert!(pages.iter().any(|p| p.0 == link), "{link} leads nowhere");
    }
    assert!(pages.iter().any(|p| p.0 == "break-in/H-2201.html"));
}

/// No script, nothing fetched: the page is read on machines that are not on a network.
#[test]
fn nothing_comes_from_elsewhere() {
    for (path, bytes) in pages(&sample::morning()) {
        let text = String::from_utf8(bytes).unwrap();
        for forbidden in ["<script", "src=\"http", "href=\"http", "url(", "@import", "<link"] {
            assert!(!text.contains(forbidden), "{path} has {forbidden}");
        }
        for wanted in ["lang=\"en\"", "<title>", "class=\"skip\"", "id=\"main\"", "Advisory only"] {
            assert!(text.contains(wanted), "{path} lacks {wanted}");
        }
    }
}

/// A serial is free text from a spreadsheet.
#[test]
fn a_serial_cannot_leave_the_folder_or_hide_another() {
    let mut m = sample::morning();
    m.engines[0].serial = "../../etc/x".into();
    m.engines[1].serial = "A/1".into();
    m.engines[2].serial = "a 1".into();
    let paths: Vec<String> = pages(&m).into_iter().map(|p| p.0).collect();
    assert!(paths.iter().all(|p| !p.contains("..") && p.matches('/').count() <= 1), "{paths:?}");
    let mut lower: Vec<String> = paths.iter().map(|p| p.to_lowercase()).collect();
    lower.sort();
    lower.dedup();
    assert_eq!(lower.len(), paths.len());
}

#[test]
#[ignore = "writes pages to look at"]
fn look() {
    let folder = std::path::PathBuf::from(std::env::var("LOOK").unwrap()).join("page");
    for (path, bytes) in pages(&sample::morning()) {
        let file = folder.join(path);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, bytes).unwrap();
    }
}
