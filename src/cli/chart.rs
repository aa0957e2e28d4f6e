//! `chart`: an engine's pictures as files.

use std::path::PathBuf;

use chrono::TimeDelta;
use clap::Args;

use super::seen::Seen;
use super::{Cli, Stop, exit, load, output, status};
use crate::daemon::pass::Rules;
use crate::daemon::pictures;
use crate::judge::EngineView;
use crate::records::Instant;
use crate::report::{RunPicture, charts};
use crate::shell::scan::{self, FileRecords, Look};
use crate::shell::store::StripRow;

#[derive(Debug, Args)]
#[command(after_help = "Examples:
  cowlwatch chart H-2207 --out H-2207.png
  cowlwatch chart H-2207 --of statistic --out H-2207.svg --as-of 2026-03-01
  cowlwatch chart H-2207 --of recording --run 2026-03-06T08:00 --out run.png")]
pub struct Options {
    /// Engine serial, or the tail of a single-engine aircraft.
    pub engine: String,
    /// File to write: .png or .svg.
    #[arg(long, value_name = "FILE")]
    pub out: PathBuf,
    /// Which picture.
    #[arg(long, value_enum, default_value = "consumption")]
    pub of: Picture,
    /// With --of recording: the recorded run under way at this moment, else the next one of that day; the latest
    /// run if left out.
    #[arg(long, value_name = "TIME")]
    pub run: Option<String>,
    /// Look from this moment.
    #[arg(long, value_name = "TIME")]
    pub as_of: Option<String>,
}

/// The pictures there are.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub enum Picture {
    Consumption,
    /// The statistic of change and its limit.
    Statistic,
    BreakIn,
    /// One recorded run: phases, power, hottest cylinder, oil temperature.
    Recording,
}

pub fn run(cli: &Cli, options: &Options) -> Result<u8, Stop> {
    if options.run.is_some() && options.of != Picture::Recording {
        return Err(Stop::new(exit::USAGE, "--run names a recorded run, expected --of recording with it".to_owned()));
    }
    let seen = Seen::of(cli, options.as_of.as_deref())?;
    let done = &seen.done;
    let found = status::chosen(done.engines(), &options.engine)?;
    let [engine] = found[..] else {
        let serials: Vec<&str> = found.iter().map(|e| &*e.serial).collect();
        let message = format!("{} has {} engines, expected one of {}", options.engine, found.len(), serials.join(", "));
        return Err(Stop::new(exit::USAGE, message));
    };
    let svg = options.out.extension().is_some_and(|e| e.eq_ignore_ascii_case("svg"));
    let (drawn, words) = match options.of {
        Picture::Consumption if svg => {
            (charts::consumption_svg(engine, &seen.alerts).map(String::into_bytes), charts::consumption_words(engine))
        }
        Picture::Consumption => (charts::consumption_png(engine, &seen.alerts), charts::consumption_words(engine)),
        Picture::Statistic if svg => {
            (charts::statistic_svg(engine).map(String::into_bytes), charts::statistic_words(engine))
        }
        Picture::Statistic => (charts::statistic_png(engine), charts::statistic_words(engine)),
        Picture::BreakIn if svg => {
            (charts::break_in_svg(engine).map(String::into_bytes), charts::break_in_words(engine))
        }
        Picture::BreakIn => (charts::break_in_png(engine), charts::break_in_words(engine)),
        Picture::Recording => {
            let run = recorded(cli, &seen, engine, options.run.as_deref())?;
            let words = charts::run_words(&run, seen.zone);
            match svg {
                true => (charts::run_svg(&run, seen.zone).map(String::into_bytes), words),
                false => (charts::run_png(&run, seen.zone), words),
            }
        }
    };
    let bytes = drawn.map_err(|e| Stop::new(exit::DATA, format!("{}: {e}", engine.serial)))?;
    let cannot = |e: std::io::Error| Stop::new(exit::CANNOT_WRITE, format!("{}: {e}", options.out.display()));
    std::fs::write(&options.out, bytes).map_err(cannot)?;
    output::line(&format!("{}: {words}", options.out.display()))?;
    Ok(0)
}

/// A run as the records have it: its file, and from when until when.
struct Known {
    file: String,
    start: Instant,
    end: Instant,
}

/// The run asked for: from the state where it is among the latest, else read again from its recording.
fn recorded(cli: &Cli, seen: &Seen, engine: &EngineView, which: Option<&str>) -> Result<RunPicture, Stop> {
    let position = engine.position.as_deref().unwrap_or_default();
    let mut known = Vec::new();
    for (file, records) in seen.store.records_of::<FileRecords>(&engine.tail)? {
        let mine = records.runs.iter().filter(|r| r.engine.as_deref().unwrap_or_default() == position);
        known.extend(mine.map(|r| Known { file: file.clone(), start: r.start, end: r.end }));
    }
    known.retain(|k| k.end <= seen.now);
    known.sort_by_key(|k| k.start);
    let wanted = match which {
        None => known.last(),
        Some(text) => {
            let at = load::moment_from(text, seen.zone)?;
            let day = at + TimeDelta::hours(24);
            known.iter().find(|k| k.end >= at && k.start < day)
        }
    };
    let Some(wanted) = wanted else {
        let what = which.map_or("no recorded run".to_owned(), |t| format!("no recorded run at {t} or on that day"));
        let last = known.last().map_or(String::new(), |k| {
            format!("; the latest began {}", k.start.with_timezone(&seen.zone).format("%Y-%m-%dT%H:%M"))
        });
        return Err(Stop::new(exit::DATA, format!("{}: {what}{last}", engine.serial)));
    };
    // Pieces of the same running lie within a day of it.
    let (from, to) = (wanted.start - TimeDelta::hours(24), wanted.end + TimeDelta::hours(24));
    let mut rows = seen.store.strips(&engine.tail, position, from, to)?;
    if !rows.iter().any(|row| row.strip.start == wanted.start) {
        rows = again(cli, engine, position, known.iter().filter(|k| k.start >= from && k.start <= to))?;
    }
    let run = pictures::runs(&rows)
        .into_iter()
        .find(|run| run.iter().any(|row| row.strip.start <= wanted.start && wanted.start <= row.strip.end));
    let unread = || Stop::new(exit::CANNOT_READ, format!("{}: the recording cannot be read again", wanted.file));
    Ok(pictures::picture(engine, run.ok_or_else(unread)?, false))
}

/// Reads recordings again for their pictures.
fn again<'a>(
    cli: &Cli,
    engine: &EngineView,
    position: &str,
    known: impl Iterator<Item = &'a Known>,
) -> Result<Vec<StripRow>, Stop> {
    let Rules { config, models } = load::rules(&cli.config)?;
    let look = Look::at_once(config, models, scan::Progress::default());
    let mut files: Vec<&str> = known.map(|k| k.file.as_str()).collect();
    files.dedup();
    let mut rows = Vec::new();
    for path in files {
        let strips = scan::strips(&look, &engine.tail, path);
        let mine = strips.into_iter().filter(|s| s.engine.as_deref().unwrap_or_default() == position);
        rows.extend(mine.map(|strip| StripRow { path: path.to_owned(), strip }));
    }
    rows.sort_by_key(|row| row.strip.start);
    Ok(rows)
}
