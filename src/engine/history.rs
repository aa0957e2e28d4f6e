//! (to come)
use super::{Fleet, Models};
use crate::records::{Instant, TailRecords};
/// Puts the whole fleet's records in order of time and by engine.
pub fn build(_tails: &[TailRecords], _models: &Models, _zone: chrono_tz::Tz, _as_of: Instant) -> Fleet {
    Fleet::default()
}
