//! The service: scan, judge, deliver, send the morning digest, until told to stop.
//!
//! One loop takes one closed set of events. The fleet folder is looked at in a thread of its own,
//! since a share may hang; letters are delivered by a task of its own, since a server may hang; what
//! either found comes back through a bounded channel. Only the loop writes to the state.

mod deliver;
mod notice;
pub mod pass;
pub mod pictures;
mod publish;
mod serve;
mod signals;

pub use deliver::deliver_now;
pub use publish::{publish, refresh};
pub use serve::{Ended, serve};
