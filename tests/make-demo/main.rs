//! Writes the demo fleet: `cargo run --example make-demo -- demo-fleet`.

#[allow(dead_code, reason = "the tests use more of it")]
mod fleet;

use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("usage: make-demo FOLDER");
        return ExitCode::from(64);
    };
    for (name, bytes) in fleet::files() {
        let path = folder.join(&name);
        let written = path.parent().map_or(Ok(()), std::fs::create_dir_all).and_then(|()| std::fs::write(&path, bytes));
        if let Err(error) = written {
            eprintln!("{}: {error}", path.display());
            return ExitCode::from(73);
        }
    }
    ExitCode::SUCCESS
}
