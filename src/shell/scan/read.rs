//! Reads a tail's files into records.

use std::io;
use std::path::PathBuf;
use std::sync::Arc;

use super::list::{Found, Role, odd, tail, younger};
use super::open::Opened;
use super::{Batch, Change, FileRecords, Look, READER_VERSION, YOUNG};
use crate::config::Config;
use crate::engine::Models;
use crate::judge::RulesFor as _;
use crate::records::layout::LogbookLayout;
use crate::records::monitor::{self, RecordedEngine, ReduceContext, Reducer, Strip};
use crate::records::run::REDUCER_VERSION;
use crate::records::table::{Content, Sheet, content, fully_there};
use crate::records::{Aircraft, Rejection, aircraft_file, logbook};
use crate::shell::store::{FileRow, Known};
use crate::shell::workbook;

/// Largest aircraft.toml and logbook read, bytes.
const AIRCRAFT_LIMIT: u64 = 1 << 20;
const LOGBOOK_LIMIT: u64 = 64 << 20;

/// What came of reading a file.
#[derive(Debug)]
pub enum Outcome {
    Read(Change),
    /// It changed while it was read.
    Waiting,
    Problem(Rejection),
    /// It is gone, or nobody's.
    Nothing,
}

/// One tail's reader.
#[derive(Clone, Debug)]
pub struct Tail {
    folder: PathBuf,
    config: Arc<Config>,
    aircraft: Option<Arc<Aircraft>>,
    has_file: bool,
    in_doubt: bool,
    context: Arc<ReduceContext>,
    logbook_version: u64,
    monitor_version: u64,
}

impl Tail {
    /// Reads the tail's aircraft.toml, always: it is small, and everything else hangs on it.
    pub fn open(look: &Look, tail: &str, known: &Known, batch: &mut Batch) -> Self {
        let path = format!("{tail}/aircraft.toml");
        let mut reader = Self {
            folder: look.folder.clone(),
            config: look.config.clone(),
            aircraft: None,
            has_file: false,
            in_doubt: false,
            context: Arc::new(ReduceContext::new(look.config.settings.fleet.time_zone, Vec::new())),
            logbook_version: 0,
            monitor_version: 0,
        };
        let mut opened = match Opened::open(&look.folder.join(&path)) {
            Ok(opened) => opened,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return reader,
            Err(error) => {
                batch.problems.push(unreadable(&path, &error));
                return reader;
            }
        };
        let bytes = match opened.content(AIRCRAFT_LIMIT) {
            Ok(Some(bytes)) => bytes,
            Ok(None) => {
                batch.problems.push(odd(&path, "larger than 1 MB", "a short TOML file"));
                return reader;
            }
            Err(error) => {
                batch.problems.push(unreadable(&path, &error));
                return reader;
            }
        };
        reader.has_file = true;
        let (aircraft, rejections) =
            aircraft_file::parse(&String::from_utf8_lossy(&bytes), &path, &look.config.layouts);
        reader.in_doubt = !rejections.is_empty();
        reader.take(aircraft.clone(), &opened.hash(), &look.models);
        let row = row(&path, tail, &opened, reader.logbook_version);
        if known.row(&path).as_ref() != Some(&row) {
            batch.read += 1;
            let records = FileRecords { aircraft, rejections, ..FileRecords::default() };
            batch.changes.push(Change::Put(row, Box::new(records)));
        } else {
            batch.unchanged += 1;
        }
        reader
    }

    fn take(&mut self, aircraft: Option<Aircraft>, hash: &[u8], models: &Models) {
        let engines = aircraft.iter().flat_map(|a| &a.engines);
        let tail = aircraft.as_ref().map_or("", |a| &*a.tail);
        let engines = engines
            .map(|e| {
                let rules = self.config.rules(tail, &e.model, &e.serial);
                let initial = [rules.break_in.initial_manifold_inhg, rules.break_in.initial_rpm];
                RecordedEngine { position: e.position.clone(), model: models.get(&e.model).cloned(), initial }
            })
            .collect();
        let context = ReduceContext::new(self.config.settings.fleet.time_zone, engines);
        let layouts = format!("{:?} {}", self.config.layouts, self.config.settings.fleet.time_zone);
        self.logbook_version = version(&[hash, layouts.as_bytes(), &READER_VERSION.to_le_bytes()]);
        let more = format!("{REDUCER_VERSION} {}", context.fingerprint());
        self.monitor_version = version(&[&self.logbook_version.to_le_bytes(), more.as_bytes()]);
        self.context = Arc::new(context);
        self.aircraft = aircraft.map(Arc::new);
    }

    pub fn aircraft(&self) -> Option<&Aircraft> {
        self.aircraft.as_deref()
    }

    pub fn has_file(&self) -> bool {
        self.has_file
    }

    /// Something in its aircraft.toml could not be read, perhaps the table that names its logs.
    pub fn in_doubt(&self) -> bool {
        self.in_doubt
    }

    /// What stored records of such a file must have been made by.
    pub fn version(&self, role: &Role) -> u64 {
        match role {
            Role::Logbook(_) => self.logbook_version,
            Role::Monitor(_) => self.monitor_version,
        }
    }

    /// Reads one file.
    pub fn read(&self, file: &Found, known: Option<&FileRow>, reducer: &mut Reducer) -> Outcome {
        let Some(aircraft) = &self.aircraft else { return Outcome::Nothing };
        let opened = match Opened::open(&self.folder.join(&file.path)) {
            Ok(opened) => opened,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Outcome::Nothing,
            Err(error) => return Outcome::Problem(unreadable(&file.path, &error)),
        };
        let result = match file.role {
            Role::Logbook(layout) => self.logbook(opened, file, &sheets(aircraft, layout), aircraft, known),
            Role::Monitor(layout) => {
                let layout = layout.and_then(|i| aircraft.monitors.get(i));
                let mut opened = opened;
                let (mut runs, rejections) = reducer.reduce(&mut opened, &file.path, layout, &self.context);
                let strips = runs.iter_mut().filter_map(|r| r.strip.take()).map(|s| *s).collect();
                Ok((opened, Some(FileRecords { runs, rejections, strips, ..FileRecords::default() })))
            }
        };
        match result {
            Ok((opened, _)) if !opened.held_still() => Outcome::Waiting,
            Ok((opened, records)) => {
                let mut row = row(&file.path, tail(&file.path), &opened, self.version(&file.role));
                if records.as_ref().is_some_and(|r| r.unfinished) {
                    // To be read again, whether it changes or not.
                    row.reader = !row.reader;
                }
                Outcome::Read(match records {
                    Some(records) => Change::Put(row, Box::new(records)),
                    None => Change::Touch(row),
                })
            }
            Err(problem) => Outcome::Problem(problem),
        }
    }

    /// Reads a recording again for its pictures.
    pub fn strips(&self, file: &Found) -> io::Result<Vec<Strip>> {
        let layout = match (&file.role, &self.aircraft) {
            (Role::Monitor(Some(i)), Some(aircraft)) => aircraft.monitors.get(*i),
            _ => None,
        };
        let mut opened = Opened::open(&self.folder.join(&file.path))?;
        let (runs, _) = monitor::reduce(&mut opened, &file.path, layout, &self.context);
        Ok(runs.into_iter().filter_map(|r| r.strip).map(|s| *s).collect())
    }

    /// `None` where the content is what it was.
    fn logbook(
        &self,
        mut opened: Opened,
        file: &Found,
        layouts: &[Option<&LogbookLayout>],
        aircraft: &Aircraft,
        known: Option<&FileRow>,
    ) -> Result<(Opened, Option<FileRecords>), Rejection> {
        let failed = |error: io::Error| unreadable(&file.path, &error);
        let Some(bytes) = opened.content(LOGBOOK_LIMIT).map_err(failed)? else {
            let rejections = vec![odd(&file.path, "larger than 64 MB", "a logbook sheet")];
            return Ok((opened, Some(FileRecords { rejections, ..FileRecords::default() })));
        };
        if known.is_some_and(|k| k.hash == opened.hash() && k.reader == self.logbook_version) {
            return Ok((opened, None));
        }
        let zone = self.config.settings.fleet.time_zone;
        let mut records = FileRecords::default();
        for &layout in layouts {
            let shape = logbook::shape(layout);
            let sheet = match content(&bytes) {
                Content::Workbook => workbook::read_apart(opened.again().map_err(failed)?, &shape).map_err(failed)?,
                _ if younger(file, YOUNG) => {
                    let there = fully_there(&bytes);
                    records.unfinished = there.len() < bytes.len();
                    Sheet::from_text(there, &shape)
                }
                _ => Sheet::from_text(&bytes, &shape),
            };
            let (entries, rejections) = logbook::read(&sheet, &file.path, layout, aircraft, zone);
            records.entries.extend(entries);
            records.rejections.extend(rejections);
        }
        Ok((opened, Some(records)))
    }
}

/// The layouts a file is read by: the first that fits, and those that name other sheets of the same workbooks.
fn sheets(aircraft: &Aircraft, first: Option<usize>) -> Vec<Option<&LogbookLayout>> {
    let Some((first, layout)) = first.and_then(|i| Some((i, aircraft.logbooks.get(i)?))) else { return vec![None] };
    let mut layouts: Vec<&LogbookLayout> = vec![layout];
    for other in &aircraft.logbooks[first + 1..] {
        let another = other.shape.sheet.is_some() && layouts.iter().all(|l| l.shape.sheet != other.shape.sheet);
        if other.files == layout.files && another {
            layouts.push(other);
        }
    }
    layouts.into_iter().map(Some).collect()
}

fn unreadable(path: &str, error: &io::Error) -> Rejection {
    odd(path, &format!("cannot be read ({error})"), "a readable file")
}

fn row(path: &str, tail: &str, opened: &Opened, reader: u64) -> FileRow {
    let (size, mtime_ns, inode) = opened.stat();
    FileRow { path: path.to_owned(), tail: tail.to_owned(), size, mtime_ns, inode, hash: opened.hash(), reader }
}

fn version(parts: &[&[u8]]) -> u64 {
    let mut hasher = blake3::Hasher::new();
    for part in parts {
        hasher.update(&(part.len() as u64).to_le_bytes());
        hasher.update(part);
    }
    let mut first = [0; 8];
    first.copy_from_slice(&hasher.finalize().as_bytes()[..8]);
    u64::from_le_bytes(first)
}
