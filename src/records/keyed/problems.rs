//! What is wrong with one file, collected.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::sync::Arc;

use crate::records::{Rejection, Source};

/// Everything found wrong with one file, in the order in which it was found.
#[derive(Debug)]
pub struct Problems {
    file: Arc<str>,
    found: RefCell<Vec<Rejection>>,
    /// Lines that are no TOML: what else might be said of them is only a consequence.
    broken: RefCell<BTreeSet<u32>>,
}

impl Problems {
    pub fn new(file: &str) -> Self {
        Self { file: file.into(), found: RefCell::default(), broken: RefCell::default() }
    }

    pub(super) fn add_syntax(&self, line: u32, found: String, expected: String) {
        let first = self.broken.borrow().len() < 20 && !self.broken.borrow().contains(&line);
        if first {
            self.push(line, found, expected, false);
            self.broken.borrow_mut().insert(line);
        }
    }

    /// `line` 0 is the file as a whole.
    pub fn add(&self, line: u32, found: impl Into<String>, expected: impl Into<String>) {
        self.push(line, found.into(), expected.into(), false);
    }

    /// The file as a whole cannot be used.
    pub fn add_whole(&self, line: u32, found: impl Into<String>, expected: impl Into<String>) {
        self.push(line, found.into(), expected.into(), true);
    }

    /// At a place that may be in another file.
    pub fn add_at(&self, source: Source, found: impl Into<String>, expected: impl Into<String>) {
        self.put(Rejection { source, found: found.into(), expected: expected.into(), whole_file: false });
    }

    fn push(&self, line: u32, found: String, expected: String, whole_file: bool) {
        if whole_file || !self.broken.borrow().contains(&line) {
            self.put(Rejection { source: self.source(line), found, expected, whole_file });
        }
    }

    fn put(&self, rejection: Rejection) {
        let mut all = self.found.borrow_mut();
        if !all.contains(&rejection) {
            all.push(rejection);
        }
    }

    pub fn source(&self, line: u32) -> Source {
        Source { file: self.file.clone(), line }
    }

    pub fn is_empty(&self) -> bool {
        self.found.borrow().is_empty()
    }

    /// In order of line.
    pub fn into_list(self) -> Vec<Rejection> {
        let mut all = self.found.into_inner();
        all.sort_by_key(|r| r.source.line);
        all
    }
}
