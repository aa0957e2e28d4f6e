//! The files a person writes by hand: the configuration, each aircraft's own file, and what the fleet shows.

use super::season::Season;
use super::world::Tail;

pub const CONFIGURATION: &str = r#"# The demo fleet: Brindlemoor Air Charter, Vessen Highlands. All of it is invented.
[fleet]
operator = "Brindlemoor Air Charter"
folder = "fleet"
models = "engines.toml"
state = "state"
time_zone = "America/Denver"

[digest]
schedule = "0 6 * * *"

# The thresholds hold for these models (all invented); Q6T-325 is left open, so that mails show how that is said.
[model."Q4-180"]
confirmed = true

[model."Q6-260"]
confirmed = true

[model."Q6-300"]
confirmed = true

[model."Q6T-310"]
confirmed = true

# No [mail]: letters are written to state/outbox as .eml files.
"#;

pub const README: &str = include_str!("../texts/README.md");

/// `aircraft.toml` of an aircraft as the records begin.
pub fn aircraft(start: &Tail, season: &Season) -> String {
    let mut text = format!(
        "tail = \"{}\"\nmeter = \"{}\"\noil_unit = \"qt\"\nmeter_at_start = {}\n",
        start.name,
        start.meter_word,
        tenths(start.meter_at_start)
    );
    for (position, engine) in &start.seats {
        let Some(engine) = engine.and_then(|e| season.engines.get(e)) else { continue };
        text += "\n[[engine]]\n";
        if !position.is_empty() {
            text += &format!("position = \"{position}\"\n");
        }
        text += &format!(
            "serial = \"{}\"\nmodel = \"{}\"\nhours_at_start = {}\nsince = \"overhaul\"\nhours_since = {}\noil = \"{}\"\n\
             last_oil_change_h = {}\nfill_qt = {:.1}\nadd_mark_qt = {:.1}\n",
            engine.serial,
            engine.model,
            tenths(engine.hours),
            tenths(engine.since_build),
            engine.oil,
            tenths(engine.hours - engine.changed_at),
            start.fill,
            start.mark
        );
    }
    text + layout(start.name)
}

fn tenths(value: i64) -> String {
    format!("{}.{}", value / 10, value % 10)
}

/// How an aircraft's files differ from the standard layouts.
fn layout(tail: &str) -> &'static str {
    match tail {
        "N03KM" => include_str!("../texts/N03KM-layout.toml"),
        "N04KM" => include_str!("../texts/N04KM-layout.toml"),
        "N05KM" => include_str!("../texts/N05KM-layout.toml"),
        "N08KM" => include_str!("../texts/N08KM-layout.toml"),
        _ => "",
    }
}
