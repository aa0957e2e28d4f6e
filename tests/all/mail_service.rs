//! The running service beside a mail server that misbehaves: scanning goes on, metrics and page say so within
//! the minute, nothing is lost, a copy of the state can be taken meanwhile, and every letter arrives once mended.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::{Duration, Instant};

use rustix::process::Signal;

use crate::mail_faults::Faulty;
use crate::mail_post::password;
use crate::reload::Service as Watch;
use crate::support::PROGRAM;
use crate::tools::{Authority, authority, must};

const MODELS: &str = "[[model]]\nname = \"Z4\"\nrated_hp = 180\nrated_rpm = 2700\ncylinders = 4\nturbocharged = false\n\
                      oil_capacity_qt = 8.0\noil_minimum_qt = 5.0\nconfirmed = true\n";

struct Service {
    folder: tempfile::TempDir,
    authority: Authority,
    running: Option<Watch>,
}

impl Service {
    fn new() -> Self {
        let folder = tempfile::tempdir().unwrap();
        fs::create_dir(folder.path().join("fleet")).unwrap();
        fs::write(folder.path().join("engines.toml"), MODELS).unwrap();
        password(folder.path(), "correct horse", 0o600);
        let authority = authority(&folder.path().join("ca"), "localhost");
        Self { folder, authority, running: None }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn configure(&self, port: u16) {
        let text = format!(
            "[fleet]\nfolder = \"fleet\"\nmodels = \"engines.toml\"\nstate = \"state\"\ntime_zone = \"UTC\"\n\
             [digest]\nschedule = \"0 0 1 1 *\"\n[mail]\nserver = \"localhost\"\nport = {port}\nsecurity = \"starttls\"\n\
             username = \"cowlwatch\"\npassword_file = \"smtp-password\"\nca_file = \"ca/ca.pem\"\n\
             from = \"cowlwatch@example.org\"\nto = [\"maintenance@example.org\"]\n"
        );
        fs::write(self.path("cowlwatch.toml"), text).unwrap();
    }

    fn start(&mut self) {
        self.running = Some(Watch::start(self.folder.path(), "cowlwatch.toml"));
    }

    fn signal(&self, signal: Signal) {
        self.running.as_ref().unwrap().signal(signal);
    }

    /// An aircraft whose filter showed metal: a warning, and so a letter of its own.
    fn add(&self, number: u32) {
        let home = self.path("fleet").join(format!("N0{number}Z"));
        fs::create_dir(&home).unwrap();
        let log = "date,hours,entry,result\n2026-01-20,101.0,flight,\n2026-01-21,101.0,filter-inspected,metal\n";
        fs::write(home.join("logbook.csv"), log).unwrap();
        let text = format!(
            "tail = \"N0{number}Z\"\nmeter = \"tach\"\n[[engine]]\nserial = \"Z-{number}\"\nmodel = \"Z4\"\n\
             hours_at_start = 900.0\nsince = \"overhaul\"\nhours_since = 300.0\noil = \"AD 50\"\nlast_oil_change_h = 5.0\n"
        );
        fs::write(home.join("aircraft.toml"), text).unwrap();
    }

    fn read(&self, name: &str) -> String {
        fs::read_to_string(self.path("state").join(name)).unwrap_or_default()
    }

    fn metric(&self, name: &str) -> Option<f64> {
        self.read("cowlwatch.prom").lines().find_map(|l| l.strip_prefix(name)?.trim().parse().ok())
    }

    fn wait(&self, what: &str, within_s: u64, done: impl Fn() -> bool) {
        let began = Instant::now();
        while !done() {
            let log = fs::read_to_string(self.path("log")).unwrap_or_default();
            assert!(began.elapsed() < Duration::from_secs(within_s), "not within {within_s} s: {what}\n{log}");
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

fn case(mode: &str) {
    let mut service = Service::new();
    let bad = Faulty::start(mode, &service.authority);
    service.add(1);
    service.configure(bad.port);
    service.start();
    service.wait("the first summary waits", 20, || service.metric("cowlwatch_letters_waiting") == Some(1.0));
    let hangs = mode.starts_with("hang");
    if !hangs {
        service.wait("the page says so", 20, || service.read("page/index.html").contains("Mail not delivered"));
    }
    // Meanwhile another aircraft is seen, judged and told of, on the page and in the outbox.
    service.add(2);
    service.wait("scanning goes on", 20, || {
        service.read("page/index.html").contains("N02Z") && service.metric("cowlwatch_letters_waiting") == Some(2.0)
    });
    backup(&service);

    let good = Faulty::start("good", &service.authority);
    service.configure(good.port);
    if hangs {
        // The attempt that hangs does not hold up the end; started again, the letters go at once.
        let began = Instant::now();
        service.signal(Signal::TERM);
        assert!(service.running.take().unwrap().child.wait().unwrap().success());
        assert!(began.elapsed() < Duration::from_secs(10), "{:?}", began.elapsed());
        service.start();
    } else {
        service.signal(Signal::HUP);
    }
    service.wait("all delivered", 20, || service.metric("cowlwatch_letters_waiting") == Some(0.0));
    service.wait("the page is clear", 20, || !service.read("page/index.html").contains("Mail not delivered"));
    let got = good.got();
    assert_eq!((got.len(), got[0] == got[1]), (2, false), "{mode}: {got:?}");
}

/// A copy taken while the service runs is a state that opens, with the alert in it.
fn backup(service: &Service) {
    let config = service.path("cowlwatch.toml");
    let run = |config: &Path, args: &[&str]| must(Command::new(PROGRAM).arg("--config").arg(config).args(args));
    let restored = service.path("restored");
    fs::create_dir(&restored).unwrap();
    let copy = restored.join("cowlwatch.sqlite");
    run(&config, &["backup", copy.to_str().unwrap()]);
    let text = fs::read_to_string(&config).unwrap().replace("state = \"state\"", "state = \"restored\"");
    fs::write(service.path("other.toml"), text).unwrap();
    let told = run(&service.path("other.toml"), &["alerts", "1"]);
    assert!(told.contains("metal") && told.contains("raised"), "{told}");
}

#[test]
fn a_refusing_server_is_shown_and_its_letters_go_once_mended() {
    let modes = ["rcpt-450", "data-554", "auth-535", "no-starttls"];
    std::thread::scope(|scope| modes.iter().for_each(|mode| drop(scope.spawn(|| case(mode)))));
}

#[test]
fn a_hanging_server_holds_up_neither_scanning_nor_the_end() {
    std::thread::scope(|scope| ["hang-banner", "hang-dot"].iter().for_each(|mode| drop(scope.spawn(|| case(mode)))));
}
