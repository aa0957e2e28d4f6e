//! All integration tests, in one binary so that the suite links once. Each case works in a fresh folder.

mod configuration;
mod demo;
mod dialects;
mod level_filter;
mod support;
mod workbooks;
