//! Everything that touches the world: files, clock, database, mail, service manager, log.
//! Its parts do not know one another; `daemon` and `cli` put them together.

pub mod lock;
pub mod log;
pub mod mail;
pub mod manager;
pub mod scan;
pub mod store;
pub mod workbook;
