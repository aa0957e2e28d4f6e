//! Proposes how a logbook sheet is meant.

use super::profile::Profile;
use super::{Certainty, Placed, Proposal, Table};
use crate::records::aircraft::Aircraft;
use crate::records::logbook::columns::known_position;
use crate::records::table::{Row, Sheet, header};
use crate::records::{EntryKind, Oil};

const METER: &[&str] =
    &["tach", "tacho", "hobbs", "meter", "reading", "counter", "tt", "ttaf", "tsn", "airframe", "hours", "hrs"];
const START: &[&str] = &["out", "start", "begin", "off", "before", "from"];
const LENGTH: &[&str] = &["time", "flight", "flown", "duration", "length", "block", "air", "hours", "hrs", "elapsed"];
const ADDED: &[&str] =
    &["added", "add", "adds", "uplift", "uplifted", "filled", "topped", "poured", "put", "used", "qty", "quantity"];
const LEVEL: &[&str] = &["dip", "dips", "dipstick", "level", "stick", "checked", "check", "sump", "contents"];
const NOT_OIL: &[&str] = &["fuel", "avgas", "temp", "temperature", "press", "pressure", "price", "cost", "change"];
const SERVICE: &[&str] = &["service", "type", "purpose", "mission", "nature", "kind", "category", "use"];
const REMARKS: &[&str] =
    &["remarks", "remark", "notes", "note", "comments", "comment", "discrepancies", "discrepancy", "text"];
const ENTRY: &[&str] = &["entry", "event", "action", "activity", "item", "what", "work", "task"];
const SERVICES: &[&str] = &[
    "charter",
    "training",
    "ferry",
    "private",
    "rental",
    "instruction",
    "cargo",
    "freight",
    "survey",
    "positioning",
    "maintenance",
    "test",
    "scenic",
];
const OFF: &[&str] = &["off", "out", "dep", "departure", "takeoff", "start", "time", "clock", "utc", "zulu", "local"];

/// Gives columns their meaning, each once.
struct Placing<'a> {
    profiles: &'a [Profile],
    free: Vec<bool>,
    placed: Vec<Placed>,
    questions: Vec<String>,
}

impl<'a> Placing<'a> {
    /// The best free column by `rank` (`None`: not that).
    fn best<R: PartialOrd>(&self, rank: impl Fn(&Profile) -> Option<R>) -> Option<usize> {
        let mut best: Option<(usize, R)> = None;
        for (at, profile) in self.profiles.iter().enumerate().filter(|(at, _)| self.free[*at]) {
            if let Some(rank) = rank(profile)
                && best.as_ref().is_none_or(|(_, most)| rank > *most)
            {
                best = Some((at, rank));
            }
        }
        best.map(|(at, _)| at)
    }

    fn take(&mut self, at: usize) -> &'a Profile {
        self.free[at] = false;
        &self.profiles[at]
    }

    fn place(&mut self, at: usize, ours: &str, certainty: Certainty, why: String) {
        let column = self.take(at).name.written.clone();
        self.placed.push(Placed { ours: ours.to_owned(), column, unit: None, certainty, why });
    }
}

/// Proposes a `[[logbook]]` table.
pub fn propose(profiles: &[Profile], rows: &[&Row], sheet: &Sheet, aircraft: Option<&Aircraft>) -> Proposal {
    let mut placing = Placing { profiles, free: vec![true; profiles.len()], placed: Vec::new(), questions: Vec::new() };
    let (when, format, when_why) = place_date(&mut placing);
    let entry = place_entry(&mut placing);
    let per_flight = entry.is_none();
    place_meter(&mut placing, rows, sheet);
    place_length(&mut placing);
    place_oil(&mut placing, per_flight, aircraft);
    let mut words = entry.map(|at| entry_words(&profiles[at], &mut placing.questions)).unwrap_or_default();
    place_words(&mut placing, per_flight, aircraft, &mut words);
    if !placing.placed.iter().any(|p| p.ours == "hours" || p.ours == "flight_hours") {
        placing.questions.push("no column of meter readings or flight lengths was found".to_owned());
    }
    if when.is_empty() {
        placing.questions.push("no column of dates was found; a logbook needs one".to_owned());
    }
    let unplaced = profiles
        .iter()
        .filter(|p| placing.free[profiles.iter().position(|q| q.column == p.column).unwrap_or(0)])
        .map(|p| (p.name.written.clone(), p.shown()))
        .collect();
    let engine = placing.placed.iter().find(|p| p.ours == "engine").filter(|_| aircraft.is_none());
    let engine = engine.and_then(|p| profiles.iter().find(|q| q.name.written == p.column));
    Proposal {
        engines: engine.iter().flat_map(|p| p.texts.iter().cloned()).collect(),
        table: Table::Logbook { per_flight },
        files: String::new(),
        shape: Vec::new(),
        when,
        format,
        when_why,
        placed: placing.placed,
        words,
        unplaced,
        questions: placing.questions,
    }
}

fn place_date(placing: &mut Placing<'_>) -> (Vec<String>, Option<String>, String) {
    let date = placing.best(|p| {
        let named = p.says(&["date", "day", "when"]);
        (p.mostly(p.dates) || (named && p.mostly(p.numbers.len()))).then_some((named, p.filled))
    });
    let Some(date) = date else { return (Vec::new(), None, String::new()) };
    let date = placing.take(date);
    let clock = placing.best(|p| {
        let named = p.says(OFF);
        let digits = p.mostly(p.numbers.len()) && named && p.sample.iter().all(|t| t.len() == 4);
        // Lengths such as 1:24 are clocks too; those of a log are short.
        let late = p.sample.iter().any(|t| t.len() >= 5 && !t.starts_with('0'));
        (digits || (p.mostly(p.clocks) && late && !p.says(&["flight", "flown", "duration", "length"])))
            .then_some((p.says(&["off", "out", "dep", "departure", "takeoff", "start"]), named))
    });
    let clock = clock.map(|at| placing.take(at));
    let mut columns = vec![date.name.written.clone()];
    columns.extend(clock.map(|p| p.name.written.clone()));
    let named = date.says(&["date", "day", "when"]);
    let certainty = if named && date.mostly(date.dates) { Certainty::Sure } else { Certainty::Likely };
    let (format, both) = date_format(date, clock);
    if both {
        let other = "every date could be day first or month first; taken as month first: check with one you know";
        placing.questions.push(format!("{}: {other}", date.name.written));
    }
    let zulu = |p: &Profile| p.says(&["utc", "zulu", "gmt", "z"]) || p.name.key.ends_with("utc");
    if clock.is_some_and(zulu) || zulu(date) {
        placing.questions.push("times seem to be UTC: add zone = \"utc\" to date if so".to_owned());
    }
    (columns, format, format!("{}: {}", certainty.word(), date.shown()))
}

/// The one format all cells hold, and whether another order of day and month holds as well.
fn date_format(date: &Profile, clock: Option<&Profile>) -> (Option<String>, bool) {
    // Cells that are dates, not text, need no format.
    if !date.is_text {
        return (None, false);
    }
    const DAYS: [&str; 14] = [
        "%Y-%m-%d",
        "%m/%d/%Y",
        "%d/%m/%Y",
        "%m/%d/%y",
        "%d/%m/%y",
        "%d.%m.%Y",
        "%d.%m.%y",
        "%m-%d-%Y",
        "%d-%m-%Y",
        "%d-%b-%y",
        "%d-%b-%Y",
        "%d %b %Y",
        "%b %d, %Y",
        "%Y/%m/%d",
    ];
    const CLOCKS: [&str; 5] = ["", " %H:%M", "T%H:%M:%S", " %H:%M:%S", " %I:%M %p"];
    use chrono::{Datelike, NaiveDate, NaiveDateTime};
    let plausible = |at: NaiveDate| (1950..2100).contains(&at.year());
    let holds = |format: &str| {
        date.sample.iter().all(|text| match NaiveDateTime::parse_from_str(text, format) {
            Ok(at) => plausible(at.date()),
            Err(_) => NaiveDate::parse_from_str(text, format).is_ok_and(plausible),
        })
    };
    let all: Vec<(&str, String)> = DAYS
        .iter()
        .flat_map(|day| CLOCKS.iter().map(move |clock| (*day, format!("{day}{clock}"))))
        .filter(|(_, format)| holds(format))
        .collect();
    let Some((day, format)) = all.first() else { return (None, false) };
    let both = all.iter().any(|(other, _)| other != day && other.starts_with(['%']) && other.len() == day.len());
    let Some(clock) = clock else { return (Some(format.clone()), both) };
    let time = ["%H:%M", "%H:%M:%S", "%H%M", "%I:%M %p"]
        .into_iter()
        .find(|f| clock.sample.iter().all(|t| chrono::NaiveTime::parse_from_str(t, f).is_ok()));
    (time.map(|time| format!("{format} {time}")), both)
}

/// A column of few words that say what happened.
fn place_entry(placing: &mut Placing<'_>) -> Option<usize> {
    let at = placing.best(|p| {
        let meant = p.texts.iter().filter(|t| meaning(t).is_some()).count();
        let repeated = p.says(ENTRY) || p.texts.len() * 2 <= p.filled.max(4);
        let few = !p.many_texts && repeated && p.mostly(p.filled - p.numbers.len());
        (few && meant > 0 && (p.says(ENTRY) || meant * 2 > p.texts.len())).then_some((p.says(ENTRY), meant, p.filled))
    })?;
    let named = placing.profiles[at].says(ENTRY);
    let certainty = if named { Certainty::Sure } else { Certainty::Likely };
    let why = placing.profiles[at].shown();
    placing.place(at, "entry", certainty, why);
    Some(at)
}

fn entry_words(profile: &Profile, questions: &mut Vec<String>) -> Vec<(String, String, String)> {
    let mut words = Vec::new();
    for text in &profile.texts {
        match meaning(text) {
            Some(kind) if header::key(text).replace('_', "-") == kind.word() => {}
            Some(kind) => words.push(("entry".to_owned(), text.clone(), kind.word().to_owned())),
            None => questions
                .push(format!("the word \"{text}\" in {} means no entry yet: add it to words", profile.name.written)),
        }
    }
    words
}

/// What a word in a column of entries means.
fn meaning(text: &str) -> Option<EntryKind> {
    use EntryKind as K;
    let word = header::key(text).replace('_', "-");
    if let Some(kind) = K::ALL.into_iter().find(|kind| kind.word() == word) {
        return Some(kind);
    }
    let has = |parts: &[&str]| parts.iter().all(|part| word.contains(part));
    let any = |parts: &[&str]| parts.iter().any(|part| word.contains(part));
    Some(match () {
        () if has(&["filter"]) => K::FilterInspected,
        () if has(&["screen"]) => K::ScreenCleaned,
        () if any(&["oil-change", "change-oil", "oil-and-filter", "oil-drain"]) => K::OilChanged,
        () if any(&["uplift", "add", "topped", "top-up", "replenish"]) && !has(&["fuel"]) => K::OilAdded,
        () if any(&["dip", "oil-check", "oil-lvl", "level"]) => K::OilLevel,
        () if has(&["top", "overhaul"]) => K::TopOverhauled,
        () if any(&["overhaul", "rebuilt"]) => K::Overhauled,
        () if any(&["cylinder", "jug"]) => K::CylinderReplaced,
        () if any(&["ground-run", "run-up", "engine-run", "leak-check"]) => K::GroundRun,
        () if any(&["install"]) => K::Installed,
        () if any(&["remove"]) => K::Removed,
        () if any(&["tach-change", "meter-change", "hobbs-change", "new-tach", "new-hobbs", "new-meter"]) => {
            K::MeterChanged
        }
        () if any(&["flight", "flt", "flown"]) => K::Flight,
        () if any(&["note", "remark"]) => K::Note,
        () => return None,
    })
}

/// The meter at the end of a flight: a column that runs one way; of two that do, the higher.
fn place_meter(placing: &mut Placing<'_>, rows: &[&Row], sheet: &Sheet) {
    let meter = placing.best(|p| {
        let runs = p.mostly(p.numbers.len()) && p.runs_one_way() && p.range().is_some_and(|(_, most)| most < 100_000.0);
        let named = p.says(METER);
        let reading = p.mostly(p.numbers.len()) && p.filled > 0 && p.median().is_some_and(|m| m > 25.0);
        ((runs && reading && !p.says(NOT_OIL)) || (runs && named) || (named && reading)).then_some((
            runs,
            named,
            !p.says(START),
            p.median().unwrap_or(0.0),
        ))
    });
    let Some(at) = meter else { return };
    let profile = &placing.profiles[at];
    let certainty = if profile.runs_one_way() && profile.says(METER) { Certainty::Sure } else { Certainty::Likely };
    let (least, most) = profile.range().unwrap_or((0.0, 0.0));
    let why = format!("{} from {least} to {most}", if profile.runs_one_way() { "runs" } else { "lies" });
    let pairs = |a: usize, b: usize| {
        rows.iter()
            .filter_map(|row| {
                let value = |at: usize| crate::records::logbook::amount::hours(row.cell(at), sheet.decimal);
                Some(value(b)?.get() - value(a)?.get())
            })
            .collect::<Vec<f64>>()
    };
    let column = profile.column;
    placing.place(at, "hours", certainty, why);
    let start = placing.profiles.iter().enumerate().find(|(other, p)| {
        let ahead = if placing.free[*other] && p.runs_one_way() { pairs(p.column, column) } else { Vec::new() };
        ahead.len() > 2 && ahead.iter().all(|d| (0.0..=24.0).contains(d)) && ahead.iter().any(|d| *d > 0.0)
    });
    if let Some((other, p)) = start {
        let name = p.name.written.clone();
        placing.questions.push(format!("\"{name}\" seems to be the meter before the flight; it is not needed"));
        placing.take(other);
    }
}

fn place_length(placing: &mut Placing<'_>) {
    let length = placing.best(|p| {
        let short = p.mostly(p.numbers.len()) && p.range().is_some_and(|(a, b)| a >= 0.0 && b <= 15.0 && b > 0.0);
        let lengths = p.mostly(p.lengths);
        let tenths = p.numbers.iter().any(|n| n.fract() != 0.0) && p.median().is_some_and(|m| m < 5.0);
        ((short || lengths)
            && (p.says(LENGTH) || tenths)
            && !p.says(ADDED)
            && !p.says(LEVEL)
            && !p.says(&["oil"])
            && !p.says(NOT_OIL))
        .then_some((p.says(LENGTH), p.filled))
    });
    let Some(at) = length else { return };
    let profile = &placing.profiles[at];
    let certainty = if profile.says(LENGTH) { Certainty::Sure } else { Certainty::Likely };
    let why = match profile.range() {
        Some((least, most)) => format!("lengths from {least} to {most} h"),
        None => format!("lengths such as {}", profile.shown()),
    };
    placing.place(at, "flight_hours", certainty, why);
}

/// Oil columns, by engine where their names tell.
fn place_oil(placing: &mut Placing<'_>, per_flight: bool, aircraft: Option<&Aircraft>) {
    let is_oil = |p: &Profile| {
        let quantities = p.filled == 0 || p.mostly(p.quantities.len());
        let small = p.quantities.iter().all(|q| *q <= 30.0);
        quantities && small && (p.says(&["oil", "oils"]) || p.says(LEVEL) || p.says(ADDED)) && !p.says(NOT_OIL)
    };
    let candidates: Vec<usize> =
        (0..placing.profiles.len()).filter(|at| placing.free[*at] && is_oil(&placing.profiles[*at])).collect();
    let positions: Vec<Option<(String, Certainty)>> =
        candidates.iter().map(|at| position(&placing.profiles[*at].tokens, aircraft)).collect();
    let several = positions.iter().flatten().map(|p| &p.0).collect::<std::collections::BTreeSet<_>>().len() > 1
        || aircraft.is_some_and(|a| a.engines.len() > 1);
    let mut taken: Vec<String> = Vec::new();
    let mut unit_missing = false;
    for (at, position) in candidates.into_iter().zip(positions) {
        let profile = &placing.profiles[at];
        let (what, mut certainty, why) = added_or_level(profile, per_flight);
        let engine = match position.filter(|_| several) {
            Some((engine, how_sure)) => {
                certainty = certainty.min(how_sure);
                engine
            }
            // In a row per entry another column says which engine.
            None if several && per_flight => continue,
            None => String::new(),
        };
        let ours = match (per_flight, what) {
            (true, what) => format!("oil.{engine}.{what}"),
            (false, "added") => "quantity".to_owned(),
            (false, _) => "level".to_owned(),
        };
        if taken.contains(&ours) || profile.filled == 0 && !profile.says(ADDED) && !profile.says(LEVEL) {
            continue;
        }
        taken.push(ours.clone());
        let unit = profile.name.unit.clone().filter(|u| per_flight && (u == "qt" || u == "l"));
        unit_missing |= profile.name.unit.is_none() && profile.sample.iter().any(|t| !t.contains(char::is_alphabetic));
        placing.place(at, &ours, certainty, why);
        if let Some(last) = placing.placed.last_mut() {
            last.unit = unit;
        }
    }
    if unit_missing {
        placing.questions.push(
            "oil columns name no unit: quarts, unless oil_unit in aircraft.toml or unit under [logbook.oil] says l"
                .to_owned(),
        );
    }
    if per_flight && several && taken.iter().any(|t| t.starts_with("oil.")) && aircraft.is_none() {
        placing.questions.push("engine positions must be spelt as in aircraft.toml".to_owned());
    }
}

/// By name, and by value: what is on a dipstick is more than what is poured in, and there on most rows.
fn added_or_level(p: &Profile, per_flight: bool) -> (&'static str, Certainty, String) {
    let mut sorted = p.quantities.clone();
    sorted.sort_by(f64::total_cmp);
    let middle = sorted.get(sorted.len() / 2).copied();
    let by_value = middle.map(|m| if m > 3.5 { "level" } else { "added" });
    let by_name = if p.says(LEVEL) {
        Some("level")
    } else if p.says(ADDED) {
        Some("added")
    } else {
        None
    };
    let values = middle
        .map_or("empty so far".to_owned(), |m| format!("{} of {} rows, about {m:.1}", p.quantities.len(), p.rows));
    match (by_name, by_value) {
        (Some(name), Some(value)) if name == value => (name, Certainty::Sure, values),
        (Some("added"), Some("level")) if per_flight && p.quantities.len() * 2 > p.rows => {
            ("level", Certainty::Likely, format!("{values}: too much to be poured in"))
        }
        (Some(name), _) => (name, Certainty::Likely, values),
        (None, Some(value)) => (value, Certainty::Likely, values),
        (None, None) => ("added", Certainty::Likely, values),
    }
}

/// The engine position a column's name tells.
fn position(tokens: &[String], aircraft: Option<&Aircraft>) -> Option<(String, Certainty)> {
    let side = |token: &str| match token {
        "l" | "lh" | "left" | "port" => Some("left"),
        "r" | "rh" | "right" | "starboard" => Some("right"),
        "f" | "front" | "fwd" => Some("front"),
        "rear" | "aft" => Some("rear"),
        _ => None,
    };
    let Some(aircraft) = aircraft else {
        let numbered = |token: &String| token.parse::<u8>().is_ok_and(|n| (1..=4).contains(&n));
        return tokens
            .iter()
            .find_map(|t| side(t).map(|s| (s.to_owned(), Certainty::Sure)))
            .or_else(|| tokens.iter().find(|t| numbered(t)).map(|t| (t.clone(), Certainty::Likely)));
    };
    for token in tokens {
        for word in [Some(token.as_str()), side(token)].into_iter().flatten() {
            if let Some(known) = known_position(word, aircraft) {
                return Some((known.to_string(), Certainty::Sure));
            }
        }
    }
    let number = tokens.iter().find_map(|t| t.parse::<usize>().ok())?;
    let engine = aircraft.engines.get(number.checked_sub(1)?)?;
    Some((engine.position.as_deref().unwrap_or("").to_owned(), Certainty::Likely))
}

/// Columns of words: engine, kind of oil, service, result, remarks, serial.
fn place_words(
    placing: &mut Placing<'_>,
    per_flight: bool,
    aircraft: Option<&Aircraft>,
    words: &mut Vec<(String, String, String)>,
) {
    let is_text = |p: &Profile| p.filled > 0 && p.mostly(p.filled - p.numbers.len()) && !p.mostly(p.dates);
    let oil = placing.best(|p| {
        let kinds = p.texts.iter().filter(|t| Oil::parse(t).is_some()).count();
        (is_text(p) && kinds > 0 && kinds * 2 >= p.texts.len()).then_some(kinds)
    });
    place_if(placing, oil, "oil", &["oil", "grade", "type", "kind"]);
    if !per_flight {
        let engine = placing.best(|p| {
            let known = |t: &String| {
                aircraft.map_or(position(&[t.to_lowercase()], None).is_some(), |a| known_position(t, a).is_some())
            };
            let positions = p.texts.iter().filter(|t| known(t)).count();
            (positions > 0 && positions * 2 >= p.texts.len())
                .then_some((p.says(&["engine", "eng", "side", "position"]), positions))
        });
        if let (Some(at), Some(aircraft)) = (engine, aircraft) {
            for text in placing.profiles[at].texts.iter().filter(|t| known_position(t, aircraft).is_none()) {
                placing.questions.push(format!(
                    "the engine \"{text}\" is none of {}",
                    crate::records::logbook::columns::positions(aircraft)
                ));
            }
        }
        place_if(placing, engine, "engine", &["engine", "eng", "side", "position", "no"]);
        let result = placing.best(|p| {
            let known =
                p.texts.iter().filter(|t| matches!(header::key(t).as_str(), "clean" | "trace" | "metal")).count();
            (known > 0 && known * 2 >= p.texts.len()).then_some(known)
        });
        place_if(placing, result, "result", &["result", "finding", "findings"]);
        let serial = placing.best(|p| (is_text(p) && (p.says(&["serial"]) || p.name.key == "s_n")).then_some(p.filled));
        place_if(placing, serial, "serial", &["serial", "s"]);
    }
    let remarks = placing.best(|p| (p.says(REMARKS) && (is_text(p) || p.filled == 0)).then_some(p.filled));
    place_if(placing, remarks, "remarks", REMARKS);
    let service = placing.best(|p| {
        let few = !p.many_texts && p.texts.len() <= 12 && p.texts.iter().all(|t| t.chars().count() <= 30);
        let known = p.texts.iter().any(|t| SERVICES.contains(&header::key(t).as_str()));
        (is_text(p) && few && (known || p.says(SERVICE))).then_some((p.says(SERVICE), p.filled))
    });
    if let Some(at) = service {
        let common = [("c", "charter"), ("t", "training"), ("f", "ferry"), ("m", "maintenance")];
        for (short, long) in common {
            if let Some(text) = placing.profiles[at].texts.iter().find(|t| t.eq_ignore_ascii_case(short)) {
                words.push(("service".to_owned(), text.clone(), long.to_owned()));
            }
        }
    }
    place_if(placing, service, "service", SERVICE);
}

fn place_if(placing: &mut Placing<'_>, at: Option<usize>, ours: &str, named: &[&str]) {
    let Some(at) = at else { return };
    let certainty = if placing.profiles[at].says(named) { Certainty::Sure } else { Certainty::Likely };
    let why = placing.profiles[at].shown();
    placing.place(at, ours, certainty, why);
}
