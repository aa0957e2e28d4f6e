#![allow(clippy::unwrap_used, reason = "tests")]
//! States of every version there was open, whole; and an upgrade that fails leaves what was there.

use std::fmt::Write as _;
use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::types::Value;

use super::schema::{APPLICATION_ID, MIGRATIONS, VERSION};
use super::tests::{alert, at, file, letter, rejection};
use super::*;
use crate::records::Rejection;

/// A state with something in every table, the same each time.
fn filled(folder: &Path) -> Store {
    let mut store = Store::open(folder).unwrap();
    store.set_meta("id", "00112233aabbccdd").unwrap();
    store.id = "00112233aabbccdd".to_owned();
    let pass = store.begin().unwrap();
    let number = pass.put_file(&file("N0417H/logbook.csv"), &vec![rejection(7)]).unwrap();
    pass.put_strips(number, &[crate::records::monitor::Strip { start: at(2, 5), ..Default::default() }]).unwrap();
    let mut closed = alert(2, "rise 2");
    closed.close("Dana", "gasket replaced", at(3, 9)).unwrap();
    pass.put_alerts(&[alert(1, "rise 1"), closed]).unwrap();
    pass.record_digest(at(2, 0).date_naive(), at(2, 6)).unwrap();
    pass.mark_summarised(at(2, 6)).unwrap();
    for number in 1..=2 {
        let build =
            |row: Row<'_>| Ok((format!("<{}.{}@cowlwatch>", row.id, row.state), format!("letter {number}").into()));
        pass.enqueue(&letter(&["a@example.org"]), build).unwrap();
    }
    pass.commit().unwrap();
    let taken = Attempt {
        id: 1,
        taken: vec!["a@example.org".to_owned()],
        refused: None,
        next_try: at(2, 7),
        turned_away: false,
    };
    store.record_attempt(&taken, at(2, 7)).unwrap();
    store
}

/// The whole database as SQL, rows in order of their keys.
fn dump(store: &Store) -> String {
    let c = &store.connection;
    let mut out =
        format!("PRAGMA application_id={APPLICATION_ID};\nPRAGMA user_version={};\n", store.version().unwrap());
    let mut tables = c.prepare("SELECT name, sql FROM sqlite_schema WHERE sql IS NOT NULL ORDER BY rowid").unwrap();
    let list: Vec<(String, String)> =
        tables.query_map([], |r| Ok((r.get(0)?, r.get(1)?))).unwrap().collect::<rusqlite::Result<_>>().unwrap();
    for (name, sql) in list.iter().filter(|(n, _)| !n.starts_with("sqlite_")) {
        writeln!(out, "{sql};").unwrap();
        if !sql.starts_with("CREATE TABLE") {
            continue;
        }
        let mut rows = c.prepare(&format!("SELECT * FROM {name} ORDER BY 1")).unwrap();
        let columns = rows.column_count();
        let lines: Vec<String> = rows
            .query_map([], |row| (0..columns).map(|i| row.get::<_, Value>(i)).collect::<rusqlite::Result<Vec<_>>>())
            .unwrap()
            .map(|values| values.unwrap().iter().map(quoted).collect::<Vec<_>>().join(", "))
            .collect();
        lines.iter().for_each(|line| writeln!(out, "INSERT INTO {name} VALUES ({line});").unwrap());
    }
    out
}

fn quoted(value: &Value) -> String {
    match value {
        Value::Null => "NULL".to_owned(),
        Value::Integer(i) => i.to_string(),
        Value::Real(r) => format!("{r:?}"),
        Value::Text(t) => format!("'{}'", t.replace('\'', "''")),
        Value::Blob(b) => format!("x'{}'", b.iter().map(|b| format!("{b:02x}")).collect::<String>()),
    }
}

fn fixture(version: i64) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join(format!("tests/data/state-version-{version}.sql"))
}

/// Makes a state of an earlier version in `folder`.
fn restore(folder: &Path, version: i64) {
    let sql = fs::read_to_string(fixture(version)).unwrap();
    Connection::open(folder.join(FILE)).unwrap().execute_batch(&sql).unwrap();
}

/// The fixture of today's version is what this program writes. `GOLDEN=write` writes it anew: only before a
/// version is released, never after.
#[test]
fn the_fixture_of_this_version_is_what_the_program_writes() {
    let folder = tempfile::tempdir().unwrap();
    let now = dump(&filled(folder.path()));
    if std::env::var("GOLDEN").is_ok_and(|v| v == "write") {
        fs::write(fixture(VERSION), &now).unwrap();
    }
    assert_eq!(now, fs::read_to_string(fixture(VERSION)).unwrap());
}

#[test]
fn a_state_of_every_version_opens_and_keeps_everything() {
    for version in 1..=VERSION {
        let folder = tempfile::tempdir().unwrap();
        restore(folder.path(), version);
        let mut store = Store::open(folder.path()).unwrap();
        assert_eq!(store.version().unwrap(), VERSION);
        let alerts = store.alerts().unwrap();
        assert_eq!(alerts[0], alert(1, "rise 1"));
        assert_eq!(alerts[1].closed.as_ref().unwrap().by.as_deref(), Some("Dana"));
        assert_eq!(store.last_digest().unwrap().unwrap().sequence, 1);
        assert_eq!(store.known().unwrap().row("N0417H/logbook.csv"), Some(file("N0417H/logbook.csv")));
        let records: Vec<(String, Vec<Rejection>)> = store.records_of("N0417H").unwrap();
        assert_eq!(records[0].1, [rejection(7)]);
        let waiting = store.due_letters(at(9, 0), 9).unwrap();
        assert_eq!((waiting.len(), &*waiting[0].message), (1, &b"letter 2"[..]));
        assert_eq!(waiting[0].message_id, "<2.00112233aabbccdd@cowlwatch>", "sent again under the same Message-ID");
        assert!(!store.begin().unwrap().is_first().unwrap(), "no second first summary");
        assert_eq!(store.copy_of(version).exists(), version < VERSION);
    }
}

/// Alerts an older program closed sleep as those of this one do.
#[test]
fn the_closed_alerts_of_an_older_state_sleep() {
    let folder = tempfile::tempdir().unwrap();
    restore(folder.path(), 2);
    let settled = |number: u32, told: bool| {
        let mut alert = alert(number, &format!("rise {number}"));
        alert.finding.settled = Some(crate::judge::Settled { at: at(3, 1), why: "as before".into(), source: None });
        alert.state = crate::alerts::State::Closed;
        alert.closed = Some(crate::alerts::Closed { at: at(3, 1), by: None, why: "as before".into() });
        let of = |at| crate::alerts::Told {
            at,
            size: 1.0,
            level: crate::judge::Level::Caution,
            reminders: 0,
            changed_again: None,
            carried: true,
        };
        alert.told = told.then(|| of(at(4, 6)));
        alert
    };
    let mut waiting = settled(5, true);
    waiting.told.as_mut().unwrap().carried = false;
    let mut gone = alert(6, "rise 6");
    (gone.state, gone.memory.gone) = (crate::alerts::State::Closed, true);
    gone.closed = Some(crate::alerts::Closed { at: at(5, 1), by: None, why: "withdrawn".into() });
    let put = [settled(3, false), settled(4, true), waiting, gone];
    {
        let c = Connection::open(folder.path().join(FILE)).unwrap();
        for alert in &put {
            let (body, key) = (serde_json::to_string(alert).unwrap(), &alert.key);
            let sql = "INSERT INTO alerts VALUES (?1, ?2, 'oil-rate-rise', 'caution', 'closed', 'N0417H', NULL, NULL, 0, 0, 0, ?3)";
            c.execute(sql, rusqlite::params![alert.number, key, body]).unwrap();
        }
    }
    let mut store = Store::open(folder.path()).unwrap();
    let pass = store.begin().unwrap();
    let asleep = |when| {
        let mut list = pass.asleep(Some(when)).unwrap();
        list.sort_by_key(|s| s.number);
        list.iter().map(|s| (s.number, s.gone)).collect::<Vec<_>>()
    };
    // A second later than the newest moment of each, at most.
    assert_eq!(asleep(at(3, 0)), []);
    assert_eq!(asleep(at(3, 2)), [(3, false)]);
    assert_eq!(asleep(at(4, 7)), [(3, false), (4, false)]);
    assert_eq!(asleep(at(9, 0)), [(3, false), (4, false), (6, true)]);
    let awake = |when| pass.awake(when).unwrap().iter().map(|a| a.number).collect::<Vec<_>>();
    assert_eq!(awake(Some(at(9, 0))), [1, 2, 5]);
    assert_eq!(awake(None), [1, 2, 3, 4, 5, 6]);
    // Written again by this program they rest as the upgrade said, to the second.
    pass.put_alerts(&put).unwrap();
    assert_eq!(asleep(at(9, 0)), [(3, false), (4, false), (6, true)]);
    assert_eq!(asleep(at(4, 6)), [(3, false), (4, false)]);
}

/// One step more than there is, as a later program has it.
const LATER: &str =
    "ALTER TABLE letters ADD COLUMN priority INTEGER NOT NULL DEFAULT 0; UPDATE letters SET priority = 1;";

#[test]
fn an_upgrade_keeps_a_copy_and_a_failing_step_changes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = filled(folder.path());
    let before = dump(&store);
    let failing: Vec<&str> =
        MIGRATIONS.iter().copied().chain([LATER, "UPDATE letters SET priority = 2; nonsense"]).collect();
    assert!(store.upgrade(&failing).is_err());
    assert_eq!(store.version().unwrap(), VERSION + 1, "the first step stands, the second has not happened");
    let ones: i64 = store.connection.query_row("SELECT sum(priority) FROM letters", [], |r| r.get(0)).unwrap();
    assert_eq!(ones, 2);
    // The copy is the state as it was, and opens with the program that wrote it.
    let old = tempfile::tempdir().unwrap();
    fs::copy(store.copy_of(VERSION), old.path().join(FILE)).unwrap();
    assert_eq!(dump(&Store::open(old.path()).unwrap()), before);
    // Put right, the upgrade goes on from where it stands.
    let steps = [MIGRATIONS.as_slice(), &[LATER, "UPDATE letters SET priority = 3"]].concat();
    store.upgrade(&steps).unwrap();
    assert_eq!(store.version().unwrap(), VERSION + 2);
    drop(store);
    // And the program of today refuses it by name.
    let said = Store::open(folder.path()).map(drop).unwrap_err().to_string();
    assert!(said.contains("newer cowlwatch") && said.contains("backup"), "{said}");
}

/// A person's command beside an older service must not change its tables.
#[test]
fn only_the_service_or_a_scan_upgrades() {
    let folder = tempfile::tempdir().unwrap();
    drop(filled(folder.path()));
    let beside = Store::open_beside(folder.path()).unwrap();
    beside.refuse_older(VERSION).unwrap();
    // As a program sees it whose tables are one step further.
    let said = beside.refuse_older(VERSION + 1).unwrap_err().to_string();
    assert!(said.contains("older cowlwatch") && said.contains("cowlwatch scan"), "{said}");
    assert_eq!(beside.version().unwrap(), VERSION);
}
