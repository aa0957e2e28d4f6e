#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::alerts::State;
use crate::config::meant::Security;
use crate::config::{Config, Mail};
use crate::engine::Models;
use crate::judge::Kind;
use crate::shell::scan::FileRecords;
use crate::shell::store::FileRow;

/// A service whose look at the fleet folder has been under way for `looking`.
fn service(folder: &std::path::Path, looking: Duration) -> (Service, mpsc::Receiver<Event>) {
    let state = folder.join("state");
    let mut config = Config::usual(folder.join("fleet"), folder.join("m"), state.clone(), chrono_tz::UTC);
    config.settings.digest.schedule = "0 0 * * *".to_owned();
    let mut store = Store::open(&state).unwrap();
    let pass = store.begin().unwrap();
    let (path, tail) = ("N0417H/logbook.csv".to_owned(), "N0417H".to_owned());
    let row = FileRow { path, tail, size: 1, mtime_ns: 1, inode: 1, hash: [0; 32], reader: 0 };
    pass.put_file(&row, &FileRecords::default()).unwrap();
    pass.commit().unwrap();
    let (events, inbox) = mpsc::channel(8);
    let service = Service {
        schedule: config.settings.digest.schedule.parse().unwrap(),
        rules: Rules { config: Arc::new(config), models: Arc::new(Models::new()) },
        delivery: Arc::new(Delivery::Folder(state.join("outbox"))),
        store,
        state,
        events,
        reload: Box::new(|| Err(String::new())),
        looking_since: Tick::now().checked_sub(looking),
        refused_since: None,
        look_stack: LOOK_STACK,
        hung: false,
        next_look: Tick::now(),
        going: None,
        stirred: false,
        next_judgement: Tick::now(),
        judge_again: false,
        verdicts: Verdicts::default(),
        watcher: std::sync::mpsc::channel().0,
        handing: Handing::default(),
        manager: Manager::default(),
        foreign: 0,
        folders: None,
        trouble: None,
        figures: None,
        undelivered: Undelivered::default(),
    };
    (service, inbox)
}

#[test]
fn a_share_that_hangs_does_not_silence_the_digest() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), HUNG + Duration::from_secs(1));
    service.look().unwrap();
    let today = Utc::now().date_naive();
    assert!(service.hung && service.store.digest_made(today).unwrap());
    let alerts = service.store.alerts().unwrap();
    let missing: Vec<_> = alerts.iter().filter(|a| a.kind() == Kind::AircraftMissing).collect();
    assert_eq!(missing.len(), 1);
    assert_eq!(&**missing[0].tail(), "fleet");
    // Still hung: nothing more is said of it.
    service.look().unwrap();
    assert_eq!(service.store.alerts().unwrap(), alerts);
}

/// What the calendar and people bring is judged also while the share hangs for a weekend.
#[test]
fn a_share_that_hangs_does_not_stop_the_judging() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), HUNG + Duration::from_secs(1));
    service.look().unwrap();
    let mut alerts = service.store.alerts().unwrap();
    let (then, ends) = (Utc::now() - chrono::TimeDelta::hours(2), Utc::now() - chrono::TimeDelta::hours(1));
    alerts[0].acknowledge("Dana", "away", Some(ends), then).unwrap();
    let pass = service.store.begin().unwrap();
    pass.put_alerts(&alerts).unwrap();
    pass.commit().unwrap();
    service.look().unwrap();
    assert_eq!(service.store.alerts().unwrap()[0].state, State::Acknowledged, "not with every tick");
    service.next_judgement = Tick::now();
    service.look().unwrap();
    assert_eq!(service.store.alerts().unwrap()[0].state, State::Open);
    // A collector that alarms on the age of the last look is not told that there was one.
    assert_eq!(service.figures.unwrap().last_scan, None);
}

/// The letter about the time without a writable state fails in turn: it is still of the whole time.
#[test]
fn a_trouble_counts_from_its_begin_until_it_has_been_told() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), Duration::ZERO);
    service.hold(&StoreError::Full);
    let since = Utc::now() - chrono::TimeDelta::hours(1);
    service.trouble.as_mut().unwrap().since = since;
    let good = service.rules.clone();
    let mut config = (*good.config).clone();
    config.settings.mail = Some(Mail { from: "no address".to_owned(), ..mail() });
    service.rules.config = Arc::new(config);
    service.written().unwrap_err();
    service.hold(&StoreError::Full);
    assert_eq!(service.trouble.as_ref().map(|t| t.since), Some(since));
    service.rules = good;
    service.written().unwrap();
    assert!(service.trouble.is_none());
    let letters = service.store.due_letters(Utc::now() + chrono::TimeDelta::minutes(1), 9).unwrap();
    let text = String::from_utf8(letters[0].message.clone()).unwrap();
    assert!(text.contains(&format!("From {} to ", since.format("%-d %b %H:%M"))), "{text}");
}

fn mail() -> Mail {
    Mail {
        server: "localhost".to_owned(),
        port: 587,
        security: Security::StartTls,
        username: None,
        password_file: None,
        ca_file: None,
        from: "cowlwatch@example.org".to_owned(),
        to: vec!["maintenance@example.org".to_owned()],
        routes: Vec::new(),
    }
}

/// What the share's silence made be said is taken back as soon as it answers, not minutes later.
#[test]
fn a_share_that_answers_again_is_judged_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, mut inbox) = service(folder.path(), Duration::ZERO);
    let tail = folder.path().join("fleet/N0417H");
    std::fs::create_dir_all(&tail).unwrap();
    std::fs::write(tail.join("aircraft.toml"), "tail = \"N0417H\"\n").unwrap();
    let missing = |service: &Service| {
        let alerts = service.store.alerts().unwrap();
        alerts.iter().any(|a| a.kind() == Kind::AircraftMissing && a.is_live())
    };
    let look = |service: &mut Service, inbox: &mut mpsc::Receiver<Event>| {
        service.looking_since = None;
        service.next_look = Tick::now();
        service.look().unwrap();
        let Some(Event::Looked(batch, going)) = inbox.blocking_recv() else { unreachable!("a look") };
        service.looked(batch, going).unwrap();
    };
    look(&mut service, &mut inbox);
    look(&mut service, &mut inbox);
    assert!(!missing(&service));
    service.looking_since = Tick::now().checked_sub(HUNG + Duration::from_secs(1));
    service.look().unwrap();
    assert!(missing(&service));
    look(&mut service, &mut inbox);
    assert!(!service.hung && !missing(&service));
}

/// A row that lands after its folder was listed is not left until the next round.
#[test]
fn what_changes_during_a_look_is_looked_at_next() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), Duration::from_secs(1));
    service.handing.under_way = true;
    service.handle(Event::Stirred).unwrap();
    service.handle(Event::Looked(Batch::default(), None)).unwrap();
    assert!(service.next_look <= Tick::now() + SETTLE);
    // Nor does a look from the beginning leave it to yet another one.
    service.next_look = Tick::now();
    service.look().unwrap();
    service.handle(Event::Looked(Batch::default(), None)).unwrap();
    assert!(service.next_look > Tick::now() + SETTLE);
}

/// A large folder is listed once; under other rules it is looked at from the beginning.
#[test]
fn a_look_goes_on_batch_by_batch() {
    for other_rules in [false, true] {
        let folder = tempfile::tempdir().unwrap();
        let (mut service, mut inbox) = service(folder.path(), Duration::ZERO);
        let tail = folder.path().join("fleet/N0417H");
        std::fs::create_dir_all(tail.join("monitor")).unwrap();
        let engine = "[[engine]]\nserial = \"S-1\"\nmodel = \"K6-250\"\nhours_at_start = 1000.0\noil = \"AD 50\"\n";
        let rows = "2026-03-01,1000,flight\n".repeat(20_000);
        for (name, text) in [
            ("aircraft.toml", format!("tail = \"N0417H\"\nmeter = \"tach\"\n{engine}")),
            ("logbook.csv", format!("date,hours,entry\n{rows}")),
            ("monitor/a.csv", "time,rpm\n2026-03-01T10:00:00Z,0\n".to_owned()),
        ] {
            std::fs::write(tail.join(name), text).unwrap();
            let old = std::time::SystemTime::now() - Duration::from_secs(3600);
            std::fs::File::options().append(true).open(tail.join(name)).unwrap().set_modified(old).unwrap();
        }
        service.looking_since = None;
        let mut left = Vec::new();
        for _ in 0..2 {
            service.look().unwrap();
            let Some(Event::Looked(batch, going)) = inbox.blocking_recv() else { unreachable!("a look") };
            left.push(batch.left);
            service.looked(batch, going).unwrap();
            // A look that goes on does not see this any more.
            let _ = std::fs::remove_file(tail.join("logbook.csv"));
            if other_rules {
                service.rules.config = Arc::new((*service.rules.config).clone());
            }
        }
        assert_eq!(left, [1, 0]);
        assert!(service.going.is_none());
        let known = service.store.known().unwrap();
        assert_eq!(known.find("N0417H/logbook.csv").is_none(), other_rules);
        assert!(known.find("N0417H/monitor/a.csv").is_some());
    }
}

#[test]
fn a_look_under_way_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), Duration::from_secs(1));
    service.look().unwrap();
    assert!(!service.hung && service.store.alerts().unwrap().is_empty());
}

/// A system without room for one more thread: said once and tried again, and told like a share that hangs if it lasts.
#[test]
fn a_refused_thread_is_asked_for_again() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, mut inbox) = service(folder.path(), Duration::ZERO);
    service.looking_since = None;
    let told = |service: &Service| service.store.alerts().unwrap().len();
    // No address space holds such a stack.
    service.look_stack = 1 << 60;
    service.look().unwrap();
    assert!(service.refused_since.is_some() && service.looking_since.is_none() && told(&service) == 0);
    service.refused_since = Tick::now().checked_sub(HUNG + Duration::from_secs(1));
    service.next_look = Tick::now();
    service.look().unwrap();
    assert!(service.hung && told(&service) == 1);
    let alerts = service.store.alerts().unwrap();
    let found = &alerts[0].finding.evidence;
    assert!(format!("{found:?}").contains("no thread to look at it for 60 s"), "{found:?}");
    service.next_look = Tick::now();
    service.look().unwrap();
    assert_eq!(service.store.alerts().unwrap(), alerts);
    service.look_stack = LOOK_STACK;
    service.next_look = Tick::now();
    service.look().unwrap();
    let Some(Event::Looked(batch, going)) = inbox.blocking_recv() else { unreachable!("a look") };
    service.looked(batch, going).unwrap();
    assert!(!service.hung && service.refused_since.is_none());
}
