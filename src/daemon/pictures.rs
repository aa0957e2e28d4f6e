//! Which recorded runs are drawn: the latest of each engine, and those that live alerts are about.

use std::sync::Arc;

use chrono::TimeDelta;

use crate::alerts::Alert;
use crate::judge::EngineView;
use crate::records::Instant;
use crate::records::monitor::{Edge, Strip, goes_on};
use crate::report::RunPicture;
use crate::shell::store::{Pass, Result, StripRow};

/// Pictures of one engine at most.
const MOST: usize = 6;
/// A run begins within this of its end, and its alert is raised at its end.
const LONGEST: TimeDelta = TimeDelta::hours(26);

/// The pictures of a pass.
pub fn pictures(pass: &Pass<'_>, engines: &[EngineView], alerts: &[Alert], now: Instant) -> Result<Vec<RunPicture>> {
    let mut all = Vec::new();
    for engine in engines {
        let mut mine: Vec<RunPicture> = Vec::new();
        let position = engine.position.as_deref().unwrap_or_default();
        if engine.installed
            && let Some(start) = pass.newest_strip(&engine.tail, position, now)?
        {
            // A run that went on in other files began some time before its last piece.
            let rows = pass.strips(&engine.tail, position, start - LONGEST, start)?;
            mine.extend(runs(&rows).pop().map(|run| picture(engine, run, true)));
        }
        let mut live: Vec<&Alert> = alerts.iter().filter(|a| a.is_live() && about_a_run(a, engine)).collect();
        live.sort_by_key(|a| std::cmp::Reverse(a.finding.raised));
        for alert in live {
            let finding = &alert.finding;
            let position = finding.position.as_deref().unwrap_or_default();
            let rows = pass.strips(&finding.tail, position, finding.raised - LONGEST, finding.raised)?;
            let named = |run: &Vec<&StripRow>| {
                let is = |row: &StripRow, (file, line): (&str, u32)| row.path == file && row.strip.line == line;
                finding.evidence.lines("lines").iter().any(|s| run.iter().any(|row| is(row, (&s.file, s.line))))
            };
            let Some(run) = runs(&rows).into_iter().rev().find(named) else { continue };
            let mut found = picture(engine, run, false);
            (found.tail, found.position) = (finding.tail.clone(), finding.position.clone());
            found.alerts.push(alert.number);
            match mine.iter_mut().find(|p| p.tail == found.tail && p.parts == found.parts) {
                Some(known) => known.alerts.push(alert.number),
                None => mine.push(found),
            }
            if mine.len() >= MOST {
                break;
            }
        }
        all.extend(mine);
    }
    Ok(all)
}

/// The alert rests on a recording of this engine.
fn about_a_run(alert: &Alert, engine: &EngineView) -> bool {
    let finding = &alert.finding;
    finding.serial.as_ref() == Some(&engine.serial)
        && finding.evidence.lines("lines").iter().any(|s| s.file.contains("/monitor/") || s.file.ends_with(".csv"))
}

/// Strips in order of time as runs: pieces that go on where the one before ends belong together.
pub fn runs(rows: &[StripRow]) -> Vec<Vec<&StripRow>> {
    let mut runs: Vec<Vec<&StripRow>> = Vec::new();
    for row in rows {
        let next = &row.strip;
        let last = runs.last().and_then(|run| run.last()).map(|row| &row.strip);
        if last.is_some_and(|last| next.start < last.end) {
            // The same running once more, cut out of a day or kept twice.
            continue;
        }
        let goes = last.is_some_and(|last| {
            let end = Edge { at: last.end, cut: last.cut_end, segment: last.segments.last() };
            goes_on(end, Edge { at: next.start, cut: next.cut_start, segment: next.segments.first() })
        });
        match runs.last_mut() {
            Some(run) if goes => run.push(row),
            _ => runs.push(vec![row]),
        }
    }
    runs
}

/// A run to be drawn.
pub fn picture(engine: &EngineView, run: Vec<&StripRow>, latest: bool) -> RunPicture {
    let parts: Vec<Strip> = run.iter().map(|row| row.strip.clone()).collect();
    RunPicture {
        serial: engine.serial.clone(),
        tail: engine.tail.clone(),
        position: engine.position.clone(),
        file: Arc::from(run.first().map_or("", |row| row.path.as_str())),
        parts,
        limits: engine.limits,
        latest,
        alerts: Vec::new(),
    }
}
