//! How an operator's own sheet or recorder is laid out: `[[logbook]]` and `[[monitor]]` tables.
//!
//! A layout is data, valid by construction; the readers apply it. No layout of any make is built in.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

/// One row per flight, or one per entry.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Per {
    #[default]
    Entry,
    Flight,
}

/// Columns that together give a date (and time), joined by a blank and read with `format`
/// (chrono's strftime; `None`: the common shapes are tried, ISO first).
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct When {
    pub columns: Vec<String>,
    pub format: Option<String>,
    /// `local`, `utc` or an IANA zone; `None` = local unless the text says otherwise.
    pub zone: Option<String>,
}

/// Where one engine's oil stands in a sheet with one row per flight.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct OilColumns {
    /// Column of the quantity added.
    pub added: Option<String>,
    /// Column of the dipstick reading before it.
    pub level: Option<String>,
    /// Column of the kind of oil.
    pub oil: Option<String>,
    /// `qt` or `l`, where the cell names none.
    pub unit: Option<String>,
}

/// How to cut a text file into cells; everything left out is found out from the file itself.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Shape {
    /// Lines before the header.
    pub skip_lines: u32,
    pub delimiter: Option<char>,
    /// Decimal mark, `.` or `,`.
    pub decimal: Option<char>,
    pub encoding: Option<String>,
    /// Workbook sheet by name; `None` = the first.
    pub sheet: Option<String>,
}

/// A `[[logbook]]` table.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct LogbookLayout {
    /// Glob under the tail's folder.
    pub files: String,
    pub shape: Shape,
    pub per: Per,
    pub date: When,
    /// Our column name → the sheet's column name.
    pub columns: BTreeMap<String, String>,
    /// Our column name → (the sheet's word → our word).
    pub words: BTreeMap<String, BTreeMap<String, String>>,
    /// Position (empty = the only engine) → its oil columns.
    pub oil: BTreeMap<String, OilColumns>,
    /// Position all rows of these files are about, where each engine has its own file.
    pub engine: Option<String>,
}

/// A recorder's column and the unit it is in, where that is not ours.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Channel {
    pub column: String,
    /// `c`, `f`, `hpa`, `kpa`, `bar`, `psi`, `inhg`, `l_h`, `gph`, `m`, `ft`, `kmh`, `ms`, `kt`, `mph`.
    pub unit: Option<String>,
}

/// A `[[monitor]]` table.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct MonitorLayout {
    pub files: String,
    pub shape: Shape,
    pub time: When,
    /// Our channel name (`rpm`, `left.cht1_f`) → the recorder's.
    pub columns: BTreeMap<String, Channel>,
    /// Position whose engine these files record, where each engine has its own file or recorder.
    pub engine: Option<String>,
}

/// Layouts that several aircraft share, by name: the configuration's `[layout.NAME]` tables.
#[derive(Clone, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Layouts {
    pub logbooks: BTreeMap<String, LogbookLayout>,
    pub monitors: BTreeMap<String, MonitorLayout>,
}
