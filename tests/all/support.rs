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

/// What a run said, as text.
pub fn stdout(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned()
}

/// Copies a folder, but for the state a person's own run left in it.
pub fn copy(from: &Path, to: &Path) {
    std::fs::create_dir_all(to).expect("a folder can be made");
    for entry in std::fs::read_dir(from).expect("the folder is there") {
        let entry = entry.expect("it can be listed");
        let target = to.join(entry.file_name());
        if entry.file_name() == "state" {
            continue;
        }
        if entry.path().is_dir() {
            copy(&entry.path(), &target);
        } else {
            std::fs::copy(entry.path(), target).expect("a file can be copied");
        }
    }
}

/// A fresh folder with the demo fleet in `demo-fleet`, without any state.
pub fn copy_demo() -> tempfile::TempDir {
    let folder = tempfile::tempdir().expect("a fresh folder");
    copy(&Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-fleet"), &folder.path().join("demo-fleet"));
    folder
}
