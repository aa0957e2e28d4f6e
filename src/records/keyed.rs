//! Tables of keys in a TOML file, each with its line.
//!
//! A mechanic who edits a file wants every mistake named at once, with its line and what would be
//! right, and the rest of the file to count. Deserialisers stop at the first mistake; so the file
//! becomes a tree of values with lines, and readers ask it for each key by name. What nobody asked
//! for is an unknown key and is refused with the nearest known one.

use std::cell::RefCell;
use std::collections::BTreeSet;
use std::sync::Arc;

use toml::de::{DeTable, DeValue};

use super::{Rejection, Source};

/// A value and where it stands.
#[derive(Clone, Debug)]
pub struct Node {
    /// Line of the key, or of the element in a list (1-based).
    pub line: u32,
    /// As written, cut to one short line.
    raw: String,
    pub value: Value,
}

/// What a value is.
#[derive(Clone, Debug)]
pub enum Value {
    Text(String),
    /// Integers too; `whole` tells them apart.
    Number {
        value: f64,
        whole: bool,
    },
    Flag(bool),
    /// A TOML date or time, as written.
    Moment(String),
    List(Vec<Node>),
    Table(Table),
}

/// Keys in the order of the file.
#[derive(Clone, Debug, Default)]
pub struct Table {
    pub line: u32,
    entries: Vec<(String, Node)>,
}

impl Table {
    fn get(&self, name: &str) -> Option<&Node> {
        self.entries.iter().find(|(key, _)| key == name).map(|(_, node)| node)
    }
}

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

    fn add_syntax(&self, line: u32, found: String, expected: String) {
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

    fn push(&self, line: u32, found: String, expected: String, whole_file: bool) {
        if !whole_file && self.broken.borrow().contains(&line) {
            return;
        }
        let source = self.source(line);
        let rejection = Rejection { source, found, expected, whole_file };
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

/// Reads a TOML text as far as it can be read; syntax mistakes go to `problems`.
pub fn read(text: &str, problems: &Problems) -> Table {
    let text = text.strip_prefix('\u{feff}').unwrap_or(text);
    let lines = Lines::of(text);
    let (tree, errors) = DeTable::parse_recoverable(text);
    for error in &errors {
        let line = error.span().map_or(0, |span| lines.at(span.start.min(text.len().saturating_sub(1))));
        let written = short(text.lines().nth(line.saturating_sub(1) as usize).unwrap_or_default());
        let secret = ["pass", "secret"].iter().any(|word| written.to_lowercase().contains(word));
        let (what, expected) = syntax(error.message());
        let written = if secret { "" } else { &written };
        problems.add_syntax(line, format!("not TOML ({what}): {written}"), expected);
    }
    table_of(tree.get_ref(), 1, text, &lines)
}

/// What the parser says, in words for someone who does not know TOML.
fn syntax(message: &str) -> (&str, String) {
    let (what, expected) = message.split_once(", expected ").unwrap_or((message, "key = value"));
    match what {
        "invalid float" | "invalid boolean" | "invalid integer" | "string values must be quoted" => {
            ("no value", "a number, true, false or text in \"quotes\"".to_owned())
        }
        "duplicate key" => ("a second time", "each key and each [table] once".to_owned()),
        _ => (what, expected.replace('`', "")),
    }
}

/// Byte offsets at which lines begin.
struct Lines(Vec<usize>);

impl Lines {
    fn of(text: &str) -> Self {
        Self(std::iter::once(0).chain(text.match_indices('\n').map(|(at, _)| at + 1)).collect())
    }

    fn at(&self, offset: usize) -> u32 {
        u32::try_from(self.0.partition_point(|start| *start <= offset)).unwrap_or(u32::MAX)
    }
}

fn table_of(table: &DeTable<'_>, line: u32, text: &str, lines: &Lines) -> Table {
    let entries = table.iter().map(|(key, value)| {
        let line = lines.at(key.span().start);
        (key.get_ref().to_string(), node_of(value, line, text, lines))
    });
    Table { line, entries: entries.collect() }
}

fn node_of(value: &toml::Spanned<DeValue<'_>>, line: u32, text: &str, lines: &Lines) -> Node {
    let raw = text.get(value.span()).unwrap_or_default();
    let value = match value.get_ref() {
        DeValue::String(text) => Value::Text(text.to_string()),
        DeValue::Integer(n) => {
            let value = i64::from_str_radix(n.as_str(), n.radix()).map_or(f64::NAN, |n| n as f64);
            Value::Number { value, whole: true }
        }
        DeValue::Float(n) => Value::Number { value: n.as_str().parse().unwrap_or(f64::NAN), whole: false },
        DeValue::Boolean(flag) => Value::Flag(*flag),
        DeValue::Datetime(moment) => Value::Moment(moment.to_string()),
        DeValue::Array(list) => {
            let nodes = list.iter().map(|v| node_of(v, lines.at(v.span().start), text, lines));
            Value::List(nodes.collect())
        }
        DeValue::Table(table) => Value::Table(table_of(table, line, text, lines)),
    };
    Node { line, raw: short(raw), value }
}

/// One line of at most 60 characters.
fn short(raw: &str) -> String {
    let line = raw.split_whitespace().collect::<Vec<_>>().join(" ");
    match line.char_indices().nth(60) {
        Some((at, _)) => format!("{} …", &line[..at]),
        None => line,
    }
}

/// The known word nearest to `word`, if one is near enough to be meant.
pub fn nearest<'a>(word: &str, known: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let lower = word.to_lowercase();
    known
        .into_iter()
        .map(|k| (strsim::jaro_winkler(&lower, &k.to_lowercase()), k))
        .filter(|(likeness, _)| *likeness >= 0.80)
        .max_by(|a, b| a.0.total_cmp(&b.0))
        .map(|(_, k)| k)
}

/// What was expected of a word: the nearest known one, else all of them.
pub fn one_of(word: &str, known: &[&str]) -> String {
    let quoted = known.iter().map(|k| format!("\"{k}\"")).collect::<Vec<_>>().join(", ");
    match (nearest(word, known.iter().copied()), known) {
        (_, []) => "none".to_owned(),
        (_, [only]) => format!("\"{only}\""),
        (Some(near), _) if known.len() > 4 => format!("the nearest known \"{near}\", or another of {quoted}"),
        (Some(near), _) => format!("\"{near}\" (known: {quoted})"),
        (None, _) => format!("one of {quoted}"),
    }
}

/// What a number may be.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Range {
    pub low: f64,
    pub high: f64,
    /// In words: `engine hours`, `°F`.
    pub unit: &'static str,
}

impl Range {
    pub const fn new(low: f64, high: f64, unit: &'static str) -> Self {
        Self { low, high, unit }
    }

    /// False for NaN.
    pub fn holds(self, value: f64) -> bool {
        value >= self.low && value <= self.high
    }
}

impl std::fmt::Display for Range {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{} to {} {}", self.low, self.high, self.unit)
    }
}

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

#[cfg(test)]
#[allow(clippy::unwrap_used, reason = "tests")]
mod tests {
    use super::*;

    fn messages(text: &str, read_keys: impl Fn(&Keys<'_>)) -> Vec<String> {
        let problems = Problems::new("a.toml");
        let table = read(text, &problems);
        let keys = Keys::new(&table, &problems);
        read_keys(&keys);
        keys.done();
        problems.into_list().iter().map(ToString::to_string).collect()
    }

    #[test]
    fn every_mistake_is_named_at_once_with_its_line() {
        let said = messages("first = nan\nlist = [1,\n  -2]\n\n[oil]\nlevl = 3\n", |keys| {
            assert_eq!(keys.number("first", Range::new(0.0, 9.0, "hours")), None);
            assert_eq!(keys.numbers("list", Range::new(0.0, 9.0, "hours")), None);
            let oil = keys.table("oil").unwrap();
            assert_eq!(oil.number("level", Range::new(0.0, 40.0, "quarts")), None);
            oil.done();
        });
        assert_eq!(
            said,
            [
                "a.toml:1: first = nan, expected 0 to 9 hours",
                "a.toml:2: list = [1, -2], expected a list of numbers, each 0 to 9 hours",
                "a.toml:6: unknown key oil.levl, expected the nearest known key level",
            ]
        );
    }

    #[test]
    fn a_syntax_mistake_costs_its_line_only() {
        let problems = Problems::new("a.toml");
        let table = read("tail = N0417H\nmeter = \"tach\"\n", &problems);
        let keys = Keys::new(&table, &problems);
        assert_eq!(keys.text("meter", "a word"), Some("tach"));
        assert_eq!(keys.text("tail", "the folder's name"), None);
        let said: Vec<String> = problems.into_list().iter().map(ToString::to_string).collect();
        let expected =
            "a.toml:1: not TOML (no value): tail = N0417H, expected a number, true, false or text in \"quotes\"";
        assert_eq!(said, [expected]);
    }

    #[test]
    fn lines_of_tables_in_lists_are_those_of_their_headers() {
        let problems = Problems::new("a.toml");
        let table = read("x = 1\n\n[[engine]]\nserial = \"A\"\n\n[[engine]]\nserial = \"B\"\n", &problems);
        let keys = Keys::new(&table, &problems);
        let lines: Vec<u32> = keys.tables("engine").iter().map(Keys::line).collect();
        assert_eq!(lines, [3, 6]);
    }
}
