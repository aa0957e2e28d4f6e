//! Mail through a real server (Debian's exim4) into a real mailbox, read back by Python's email package.

use std::fs;
use std::os::unix::fs::{PermissionsExt, chown};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use cowlwatch::shell::mail::Delivery;
use cowlwatch::shell::store::Store;
use serde_json::Value;

use crate::mail_post::{configured, password, put, round, smtp};
use crate::tools::{authority, helper, must, program, python};

/// An exim of our own: own configuration, spool and mailbox, on a high port of this machine.
struct Exim {
    child: Child,
    folder: PathBuf,
    port: u16,
}

const USER: &str = "Debian-exim";

impl Exim {
    fn start(folder: &Path) -> Self {
        let exim = program("exim4", "exim4-daemon-light");
        let ids = |flag: &str| must(Command::new("id").args([flag, USER])).trim().parse::<u32>().unwrap();
        let (uid, gid) = (ids("-u"), ids("-g"));
        let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = free.local_addr().unwrap().port();
        drop(free);
        for name in ["spool", "log", "Maildir"] {
            fs::create_dir_all(folder.join(name)).unwrap();
            chown(folder.join(name), Some(uid), Some(gid)).unwrap();
        }
        // The server gives up root and must still reach its folders.
        fs::set_permissions(folder, fs::Permissions::from_mode(0o755)).unwrap();
        chown(folder.join("ca/server.key"), Some(uid), Some(gid)).unwrap();
        let template = fs::read_to_string(helper("exim.conf")).unwrap();
        let text = template.replace("@FOLDER@", &folder.display().to_string()).replace("@PORT@", &port.to_string());
        let conf = folder.join("exim.conf");
        fs::write(&conf, text).unwrap();
        let child = Command::new(exim)
            .arg("-C")
            .arg(&conf)
            .args(["-bdf", "-q1m"])
            .stdout(Stdio::null())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let exim = Self { child, folder: folder.to_owned(), port };
        exim.wait_for("the server to listen", || std::net::TcpStream::connect(("127.0.0.1", port)).is_ok());
        exim
    }

    fn wait_for(&self, what: &str, done: impl Fn() -> bool) {
        let began = Instant::now();
        while !done() {
            assert!(began.elapsed() < Duration::from_secs(15), "waited in vain for {what}: {}", self.log());
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    fn log(&self) -> String {
        ["main", "panic", "reject"]
            .map(|name| fs::read_to_string(self.folder.join(format!("log/{name}log"))).unwrap_or_default())
            .concat()
    }

    /// The mailbox once it has `count` letters, as a reader sees them, in order of Message-ID.
    fn mailbox(&self, count: usize) -> Vec<Value> {
        let new = self.folder.join("Maildir/new");
        let files = || fs::read_dir(&new).map_or(0, Iterator::count);
        self.wait_for("the mailbox", || files() >= count);
        let mut letters: Vec<Value> = fs::read_dir(&new)
            .unwrap()
            .map(|entry| {
                let read =
                    Command::new(python()).arg(helper("read_mail.py")).arg(entry.unwrap().path()).output().unwrap();
                assert!(read.status.success(), "{}", String::from_utf8_lossy(&read.stderr));
                serde_json::from_slice(&read.stdout).unwrap()
            })
            .collect();
        letters.sort_by_key(|l| l["message_id"].to_string());
        letters
    }
}

impl Drop for Exim {
    fn drop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

fn server() -> (tempfile::TempDir, Exim, Delivery) {
    let folder = tempfile::tempdir().unwrap();
    let authority = authority(&folder.path().join("ca"), "localhost");
    let exim = Exim::start(folder.path());
    let secret = password(folder.path(), "correct horse", 0o600);
    let delivery = smtp(&configured(exim.port, Some(authority.ca), &secret), 20_000);
    (folder, exim, delivery)
}

#[test]
fn letters_arrive_whole_at_a_real_server() {
    let (folder, exim, delivery) = server();
    let mut store = Store::open(&folder.path().join("state")).unwrap();
    let to = ["maintenance@example.org", "director@example.org"];
    for subject in ["WARNING N0417H left: oil 0.11 → 0.24 qt/h", "Zweite\r\nBcc: thief@example.org\0", "plain"] {
        put(&mut store, subject, &to);
    }
    let attempts = round(&mut store, &delivery);
    assert!(attempts.iter().all(|a| a.refused.is_none()), "{attempts:?}\n{}", exim.log());
    assert_eq!(store.outbox().unwrap().undelivered.letters, 0);

    // One copy for each recipient: the mailbox is everybody's.
    let letters = exim.mailbox(6);
    assert_eq!(letters.len(), 6);
    let subjects: Vec<&str> = letters.iter().step_by(2).map(|l| l["subject"].as_str().unwrap()).collect();
    assert_eq!(
        subjects,
        ["WARNING N0417H left: oil 0.11 → 0.24 qt/h", "Zweite  Bcc: thief@example.org", "plain"],
        "a line break in a subject starts no header"
    );
    let letter = &letters[0];
    assert_eq!(letter["from"][0], "Brindlemoor cowlwatch <cowlwatch@example.org>");
    assert_eq!(letter["to"], serde_json::json!(to));
    assert_eq!(letter["date"], "2026-03-01T13:30:00+00:00", "when it was made, not when it was sent");
    assert!(letter["message_id"].as_str().unwrap().ends_with(".1@example.org>"));
    assert!(!letter["headers"].as_array().unwrap().contains(&Value::from("bcc")));
    assert!(letter["headers"].as_array().unwrap().contains(&Value::from("auto-submitted")));
    assert_eq!(letter["defects"], serde_json::json!([]));
    assert_eq!(letter["ascii"], true);
    // RFC 5322 2.1.1: 998 characters a line at most.
    assert!(letter["longest_line"].as_u64().unwrap() <= 998);

    let body = &letter["body"];
    assert_eq!(body["type"], "multipart/alternative");
    let [text, related] = body["parts"].as_array().unwrap().as_slice() else { panic!("{body}") };
    let sent = crate::mail_post::letter("");
    assert_eq!(
        (&text["type"], text["text"].as_str().unwrap().trim_end()),
        (&"text/plain".into(), sent.text.trim_end())
    );
    assert_eq!(related["type"], "multipart/related");
    let [html, picture] = related["parts"].as_array().unwrap().as_slice() else { panic!("{related}") };
    assert_eq!((&html["type"], html["text"].as_str().unwrap().trim_end()), (&"text/html".into(), sent.html.trim_end()));
    assert_eq!(
        (&picture["type"], &picture["id"], &picture["disposition"]),
        (&"image/png".into(), &"<chart-1>".into(), &"inline".into())
    );
    assert_eq!((&picture["head"], &picture["size"]), (&"89504e470d0a1a0a".into(), &6000.into()));
}

#[test]
fn a_wrong_password_and_an_unknown_recipient_are_kept_until_mended() {
    let (folder, exim, delivery) = server();
    let mut store = Store::open(&folder.path().join("state")).unwrap();
    put(&mut store, "first", &["maintenance@example.org"]);
    password(folder.path(), "wrong", 0o600);
    let attempts = round(&mut store, &delivery);
    assert!(attempts[0].refused.as_ref().unwrap().contains("535"), "{attempts:?}");
    assert_eq!(store.outbox().unwrap().undelivered.letters, 1);

    // The right password is used at the next attempt, without a restart.
    password(folder.path(), "correct horse", 0o600);
    put(&mut store, "second", &["nobody@example.org", "maintenance@example.org"]);
    store.retry_letters(chrono::Utc::now()).unwrap();
    let attempts = round(&mut store, &delivery);
    assert_eq!(attempts[0].refused, None, "{}", exim.log());
    assert!(attempts[1].refused.as_ref().unwrap().contains("no such user"), "{attempts:?}");
    let letters = exim.mailbox(2);
    assert_eq!(letters.len(), 2);
    assert_eq!(store.outbox().unwrap().undelivered.letters, 1);
}
