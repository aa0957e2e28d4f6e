//! Configuration: what the operator wrote, and what it means.
//!
//! `written` mirrors the TOML file and refuses unknown keys; this module holds what is *meant*:
//! values valid by construction, in a mechanic's units. The rest of the program sees only these.
//! Every threshold can be narrowed by model, tail and engine; the nearest wins.

pub mod meant;

pub use meant::{Digest, FleetSettings, Mail, Rules, Security, Settings};
