//! The command line: exit codes, help that shows how, manual and completions.
#![allow(clippy::unwrap_used, reason = "tests")]

use crate::reload::Service;
use crate::support::{copy_demo, run, stdout};

/// The exit codes of the contract, each brought about.
#[test]
fn commands_end_with_the_codes_of_the_contract() {
    let folder = copy_demo();
    let at = folder.path();
    let code = |args: &[&str]| {
        let mut all = args.to_vec();
        if !args.contains(&"--config") {
            all.extend(["--config", "demo-fleet/cowlwatch.toml"]);
        }
        run(at, &all).status.code()
    };
    let morning = ["--as-of", "2026-03-12T06:00"];
    assert_eq!(code(&["status", morning[0], morning[1]]), Some(0));
    assert_eq!(code(&["status", morning[0], morning[1], "--fail-on", "caution"]), Some(1));
    assert_eq!(code(&["status", "--as-of", "2025-07-02", "--fail-on", "warning"]), Some(0));
    assert_eq!(code(&["stauts"]), Some(64));
    assert_eq!(code(&["status", "--as-of", "yesterday"]), Some(64));
    assert_eq!(code(&["alerts", "4711", morning[0], morning[1]]), Some(64));
    assert_eq!(code(&["check"]), Some(65));
    assert_eq!(code(&["chart", "E-0311", "--out", "no/such/folder/c.png", morning[0], morning[1]]), Some(73));
    assert_eq!(code(&["replay", "--with", "missing.toml"]), Some(74));
    assert_eq!(code(&["status", "--config", "missing.toml"]), Some(78));
    // Another one runs on this state: it is named.
    let service = Service::start(at, "demo-fleet/cowlwatch.toml");
    service.wait_for(" watching ", 1);
    let busy = run(at, &["scan", "--config", "demo-fleet/cowlwatch.toml", "--as-of", "2025-07-02"]);
    let err = String::from_utf8_lossy(&busy.stderr).into_owned();
    let named = err.contains(&service.child.id().to_string());
    assert_eq!(busy.status.code(), Some(75));
    assert!(named, "{err}");
}

/// Help that teaches: every command a person calls shows how.
#[test]
fn every_command_shows_an_example() {
    let folder = tempfile::tempdir().unwrap();
    let mut without = Vec::new();
    for command in [
        "watch",
        "scan",
        "check",
        "replay",
        "status",
        "alerts",
        "acknowledge",
        "mute",
        "close",
        "digest",
        "mail-test",
        "chart",
        "backup",
        "export",
        "layout",
        "demo",
    ] {
        let help = stdout(&run(folder.path(), &[command, "--help"]));
        if !help.contains("Example") || !help.contains(&format!("  cowlwatch {command}")) {
            without.push(command);
        }
        // An example must be one the program understands.
        for line in help.lines().filter_map(|line| line.trim().strip_prefix("cowlwatch ")) {
            let words = split(line);
            let words: Vec<&str> =
                words.iter().map(String::as_str).take_while(|w| !matches!(*w, ">" | ">>" | "|")).collect();
            let parsed = cowlwatch::cli::understands(&words);
            assert!(parsed.is_ok(), "{command}: cowlwatch {line}: {parsed:?}");
        }
    }
    assert_eq!(without, [""; 0]);
}

/// Words as a shell takes them apart.
fn split(line: &str) -> Vec<String> {
    let (mut words, mut word, mut quote) = (Vec::new(), String::new(), None);
    for c in line.chars() {
        match (c, quote) {
            (c, Some(q)) if c == q => quote = None,
            ('"' | '\'', None) => quote = Some(c),
            (' ', None) => words.extend((!word.is_empty()).then(|| std::mem::take(&mut word))),
            (c, _) => word.push(c),
        }
    }
    words.extend((!word.is_empty()).then_some(word));
    words
}

#[test]
fn manual_and_completions_name_every_command() {
    let folder = tempfile::tempdir().unwrap();
    let help = stdout(&run(folder.path(), &["--help"]));
    let commands: Vec<&str> = help
        .lines()
        .skip_while(|line| !line.starts_with("Commands:"))
        .skip(1)
        .take_while(|line| !line.is_empty())
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|word| *word != "help")
        .collect();
    assert!(commands.contains(&"watch") && commands.contains(&"replay"), "{help}");
    let manual = stdout(&run(folder.path(), &["man"]));
    for command in &commands {
        assert!(manual.contains(&format!(".SS {}", command.replace('-', "\\-"))), "{command}");
    }
    for shell in ["bash", "zsh", "fish"] {
        let completions = stdout(&run(folder.path(), &["completions", shell]));
        assert!(commands.iter().all(|command| completions.contains(command)), "{shell}");
    }
}
