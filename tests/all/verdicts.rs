//! A pass that judges only what is new gives the alerts, letters and pages of one that judges everything.

use std::fs;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use chrono::{DateTime, TimeDelta, Utc};
use cowlwatch::alerts::Alert;
use cowlwatch::config;
use cowlwatch::daemon::pass::{self, DigestWish, Done, Rules, Verdicts};
use cowlwatch::shell::scan::{self, Look, Progress};
use cowlwatch::shell::store::Store;

use crate::support::copy_demo;

/// The logbook a hand writes in, and its rows.
struct Log {
    path: PathBuf,
    head: String,
    rows: Vec<String>,
    /// Rows written so far.
    there: usize,
    /// One more, which belongs nowhere.
    odd: Option<String>,
    /// It was taken away.
    gone: bool,
}

impl Log {
    fn of(path: PathBuf, from: &str) -> Self {
        let text = fs::read_to_string(&path).unwrap();
        let mut lines = text.lines().map(|line| format!("{line}\n"));
        let head = lines.next().unwrap();
        let rows: Vec<String> = lines.collect();
        let there = rows.iter().take_while(|row| row.as_str() < from).count();
        Self { path, head, rows, there, odd: None, gone: false }
    }

    fn write(&self) {
        if self.gone {
            return fs::remove_file(&self.path).unwrap_or_default();
        }
        let odd = self.odd.as_deref().unwrap_or_default();
        fs::write(&self.path, format!("{}{}{odd}", self.head, self.rows[..self.there].concat())).unwrap();
    }

    /// Something happens to it that no hand means, or it is mended.
    fn mischief(&mut self, chance: u64) {
        // An engine that flies in another aircraft of the demo, so that both are judged together.
        let last = self.rows[..self.there].last().map(|row| row.split(',').collect::<Vec<_>>());
        let installed = last.map(|row| format!("{},23:00,{},{},installed,,,,,,,E-0101,\n", row[0], row[2], row[3]));
        (self.odd, self.gone) = match chance {
            0 => (Some("2026-02-30,10:00,,what,flight,,,,,,,,\n".to_owned()), false),
            1 => (installed, false),
            2 => (None, true),
            _ => (None, false),
        };
        self.write();
    }
}

/// A state of its own that looks at the same folder.
struct Line {
    store: Store,
    keeps: bool,
    verdicts: Verdicts,
    letters: Vec<(String, String, String)>,
}

impl Line {
    fn new(state: &Path, keeps: bool) -> Self {
        // Message-IDs name the state.
        Store::open(state).unwrap().set_meta("id", "00112233aabbccdd").unwrap();
        Self { store: Store::open(state).unwrap(), keeps, verdicts: Verdicts::default(), letters: Vec::new() }
    }

    /// One pass; how many tails it judged or changed, and all that can be seen of it.
    fn pass(&mut self, rules: &Rules, now: DateTime<Utc>, digest: DigestWish) -> (usize, String) {
        let look = Look::at_once(rules.config.clone(), rules.models.clone(), Progress::default());
        let batch = scan::look(&look, &self.store.known().unwrap());
        let verdicts = std::mem::take(&mut self.verdicts);
        let done = pass::run(&mut self.store, rules, batch, now, digest, verdicts).unwrap();
        let Done { counts, changed, morning, touched, .. } = &done;
        let seen = (touched.len(), format!("{counts:?} {changed:?} {morning:?}"));
        if self.keeps {
            self.verdicts = done.into_verdicts();
        }
        let due = self.store.due_letters(now + TimeDelta::days(900), 9000).unwrap();
        self.letters = due.into_iter().map(|l| (l.message_id, l.slug, without_boundaries(&l.message))).collect();
        seen
    }
}

/// A letter without what is drawn anew for each: the marks between its parts.
fn without_boundaries(message: &[u8]) -> String {
    let mut text = String::from_utf8(message.to_vec()).unwrap();
    let marks: Vec<String> =
        text.split("boundary=\"").skip(1).filter_map(|t| Some(t.split('"').next()?.to_owned())).collect();
    marks.iter().for_each(|mark| text = text.replace(mark.as_str(), ""));
    text
}

/// Numbers below `below`, the same each time (Numerical Recipes' linear congruential generator).
struct Chance(u64);

impl Chance {
    fn below(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }
}

fn rules(folder: &Path, more: &str) -> Rules {
    let text = fs::read_to_string(folder.join("cowlwatch.toml")).unwrap() + more;
    let (config, problems) = config::load_partly(&text, "cowlwatch.toml", folder);
    assert!(problems.is_empty(), "{problems:?}");
    let (models, _) = config::models::parse(&fs::read_to_string(folder.join("engines.toml")).unwrap(), "engines.toml");
    Rules { config: Arc::new(config.unwrap().with_models(&models)), models: Arc::new(models.models) }
}

/// Rows come, go and come again on four aircraft of the demo, and whole logs; people acknowledge, close and answer;
/// engines are said to move, rules change, the clock goes back; now and then it is morning. One state keeps its verdicts,
/// the other judges everything each time.
#[test]
fn judging_what_is_new_is_judging_everything() {
    story(TimeDelta::zero());
}

/// The moment of the others may lag by minutes: each morning finds the same alerts, and the same letters went.
#[test]
fn a_verdict_some_minutes_old_loses_nothing() {
    story(TimeDelta::seconds(100));
}

fn story(lag: TimeDelta) {
    let folder = copy_demo();
    let home = folder.path().join("demo-fleet").canonicalize().unwrap();
    let fleet = home.join("fleet");
    for tail in ["N03KM", "N04KM", "N05KM", "N08KM"] {
        fs::remove_dir_all(fleet.join(tail)).unwrap();
    }
    let books = ["N01KM/logbook.csv", "N02KM/logbook-2026.csv", "N06KM/logbook.csv", "N07KM/logbook.csv"];
    let mut logs = books.map(|book| Log::of(fleet.join(book), "2026-02-01"));
    for tail in ["N01KM", "N02KM", "N06KM", "N07KM"] {
        fs::remove_dir_all(fleet.join(tail).join("monitor")).unwrap();
    }
    logs.iter().for_each(Log::write);
    let [usual, other] = ["", "[oil_change]\nevery_h = 20.0\n"].map(|more| rules(&home, more));
    let mut rules = &usual;
    let mut lines = [Line::new(&home.join("kept"), true), Line::new(&home.join("anew"), false)];
    let mut now: DateTime<Utc> = "2026-02-01T13:00:00Z".parse().unwrap();
    let mut chance = Chance(20_260_201);
    let mut mischief = Chance(7);
    let (mut spared, mut raised) = (0, 0);
    for step in 0..if lag.is_zero() { 160 } else { 80 } {
        let mut digest = DigestWish::No;
        match chance.below(6) {
            0 => {
                now += TimeDelta::days(1);
                digest = DigestWish::For(now.date_naive());
            }
            1 => now += TimeDelta::hours(1),
            2 => {
                // A person answers beside the service.
                for line in &mut lines {
                    let pass = line.store.begin().unwrap();
                    let mut alerts = pass.alerts().unwrap();
                    let live: Vec<usize> = (0..alerts.len()).filter(|i| alerts[*i].is_live()).collect();
                    if let Some(alert) = live.get(step % live.len().max(1)).map(|i| &mut alerts[*i]) {
                        match step % 2 {
                            0 => alert.acknowledge("Dana", "seen", Some(now + TimeDelta::hours(30)), now).unwrap(),
                            _ => alert.close("Dana", "done", now).unwrap(),
                        }
                    }
                    pass.put_alerts(&alerts).unwrap();
                    pass.commit().unwrap();
                }
            }
            _ => now += lag,
        }
        let log = &mut logs[chance.below(4) as usize];
        let today = now.format("%Y-%m-%d").to_string();
        let until = log.rows.iter().take_while(|row| **row < today).count();
        log.there = match chance.below(4) {
            // Rows are taken back, and some with them that had settled something.
            0 => log.there.saturating_sub(chance.below(9) as usize),
            _ => until,
        };
        log.write();
        if lag.is_zero() {
            match mischief.below(8) {
                0 => rules = if mischief.below(2) == 0 { &usual } else { &other },
                1 => now -= TimeDelta::minutes(40),
                2..5 => logs[mischief.below(4) as usize].mischief(mischief.below(5)),
                _ => {}
            }
        }
        let [(few, kept), (_, anew)] = lines.each_mut().map(|line| line.pass(rules, now, digest));
        let [a, b] = lines.each_ref().map(|line| line.store.alerts().unwrap());
        if lag.is_zero() {
            assert!(kept == anew, "step {step}\n{kept}\n\n{anew}");
            assert_eq!(a, b, "step {step}");
            assert!(lines[0].letters == lines[1].letters, "step {step}");
        } else if digest != DigestWish::No {
            let told = |list: &[Alert]| list.iter().map(|a| (a.number, a.key.clone(), a.state)).collect::<Vec<_>>();
            assert_eq!(told(&a), told(&b), "step {step}");
            let slugs = |line: &Line| line.letters.iter().map(|l| l.1.clone()).collect::<Vec<_>>();
            assert_eq!(slugs(&lines[0]), slugs(&lines[1]), "step {step}");
        }
        raised = a.len();
        spared += usize::from(few < 4);
    }
    // However new the last verdicts are, a digest rests on none, and every page is drawn with it.
    let tomorrow = DigestWish::For(now.date_naive() + chrono::Days::new(1));
    let wishes = [(1, DigestWish::No), (2, DigestWish::No), (3, tomorrow)];
    let touched = wishes.map(|(minutes, wish)| lines[0].pass(rules, now + TimeDelta::minutes(minutes), wish).0);
    assert_eq!(touched[1..], [0, 4]);
    assert!(spared > 25, "{spared} passes spared an aircraft");
    assert!(raised > 30 && lines[0].letters.len() > 9, "{raised} alerts, {} letters", lines[0].letters.len());
}
