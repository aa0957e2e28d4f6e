#![allow(clippy::unwrap_used, reason = "tests")]

use super::*;
use crate::config::Config;
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
        hung: false,
        next_look: Tick::now(),
        next_judgement: Tick::now(),
        handing: Handing::default(),
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

#[test]
fn a_look_under_way_is_waited_for() {
    let folder = tempfile::tempdir().unwrap();
    let (mut service, _inbox) = service(folder.path(), Duration::from_secs(1));
    service.look().unwrap();
    assert!(!service.hung && service.store.alerts().unwrap().is_empty());
}
