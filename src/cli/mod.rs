//! The command line: arguments in, one file per command, exit codes of sysexits.h.

mod alerts;
mod chart;
mod check;
mod demo;
mod keep;
mod layout;
mod load;
mod looked;
mod mail;
mod manual;
mod output;
mod progress;
mod replay;
mod scan;
mod seen;
mod status;
mod watch;

use std::path::PathBuf;
use std::process::ExitCode;

use clap::{Args, Parser, Subcommand, ValueEnum};

use crate::judge::Level;

/// Exit codes (sysexits.h, and 1 for alerts at or above `--fail-on`).
pub mod exit {
    pub const ALERTS: u8 = 1;
    pub const USAGE: u8 = 64;
    pub const DATA: u8 = 65;
    pub const UNAVAILABLE: u8 = 69;
    pub const CANNOT_WRITE: u8 = 73;
    pub const CANNOT_READ: u8 = 74;
    pub const LATER: u8 = 75;
    pub const CONFIGURATION: u8 = 78;
}

/// Watches oil consumption and break-in of air-cooled piston aircraft engines.
///
/// Reads logbook sheets and engine-monitor recordings from one folder per tail number, judges each
/// engine against its own baseline and mails what needs attention. Advisory only: it does not
/// determine airworthiness.
#[derive(Debug, Parser)]
#[command(name = "cowlwatch", version, max_term_width = 100)]
#[command(after_help = "Examples:
  cowlwatch check                          list every problem in configuration and records
  cowlwatch scan --json                    one round, result as JSON
  cowlwatch status N0417H                  one aircraft in detail
  cowlwatch alerts 7                       alert 7 with its evidence
  cowlwatch acknowledge 7 --by \"R. Doe\" --note \"borescope on Friday\"
  cowlwatch replay --from 2026-01-01       what would have been raised since then
  cowlwatch replay --set consumption.smallest_change=2     today's thresholds against one changed")]
pub struct Cli {
    /// Configuration file.
    #[arg(long, global = true, default_value = "/etc/cowlwatch/cowlwatch.toml", value_name = "FILE")]
    pub config: PathBuf,
    #[command(subcommand)]
    pub command: Command,
}

#[derive(Debug, Subcommand)]
pub enum Command {
    /// The service: scan, judge, deliver and send the morning digest, until told to stop.
    #[command(
        after_help = "SIGHUP reads the configuration anew: what changed is logged; a wrong one is refused, mailed, and
the old one stays. SIGTERM and SIGINT end it after the letter under way.

Examples:
  cowlwatch watch --config ./cowlwatch.toml
      in the foreground, to look at it work
  cowlwatch watch
      as cowlwatch.service calls it"
    )]
    Watch,
    /// One round of the same, then exit.
    Scan(scan::Options),
    /// List every problem of configuration and fleet folder; touches nothing.
    Check(check::Options),
    /// Go through the history as if the service had been running.
    Replay(replay::Options),
    /// The fleet in one table, or an aircraft or engine in detail.
    Status(status::Options),
    /// Open alerts, or one alert with its evidence.
    Alerts(alerts::ListOptions),
    /// Acknowledge an alert: it stays quiet until it grows or the date comes.
    Acknowledge(alerts::AcknowledgeOptions),
    /// Silence an alert until a date.
    Mute(alerts::MuteOptions),
    /// Close an alert; a rate alert's baseline restarts at its onset.
    Close(alerts::CloseOptions),
    /// The digest as it would go now; nothing is stored or sent.
    Digest(mail::DigestOptions),
    /// Send a test message and say what became of it.
    #[command(after_help = "Example:
  cowlwatch mail-test
      what the server said goes to the terminal; without [mail] the message lands in the outbox folder")]
    MailTest,
    /// An engine's picture as PNG or SVG.
    Chart(chart::Options),
    /// A consistent copy of the state, also while the service runs.
    Backup(keep::BackupOptions),
    /// All records and alerts as CSV.
    Export(keep::ExportOptions),
    /// Propose how a logbook sheet or recording is laid out, as a table for aircraft.toml.
    Layout(layout::Options),
    /// Print completions for a shell: `cowlwatch completions bash > /etc/bash_completion.d/cowlwatch`.
    #[command(hide = true)]
    Completions(manual::Shell),
    /// Print the manual page: `cowlwatch man > cowlwatch.1`.
    #[command(hide = true)]
    Man,
    /// Show the main job on the demo fleet: a season of mornings.
    Demo(demo::Options),
}

/// The moment commands look from, and how they print.
#[derive(Clone, Debug, Args)]
pub struct View {
    /// Look from this moment; later records are unseen. `2026-03-01` or `2026-03-01T06:30`, local time.
    #[arg(long, value_name = "TIME")]
    pub as_of: Option<String>,
    /// Print JSON.
    #[arg(long)]
    pub json: bool,
    /// Exit with 1 if an alert of this level or above is open.
    #[arg(long, value_name = "LEVEL")]
    pub fail_on: Option<LevelWord>,
}

/// A level as an argument.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub enum LevelWord {
    Advisory,
    Caution,
    Warning,
}

impl From<LevelWord> for Level {
    fn from(word: LevelWord) -> Self {
        match word {
            LevelWord::Advisory => Self::Advisory,
            LevelWord::Caution => Self::Caution,
            LevelWord::Warning => Self::Warning,
        }
    }
}

/// A command that ended early: what to say and the exit code.
#[derive(Debug)]
pub struct Stop {
    pub message: String,
    pub code: u8,
}

impl Stop {
    pub fn new(code: u8, message: impl Into<String>) -> Self {
        Self { message: message.into(), code }
    }
}

/// Whether arguments (without the program's name) can be understood; what is wrong with them otherwise.
///
/// # Errors
/// What a person would be told.
pub fn understands(arguments: &[&str]) -> Result<(), String> {
    let all = std::iter::once("cowlwatch").chain(arguments.iter().copied());
    Cli::try_parse_from(all).map(drop).map_err(|error| error.to_string())
}

impl From<crate::shell::store::StoreError> for Stop {
    fn from(error: crate::shell::store::StoreError) -> Self {
        Self { code: error.exit_code(), message: error.to_string() }
    }
}

/// Runs the program.
pub fn main() -> ExitCode {
    let cli = match Cli::try_parse() {
        Ok(cli) => cli,
        Err(error) => {
            let code = if error.use_stderr() { exit::USAGE } else { 0 };
            let _ = error.print();
            return ExitCode::from(code);
        }
    };
    let result = match &cli.command {
        Command::Watch => watch::run(&cli),
        Command::Scan(options) => scan::run(&cli, options),
        Command::Check(options) => check::run(&cli, options),
        Command::Replay(options) => replay::run(&cli, options),
        Command::Status(options) => status::run(&cli, options),
        Command::Alerts(options) => alerts::list(&cli, options),
        Command::Acknowledge(options) => alerts::acknowledge(&cli, options),
        Command::Mute(options) => alerts::mute(&cli, options),
        Command::Close(options) => alerts::close(&cli, options),
        Command::Digest(options) => mail::digest(&cli, options),
        Command::MailTest => mail::test(&cli),
        Command::Chart(options) => chart::run(&cli, options),
        Command::Backup(options) => keep::backup(&cli, options),
        Command::Export(options) => keep::export(&cli, options),
        Command::Layout(options) => layout::run(options),
        Command::Completions(shell) => manual::completions(shell),
        Command::Man => manual::page(),
        Command::Demo(options) => demo::run(options),
    };
    match result {
        Ok(code) => ExitCode::from(code),
        Err(stop) => {
            if !stop.message.is_empty() {
                eprintln!("cowlwatch: {}", stop.message);
            }
            ExitCode::from(stop.code)
        }
    }
}
