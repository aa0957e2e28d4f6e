//! Mail: letters made (RFC 5322), addressed and handed over, to a server or to a folder.
//!
//! Delivery is at least once: a letter stays in the outbox until the server has taken it for every
//! recipient, and its Message-ID, made from its row, is the same each time.

pub mod address;
pub mod folder;
pub mod message;

pub use address::{Recipients, recipients};
pub use message::{Head, build};
