//! What the cases share: running the program on a fresh folder.
#![allow(dead_code, clippy::expect_used, reason = "test support; each case uses the part it needs")]

use std::path::Path;
use std::process::{Command, Output};

/// The built program.
pub const PROGRAM: &str = env!("CARGO_BIN_EXE_cowlwatch");

/// Runs `cowlwatch` with `args` in `folder`.
pub fn run(folder: &Path, args: &[&str]) -> Output {
    Command::new(PROGRAM).args(args).current_dir(folder).env_remove("RUST_LOG").output().expect("the program starts")
}
