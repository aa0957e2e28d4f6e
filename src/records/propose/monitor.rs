//! Proposes how a recorder's columns are meant: by the words of the trade, units named in the
//! header, and the range of values where the unit is not named (common practice, no source).

use super::profile::Profile;
use super::{Certainty, Placed, Proposal, Table};
use crate::records::aircraft::Aircraft;
use crate::records::table::{Sheet, header};

/// A channel of ours, the word groups that name it (each group: one of its words must be there), and
/// words that must not be there.
struct Known {
    ours: &'static str,
    groups: &'static [&'static [&'static str]],
    not: &'static [&'static str],
}

const fn known(ours: &'static str, groups: &'static [&'static [&'static str]], not: &'static [&'static str]) -> Known {
    Known { ours, groups, not }
}

const TEMPERATURE: &[&str] = &["temp", "temperature", "t"];
const KNOWN: [Known; 14] = [
    known("cht1_f", &[&["cht", "head", "heads", "chts"]], &[]),
    known("egt1_f", &[&["egt", "exhaust", "egts"]], &[]),
    known("oil_temp_f", &[&["oil", "oilt"], &["temp", "temperature", "t", "oilt", "tmp"]], &[]),
    known("oil_press_psi", &[&["oil", "oilp"], &["press", "pressure", "p", "oilp", "psi", "prs"]], &[]),
    known("rpm", &[&["rpm", "revs", "engspeed"]], &["prop"]),
    known("manifold_inhg", &[&["manifold", "map", "mp", "man"]], TEMPERATURE),
    known("fuel_flow_gph", &[&["fuel", "ff", "fflow"], &["flow", "ff", "fflow"]], &["total"]),
    known("power_pct", &[&["power", "pwr", "bhp", "percent"]], &["volts"]),
    known("ias_kt", &[&["ias", "airspeed", "indicated"]], &[]),
    known("gs_kt", &[&["gs", "groundspeed", "gnd", "ground"]], TEMPERATURE),
    known("alt_ft", &[&["alt", "altitude", "palt", "msl", "height"]], &["volts", "amps", "alternator"]),
    known("oat_f", &[&["oat", "outside", "ambient"]], &[]),
    known("lat", &[&["lat", "latitude"]], &["accel"]),
    known("lon", &[&["lon", "long", "longitude", "lng"]], &["accel"]),
];

/// The units row of a recorder (wider than a logbook's), and the row after it.
pub fn units_row(sheet: &Sheet, header_at: usize) -> Option<(Option<Vec<Option<&'static str>>>, usize)> {
    let row = sheet.rows.get(header_at + 1)?;
    let units: Vec<Option<&'static str>> = row.cells.iter().map(|c| c.as_text().and_then(unit)).collect();
    let texts = row.cells.iter().filter(|c| !c.is_empty()).count();
    let all =
        row.cells.iter().filter(|c| !c.is_empty()).all(|c| c.as_text().is_some_and(|t| !super::profile::is_value(t)));
    (all && units.iter().flatten().count() * 2 >= texts && texts > 0).then_some((Some(units), header_at + 2))
}

/// True for a file with at least two engine channels and many rows or a time column.
pub fn is_recording(profiles: &[Profile]) -> bool {
    let engine = profiles.iter().filter(|p| p.mostly(p.numbers.len())).filter_map(channel);
    let mut kinds: Vec<String> = engine
        .map(|(ours, _)| ours)
        .filter(|ours| !matches!(ours.as_str(), "lat" | "lon" | "alt_ft" | "oat_f" | "power_pct"))
        .collect();
    kinds.sort();
    kinds.dedup();
    kinds.len() >= 2 && !profiles.iter().any(|p| p.says(&["remarks", "entry", "tach", "hobbs"]))
}

/// Our channel and the column's engine position, by name.
fn channel(p: &Profile) -> Option<(String, Option<&'static str>)> {
    let side = p.tokens.iter().find_map(|t| match t.as_str() {
        "l" | "lh" | "left" | "port" => Some("left"),
        "r" | "rh" | "right" | "starboard" => Some("right"),
        _ => None,
    });
    let known = KNOWN.iter().find(|k| k.groups.iter().all(|group| p.says(group)) && !p.says(k.not))?;
    let number = p.tokens.iter().find_map(|t| t.parse::<u8>().ok()).filter(|n| (1..=12).contains(n));
    match known.ours {
        "cht1_f" | "egt1_f" => {
            let number = number?;
            Some((known.ours.replace('1', &number.to_string()), side))
        }
        ours => Some((ours.to_owned(), side)),
    }
}

/// Our word for a unit.
fn unit(text: &str) -> Option<&'static str> {
    let plain: String = text.to_lowercase().chars().filter(|c| c.is_alphanumeric() || matches!(c, '/' | '%')).collect();
    Some(match plain.as_str() {
        "f" | "degf" | "fahrenheit" => "f",
        "c" | "degc" | "celsius" => "c",
        "inhg" | "in/hg" | "inches" | "inhga" => "inhg",
        "hpa" | "mbar" | "mb" => "hpa",
        "kpa" => "kpa",
        "bar" => "bar",
        "psi" => "psi",
        "gph" | "gal/h" | "gal/hr" | "usg/h" => "gph",
        "l/h" | "lph" | "l/hr" | "ltr/h" => "l_h",
        "ft" | "feet" => "ft",
        "m" | "meters" | "metres" => "m",
        "kt" | "kts" | "knots" => "kt",
        "mph" => "mph",
        "km/h" | "kmh" | "kph" => "kmh",
        "m/s" | "ms" => "ms",
        "rpm" | "1/min" | "min" | "%" | "pct" | "deg" | "degrees" | "s" | "sec" | "h" | "hr" | "v" | "volts"
        | "amps" | "a" | "gal" | "l" | "utc" | "local" | "yyyy/mm/dd" | "yyyymmdd" | "hh:mm:ss" | "hhmmss" => "",
        _ => return None,
    })
}

/// Units a channel may be in, ours first.
fn units_of(ours: &str) -> &'static [&'static str] {
    match ours {
        "oil_temp_f" | "oat_f" => &["f", "c"],
        "manifold_inhg" => &["inhg", "hpa", "kpa", "bar", "psi"],
        "oil_press_psi" => &["psi", "bar", "kpa", "hpa"],
        "fuel_flow_gph" => &["gph", "l_h"],
        "ias_kt" | "gs_kt" => &["kt", "kmh", "mph", "ms"],
        "alt_ft" => &["ft", "m"],
        ours if ours.starts_with("cht") || ours.starts_with("egt") => &["f", "c"],
        _ => &[],
    }
}

/// The unit by the greatest and the middle value, where they leave no doubt.
fn unit_by_values(ours: &str, p: &Profile) -> Option<&'static str> {
    let (_, most) = p.range()?;
    match ours {
        ours if ours.starts_with("cht") => Some(if most > 270.0 { "f" } else { "c" }),
        ours if ours.starts_with("egt") => Some(if most > 1000.0 { "f" } else { "c" }),
        "oil_temp_f" => Some(if most > 130.0 { "f" } else { "c" }),
        "manifold_inhg" if most <= 48.0 && most > 3.0 => Some("inhg"),
        "manifold_inhg" if most <= 3.0 => Some("bar"),
        "manifold_inhg" if most < 170.0 => Some("kpa"),
        "manifold_inhg" => Some("hpa"),
        "oil_press_psi" if most < 12.0 => Some("bar"),
        "oil_press_psi" if most > 150.0 => Some("kpa"),
        "oil_press_psi" => Some("psi"),
        _ => None,
    }
}

/// Proposes a `[[monitor]]` table.
pub fn propose(
    profiles: &[Profile],
    units: Option<Vec<Option<&'static str>>>,
    aircraft: Option<&Aircraft>,
) -> Proposal {
    let mut proposal = Proposal {
        table: Table::Monitor,
        files: String::new(),
        shape: Vec::new(),
        when: Vec::new(),
        format: None,
        when_why: String::new(),
        placed: Vec::new(),
        words: Vec::new(),
        engines: Vec::new(),
        unplaced: Vec::new(),
        questions: Vec::new(),
    };
    let time_columns = place_time(profiles, &mut proposal);
    let several = aircraft.is_none_or(|a| a.engines.len() > 1);
    let mut unsure: Vec<String> = Vec::new();
    for p in profiles.iter().filter(|p| !time_columns.contains(&p.column)) {
        let place = channel(p).filter(|_| p.filled == 0 || p.mostly(p.numbers.len()));
        let ours = place.map(|(ours, side)| match side.filter(|_| several && per_engine(&ours)) {
            Some(side) => format!("{side}.{ours}"),
            None => ours,
        });
        let Some(ours) = ours.filter(|ours| proposal.placed.iter().all(|q| q.ours != *ours)) else {
            proposal.unplaced.push((p.name.written.clone(), p.shown()));
            continue;
        };
        let bare = ours.rsplit('.').next().unwrap_or(&ours);
        let (unit, certainty, why) = unit_of_column(bare, p, units.as_deref());
        if certainty == Certainty::Likely && !units_of(bare).is_empty() {
            unsure.push(p.name.written.clone());
        }
        let unit = unit.filter(|u| units_of(bare).first() != Some(u)).map(str::to_owned);
        proposal.placed.push(Placed { ours, column: p.name.written.clone(), unit, certainty, why });
    }
    let celsius = proposal.placed.iter().any(|p| p.unit.as_deref() == Some("c"));
    for oat in proposal.placed.iter_mut().filter(|p| p.ours == "oat_f" && p.certainty == Certainty::Likely && celsius) {
        oat.unit = Some("c".to_owned());
        oat.why = oat.why.replace("taken as f", "taken as c like the other temperatures");
    }
    if !unsure.is_empty() {
        proposal.questions.push(format!("no unit is named for {}: see the reasons above", unsure.join(", ")));
    }
    if proposal.when.is_empty() {
        proposal.questions.push("no column of time was found; a recording needs one".to_owned());
    }
    if let Some(aircraft) = aircraft.filter(|a| a.engines.len() > 1)
        && !proposal.placed.iter().any(|p| p.ours.contains('.'))
    {
        let positions = crate::records::logbook::columns::positions(aircraft);
        proposal.questions.push(format!(
            "no column says which engine it is about: write \"{positions}\" before the channels, such as left.rpm"
        ));
    }
    proposal
}

fn per_engine(ours: &str) -> bool {
    !matches!(ours, "ias_kt" | "gs_kt" | "alt_ft" | "oat_f" | "lat" | "lon")
}

fn unit_of_column(
    bare: &str,
    p: &Profile,
    units: Option<&[Option<&'static str>]>,
) -> (Option<&'static str>, Certainty, String) {
    let possible = units_of(bare);
    let bracket = p.name.written.find(['(', '[']).and_then(|at| unit(&p.name.written[at..]));
    let token = p.tokens.iter().skip(1).find_map(|t| unit(t)).filter(|u| u.len() > 1);
    let in_row = units.and_then(|u| u.get(p.column).copied().flatten());
    let named = bracket.or(in_row).or(token).filter(|u| possible.contains(u));
    let range = p.range().map_or("empty so far".to_owned(), |(least, most)| format!("{least} to {most}"));
    match (named, unit_by_values(bare, p).filter(|u| possible.contains(u))) {
        (Some(unit), _) => (Some(unit), Certainty::Sure, format!("{range}, {}", unit.replace('_', "/"))),
        (None, Some(unit)) => (Some(unit), Certainty::Likely, format!("{range}, so {}", unit.replace('_', "/"))),
        (None, None) if possible.is_empty() => (None, Certainty::Sure, range),
        (None, None) => {
            let first = possible.first().copied();
            (first, Certainty::Likely, format!("{range}, taken as {}", first.unwrap_or_default().replace('_', "/")))
        }
    }
}

/// The columns of date and time. Gives their indices.
fn place_time(profiles: &[Profile], proposal: &mut Proposal) -> Vec<usize> {
    let date = profiles.iter().find(|p| p.mostly(p.dates));
    let clock = profiles.iter().find(|p| p.mostly(p.clocks) && !p.mostly(p.dates));
    let both: Vec<&Profile> = date.into_iter().chain(clock).collect();
    let Some(first) = both.first() else { return Vec::new() };
    proposal.when = both.iter().map(|p| p.name.written.clone()).collect();
    proposal.when_why = format!("sure: {}", first.shown());
    let joined: Vec<String> = (0..first.sample.len().min(50))
        .map(|at| both.iter().filter_map(|p| p.sample.get(at).map(String::as_str)).collect::<Vec<_>>().join(" "))
        .collect();
    let formats = [
        "%Y-%m-%d %H:%M:%S",
        "%Y-%m-%d %H:%M:%S%.f",
        "%m/%d/%Y %H:%M:%S",
        "%d/%m/%Y %H:%M:%S",
        "%d.%m.%Y %H:%M:%S",
        "%Y/%m/%d %H:%M:%S",
        "%m/%d/%y %H:%M:%S",
        "%d.%m.%y %H:%M:%S",
        "%Y%m%d %H:%M:%S",
        "%d-%b-%Y %H:%M:%S",
    ];
    let holding: Vec<&str> = formats
        .into_iter()
        .filter(|f| joined.iter().all(|text| chrono::NaiveDateTime::parse_from_str(text, f).is_ok()))
        .collect();
    proposal.format = holding.first().map(|f| (*f).to_owned());
    if holding.contains(&"%m/%d/%Y %H:%M:%S") && holding.contains(&"%d/%m/%Y %H:%M:%S") {
        proposal.questions.push("the date could be day first or month first; taken as month first".to_owned());
    }
    if both.iter().any(|p| p.says(&["utc", "zulu", "gmt"]) || header::key(&p.name.written).ends_with("utc")) {
        proposal.questions.push("times seem to be UTC: add zone = \"utc\" to time if so".to_owned());
    }
    both.iter().map(|p| p.column).collect()
}
