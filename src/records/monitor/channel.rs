//! The channels a recording may have, their plausible ranges, and which column holds which.
//!
//! A value outside its range is a probe or wiring fault and becomes "missing": a head that reads
//! 0 or 9999 must never look hot or fast-cooling.

use std::sync::Arc;

use super::cell::{BAD, MISSING, cell, is_value};
use super::four::Usual;
use super::unit::{Measure, conversion};
use crate::records::layout::MonitorLayout;

/// Index of a channel in a trace.
pub type Channel = usize;
pub const RPM: Channel = 0;
pub const MANIFOLD: Channel = 1;
pub const FUEL_FLOW: Channel = 2;
pub const POWER: Channel = 3;
pub const OIL_TEMP: Channel = 4;
pub const OIL_PRESS: Channel = 5;
/// First of [`CYLINDERS`] cylinder head temperatures.
pub const CHT: Channel = 6;
pub const CYLINDERS: usize = 8;
pub const IAS: Channel = 14;
pub const GS: Channel = 15;
pub const ALT: Channel = 16;
pub const OAT: Channel = 17;
pub const LAT: Channel = 18;
pub const LON: Channel = 19;
/// Number of channels.
pub const CHANNELS: usize = 20;

/// Name in the standard layout, least and greatest plausible value (in the name's unit), and what it measures.
const TABLE: [(&str, f64, f64, Measure); CHANNELS] = [
    ("rpm", 0.0, 4500.0, Measure::Plain),
    ("manifold_inhg", 3.0, 80.0, Measure::Manifold),
    ("fuel_flow_gph", 0.0, 100.0, Measure::Flow),
    ("power_pct", 0.0, 130.0, Measure::Plain),
    ("oil_temp_f", -60.0, 350.0, Measure::Temperature),
    ("oil_press_psi", 0.0, 200.0, Measure::Pressure),
    ("cht1_f", -60.0, 650.0, Measure::Temperature),
    ("cht2_f", -60.0, 650.0, Measure::Temperature),
    ("cht3_f", -60.0, 650.0, Measure::Temperature),
    ("cht4_f", -60.0, 650.0, Measure::Temperature),
    ("cht5_f", -60.0, 650.0, Measure::Temperature),
    ("cht6_f", -60.0, 650.0, Measure::Temperature),
    ("cht7_f", -60.0, 650.0, Measure::Temperature),
    ("cht8_f", -60.0, 650.0, Measure::Temperature),
    ("ias_kt", 0.0, 400.0, Measure::Speed),
    ("gs_kt", 0.0, 500.0, Measure::Speed),
    ("alt_ft", -2000.0, 45_000.0, Measure::Height),
    ("oat_f", -90.0, 150.0, Measure::Temperature),
    ("lat", -90.0, 90.0, Measure::Plain),
    ("lon", -180.0, 180.0, Measure::Plain),
];

/// The name of a channel in the standard layout.
pub fn name(channel: Channel) -> &'static str {
    TABLE[channel].0
}

/// Where a channel stands and how its cells become our values.
#[derive(Clone, Debug)]
pub struct Field {
    pub column: usize,
    pub channel: Channel,
    /// Recorder's unit to ours.
    convert: Option<(f64, f64)>,
    /// Plausible range, thousandths.
    low: i32,
    high: i32,
    /// A reading of exactly zero is a lost probe.
    zero_is_missing: bool,
    /// Cells that need no second look.
    pub usual: Usual,
    /// First line with a cell that is no number, and how many there were.
    pub bad: Option<(u32, u32)>,
}

impl Field {
    fn new(column: usize, channel: Channel, convert: Option<(f64, f64)>) -> Self {
        let (_, low, high, measure) = TABLE[channel];
        // An engine that runs burns fuel and gives power: nought is a probe that says nothing.
        let says_nothing = measure == Measure::Temperature || channel == FUEL_FLOW || channel == POWER;
        let zero_is_missing = channel != OAT && says_nothing;
        let (low, high) = ((low * 1000.0) as i32, (high * 1000.0) as i32);
        Self { column, channel, convert, low, high, zero_is_missing, usual: Usual::none(), bad: None }
    }

    /// The value of a cell that needs a second look; those like it need none from now on.
    #[inline(never)]
    pub fn other(&mut self, (lead, text): (u8, &[u8]), mark: u8, line: u32) -> i32 {
        let raw = cell(text, mark);
        // A converted value is checked after it is converted; a position has more decimals and is seldom read.
        if is_value(raw) && self.convert.is_none() && self.channel < LAT {
            self.usual = Usual::like(lead, text, mark, self.low.max(i32::from(self.zero_is_missing)), self.high);
        }
        self.value(raw, line)
    }

    /// A raw cell value in our unit; out of range, zero probe or no number: missing.
    pub fn value(&mut self, raw: i32, line: u32) -> i32 {
        if raw == BAD {
            let (first, n) = self.bad.unwrap_or((line, 0));
            self.bad = Some((first, n.saturating_add(1)));
        }
        if !is_value(raw) || (raw == 0 && self.zero_is_missing) {
            return MISSING;
        }
        let v = match self.convert {
            Some((factor, offset)) => (f64::from(raw) * factor + offset * 1000.0).round() as i32,
            None => raw,
        };
        if v >= self.low && v <= self.high { v } else { MISSING }
    }
}

/// One engine's columns.
#[derive(Clone, Debug)]
pub struct EngineColumns {
    pub position: Option<Arc<str>>,
    /// The rpm column first.
    pub fields: Vec<Field>,
}

/// Which column holds what.
#[derive(Clone, Debug)]
pub struct Columns {
    pub width: usize,
    pub time: Vec<usize>,
    pub engines: Vec<EngineColumns>,
    pub shared: Vec<Field>,
    /// What the header names and cannot be used: (found, expected).
    pub problems: Vec<(String, String)>,
}

impl Columns {
    /// Matches a header against the standard names and, where given, a layout. `positions`: those of the aircraft.
    pub fn from_header(header: &[String], layout: Option<&MonitorLayout>, positions: &[Option<Arc<str>>]) -> Self {
        let at = |wanted: &str| header.iter().position(|h| h.trim().eq_ignore_ascii_case(wanted.trim()));
        let mut found = Self {
            width: header.len(),
            time: Vec::new(),
            engines: Vec::new(),
            shared: Vec::new(),
            problems: Vec::new(),
        };
        let time: Vec<String> = match layout {
            Some(l) if !l.time.columns.is_empty() => l.time.columns.clone(),
            _ => vec!["time".to_owned()],
        };
        for wanted in &time {
            match at(wanted) {
                Some(column) => found.time.push(column),
                None => found
                    .problems
                    .push((format!("no column \"{wanted}\""), "a column with the time of each sample".into())),
            }
        }
        let mut taken = Vec::new();
        let whose = layout.and_then(|l| l.engine.as_deref());
        for (ours, theirs) in layout.iter().flat_map(|l| &l.columns) {
            match at(&theirs.column) {
                Some(column) => {
                    found.place(ours, column, theirs.unit.as_deref(), positions, whose);
                    taken.push(ours.to_lowercase());
                }
                None => found.problems.push((
                    format!("no column \"{}\" for {ours}", theirs.column),
                    "the columns the layout names".into(),
                )),
            }
        }
        for (column, ours) in header.iter().enumerate() {
            let ours = ours.trim().to_lowercase();
            if !taken.contains(&ours) && split(&ours).is_some() && !found.time.contains(&column) {
                found.place(&ours, column, None, positions, whose);
            }
        }
        found.finish();
        found
    }

    /// `whose`: the position a name without one belongs to, where the layout says so.
    fn place(
        &mut self,
        ours: &str,
        column: usize,
        unit: Option<&str>,
        positions: &[Option<Arc<str>>],
        whose: Option<&str>,
    ) {
        let Some((prefix, channel)) = split(ours) else {
            self.problems.push((format!("channel \"{ours}\""), "a channel such as rpm, cht1_f or left.rpm".into()));
            return;
        };
        let convert = match unit.map(str::to_lowercase) {
            None => None,
            Some(unit) => match conversion(TABLE[channel].3, &unit) {
                Some((1.0, 0.0)) => None,
                Some(convert) => Some(convert),
                None => {
                    self.problems
                        .push((format!("unit \"{unit}\" for {ours}"), format!("a unit that fits {}", name(channel))));
                    return;
                }
            },
        };
        let field = Field::new(column, channel, convert);
        if channel >= IAS {
            self.shared.push(field);
            return;
        }
        let prefix = prefix.or(whose);
        if prefix.is_none() && positions.len() > 1 {
            let known: Vec<&str> = positions.iter().flatten().map(AsRef::as_ref).collect();
            // One line is enough; rpm stands for the rest.
            if channel == RPM {
                self.problems.push((
                    format!("\"{ours}\" without a position"),
                    format!("{ours} with one of {}, or `engine` in the layout", known.join(", ")),
                ));
            }
            return;
        }
        let position = match prefix {
            None => positions.first().filter(|_| positions.len() == 1).cloned().flatten(),
            Some(prefix) => {
                let known = positions.iter().flatten().find(|p| p.eq_ignore_ascii_case(prefix));
                Some(known.cloned().unwrap_or_else(|| Arc::from(prefix)))
            }
        };
        match self.engines.iter_mut().find(|e| e.position == position) {
            Some(engine) => engine.fields.push(field),
            None => self.engines.push(EngineColumns { position, fields: vec![field] }),
        }
    }

    /// How many cells of a row are looked at, from the first on.
    pub fn keep(&self) -> usize {
        let fields = self.engines.iter().flat_map(|e| &e.fields).chain(&self.shared).map(|f| f.column);
        fields.chain(self.time.iter().copied()).max().map_or(0, |last| last + 1)
    }

    /// Puts rpm first and drops engines without it: nothing says when they run.
    fn finish(&mut self) {
        for engine in &mut self.engines {
            engine.fields.sort_by_key(|f| f.channel);
            engine.fields.dedup_by_key(|f| f.channel);
        }
        self.shared.sort_by_key(|f| f.channel);
        self.shared.dedup_by_key(|f| f.channel);
        let (with, without): (Vec<_>, Vec<_>) = std::mem::take(&mut self.engines)
            .into_iter()
            .partition(|e| e.fields.first().is_some_and(|f| f.channel == RPM));
        for engine in &without {
            let whose = engine.position.as_ref().map_or_else(String::new, |p| format!("{p}."));
            self.problems.push((format!("no column \"{whose}rpm\""), "rpm, which tells when the engine runs".into()));
        }
        if with.is_empty() && without.is_empty() {
            self.problems.push(("no column \"rpm\"".into(), "rpm, which tells when the engine runs".into()));
        }
        self.engines = with;
    }
}

/// `left.cht1_f` into its position and channel.
fn split(ours: &str) -> Option<(Option<&str>, Channel)> {
    let find = |name: &str| TABLE.iter().position(|(n, ..)| n.eq_ignore_ascii_case(name));
    if let Some(channel) = find(ours) {
        return Some((None, channel));
    }
    let (prefix, name) = ours.rsplit_once('.')?;
    Some((Some(prefix), find(name)?))
}
