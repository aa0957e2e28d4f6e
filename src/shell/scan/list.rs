//! Which files there are, by names and stat alone.

use std::fs;
use std::io;
use std::os::unix::fs::MetadataExt;
use std::path::Path;
use std::sync::LazyLock;
use std::time::{Duration, SystemTime};

use globset::{Glob, GlobBuilder, GlobMatcher};

use crate::records::{Aircraft, Rejection, Source};

/// Folders below a tail's that are looked into.
const DEPTH: usize = 8;

/// What a file is read as; the number is the index of its layout table in aircraft.toml.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Role {
    Logbook(Option<usize>),
    Monitor(Option<usize>),
}

/// A file that may hold records.
#[derive(Clone, Debug)]
pub struct Found {
    /// Relative to the fleet folder.
    pub path: String,
    pub role: Role,
    pub size: u64,
    pub mtime_ns: i64,
    pub inode: u64,
}

#[derive(Debug, Default)]
pub struct Listing {
    pub files: Vec<Found>,
    pub odd: Vec<Rejection>,
    /// Folders and files that are there, or were, and could not be looked at; relative to the fleet folder.
    pub unseen: Vec<String>,
}

impl Listing {
    /// What was known of it stands: that it cannot be looked at does not mean that it is gone.
    fn unseen(&mut self, path: &str, what: &str, error: &io::Error) {
        if error.kind() == io::ErrorKind::NotFound {
            return;
        }
        let expected = format!("a readable {what}; until it is, what was read of it before counts");
        self.odd.push(odd(path, &format!("{what} cannot be read ({error})"), &expected));
        self.unseen.push(path.to_owned());
    }
}

/// Whether `path` is `other` or lies below it.
pub fn is_in(path: &str, other: &str) -> bool {
    path.strip_prefix(other).is_some_and(|rest| rest.is_empty() || rest.starts_with('/'))
}

/// Names of the folders under the fleet folder, in order, and what only looks like one.
pub fn tails(folder: &Path) -> io::Result<(Vec<String>, Vec<Rejection>)> {
    let (mut names, mut strange) = (Vec::new(), Vec::new());
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') {
            continue;
        }
        match entry.file_type() {
            Ok(kind) if kind.is_dir() => names.push(name),
            // Whoever put it there takes its aircraft for watched.
            Ok(kind) if kind.is_symlink() && fs::metadata(entry.path()).is_ok_and(|m| m.is_dir()) => {
                strange.push(odd(&name, "a link to a folder", "the aircraft's folder itself; links are not followed"));
            }
            _ => {}
        }
    }
    names.sort();
    strange.sort_by(|a, b| a.source.file.cmp(&b.source.file));
    Ok((names, strange))
}

/// The folder under the fleet folder that a path begins with.
pub fn tail(path: &str) -> &str {
    path.split('/').next().unwrap_or_default()
}

/// Size, time in nanoseconds and inode.
pub fn stat(metadata: &fs::Metadata) -> (u64, i64, u64) {
    let ns = metadata.mtime().saturating_mul(1_000_000_000).saturating_add(metadata.mtime_nsec());
    (metadata.len(), ns, metadata.ino())
}

/// Whether the file changed less than `settle` ago. A time in the future (a share's clock) is not young.
pub fn younger(file: &Found, settle: Duration) -> bool {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).map_or(0, |d| d.as_nanos() as i64);
    let age = now - file.mtime_ns;
    age >= 0 && (age as u128) < settle.as_nanos()
}

/// Names that aircraft.toml gives, with their table.
struct Globs {
    logbooks: Vec<(GlobMatcher, usize)>,
    monitors: Vec<(GlobMatcher, usize)>,
}

/// Names that need no table, made ready once: that takes longer than a look at a tail's hundred files.
static LOGBOOKS: LazyLock<Option<GlobMatcher>> = LazyLock::new(|| glob("logbook*.{csv,xlsx,ods}"));
static MONITORS: LazyLock<Option<GlobMatcher>> = LazyLock::new(|| glob("monitor/**/*.csv"));

fn glob(pattern: &str) -> Option<GlobMatcher> {
    GlobBuilder::new(pattern)
        .literal_separator(true)
        .case_insensitive(true)
        .build()
        .ok()
        .map(|g: Glob| g.compile_matcher())
}

impl Globs {
    fn of(aircraft: Option<&Aircraft>) -> Self {
        let tables = |globs: Vec<&str>| -> Vec<(GlobMatcher, usize)> {
            globs.iter().enumerate().filter_map(|(i, g)| Some((glob(g)?, i))).collect()
        };
        let logbooks = aircraft.map_or(Vec::new(), |a| tables(a.logbooks.iter().map(|l| &*l.files).collect()));
        let monitors = aircraft.map_or(Vec::new(), |a| tables(a.monitors.iter().map(|l| &*l.files).collect()));
        Self { logbooks, monitors }
    }

    fn role(&self, inside: &str) -> Option<Role> {
        let first = |list: &[(GlobMatcher, usize)], usual: &Option<GlobMatcher>| {
            let table = list.iter().find(|(g, _)| g.is_match(inside)).map(|(_, index)| Some(*index));
            table.or_else(|| usual.as_ref()?.is_match(inside).then_some(None))
        };
        first(&self.logbooks, &LOGBOOKS)
            .map(Role::Logbook)
            .or_else(|| first(&self.monitors, &MONITORS).map(Role::Monitor))
    }
}

/// Files of a tail that may hold records. Lock files of spreadsheets and hidden files are passed over.
pub fn files(folder: &Path, tail: &str, aircraft: Option<&Aircraft>) -> Listing {
    let globs = Globs::of(aircraft);
    let mut listing = Listing::default();
    walk(&folder.join(tail), "", tail, 0, &globs, &mut listing);
    listing.files.sort_by(|a, b| a.path.cmp(&b.path));
    listing
}

fn walk(folder: &Path, inside: &str, tail: &str, depth: usize, globs: &Globs, listing: &mut Listing) {
    let here = if inside.is_empty() { tail.to_owned() } else { format!("{tail}/{inside}") };
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) => return listing.unseen(&here, "folder", &error),
    };
    for entry in entries {
        let entry = match entry {
            Ok(entry) => entry,
            // A share that breaks off in the middle of a listing.
            Err(error) => return listing.unseen(&here, "folder", &error),
        };
        let name = entry.file_name().to_string_lossy().into_owned();
        if name.starts_with('.') || name.starts_with("~$") {
            continue;
        }
        let inside = if inside.is_empty() { name } else { format!("{inside}/{name}") };
        let path = format!("{tail}/{inside}");
        let kind = match entry.file_type() {
            Ok(kind) => kind,
            Err(error) => {
                listing.unseen(&path, "file", &error);
                continue;
            }
        };
        if kind.is_dir() {
            if depth < DEPTH {
                walk(&entry.path(), &inside, tail, depth + 1, globs, listing);
            }
            continue;
        }
        let Some(role) = globs.role(&inside) else { continue };
        if entry.file_name().to_str().is_none() {
            listing.odd.push(odd(&path, "a file whose name is not UTF-8", "a name in UTF-8; it is not opened"));
            continue;
        }
        if !kind.is_file() {
            let what = if kind.is_symlink() { "a link" } else { "not a regular file" };
            listing.odd.push(odd(&path, what, "a regular file; it is not opened"));
            continue;
        }
        match entry.metadata() {
            Ok(metadata) => {
                let (size, mtime_ns, inode) = stat(&metadata);
                listing.files.push(Found { path, role, size, mtime_ns, inode });
            }
            Err(error) => listing.unseen(&path, "file", &error),
        }
    }
}

pub fn odd(path: &str, found: &str, expected: &str) -> Rejection {
    Rejection {
        source: Source { file: path.into(), line: 0 },
        found: found.to_owned(),
        expected: expected.to_owned(),
        whole_file: true,
    }
}

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use std::ffi::OsStr;
    use std::os::unix::ffi::OsStrExt;
    use std::os::unix::fs::symlink;

    use super::*;

    /// What cannot be opened under its name, or is not followed, is said: it would look as if it were watched.
    #[test]
    fn names_that_lead_nowhere_are_told() {
        let fleet = tempfile::tempdir().unwrap();
        let tail = fleet.path().join("N0417H");
        fs::create_dir(&tail).unwrap();
        symlink(&tail, fleet.path().join("N0418H")).unwrap();
        symlink("nowhere", fleet.path().join("N0419H")).unwrap();
        fs::write(fleet.path().join("notes.txt"), "").unwrap();
        // Latin-1, as an old share has it.
        fs::write(tail.join(OsStr::from_bytes(b"logbook-\xe9t\xe9.csv")), "").unwrap();
        fs::write(tail.join(OsStr::from_bytes(b"\xe9t\xe9.csv")), "").unwrap();
        let said =
            |list: &[Rejection]| list.iter().map(|r| format!("{}: {}", r.source.file, r.found)).collect::<Vec<_>>();
        let (tails, strange) = tails(fleet.path()).unwrap();
        assert_eq!(tails, ["N0417H"]);
        assert_eq!(said(&strange), ["N0418H: a link to a folder"]);
        let listing = files(fleet.path(), "N0417H", None);
        assert_eq!(listing.files.len(), 0);
        let name = "N0417H/logbook-\u{fffd}t\u{fffd}.csv";
        assert_eq!(said(&listing.odd), [format!("{name}: a file whose name is not UTF-8")]);
    }

    #[test]
    fn below_a_folder_is_not_beside_it() {
        let inside = ["N01Z/a", "N01Z/a/b.csv", "N01Z/ab.csv"].map(|path| is_in(path, "N01Z/a"));
        assert_eq!(inside, [true, true, false]);
    }
}
