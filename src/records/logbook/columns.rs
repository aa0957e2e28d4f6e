//! Which of the sheet's columns holds what, by our standard names or by the operator's layout.

use std::collections::BTreeMap;
use std::sync::Arc;

use super::amount::Unit;
use super::{Bad, bad};
use crate::records::aircraft::Aircraft;
use crate::records::layout::{LogbookLayout, Per};
use crate::records::table::{Header, header};

/// A column of the standard layout.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Column {
    Date,
    Time,
    Engine,
    Hours,
    Entry,
    Quantity,
    Level,
    Oil,
    FlightHours,
    Service,
    Result,
    Remarks,
    Serial,
}

impl Column {
    /// Every column, in the order of the contract.
    pub const ALL: [Self; 13] = [
        Self::Date,
        Self::Time,
        Self::Engine,
        Self::Hours,
        Self::Entry,
        Self::Quantity,
        Self::Level,
        Self::Oil,
        Self::FlightHours,
        Self::Service,
        Self::Result,
        Self::Remarks,
        Self::Serial,
    ];

    /// The name in the header and in layouts.
    pub fn word(self) -> &'static str {
        match self {
            Self::Date => "date",
            Self::Time => "time",
            Self::Engine => "engine",
            Self::Hours => "hours",
            Self::Entry => "entry",
            Self::Quantity => "quantity",
            Self::Level => "level",
            Self::Oil => "oil",
            Self::FlightHours => "flight_hours",
            Self::Service => "service",
            Self::Result => "result",
            Self::Remarks => "remarks",
            Self::Serial => "serial",
        }
    }

    /// By the standard name.
    pub fn of(word: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|column| column.word() == word)
    }

    /// Rows without it say something else than the operator means.
    fn needed(self) -> bool {
        !matches!(self, Self::Time | Self::Service | Self::Remarks | Self::Serial | Self::Result)
    }
}

/// Where one engine's oil stands in a row per flight.
#[derive(Clone, Debug)]
pub struct OilPlace {
    /// `None` = the only engine.
    pub engine: Option<Arc<str>>,
    pub added: Option<usize>,
    pub level: Option<usize>,
    pub oil: Option<usize>,
    pub unit: Option<Unit>,
}

/// The sheet's columns, by what they hold.
#[derive(Clone, Debug, Default)]
pub struct Columns {
    at: BTreeMap<Column, usize>,
    /// Columns that give the date together.
    pub date: Vec<usize>,
    pub oil: Vec<OilPlace>,
    /// Columns the layout names that the sheet does not have, and that rows can do without.
    pub missing: Vec<String>,
}

/// Header names a sheet is recognised by.
pub fn wanted(layout: Option<&LogbookLayout>) -> Vec<String> {
    let mut names: Vec<String> = Column::ALL.iter().map(|c| c.word().to_owned()).collect();
    names.extend(layout.iter().flat_map(|l| named_by(l)).map(|n| header::key(n)));
    names
}

/// The sheet's columns that a layout names.
fn named_by(layout: &LogbookLayout) -> impl Iterator<Item = &String> {
    let oil = layout.oil.values().flat_map(|o| [&o.added, &o.level, &o.oil]).flatten();
    layout.date.columns.iter().chain(layout.columns.values()).chain(oil)
}

impl Columns {
    pub fn at(&self, column: Column) -> Option<usize> {
        self.at.get(&column).copied()
    }

    /// By the layout, and by standard names for what the layout leaves out.
    ///
    /// # Errors
    /// A column that rows cannot do without is not there.
    pub fn resolve(header: &Header, layout: Option<&LogbookLayout>, aircraft: &Aircraft) -> Result<Self, Bad> {
        let mut columns = Self::default();
        let taken: Vec<usize> = layout.iter().flat_map(|l| named_by(l)).filter_map(|n| header.column(n)).collect();
        for column in Column::ALL {
            let named = layout.and_then(|l| l.columns.get(column.word()));
            match (named, header.column(named.map_or(column.word(), String::as_str))) {
                // "Oil" may be the operator's dipstick column: what the layout gives a meaning has no other.
                (None, Some(at)) if taken.contains(&at) => {}
                (_, Some(at)) => {
                    columns.at.insert(column, at);
                }
                (Some(name), None) if column.needed() => return Err(absent(header, name, column.word())),
                (Some(name), None) => columns.missing.push(format!("\"{name}\" for {}", column.word())),
                (None, None) => {}
            }
        }
        columns.find_date(header, layout)?;
        if let Some(layout) = layout {
            columns.find_oil(header, layout, aircraft)?;
        }
        columns.check(header, layout)
    }

    fn find_date(&mut self, header: &Header, layout: Option<&LogbookLayout>) -> Result<(), Bad> {
        let named = layout.map_or(&[][..], |l| &l.date.columns);
        for name in named {
            self.date.push(header.column(name).ok_or_else(|| absent(header, name, "date"))?);
        }
        if named.is_empty() {
            self.date.extend(self.at(Column::Date).into_iter().chain(self.at(Column::Time)));
        }
        Ok(())
    }

    fn find_oil(&mut self, header: &Header, layout: &LogbookLayout, aircraft: &Aircraft) -> Result<(), Bad> {
        for (position, oil) in &layout.oil {
            let engine = match position.as_str() {
                "" => None,
                word => Some(known_position(word, aircraft).ok_or_else(|| {
                    bad(format!("oil columns for engine \"{word}\""), format!("one of {}", positions(aircraft)))
                })?),
            };
            let find = |name: &Option<String>, what: &str| match name {
                None => Ok(None),
                Some(name) => header.column(name).map(Some).ok_or_else(|| absent(header, name, what)),
            };
            let added = find(&oil.added, "oil added")?;
            let level = find(&oil.level, "the dipstick reading")?;
            let kind = find(&oil.oil, "the kind of oil")?;
            let in_header = added.or(level).and_then(|at| header.names.get(at)).and_then(|n| n.unit.as_deref());
            let unit = oil.unit.as_deref().or(in_header).and_then(Unit::of);
            let shared = |at: &usize| self.oil.iter().any(|other| [other.added, other.level].contains(&Some(*at)));
            if let Some(at) = [added, level].into_iter().flatten().find(shared) {
                let name = header.names.get(at).map_or("", |n| n.written.as_str());
                return Err(bad(
                    format!("the oil column \"{name}\" for more than one engine ({})", header.list()),
                    "a column of its own for each engine (\"cowlwatch layout FILE\" proposes them)".to_owned(),
                ));
            }
            self.oil.push(OilPlace { engine, added, level, oil: kind, unit });
        }
        Ok(())
    }

    fn check(self, header: &Header, layout: Option<&LogbookLayout>) -> Result<Self, Bad> {
        let per_flight = layout.is_some_and(|l| l.per == Per::Flight);
        let lacking = if self.date.is_empty() {
            "date"
        } else if !per_flight && self.at(Column::Entry).is_none() {
            "entry"
        } else if per_flight && self.at(Column::Hours).is_none() && self.at(Column::FlightHours).is_none() {
            "hours"
        } else {
            return Ok(self);
        };
        let expected = if layout.is_some() {
            format!("the layout in aircraft.toml to name the column for {lacking}")
        } else {
            "the columns date, engine, hours, entry, quantity, level …, or a [[logbook]] table in aircraft.toml \
             (\"cowlwatch layout FILE\" proposes one)"
                .to_owned()
        };
        Err(bad(format!("no column \"{lacking}\" in the header ({})", header.list()), expected))
    }
}

fn absent(header: &Header, name: &str, what: &str) -> Bad {
    bad(
        format!("no column \"{name}\" in the header ({})", header.list()),
        format!("the column that the layout in aircraft.toml names for {what}"),
    )
}

/// The aircraft's own spelling of an engine position: the whole word, or its first letters where
/// only one position begins so.
pub fn known_position(word: &str, aircraft: &Aircraft) -> Option<Arc<str>> {
    let word = header::key(word);
    let all = || aircraft.engines.iter().filter_map(|e| e.position.as_ref());
    if let Some(same) = all().find(|position| header::key(position) == word) {
        return Some(same.clone());
    }
    let mut begin = all().filter(|position| !word.is_empty() && header::key(position).starts_with(&word));
    begin.next().filter(|_| begin.next().is_none()).cloned()
}

/// The positions as a person would list them: `left or right`.
pub fn positions(aircraft: &Aircraft) -> String {
    let all: Vec<&str> = aircraft.engines.iter().filter_map(|e| e.position.as_deref()).collect();
    match all.split_last() {
        None => "blank (this aircraft has one engine)".to_owned(),
        Some((last, [])) => format!("{last}, or blank"),
        Some((last, rest)) => format!("{} or {last}", rest.join(", ")),
    }
}
