//! The tree of values with their lines, made from the text as far as it can be read.

use toml::de::{DeTable, DeValue};

use super::Problems;

/// A value and where it stands.
#[derive(Clone, Debug)]
pub struct Node {
    /// Line of the key, or of the element in a list (1-based).
    pub line: u32,
    /// As written, cut to one short line.
    pub(super) raw: String,
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
    pub(super) entries: Vec<(String, Node)>,
}

impl Table {
    pub(super) fn get(&self, name: &str) -> Option<&Node> {
        self.entries.iter().find(|(key, _)| key == name).map(|(_, node)| node)
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
