//! `check`: every problem of configuration and fleet folder at once; touches nothing. For a folder that has
//! logbooks but no aircraft.toml it prints one to start from.

use chrono::Utc;
use clap::Args;
use serde::Serialize;

use super::{Cli, Stop, exit, load, looked, output, scan, status};
use crate::daemon::pass::{self, Rules};
use crate::judge::Kind;
use crate::records::Rejection;
use crate::report::{thresholds, words};
use crate::shell::store::Store;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch check
      every problem as file:line: what, and what was expected; ends with 65 or 78 if there is one
  cowlwatch check --config new.toml
      a configuration before it is put in force
  cowlwatch check --explain N0417H
      every threshold of an aircraft's engines, and which line set it")]
pub struct Options {
    /// Show which threshold holds for an engine and which line set it; without a name, for every engine those
    /// that are not the default.
    #[arg(long, value_name = "TAIL|SERIAL", num_args = 0..=1)]
    pub explain: Option<Option<String>>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
}

#[derive(Debug, Serialize)]
struct Problem {
    file: String,
    line: u32,
    found: String,
    expected: String,
}

impl From<&Rejection> for Problem {
    fn from(r: &Rejection) -> Self {
        Self {
            file: r.source.file.to_string(),
            line: r.source.line,
            found: r.found.clone(),
            expected: r.expected.clone(),
        }
    }
}

/// An aircraft.toml for a folder that has none.
#[derive(Debug, Serialize)]
struct Proposed {
    /// Where it belongs.
    file: String,
    toml: String,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    if let Some(which) = &options.explain {
        return explain(cli, which.as_deref(), options.json);
    }
    let (rules, mut problems) = load::read_partly(&cli.config);
    let mut code = if problems.is_empty() { 0 } else { exit::CONFIGURATION };
    let (mut questions, mut proposed) = (Vec::new(), Vec::new());
    if let Some(rules) = rules {
        proposed = proposals(&rules);
        match fleet(&rules) {
            Ok((of_fleet, asked)) => {
                problems.extend(of_fleet);
                questions = asked;
            }
            // What is wrong with the configuration explains it, and is told below.
            Err(stop) if code == 0 => return Err(stop),
            Err(_) => {}
        }
    }
    if code == 0 && !(problems.is_empty() && questions.is_empty()) {
        code = exit::DATA;
    }
    if options.json {
        let list: Vec<Problem> = problems.iter().map(Problem::from).collect();
        output::json(&serde_json::json!({ "problems": list, "questions": questions, "proposed": proposed }))?;
        return Ok(code);
    }
    for problem in &problems {
        output::line(&problem.to_string())?;
    }
    for question in &questions {
        output::line(question)?;
    }
    for Proposed { file, toml } in &proposed {
        let head = "Nothing was written. Look at every line, answer what is open, and save it there:";
        output::print(&format!("\nProposed for {file}\n{head}\n\n{toml}"))?;
    }
    if code == 0 {
        output::line("Nothing wrong found.")?;
    }
    Ok(code)
}

/// Proposals for the folders that say nothing of their engines.
fn proposals(rules: &Rules) -> Vec<Proposed> {
    let models: Vec<&str> = rules.models.keys().map(|name| &**name).collect();
    let folders = std::fs::read_dir(&rules.config.settings.fleet.folder).into_iter().flatten().flatten();
    let mut folders: Vec<_> = folders.map(|entry| entry.path()).filter(|path| path.is_dir()).collect();
    folders.sort();
    let hidden = |path: &std::path::Path| path.file_name().is_none_or(|name| name.to_string_lossy().starts_with('.'));
    let without = folders.into_iter().filter(|path| !hidden(path) && !path.join("aircraft.toml").exists());
    let proposed = without.filter_map(|path| {
        let file = path.join("aircraft.toml").display().to_string();
        looked::aircraft_file(&path, &models).map(|toml| Proposed { file, toml })
    });
    proposed.collect()
}

/// Problems of the fleet's files, and questions about the records.
fn fleet(rules: &Rules) -> Result<(Vec<Rejection>, Vec<String>), Stop> {
    let mut store = Store::scratch(None)?;
    let done = scan::round(&mut store, rules, Utc::now(), false)?;
    let mut problems = done.rejections().to_vec();
    let known: Vec<_> = done.engines().iter().map(|e| (e.tail.clone(), e.model.clone(), e.serial.clone())).collect();
    problems.extend(rules.config.unknown_names(&known));
    problems.extend(rules.config.beyond_models(&rules.models));
    let zone = rules.config.settings.fleet.time_zone;
    let alerts = store.alerts()?;
    let asked = alerts.iter().filter(|a| matches!(a.kind(), Kind::HoursDisagree | Kind::RecordsConflict));
    let questions = asked.map(|a| {
        let lines = a.finding.evidence.lines("lines");
        let at = lines.first().map_or_else(|| a.finding.tail.to_string(), ToString::to_string);
        format!("{at}: {}", words::headline(&a.finding, zone))
    });
    let mut questions: Vec<String> = questions.collect();
    let doubts = pass::doubts(&mut store, rules, Utc::now())?;
    questions.extend(doubts.into_iter().map(|(at, said)| format!("{at}: {said}")));
    Ok((problems, questions))
}

fn explain(cli: &Cli, which: Option<&str>, as_json: bool) -> Result<u8, Stop> {
    let rules = load::rules(&cli.config)?;
    let mut store = Store::scratch(None)?;
    let done = scan::round(&mut store, &rules, Utc::now(), false)?;
    let chosen = match which {
        Some(which) => status::chosen(done.engines(), which)?,
        None => done.engines().iter().collect(),
    };
    let engines: Vec<_> = chosen.into_iter().map(|engine| thresholds::of(&rules.config, engine)).collect();
    match as_json {
        true => output::json(&engines)?,
        false => output::print(&thresholds::text(&engines, which.is_some()))?,
    }
    Ok(0)
}
