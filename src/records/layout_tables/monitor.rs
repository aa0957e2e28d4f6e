//! `[[monitor]]`: which column of a recording is which channel, in which unit.

use std::collections::BTreeMap;

use super::{files, position_known, shape, unknown_layout, when};
use crate::records::keyed::{Keys, Node, Value, nearest, one_of};
use crate::records::layout::{Channel, Layouts, MonitorLayout};

/// Channels of the standard recording, with the units a recorder may give them in (ours first).
/// `cht1_f` and `egt1_f` stand for every cylinder.
const CHANNELS: [(&str, &[&str]); 14] = [
    ("rpm", &[]),
    ("manifold_inhg", &["inhg", "hpa", "kpa", "bar", "psi"]),
    ("fuel_flow_gph", &["gph", "l_h"]),
    ("power_pct", &[]),
    ("oil_temp_f", &["f", "c"]),
    ("oil_press_psi", &["psi", "bar", "kpa", "hpa"]),
    ("cht1_f", &["f", "c"]),
    ("egt1_f", &["f", "c"]),
    ("ias_kt", &["kt", "kmh", "mph", "ms"]),
    ("gs_kt", &["kt", "kmh", "mph", "ms"]),
    ("alt_ft", &["ft", "m"]),
    ("oat_f", &["f", "c"]),
    ("lat", &[]),
    ("lon", &[]),
];

const TIME_FORMAT: &str = "a format with date and time of day such as \"%Y-%m-%d %H:%M:%S\"";

/// Whether a layout that does not say so is one of recordings: it has a `time`, or names a channel.
pub fn of_recording(keys: &Keys<'_>) -> bool {
    let channels = || match keys.node("columns").map(|node| &node.value) {
        Some(Value::Table(_)) => keys.table("columns").is_some_and(|columns| {
            columns.entries().any(|(name, _)| units_of(name.rsplit_once('.').map_or(name, |(_, bare)| bare)).is_some())
        }),
        _ => false,
    };
    keys.has("time") || channels()
}

/// Reads a `[[monitor]]` table. `positions`: those of the aircraft; `None` where the layout is shared.
pub fn monitor(keys: &Keys<'_>, layouts: &Layouts, positions: Option<&[&str]>) -> MonitorLayout {
    let mut layout = MonitorLayout { files: "monitor/**/*.csv".to_owned(), ..MonitorLayout::default() };
    if let Some(name) = keys.text("layout", "the name of a [layout.NAME] table of the configuration") {
        match layouts.monitors.get(name) {
            Some(shared) => layout = shared.clone(),
            None => unknown_layout(keys, name, "monitor", layouts.monitors.keys(), layouts.logbooks.contains_key(name)),
        }
    }
    layout.files = files(keys).unwrap_or(layout.files);
    shape(keys, &mut layout.shape);
    when(keys, "time", TIME_FORMAT, &mut layout.time);
    if let Some(position) = keys.text("engine", "the position of the engine these files record") {
        if position_known(positions, position) {
            layout.engine = Some(position.to_owned());
        } else {
            keys.wrong("engine", one_of(position, positions.unwrap_or_default()));
        }
    }
    if let Some(columns) = keys.table("columns") {
        for (name, node) in columns.entries() {
            channel(&columns, (name, name), node, positions, &mut layout.columns);
        }
    }
    keys.done();
    layout
}

/// Reads one channel; `name` is its full name, `key` the one in this table. Written without quotes,
/// `left.rpm` is a table `left` with a key `rpm`.
fn channel(
    keys: &Keys<'_>,
    (name, key): (&str, &str),
    node: &Node,
    positions: Option<&[&str]>,
    found: &mut BTreeMap<String, Channel>,
) {
    let channel = match &node.value {
        Value::Text(column) => Channel { column: column.trim().to_owned(), unit: None },
        Value::Table(_) => {
            let Some(table) = keys.table(key) else { return };
            if !table.has("column") && !name.contains('.') {
                for (inner, node) in table.entries() {
                    channel(&table, (&format!("{name}.{inner}"), inner), node, positions, found);
                }
                return;
            }
            let column = table.text("column", "the column's name in the recording").unwrap_or_default().to_owned();
            let unit = unit(&table, name);
            table.done();
            Channel { column, unit }
        }
        _ => return keys.wrong(key, "the column's name in the recording, or { column = \"…\", unit = \"c\" }"),
    };
    place(keys, name, node, channel, positions, found);
}

fn place(
    keys: &Keys<'_>,
    name: &str,
    node: &Node,
    channel: Channel,
    positions: Option<&[&str]>,
    found: &mut BTreeMap<String, Channel>,
) {
    let (prefix, bare) = name.rsplit_once('.').unwrap_or(("", name));
    let known: Vec<&str> = CHANNELS.iter().map(|(channel, _)| *channel).collect();
    if units_of(bare).is_none() {
        let expected = match nearest(bare, known.iter().copied()) {
            Some(near) => format!("the nearest known channel {near}"),
            None => format!("one of {}", known.join(", ")),
        };
        keys.problems().add(node.line, format!("unknown channel {name}"), expected);
    } else if channel.column.is_empty() {
        keys.problems().add(node.line, format!("{name} names no column"), "the column's name in the recording");
    } else if !prefix.is_empty() && !position_known(positions, prefix) {
        let expected = one_of(prefix, positions.unwrap_or_default());
        keys.problems().add(node.line, format!("unknown engine position {prefix} in {name}"), expected);
    } else {
        found.insert(name.to_owned(), channel);
    }
}

/// Units a channel may be recorded in; `None`: no such channel.
fn units_of(bare: &str) -> Option<&'static [&'static str]> {
    let plain = |name: &str| CHANNELS.iter().find(|(channel, _)| *channel == name).map(|(_, units)| *units);
    for (prefix, stand_in) in [("cht", "cht1_f"), ("egt", "egt1_f")] {
        let cylinder = bare.strip_prefix(prefix).and_then(|rest| rest.strip_suffix("_f"));
        if let Some(cylinder) = cylinder {
            return cylinder.parse::<u8>().ok().filter(|n| (1..=12).contains(n)).and_then(|_| plain(stand_in));
        }
    }
    plain(bare)
}

fn unit(table: &Keys<'_>, name: &str) -> Option<String> {
    let written = table.text("unit", "a unit such as \"c\"")?;
    let bare = name.rsplit_once('.').map_or(name, |(_, bare)| bare);
    let units = units_of(bare)?;
    let lower = written.to_lowercase();
    if units.contains(&lower.as_str()) {
        return Some(lower);
    }
    let expected =
        if units.is_empty() { "no unit for this channel".to_owned() } else { format!("one of {}", units.join(", ")) };
    table.wrong("unit", expected);
    None
}
