//! Reading one table key by key.

use std::cell::RefCell;

use super::tree::{Node, Table, Value};
use super::{Problems, Range, nearest, one_of};

/// One table being read: each method asks for a key, and [`Keys::done`] refuses what nobody asked for.
#[derive(Debug)]
pub struct Keys<'a> {
    table: &'a Table,
    /// `consumption`, `tail.N0417H.ground`; empty at the top.
    path: String,
    problems: &'a Problems,
    asked: RefCell<Vec<String>>,
}

impl<'a> Keys<'a> {
    pub fn new(table: &'a Table, problems: &'a Problems) -> Self {
        Self { table, path: String::new(), problems, asked: RefCell::default() }
    }

    fn under(&self, table: &'a Table, name: &str) -> Self {
        Self { table, path: self.named(name), problems: self.problems, asked: RefCell::default() }
    }

    pub fn problems(&self) -> &'a Problems {
        self.problems
    }

    /// Line of the table's header.
    pub fn line(&self) -> u32 {
        self.table.line
    }

    /// Line of a key, or of the table where it is missing.
    pub fn line_of(&self, name: &str) -> u32 {
        self.table.get(name).map_or(self.table.line, |n| n.line)
    }

    /// The key with its path, as it is named in messages.
    pub fn named(&self, name: &str) -> String {
        if self.path.is_empty() { name.to_owned() } else { format!("{}.{name}", self.path) }
    }

    pub fn has(&self, name: &str) -> bool {
        self.table.get(name).is_some()
    }

    /// The raw node of a key.
    pub fn node(&self, name: &str) -> Option<&'a Node> {
        self.asked.borrow_mut().push(name.to_owned());
        self.table.get(name)
    }

    /// Reports a key's value as written, and what was expected.
    pub fn wrong(&self, name: &str, expected: impl Into<String>) {
        let raw = self.table.get(name).map_or("", |n| n.raw.as_str());
        self.problems.add(self.line_of(name), format!("{} = {raw}", self.named(name)), expected);
    }

    /// Reports a key that must be there.
    pub fn missing(&self, name: &str, expected: impl Into<String>) {
        self.problems.add(self.table.line, format!("{} is missing", self.named(name)), expected);
    }

    pub fn number(&self, name: &str, range: Range) -> Option<f64> {
        match self.node(name)?.value {
            Value::Number { value, .. } if range.holds(value) => Some(value),
            Value::Number { value, .. } => {
                self.wrong(name, range.expected(value));
                None
            }
            _ => {
                self.wrong(name, range.to_string());
                None
            }
        }
    }

    /// A whole number.
    pub fn whole(&self, name: &str, range: Range) -> Option<u32> {
        match self.node(name)?.value {
            Value::Number { value, whole: true } if range.holds(value) => Some(value as u32),
            _ => {
                self.wrong(name, format!("a whole number, {range}"));
                None
            }
        }
    }

    pub fn numbers(&self, name: &str, range: Range) -> Option<Vec<f64>> {
        let expected = || format!("a list of numbers, each {range}");
        let Value::List(nodes) = &self.node(name)?.value else {
            self.wrong(name, expected());
            return None;
        };
        let numbers: Option<Vec<f64>> = nodes
            .iter()
            .map(|n| match n.value {
                Value::Number { value, .. } if range.holds(value) => Some(value),
                _ => None,
            })
            .collect();
        if numbers.is_none() {
            self.wrong(name, expected());
        }
        numbers
    }

    pub fn flag(&self, name: &str) -> Option<bool> {
        match self.node(name)?.value {
            Value::Flag(flag) => Some(flag),
            _ => {
                self.wrong(name, "true or false");
                None
            }
        }
    }

    /// Text without control characters, trimmed; empty text is refused.
    pub fn text(&self, name: &str, example: &str) -> Option<&'a str> {
        match &self.node(name)?.value {
            Value::Text(text) if plain(text) => Some(text.trim()),
            _ => {
                self.wrong(name, example);
                None
            }
        }
    }

    /// One text or a list of texts.
    pub fn texts(&self, name: &str, example: &str) -> Option<Vec<String>> {
        let one = |node: &Node| match &node.value {
            Value::Text(text) if plain(text) => Some(text.trim().to_owned()),
            _ => None,
        };
        let node = self.node(name)?;
        let texts = match &node.value {
            Value::List(nodes) => nodes.iter().map(one).collect(),
            _ => one(node).map(|text| vec![text]),
        };
        if texts.is_none() {
            self.wrong(name, example);
        }
        texts
    }

    /// One of a few words, case free.
    pub fn choice<T: Copy>(&self, name: &str, words: &[(&str, T)]) -> Option<T> {
        let node = self.node(name)?;
        let word = match &node.value {
            Value::Text(text) => text.trim(),
            _ => "",
        };
        let found = words.iter().find(|(w, _)| w.eq_ignore_ascii_case(word)).map(|(_, value)| *value);
        if found.is_none() {
            let known: Vec<&str> = words.iter().map(|(w, _)| *w).collect();
            self.wrong(name, one_of(word, &known));
        }
        found
    }

    /// A table under `name`.
    pub fn table(&self, name: &str) -> Option<Keys<'a>> {
        match &self.node(name)?.value {
            Value::Table(table) => Some(self.under(table, name)),
            _ => {
                self.wrong(name, format!("a table [{}]", self.named(name)));
                None
            }
        }
    }

    /// The tables of `[[name]]`.
    pub fn tables(&self, name: &str) -> Vec<Keys<'a>> {
        let expected = || format!("tables [[{}]]", self.named(name));
        let mut found = Vec::new();
        match self.node(name).map(|node| &node.value) {
            None => {}
            Some(Value::List(nodes)) => {
                for node in nodes {
                    match &node.value {
                        Value::Table(table) => found.push(self.under(table, name)),
                        _ => self.wrong(name, expected()),
                    }
                }
            }
            Some(_) => self.wrong(name, expected()),
        }
        found
    }

    /// All tables under names that are the operator's own.
    pub fn named_tables(&self) -> Vec<(String, Keys<'a>)> {
        let names: Vec<&str> = self.entries().map(|(name, _)| name).collect();
        names.into_iter().filter_map(|name| self.table(name).map(|table| (name.to_owned(), table))).collect()
    }

    /// All keys with their values: for tables whose keys are the operator's own words.
    pub fn entries(&self) -> impl Iterator<Item = (&'a str, &'a Node)> {
        self.asked.borrow_mut().extend(self.table.entries.iter().map(|(key, _)| key.clone()));
        self.table.entries.iter().map(|(key, node)| (key.as_str(), node))
    }

    /// Refuses every key nobody asked for, with the nearest known one.
    pub fn done(&self) {
        let asked = self.asked.borrow();
        let known: Vec<&str> = asked.iter().map(String::as_str).collect();
        for (key, node) in self.table.entries.iter().filter(|(key, _)| !known.contains(&key.as_str())) {
            let expected = match nearest(key, known.iter().copied()) {
                Some(near) => format!("the nearest known key {near}"),
                None => format!("one of {}", known.join(", ")),
            };
            self.problems.add(node.line, format!("unknown key {}", self.named(key)), expected);
        }
    }
}

fn plain(text: &str) -> bool {
    !text.trim().is_empty() && !text.chars().any(char::is_control)
}
