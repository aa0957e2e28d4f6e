//! Letters into a folder as `.eml`, for a fleet without a mail server, for trying out and for tests.

use std::fs::{self, File};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use crate::shell::store::Waiting;

/// Writes a letter to `<folder>/NNNN-slug.eml`, whole or not at all; again gives the same file.
pub fn deliver(folder: &Path, letter: &Waiting) -> io::Result<PathBuf> {
    fs::create_dir_all(folder)?;
    let name = format!("{:04}-{}.eml", letter.id, slug(&letter.slug));
    let path = folder.join(&name);
    let part = folder.join(format!(".{name}.part"));
    let mut file = File::create(&part)?;
    file.write_all(&letter.message)?;
    file.sync_all()?;
    drop(file);
    fs::rename(&part, &path)?;
    File::open(folder)?.sync_all()?;
    Ok(path)
}

/// Letters, digits, dots and hyphens; 60 at most.
fn slug(text: &str) -> String {
    let fits = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '.';
    let clean: String = text.chars().map(|c| if fits(c) { c } else { '-' }).take(60).collect();
    clean.trim_matches(['-', '.']).to_owned()
}
