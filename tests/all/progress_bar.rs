//! The bar over long work is for a person at a terminal: a pipe and a log get none.

use std::fs;
use std::path::Path;
use std::process::{Command, Stdio};

use crate::support::{PROGRAM, copy, copy_demo};

/// The demo with so many more of one aircraft that reading it takes longer than work without a bar may.
fn large() -> tempfile::TempDir {
    let folder = copy_demo();
    let fleet = folder.path().join("demo-fleet/fleet");
    for number in 100..140 {
        let tail = fleet.join(format!("N0{number}K"));
        copy(&fleet.join("N05KM"), &tail);
        let aircraft = fs::read_to_string(tail.join("aircraft.toml")).unwrap();
        let own = aircraft.replace("N05KM", &format!("N0{number}K")).replace("E-0501", &format!("E-0501-{number}"));
        fs::write(tail.join("aircraft.toml"), own).unwrap();
    }
    folder
}

/// What `replay` writes, output and errors together, on a terminal of its own (`script`, util-linux) or in a pipe.
/// `None`: there is no `script`.
fn replayed(folder: &Path, terminal: bool) -> Option<String> {
    let line = format!("{PROGRAM} --config demo-fleet/cowlwatch.toml replay --to 2026-10-31 2>&1");
    let (program, arguments) = match terminal {
        true => ("script", ["-qec", &line, "/dev/null"].to_vec()),
        false => ("sh", ["-c", &line].to_vec()),
    };
    let mut command = Command::new(program);
    command.args(arguments).current_dir(folder).env("TERM", "xterm").env_remove("RUST_LOG").stdin(Stdio::null());
    let out = match command.output() {
        Err(error) if terminal && error.kind() == std::io::ErrorKind::NotFound => return None,
        out => out.unwrap(),
    };
    assert!(out.status.success(), "{}", String::from_utf8_lossy(&out.stdout));
    Some(String::from_utf8_lossy(&out.stdout).into_owned())
}

/// The blocks a bar is drawn with stand in no listing.
fn bar(text: &str) -> bool {
    text.contains(['█', '░'])
}

/// ECMA-48: control sequences that clear a line begin with escape.
#[test]
fn the_bar_is_drawn_on_a_terminal_and_not_in_a_pipe() {
    let folder = large();
    let piped = replayed(folder.path(), false).unwrap();
    assert!(piped.contains("advisory") && !piped.contains('\u{1b}') && !piped.contains('\r'), "{piped}");
    assert!(!bar(&piped), "{piped}");
    let Some(shown) = replayed(folder.path(), true) else {
        eprintln!("the terminal was not tried: there is no `script` (Debian: bsdutils)");
        return;
    };
    let first = shown.split('\u{1b}').next().unwrap();
    assert!(first.starts_with("reading ") && bar(first) && !first.contains(" 0/0 "), "{first}");
    // Cleared away before the listing comes.
    let (drawn, listed) = shown.rsplit_once("\u{1b}[2K").unwrap();
    assert!(!drawn.contains("advisory") && listed.contains("advisory") && !bar(listed), "{listed}");
}
