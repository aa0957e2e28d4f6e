#![allow(clippy::unwrap_used, clippy::panic, reason = "tests")]

use std::fs;
use std::path::Path;

use chrono::{NaiveDate, TimeZone};

use super::open::file_system;
use super::*;
use crate::alerts::Alert;
use crate::judge::{Evidence, Finding, Kind};
use crate::records::{Rejection, Source};

pub(super) fn at(day: u32, hour: u32) -> Instant {
    Utc.with_ymd_and_hms(2026, 3, day, hour, 0, 0).unwrap()
}

pub(super) fn alert(number: u32, subject: &str) -> Alert {
    let finding = Finding {
        kind: Kind::OilRateRise,
        level: Kind::OilRateRise.usual_level(),
        tail: "N0417H".into(),
        position: Some("left".into()),
        serial: Some("H-2207".into()),
        subject: subject.to_owned(),
        raised: at(1, 12),
        hours: Some(1254.1),
        settled: None,
        size: 0.1 + 0.2,
        evidence: Evidence::default()
            .with("from_qt_per_h", 0.125)
            .with("since", NaiveDate::from_ymd_opt(2026, 2, 25).unwrap())
            .with("lines", vec![Source { file: "N0417H/logbook.csv".into(), line: 7 }]),
    };
    Alert::new(number, finding, at(2, 6))
}

pub(super) fn file(path: &str) -> FileRow {
    FileRow {
        path: path.to_owned(),
        tail: path.split('/').next().unwrap().to_owned(),
        size: u64::MAX,
        mtime_ns: -5,
        inode: u64::MAX - 1,
        hash: [7; 32],
        reader: 3,
    }
}

pub(super) fn rejection(line: u32) -> Rejection {
    Rejection {
        source: Source { file: "N0417H/logbook.csv".into(), line },
        found: "level \"1O qt\"".into(),
        expected: "a number".into(),
        whole_file: false,
    }
}

pub(super) fn letter(to: &[&str]) -> NewLetter {
    NewLetter {
        kind: "alert".into(),
        slug: "n0417h".into(),
        made: at(2, 6),
        from: "cowlwatch@example.org".into(),
        to: to.iter().map(|&t| t.to_owned()).collect(),
    }
}

fn build(row: Row<'_>) -> std::result::Result<(String, Vec<u8>), String> {
    Ok((format!("<{}.{}@example.org>", row.state, row.id), b"Subject: x\r\n\r\nx\r\n".to_vec()))
}

#[test]
fn a_pass_is_kept_whole_or_not_at_all() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let alerts = [alert(1, "rise 1"), alert(2, "rise 2")];
    let records = vec![rejection(7), rejection(9)];
    for commit in [false, true] {
        let pass = store.begin().unwrap();
        assert!(pass.is_first().unwrap());
        pass.put_file(&file("N0417H/logbook.csv"), &records).unwrap();
        pass.put_alerts(&alerts).unwrap();
        pass.enqueue(&letter(&["a@example.org"]), build).unwrap();
        assert_eq!(pass.record_digest(NaiveDate::from_ymd_opt(2026, 3, 2).unwrap(), at(2, 13)).unwrap(), Some(1));
        pass.mark_summarised(at(2, 6)).unwrap();
        if commit {
            pass.commit().unwrap();
        } else {
            drop(pass);
            assert!(store.known().unwrap().is_empty());
            assert_eq!(store.alerts().unwrap(), []);
            assert_eq!(store.outbox().unwrap(), Outbox::default());
            assert_eq!(store.last_digest().unwrap(), None);
        }
    }
    drop(store);
    let mut store = Store::open(folder.path()).unwrap();
    assert_eq!(store.known().unwrap().row("N0417H/logbook.csv"), Some(file("N0417H/logbook.csv")));
    assert_eq!(store.known().unwrap().len(), 1);
    assert_eq!(store.records_of::<Vec<Rejection>>("N0417H").unwrap(), [("N0417H/logbook.csv".to_owned(), records)]);
    assert_eq!(store.alerts().unwrap(), alerts);
    assert_eq!(store.outbox().unwrap().undelivered.letters, 1);
    let pass = store.begin().unwrap();
    assert!(!pass.is_first().unwrap());
    pass.remove_file("N0417H/logbook.csv").unwrap();
    assert_eq!(pass.tails().unwrap(), [""; 0]);
    assert!(!pass.touch_file(&file("N0417H/logbook.csv")).unwrap());
}

#[test]
fn a_file_read_again_replaces_what_it_said() {
    let mut store = Store::scratch(None).unwrap();
    let pass = store.begin().unwrap();
    pass.put_file(&file("A/logbook.csv"), &vec![rejection(1)]).unwrap();
    pass.put_file(&file("A/logbook.csv"), &vec![rejection(2)]).unwrap();
    let touched = FileRow { mtime_ns: 99, ..file("A/logbook.csv") };
    assert!(pass.touch_file(&touched).unwrap());
    assert_eq!(pass.changed("A/logbook.csv").unwrap(), Some(99));
    let said: Vec<(String, Vec<Rejection>)> = pass.records_of("A").unwrap();
    assert_eq!(said, [("A/logbook.csv".to_owned(), vec![rejection(2)])]);
}

#[test]
fn a_date_has_one_digest_and_sequence_numbers_have_no_gaps() {
    let mut store = Store::scratch(None).unwrap();
    let pass = store.begin().unwrap();
    let date = |d| NaiveDate::from_ymd_opt(2026, 3, d).unwrap();
    let got: Vec<_> = [2, 2, 5, 1, 5, 6].map(|d| pass.record_digest(date(d), at(d, 13)).unwrap()).into();
    assert_eq!(got, [Some(1), None, Some(2), Some(3), None, Some(4)]);
    assert_eq!(pass.last_digest().unwrap().unwrap().date, date(6));
    assert!(pass.digest_made(date(1)).unwrap() && !pass.digest_made(date(3)).unwrap());
}

#[test]
fn a_letter_waits_until_taken_for_everyone() {
    let mut store = Store::scratch(None).unwrap();
    let pass = store.begin().unwrap();
    assert!(matches!(pass.enqueue(&letter(&[]), build), Err(StoreError::Letter(_))));
    let unmade = pass.enqueue(&letter(&["a@example.org"]), |_| Err("cannot be made".to_owned()));
    assert!(matches!(unmade, Err(StoreError::Letter(_))));
    let id = pass.enqueue(&letter(&["a@example.org", "b@example.org"]), build).unwrap();
    pass.commit().unwrap();

    let due = store.due_letters(at(2, 7), 10).unwrap();
    assert_eq!((due.len(), due[0].id, due[0].attempts), (1, id, 0));
    let mut attempt = Attempt {
        id,
        taken: vec!["a@example.org".into()],
        refused: Some("550 no such user".into()),
        next_try: at(2, 8),
        turned_away: false,
    };
    assert_eq!(store.record_attempt(&attempt, at(2, 7)).unwrap(), Taken::Waits(1));
    assert_eq!(store.due_letters(at(2, 7), 10).unwrap(), []);
    let outbox = store.outbox().unwrap();
    assert_eq!((outbox.undelivered.letters, outbox.last_sent), (1, None));
    assert_eq!(outbox.undelivered.last_error.as_deref(), Some("550 no such user"));

    let again = store.due_letters(at(2, 8), 10).unwrap();
    assert_eq!((again[0].to.clone(), again[0].attempts), (vec!["b@example.org".to_owned()], 1));
    assert_eq!((&again[0].message_id, &again[0].message), (&due[0].message_id, &due[0].message));
    // A clock that was three days ahead when it failed must not hold the letter back for three days.
    attempt = Attempt { id, taken: vec![], refused: Some("451 later".into()), next_try: at(5, 8), turned_away: false };
    store.record_attempt(&attempt, at(5, 7)).unwrap();
    assert_eq!(store.due_letters(at(2, 9), 10).unwrap().len(), 1);
    attempt =
        Attempt { id, taken: vec!["b@example.org".into()], refused: None, next_try: at(2, 9), turned_away: false };
    assert_eq!(store.record_attempt(&attempt, at(2, 9)).unwrap(), Taken::ForAll);
    assert_eq!(store.outbox().unwrap().last_sent, Some(at(2, 9)));
    assert_eq!(store.outbox().unwrap().undelivered.letters, 0);
    // Late news about a letter that is through changes nothing.
    attempt = Attempt { id, taken: vec![], refused: Some("451".into()), next_try: at(2, 10), turned_away: false };
    store.record_attempt(&attempt, at(2, 10)).unwrap();
    assert_eq!(store.outbox().unwrap().undelivered.letters, 0);
}

fn refusal(folder: &Path) -> String {
    Store::open(folder).map(drop).unwrap_err().to_string()
}

#[test]
fn what_is_not_our_state_is_refused_and_left_as_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE);
    let other = folder.path().join("other.sqlite");
    Connection::open(&other).unwrap().execute_batch("CREATE TABLE t (x)").unwrap();
    for (content, expected) in [
        (Vec::new(), "the file is empty"),
        (b"garbage".repeat(1000), "not an SQLite database"),
        (fs::read(&other).unwrap(), "another program's"),
    ] {
        fs::write(&path, &content).unwrap();
        let said = refusal(folder.path());
        assert!(said.contains(expected) && said.contains("cowlwatch backup"), "{said}");
        assert_eq!(fs::read(&path).unwrap(), content);
    }
}

#[test]
fn a_damaged_newer_or_unfinished_state_is_refused() {
    for (sql, expected) in [
        ("PRAGMA user_version=99", "written by a newer cowlwatch"),
        ("DELETE FROM meta WHERE name = 'initialised'", "never completed"),
        ("PRAGMA user_version=0", "it has no tables"),
        ("DROP TABLE meta", "no such table"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        drop(Store::open(folder.path()).unwrap());
        Connection::open(folder.path().join(FILE)).unwrap().execute_batch(sql).unwrap();
        let said = refusal(folder.path());
        assert!(said.contains(expected), "{sql}: {said}");
    }
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join(FILE);
    drop(Store::open(folder.path()).unwrap());
    let mut bytes = fs::read(&path).unwrap();
    bytes[4096..12288].fill(0xa5);
    fs::write(&path, &bytes).unwrap();
    let said = refusal(folder.path());
    assert!(said.contains("damaged") && said.contains("cowlwatch backup"), "{said}");
    assert_eq!(fs::read(&path).unwrap(), bytes);

    fs::remove_file(&path).unwrap();
    fs::write(folder.path().join(format!("{FILE}-wal")), b"x").unwrap();
    assert!(refusal(folder.path()).contains("the database itself is not"));
}

#[test]
fn a_kill_while_the_state_is_made_leaves_the_way_free() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("cowlwatch.new"), b"half").unwrap();
    Store::open(folder.path()).unwrap();
}

#[test]
fn a_second_program_is_told_the_first_ones_number() {
    let folder = tempfile::tempdir().unwrap();
    let first = Store::open(folder.path()).unwrap();
    let error = Store::open(folder.path()).map(drop).unwrap_err();
    assert!(error.to_string().contains(&format!("process {}", std::process::id())), "{error}");
    assert_eq!(error.exit_code(), 75);
    // A person's small change goes beside it.
    let mut beside = Store::open_beside(folder.path()).unwrap();
    let before = first.foreign_writes().unwrap();
    let pass = beside.begin().unwrap();
    pass.set_meta("x", "y").unwrap();
    pass.commit().unwrap();
    assert_ne!(first.foreign_writes().unwrap(), before);
    assert_eq!(first.meta("x").unwrap().as_deref(), Some("y"));
    drop(first);
    Store::open(folder.path()).unwrap();
}

#[test]
fn a_backup_is_whole_and_never_overwrites() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(&folder.path().join("state")).unwrap();
    let pass = store.begin().unwrap();
    pass.put_alerts(&[alert(1, "rise 1")]).unwrap();
    pass.commit().unwrap();
    let other = folder.path().join("restored");
    fs::create_dir(&other).unwrap();
    let copy = other.join(FILE);
    store.backup(&copy).unwrap();
    assert!(matches!(store.backup(&copy), Err(StoreError::Exists { .. })));
    assert_eq!(fs::read_dir(&other).unwrap().count(), 1);
    let restored = Store::open(&other).unwrap();
    assert_eq!(restored.alerts().unwrap(), [alert(1, "rise 1")]);
}

#[test]
fn a_scratch_copy_leaves_no_trace() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let pass = store.begin().unwrap();
    pass.put_alerts(&[alert(1, "rise 1")]).unwrap();
    pass.commit().unwrap();
    let mut scratch = Store::scratch(Some(folder.path())).unwrap();
    assert_eq!(scratch.alerts().unwrap().len(), 1);
    let pass = scratch.begin().unwrap();
    pass.put_alerts(&[alert(2, "rise 2")]).unwrap();
    pass.commit().unwrap();
    assert_eq!((scratch.alerts().unwrap().len(), store.alerts().unwrap().len()), (2, 1));
}

/// Lines in the form of proc(5), /proc/pid/mountinfo.
#[test]
fn the_file_system_is_that_of_the_innermost_mount() {
    let mounts = "22 1 8:1 / / rw,relatime shared:1 - ext4 /dev/sda1 rw\n\
                  40 22 0:40 / /srv/fleet\\040share rw master:2 - cifs //server/fleet rw\n\
                  41 22 0:41 / /srv rw - nfs4 server:/srv rw\n";
    let on = |path: &str| file_system(mounts, Path::new(path));
    assert_eq!(on("/var/lib/cowlwatch").as_deref(), Some("ext4"));
    assert_eq!(on("/srv/state").as_deref(), Some("nfs4"));
    assert_eq!(on("/srv/fleet share/state").as_deref(), Some("cifs"));
    assert_eq!(on("/srvother").as_deref(), Some("ext4"));
}

#[test]
fn two_alerts_never_share_a_key() {
    let mut store = Store::scratch(None).unwrap();
    let pass = store.begin().unwrap();
    let twin = Alert { number: 2, ..alert(1, "rise 1") };
    assert!(pass.put_alerts(&[alert(1, "rise 1"), twin]).is_err());
}

/// A full disk, made with a limit on the database's pages.
#[test]
fn a_full_disk_is_said_and_survived() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    let pages: i64 = store.connection.query_row("PRAGMA page_count", [], |row| row.get(0)).unwrap();
    let limit = |store: &Store, pages: i64| {
        store.connection.query_row(&format!("PRAGMA max_page_count={pages}"), [], |_| Ok(())).unwrap();
    };
    limit(&store, pages + 2);
    let records: Vec<Rejection> = (0..2000).map(rejection).collect();
    let pass = store.begin().unwrap();
    pass.put_alerts(&[alert(1, "rise 1")]).unwrap();
    let error = pass.put_file(&file("A/logbook.csv"), &records).unwrap_err();
    assert!(matches!(error, StoreError::Full) && error.may_pass() && error.exit_code() == 73, "{error}");
    drop(pass);
    assert_eq!(store.alerts().unwrap(), []);
    limit(&store, 1_000_000);
    let pass = store.begin().unwrap();
    pass.put_alerts(&[alert(1, "rise 1")]).unwrap();
    pass.put_file(&file("A/logbook.csv"), &records).unwrap();
    pass.commit().unwrap();
    assert_eq!(store.alerts().unwrap().len(), 1);
}

#[test]
fn a_state_that_cannot_be_written_is_said() {
    let folder = tempfile::tempdir().unwrap();
    let mut store = Store::open(folder.path()).unwrap();
    store.connection.pragma_update(None, "query_only", true).unwrap();
    let error = store.begin().map(drop).unwrap_err();
    assert!(matches!(error, StoreError::ReadOnly) && error.exit_code() == 73, "{error}");
}

#[test]
fn a_hundred_thousand_known_files_are_listed_at_once() {
    let mut store = Store::scratch(None).unwrap();
    let pass = store.begin().unwrap();
    for number in 0..100_000 {
        pass.put_file(&file(&format!("N{:04}/monitor/{number}.csv", number % 97)), &Vec::<Rejection>::new()).unwrap();
    }
    pass.commit().unwrap();
    let began = std::time::Instant::now();
    assert_eq!(store.known().unwrap().len(), 100_000);
    // A share of the half second a pass over them may take; generous for a loaded machine.
    assert!(began.elapsed().as_millis() < 1500, "{:?}", began.elapsed());
    println!("listed in {:?}", began.elapsed());
}
