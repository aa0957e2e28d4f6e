//! cowlwatch: what a fleet's logbooks and engine-monitor recordings say about break-in and oil consumption.
//!
//! In reading order:
//! [`units`] numbers that carry their unit → [`records`] what the files say → [`engine`] one engine's
//! life → [`judge`] what that shows → [`alerts`] what is remembered and told → [`report`] the words →
//! [`config`] the rules → [`shell`] the world → [`daemon`] and [`cli`] the program.
//!
//! Everything above `shell` is pure: no clock, no files, no log.
#![forbid(unsafe_code)]

pub mod alerts;
pub mod cli;
pub mod config;
pub mod daemon;
pub mod engine;
pub mod judge;
pub mod records;
pub mod report;
pub mod shell;
pub mod units;
