//! Holds the direction of flow: below the shell there is no clock, no file, no database, no mail, no log.

use std::path::{Path, PathBuf};

/// What must not appear outside the shell, and why.
const SHELL_ONLY: [(&str, &str); 9] = [
    ("::now()", "the moment is an argument"),
    ("std::fs", "files are the shell's"),
    ("std::process", "processes are the shell's"),
    ("std::env", "the environment is the shell's"),
    ("tokio::", "the core waits for nothing"),
    ("rusqlite", "all SQL is in shell/store"),
    ("lettre", "mail is in shell/mail"),
    ("tracing", "the core does not log; decisions are values"),
    ("println!", "words for people leave through cli"),
];

fn sources(folder: &Path, into: &mut Vec<PathBuf>) {
    for entry in std::fs::read_dir(folder).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() {
            sources(&path, into);
        } else if path.extension().is_some_and(|e| e == "rs") {
            into.push(path);
        }
    }
}

/// The code of a file: without comments and without its tests.
fn code(text: &str) -> String {
    let text = text.split("#[cfg(test)]\nmod tests {").next().unwrap_or("");
    text.lines().filter(|l| !l.trim_start().starts_with("//")).collect::<Vec<_>>().join("\n")
}

fn core_files() -> Vec<(PathBuf, String)> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut files = Vec::new();
    for room in ["records", "engine", "judge", "alerts", "report", "config"] {
        sources(&root.join(room), &mut files);
    }
    files.push(root.join("units.rs"));
    assert!(files.len() > 60, "the core was found");
    files
        .into_iter()
        .filter(|f| !f.ends_with("tests.rs"))
        .map(|f| (f.clone(), code(&std::fs::read_to_string(&f).unwrap())))
        .collect()
}

#[test]
fn the_core_has_no_clock_no_files_and_no_log() {
    let mut wrong = Vec::new();
    for (file, code) in core_files() {
        for (word, why) in SHELL_ONLY {
            if code.contains(word) {
                wrong.push(format!("{}: {word} ({why})", file.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// A room may use those before it in reading order, not those after it.
#[test]
fn rooms_use_only_those_before_them() {
    let forbidden = [
        (
            "records",
            &["crate::judge", "crate::alerts", "crate::report", "crate::shell", "crate::daemon", "crate::cli"][..],
        ),
        (
            "engine",
            &["crate::judge", "crate::alerts", "crate::report", "crate::config", "crate::shell", "crate::daemon"],
        ),
        ("judge", &["crate::alerts", "crate::report", "crate::shell", "crate::daemon", "crate::cli"]),
        ("alerts", &["crate::report", "crate::shell", "crate::daemon", "crate::cli"]),
        ("report", &["crate::shell", "crate::daemon", "crate::cli"]),
        ("config", &["crate::alerts", "crate::report", "crate::shell", "crate::daemon", "crate::cli"]),
    ];
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src");
    let mut wrong = Vec::new();
    for (file, code) in core_files() {
        for (room, words) in forbidden {
            if file.starts_with(root.join(room)) {
                for word in words.iter().filter(|w| code.contains(**w)) {
                    wrong.push(format!("{}: {word}", file.display()));
                }
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// The parts of the shell do not know one another, but for those named here.
#[test]
fn shell_parts_stand_alone() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("src/shell");
    let parts = ["lock", "log", "mail", "scan", "store", "workbook"];
    // Mail rows and file rows are the store's; opening the store takes the lock; scan reads workbooks apart.
    let known = [("mail", "store"), ("scan", "store"), ("store", "lock"), ("scan", "workbook")];
    let mut files = Vec::new();
    sources(&root, &mut files);
    let mut wrong = Vec::new();
    for file in files.iter().filter(|f| !f.ends_with("tests.rs")) {
        let code = code(&std::fs::read_to_string(file).unwrap());
        let inside = file.strip_prefix(&root).unwrap().to_string_lossy().replace(".rs", "");
        let own = inside.split('/').next().unwrap_or("").to_owned();
        for part in parts.iter().filter(|p| **p != own) {
            let uses = code.contains(&format!("crate::shell::{part}"));
            if uses && !known.contains(&(own.as_str(), part)) {
                wrong.push(format!("{}: shell::{part}", file.display()));
            }
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}
