//! Mail: letters made (RFC 5322), addressed and handed over, to a server or to a folder.
//!
//! Delivery is at least once: a letter stays in the outbox until the server has taken it for every
//! recipient, and its Message-ID, made from its row, is the same each time.

pub mod address;
mod delivery;
mod fault;
pub mod folder;
pub mod message;
mod post;
mod secret;
mod smtp;

pub use address::{Recipients, recipients, sender};
pub use delivery::Delivery;
pub use fault::{Fault, MailError, longest_wait, wait};
pub use message::{Head, build};
pub use post::{Post, Posted, post, unkept};
pub use secret::Secret;
pub use smtp::Smtp;
