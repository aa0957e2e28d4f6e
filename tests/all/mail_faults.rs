//! A mail server that misbehaves (PyPI aiosmtpd): whatever it does, no letter is lost, nothing is
//! counted as sent that was not taken, and no attempt outlasts its time.

use std::io::{BufRead, BufReader};
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::time::{Duration, Instant};

use cowlwatch::config::meant::Security;
use cowlwatch::shell::mail::Delivery;
use cowlwatch::shell::store::Store;
use serde_json::Value;

use crate::mail_post::{configured, password, put, round, smtp};
use crate::tools::{self, Authority, authority};

pub struct Faulty {
    child: Child,
    pub port: u16,
    lines: Receiver<String>,
}

impl Faulty {
    pub fn start(mode: &str, certificate: &Authority) -> Self {
        let mut child = Command::new(tools::python())
            .arg(tools::helper("faulty_smtp.py"))
            .args([mode.as_ref(), certificate.certificate.as_os_str(), certificate.key.as_os_str()])
            .stdout(Stdio::piped())
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let mut lines = BufReader::new(child.stdout.take().unwrap()).lines();
        let port = lines.next().expect("the server says its port").unwrap().parse().unwrap();
        let (send, receive) = channel();
        std::thread::spawn(move || lines.map_while(Result::ok).try_for_each(|line| send.send(line)));
        Self { child, port, lines: receive }
    }

    /// What the server has said until now, after a moment for what is on the way.
    fn said(&self) -> Vec<Value> {
        std::thread::sleep(Duration::from_millis(150));
        self.lines.try_iter().map(|line| serde_json::from_str(&line).unwrap()).collect()
    }

    /// Message-IDs of letters the server has got.
    pub fn got(&self) -> Vec<String> {
        self.said().iter().filter_map(|v| v["id"].as_str().map(str::to_owned)).collect()
    }
}

impl Drop for Faulty {
    fn drop(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

struct Case {
    folder: tempfile::TempDir,
    store: Store,
    authority: Authority,
}

fn case() -> Case {
    let folder = tempfile::tempdir().unwrap();
    let store = Store::open(&folder.path().join("state")).unwrap();
    let authority = authority(&folder.path().join("ca"), "localhost");
    Case { folder, store, authority }
}

impl Case {
    fn delivery(&self, port: u16, patience_ms: u64) -> Delivery {
        let secret = password(self.folder.path(), "correct horse", 0o600);
        smtp(&configured(port, Some(self.authority.ca.clone()), &secret), patience_ms)
    }
}

#[test]
fn a_good_server_gets_all_letters_over_one_protected_connection() {
    let mut case = case();
    let server = Faulty::start("good", &case.authority);
    for number in 0..3 {
        put(&mut case.store, &format!("letter {number}"), &["a@example.org", "b@example.org"]);
    }
    let delivery = case.delivery(server.port, 10_000);
    let attempts = round(&mut case.store, &delivery);
    assert!(attempts.iter().all(|a| a.refused.is_none() && a.taken.len() == 2), "{attempts:?}");
    let said = server.said();
    assert_eq!(
        said.iter().filter(|v| v["auth_seen"].as_bool() == Some(true)).count(),
        1,
        "one login for three letters"
    );
    let letters: Vec<&Value> = said.iter().filter(|v| v["id"].is_string()).collect();
    assert_eq!(letters.len(), 3);
    assert!(letters.iter().all(|l| l["tls"] == true && l["login"] == true && l["to"].as_array().unwrap().len() == 2));
    assert_eq!(case.store.outbox().unwrap().undelivered.letters, 0);
    assert!(round(&mut case.store, &delivery).is_empty());
}

/// Protected from the first byte (RFC 8314, "implicit TLS"), and no letter to a server that does not speak it.
#[test]
fn a_line_protected_from_the_start_is_one_way_and_never_given_up_for_an_open_one() {
    for (mode, arrives) in [("tls", true), ("good", false), ("no-starttls", false)] {
        let mut case = case();
        let server = Faulty::start(mode, &case.authority);
        put(&mut case.store, "protected", &["a@example.org"]);
        let secret = password(case.folder.path(), "correct horse", 0o600);
        let mut mail = configured(server.port, Some(case.authority.ca.clone()), &secret);
        mail.security = Security::Tls;
        let attempts = round(&mut case.store, &smtp(&mail, 3000));
        assert_eq!(attempts[0].refused.is_none(), arrives, "{mode}: {attempts:?}");
        let said = server.said();
        assert_eq!(said.iter().filter(|v| v["id"].is_string()).count(), usize::from(arrives), "{said:?}");
        // To a server that is open at first, not even the login is begun.
        assert!(arrives || said.is_empty(), "{said:?}");
    }
}

#[test]
fn refusals_keep_the_letter_say_why_and_are_tried_again() {
    for (mode, reason, least_wait_s) in [
        ("rcpt-450", "450", 30),
        ("rcpt-550", "550", 300),
        ("data-451", "451", 30),
        ("data-554", "554", 300),
        ("auth-535", "535", 300),
        ("no-starttls", "STARTTLS", 300),
    ] {
        let mut case = case();
        let server = Faulty::start(mode, &case.authority);
        let id = put(&mut case.store, "kept", &["a@example.org"]);
        let delivery = case.delivery(server.port, 10_000);
        let before = chrono::Utc::now();
        let attempts = round(&mut case.store, &delivery);
        assert_eq!((attempts.len(), attempts[0].id, attempts[0].taken.len()), (1, id, 0), "{mode}");
        let refused = attempts[0].refused.clone().unwrap();
        assert!(refused.contains(reason), "{mode}: {refused}");
        assert_eq!(attempts[0].turned_away, mode == "auth-535", "{mode}");
        assert!((attempts[0].next_try - before).num_seconds() >= least_wait_s, "{mode}: {attempts:?}");
        let outbox = case.store.outbox().unwrap();
        assert_eq!((outbox.undelivered.letters, outbox.undelivered.last_error), (1, Some(refused)), "{mode}");
        let got = server.said();
        assert!(got.iter().all(|v| v["id"].is_null()), "{mode}");
        // The password never goes over an open line.
        assert!(mode != "no-starttls" || got.is_empty(), "{got:?}");
    }
}

#[test]
fn one_dead_address_costs_nobody_else_the_letter() {
    let mut case = case();
    let server = Faulty::start("rcpt-550-for-one", &case.authority);
    put(&mut case.store, "for two", &["gone@example.org", "maintenance@example.org"]);
    let delivery = case.delivery(server.port, 10_000);
    let attempts = round(&mut case.store, &delivery);
    assert_eq!(attempts[0].taken, ["maintenance@example.org"]);
    assert!(attempts[0].refused.as_ref().unwrap().contains("gone@example.org"));
    assert_eq!(server.got().len(), 1);
    let later = chrono::Utc::now() + chrono::Duration::minutes(6);
    assert_eq!(case.store.due_letters(later, 9).unwrap()[0].to, ["gone@example.org"], "only the refused one is left");
}

/// Who is only busy is not made to wait for who is gone, in whatever order; and both are named.
#[test]
fn refusals_of_two_kinds_are_both_said_and_the_hopeful_one_sets_the_time() {
    for to in [["busy@example.org", "gone@example.org"], ["gone@example.org", "busy@example.org"]] {
        let mut case = case();
        let server = Faulty::start("rcpt-mixed", &case.authority);
        put(&mut case.store, "for two", &to);
        let before = chrono::Utc::now();
        let delivery = case.delivery(server.port, 10_000);
        let attempts = round(&mut case.store, &delivery);
        let said = attempts[0].refused.clone().unwrap();
        assert!(["busy@", "450", "gone@", "550"].iter().all(|words| said.contains(words)), "{said}");
        let wait = (attempts[0].next_try - before).num_seconds();
        assert!((30..60).contains(&wait), "{wait} s");
    }
}

#[test]
fn a_server_that_hangs_is_left_in_time_and_later_letters_are_not_held_up() {
    for step in ["banner", "ehlo", "starttls", "auth", "mail", "rcpt", "data", "dot"] {
        let mut case = case();
        let server = Faulty::start(&format!("hang-{step}"), &case.authority);
        put(&mut case.store, "hangs", &["a@example.org"]);
        let delivery = case.delivery(server.port, 700);
        let began = Instant::now();
        let attempts = round(&mut case.store, &delivery);
        assert!(began.elapsed() < Duration::from_secs(4), "{step}: {:?}", began.elapsed());
        assert!(attempts[0].refused.is_some() && attempts[0].taken.is_empty(), "{step}: {attempts:?}");
        assert_eq!(case.store.outbox().unwrap().undelivered.letters, 1, "{step}");
    }
}

#[test]
fn a_trickling_server_is_left_in_time() {
    let mut case = case();
    let server = Faulty::start("trickle", &case.authority);
    put(&mut case.store, "slow", &["a@example.org"]);
    let delivery = case.delivery(server.port, 1500);
    let began = Instant::now();
    let attempts = round(&mut case.store, &delivery);
    assert!(began.elapsed() < Duration::from_secs(5));
    assert!(attempts[0].refused.as_ref().unwrap().contains("no answer within"), "{attempts:?}");
}

#[test]
fn a_line_dropped_after_the_final_dot_repeats_the_same_letter() {
    let mut case = case();
    let server = Faulty::start("drop-dot", &case.authority);
    put(&mut case.store, "dropped", &["a@example.org"]);
    let delivery = case.delivery(server.port, 5000);
    let attempts = round(&mut case.store, &delivery);
    assert!(attempts[0].refused.is_some() && attempts[0].taken.is_empty(), "{attempts:?}");
    let first = server.got();
    drop(server);
    // Tried again, at another server of that name: the same Message-ID, so that a reader shows it once.
    let server = Faulty::start("good", &case.authority);
    let waiting = case.store.due_letters(chrono::Utc::now() + chrono::Duration::minutes(1), 9).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    let delivery = case.delivery(server.port, 5000);
    runtime.block_on(delivery.deliver(waiting, chrono::Utc::now(), |a| assert_eq!(a.refused, None)));
    assert_eq!((first.len(), server.got()), (1, first.clone()));
}

#[test]
fn a_letter_the_server_chokes_on_does_not_hold_up_the_next() {
    let mut case = case();
    let server = Faulty::start("choke", &case.authority);
    let poison = put(&mut case.store, "poison", &["a@example.org"]);
    let fine = put(&mut case.store, "fine", &["a@example.org"]);
    let delivery = case.delivery(server.port, 5000);
    let attempts = round(&mut case.store, &delivery);
    assert_eq!(
        (attempts.len(), attempts[0].id),
        (1, poison),
        "the line is dead: the next was not tried, and is not punished"
    );
    let attempts = round(&mut case.store, &delivery);
    assert_eq!((attempts[0].id, attempts[0].refused.clone()), (fine, None));
}

#[test]
fn a_wrong_certificate_gets_neither_password_nor_letter() {
    for (name, other) in [("somewhere.example.org", false), ("localhost", true)] {
        let mut case = case();
        let presented = authority(&case.folder.path().join("other"), name);
        let server = Faulty::start("good", &presented);
        put(&mut case.store, "secret", &["a@example.org"]);
        // The right authority with another server's name; or the right name under another authority.
        if !other {
            case.authority.ca = presented.ca.clone();
        }
        let delivery = case.delivery(server.port, 5000);
        let attempts = round(&mut case.store, &delivery);
        assert!(attempts[0].refused.as_ref().unwrap().contains("certificate"), "{attempts:?}");
        assert!(server.said().is_empty());
    }
}

#[test]
fn a_closed_port_is_a_refusal_like_any_other() {
    let mut case = case();
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
    let port = free.local_addr().unwrap().port();
    drop(free);
    put(&mut case.store, "refused", &["a@example.org"]);
    let delivery = case.delivery(port, 2000);
    let attempts = round(&mut case.store, &delivery);
    assert!(attempts[0].refused.as_ref().unwrap().contains("refused"), "{attempts:?}");
    assert_eq!(case.store.outbox().unwrap().undelivered.letters, 1);
}

#[test]
fn an_open_line_is_for_this_machine_only() {
    let mut case = case();
    let server = Faulty::start("no-starttls", &case.authority);
    put(&mut case.store, "plain", &["a@example.org"]);
    let secret = password(case.folder.path(), "correct horse", 0o600);
    let mut mail = configured(server.port, None, &secret);
    mail.security = Security::None;
    // 192.0.2.0/24 is for documentation (RFC 5737): nobody's, and not loopback.
    mail.server = "192.0.2.1".to_owned();
    let attempts = round(&mut case.store, &smtp(&mail, 2000));
    assert!(attempts[0].refused.as_ref().unwrap().contains("this machine only"), "{attempts:?}");
    mail.server = "127.0.0.1".to_owned();
    let waiting = case.store.due_letters(chrono::Utc::now() + chrono::Duration::minutes(6), 9).unwrap();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(smtp(&mail, 5000).deliver(waiting, chrono::Utc::now(), |a| assert_eq!(a.refused, None)));
    assert_eq!(server.got().len(), 1);
}

#[test]
fn a_password_others_can_read_is_refused() {
    use cowlwatch::shell::mail::Smtp;
    let folder = tempfile::tempdir().unwrap();
    for (word, mode, expected) in [
        ("correct horse", 0o644, "others can read"),
        ("correct horse", 0o640, "others can read"),
        ("", 0o600, "alone on one line"),
        ("two\nlines", 0o600, "alone on one line"),
    ] {
        let secret = password(folder.path(), word, mode);
        let error = Smtp::new(&configured(1, None, &secret)).map(drop).unwrap_err().to_string();
        assert!(error.contains(expected), "{word:?} {mode:o}: {error}");
    }
    let mut mail = configured(1, None, &folder.path().join("absent"));
    assert!(Smtp::new(&mail).map(drop).unwrap_err().to_string().contains("absent"));
    mail.password_file = None;
    assert!(Smtp::new(&mail).map(drop).unwrap_err().to_string().contains("password_file"));
    mail.username = None;
    Smtp::new(&mail).unwrap();
    let authority = folder.path().join("ca.pem");
    std::fs::write(&authority, "no certificate").unwrap();
    mail.ca_file = Some(authority);
    assert!(Smtp::new(&mail).is_err());
}
