#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::report::sample;

fn text(pages: &[(String, Vec<u8>)], path: &str) -> String {
    String::from_utf8(pages.iter().find(|p| p.0 == path).unwrap().1.clone()).unwrap()
}

#[test]
fn every_engine_has_a_page_and_every_link_leads_somewhere() {
    let m = sample::morning();
    let pages: Vec<_> = pages(&m, |_| true).collect();
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
    for (path, bytes) in pages(&sample::morning(), |_| true) {
        let text = String::from_utf8(bytes).unwrap();
        for forbidden in ["<script", "src=\"http", "href=\"http", "url(", "@import", "<link"] {
            assert!(!text.contains(forbidden), "{path} has {forbidden}");
        }
        for wanted in ["lang=\"en\"", "<title>", "class=\"skip\"", "id=\"main\"", "Advisory only"] {
            assert!(text.contains(wanted), "{path} lacks {wanted}");
        }
    }
}

/// For the keyboard and the screen reader: one main part and one first heading, headings without a step left
/// out, headers that say what they head, pictures with words, and what scrolls can be reached.
#[test]
fn pages_can_be_used_without_a_mouse_and_without_eyes() {
    for (path, bytes) in pages(&sample::morning(), |_| true) {
        let text = String::from_utf8(bytes).unwrap();
        assert_eq!((text.matches("<main").count(), text.matches("<h1").count()), (1, 1), "{path}");
        assert!(text.contains(":focus-visible"), "{path}");
        let mut last = 1;
        for level in text.split("<h").skip(1).filter_map(|t| t.chars().next()?.to_digit(10)) {
            assert!(level <= last + 1, "{path}: h{level} after h{last}");
            last = level;
        }
        for header in text.split("<th").skip(1).filter(|t| !t.starts_with("ead")) {
            assert!(header.starts_with(" scope="), "{path}: {}", &header[..20.min(header.len())]);
        }
        for picture in text.split("role=\"img\"").skip(1) {
            let tag = picture.split('>').next().unwrap();
            assert!(
                tag.contains("tabindex=\"0\"") && tag.contains("aria-label=\"") && !tag.contains("aria-label=\"\"")
            );
        }
        assert_eq!(text.matches("<svg").count(), text.matches("role=\"img\"").count(), "{path}");
    }
}

/// A serial is free text from a spreadsheet.
#[test]
fn a_serial_cannot_leave_the_folder_or_hide_another() {
    let mut m = sample::morning();
    m.engines[0].serial = "../../etc/x".into();
    m.engines[1].serial = "A/1".into();
    m.engines[2].serial = "a 1".into();
    let paths: Vec<String> = pages(&m, |_| true).map(|p| p.0).collect();
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
    for (path, bytes) in pages(&sample::morning(), |_| true) {
        let file = folder.join(path);
        std::fs::create_dir_all(file.parent().unwrap()).unwrap();
        std::fs::write(file, bytes).unwrap();
    }
}
