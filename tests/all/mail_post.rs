//! What the mail cases share: letters in an outbox, a configured server, deliveries.

use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};
use std::time::Duration;

use chrono::Utc;
use cowlwatch::config::Mail;
use cowlwatch::config::meant::Security;
use cowlwatch::report::Letter;
use cowlwatch::shell::mail::{Delivery, Post, Smtp, post};
use cowlwatch::shell::store::{Attempt, Store};

/// A letter with everything that is hard to carry.
pub fn letter(subject: &str) -> Letter {
    let long = "ninety-nine characters a line would be plain, ".repeat(60);
    Letter {
        subject: subject.to_owned(),
        text: format!("0.11 → 0.24 qt/h, “tach hours”\n.\n..two dots\n{long}\n"),
        html: format!("<p>0.11 → 0.24 qt/h</p><img src=\"cid:chart-1\" alt=\"rate\"><p>{long}</p>\n"),
        pictures: vec![("chart-1".to_owned(), b"\x89PNG\r\n\x1a\n0123".repeat(500), "rate".to_owned())],
    }
}

pub fn configured(port: u16, ca: Option<PathBuf>, password: &Path) -> Mail {
    Mail {
        server: "localhost".to_owned(),
        port,
        security: Security::StartTls,
        username: Some("cowlwatch".to_owned()),
        password_file: Some(password.to_owned()),
        ca_file: ca,
        from: "Brindlemoor cowlwatch <cowlwatch@example.org>".to_owned(),
        to: vec!["maintenance@example.org".to_owned()],
        routes: Vec::new(),
    }
}

pub fn password(folder: &Path, word: &str, mode: u32) -> PathBuf {
    let path = folder.join("smtp-password");
    fs::write(&path, format!("{word}\n")).unwrap();
    fs::set_permissions(&path, fs::Permissions::from_mode(mode)).unwrap();
    path
}

pub fn smtp(mail: &Mail, patience_ms: u64) -> Delivery {
    Delivery::Smtp(Box::new(Smtp::new(mail).unwrap().with_patience(Duration::from_millis(patience_ms))))
}

/// Puts a letter into the outbox.
pub fn put(store: &mut Store, subject: &str, to: &[&str]) -> u32 {
    let to: Vec<String> = to.iter().map(|&t| t.to_owned()).collect();
    let head = Post {
        kind: "alert",
        slug: "n0417h",
        made: "2026-03-01T13:30:00Z".parse().unwrap(),
        from: "Brindlemoor cowlwatch <cowlwatch@example.org>",
        to: &to,
    };
    let pass = store.begin().unwrap();
    let posted = post(&pass, &letter(subject), head).unwrap();
    assert!(posted.left_out.is_empty());
    pass.commit().unwrap();
    posted.id
}

/// One round of delivery, as the service does it; returns the attempts.
pub fn round(store: &mut Store, delivery: &Delivery) -> Vec<Attempt> {
    let now = Utc::now();
    let due = store.due_letters(now, 20).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let mut attempts = Vec::new();
    runtime.block_on(delivery.deliver(due, now, |attempt| attempts.push(attempt)));
    for attempt in &attempts {
        store.record_attempt(attempt, now).unwrap();
    }
    attempts
}
