//! All integration tests, in one binary so that the suite links once. Each case works in a fresh folder.
#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "tests")]

mod absurd;
mod bad_files;
mod commands;
mod configuration;
mod consumption;
mod demo;
mod dialects;
mod faults;
mod flight_phases;
mod front_door;
mod fuzz;
mod handmade;
mod layers;
mod layout_command;
mod level_filter;
mod mail_faults;
mod mail_post;
mod mail_server;
mod mail_service;
mod metrics;
mod must_show;
mod oracles;
mod outside;
mod progress_bar;
mod reload;
mod schemas;
mod service;
mod sheet_properties;
mod slow_copy;
mod stored_records;
mod support;
mod tools;
mod tuning;
mod workbooks;
