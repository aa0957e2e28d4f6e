//! How a run was flown, for the break-in profile.

use super::ReduceContext;
use super::summary::Run;
use crate::engine::Model;
use crate::records::run::Handling;

/// The handling of a run.
pub fn handling(_run: &Run<'_>, _model: Option<&Model>, _context: &ReduceContext) -> Handling {
    Handling::default()
}
