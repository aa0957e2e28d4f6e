//! Engine-monitor recordings: gigabytes of samples in, one [`RunSummary`] per engine run out.
//!
//! [`reduce`] reads a recording once, in pieces, whatever its size. Rows without quirks (`lines`) are cut
//! as the row before was (`shape`) and read column by column, four fixed-point numbers at once (`four`);
//! any other row goes through the `csv` crate's machine and is read cell by cell (`cell`), with the
//! same result. The samples of one engine run are held until it ends
//! (`trace`, bounded), then looked at with hindsight: readings that cannot be are taken out
//! (`clean`), ground is told from air (`air`), the flight is cut into phases (`phases`), and the
//! figures judges need are taken (`summary`, `figures`, `handling`). No judgement is made here.

mod air;
mod cell;
mod cells;
mod channel;
mod clean;
mod clock;
mod figures;
mod four;
mod handling;
mod header;
pub mod isa;
mod join;
mod lines;
mod phases;
pub mod power;
mod quoted;
mod reader;
mod recorder;
mod shape;
mod strip;
mod summary;
mod text;
mod trace;
mod unit;

#[cfg(test)]
mod made;
#[cfg(test)]
mod tests;

use std::io::Read;
use std::sync::Arc;

use chrono_tz::Tz;

pub use join::{Edge, goes_on, join};
pub use strip::{Series, Strip};

use super::layout::MonitorLayout;
use super::{Rejection, RunSummary};
use crate::engine::Model;

/// An engine of the aircraft a recording comes from.
#[derive(Clone, Debug)]
pub struct RecordedEngine {
    /// `None` in a single-engine aircraft that names none.
    pub position: Option<Arc<str>>,
    /// For percent power and the red line; `None`: figures that need it are left out.
    pub model: Option<Arc<Model>>,
    /// Setting of the initial cruise of a break-in: inHg and rpm.
    pub initial: [f64; 2],
}

impl RecordedEngine {
    /// With the usual initial cruise setting (24 inHg, 2300 rpm: common practice, no source).
    pub fn new(position: Option<Arc<str>>, model: Option<Arc<Model>>) -> Self {
        Self { position, model, initial: [24.0, 2300.0] }
    }
}

/// What a recording's reader needs to know beyond the file.
#[derive(Clone, Debug)]
pub struct ReduceContext {
    /// Zone of time stamps that name none.
    pub zone: Tz,
    pub engines: Vec<RecordedEngine>,
}

impl ReduceContext {
    pub fn new(zone: Tz, engines: Vec<RecordedEngine>) -> Self {
        Self { zone, engines }
    }

    /// Everything here that shapes a summary, as text: a stored summary made under another one is to be made anew.
    pub fn fingerprint(&self) -> String {
        let engines: Vec<String> = self
            .engines
            .iter()
            .map(|e| {
                let model = e.model.as_ref().map(|m| (m.rated_hp, m.rated_rpm, m.turbocharged, &m.power, m.hp_per_gph));
                format!("{:?} {:?} {model:?}", e.position, e.initial)
            })
            .collect();
        format!("{} {}", self.zone, engines.join("; "))
    }

    fn engine(&self, position: &Option<Arc<str>>) -> Option<&RecordedEngine> {
        let by_position = self.engines.iter().find(|e| e.position == *position);
        by_position.or(self.engines.first().filter(|_| self.engines.len() == 1))
    }
}

/// Reads recordings one after the other, in the same memory.
#[derive(Debug, Default)]
pub struct Reducer(reader::Memory);

impl Reducer {
    /// Reads a recording and gives one summary per engine run, in order of their ends, and what could not be read.
    ///
    /// `file` is its name relative to the fleet folder. Memory is bounded whatever the input. An input
    /// that cannot be read at all gives a rejection of the whole file.
    pub fn reduce(
        &mut self,
        input: impl Read,
        file: &str,
        layout: Option<&MonitorLayout>,
        context: &ReduceContext,
    ) -> (Vec<RunSummary>, Vec<Rejection>) {
        self.reduce_by(Way::Fast, input, file, layout, context)
    }

    /// [`Self::reduce`] with the way named.
    #[doc(hidden)]
    pub fn reduce_by(
        &mut self,
        way: Way,
        input: impl Read,
        file: &str,
        layout: Option<&MonitorLayout>,
        context: &ReduceContext,
    ) -> (Vec<RunSummary>, Vec<Rejection>) {
        reader::Reduction::new(file, layout, context).run(input, way, &mut self.0)
    }
}

/// [`Reducer::reduce`] for a single recording.
pub fn reduce(
    input: impl Read,
    file: &str,
    layout: Option<&MonitorLayout>,
    context: &ReduceContext,
) -> (Vec<RunSummary>, Vec<Rejection>) {
    Reducer::default().reduce(input, file, layout, context)
}

/// How rows are cut: for the property test and the benchmark that hold the two ways together.
#[doc(hidden)]
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Way {
    Fast,
    /// Every row through the `csv` crate.
    Csv,
}
