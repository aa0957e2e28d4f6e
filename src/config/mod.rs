//! Configuration: what the operator wrote, and what it means.
//!
//! [`load`] reads the TOML file, refuses unknown keys and names every problem at once; `meant` holds
//! values valid by construction, in a mechanic's units. The rest of the program sees only these.
//! Every threshold can be narrowed by model, tail and engine; the nearest wins.

mod difference;
pub mod keys;
mod mail;
pub mod meant;
pub mod models;
pub mod schedule;
pub mod scope;
pub mod set;
pub mod settings;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use serde::Serialize;

use crate::engine::Models;
use crate::judge::{Kind, RulesFor};
use crate::records::keyed::{self, Keys, Problems, Value, nearest};
use crate::records::layout::Layouts;
use crate::records::layout_tables;
use crate::records::{Rejection, Source};

use keys::{KEYS, Setting};
pub use meant::{Alerts, Digest, FleetSettings, Mail, Route, Rules, Security, Settings};
pub use models::ModelsFile;
use scope::Scopes;

/// Tables of a configuration that hold no thresholds.
const NO_THRESHOLDS: [&str; 7] = ["fleet", "digest", "alerts", "mail", "layout", "logbook", "monitor"];

/// The configuration, valid by construction.
#[derive(Clone, Debug)]
pub struct Config {
    pub settings: Settings,
    /// The `[layout.NAME]` tables.
    pub layouts: Layouts,
    scopes: Scopes,
    /// Name of the file, for messages that concern no single line.
    file: Arc<str>,
}

/// One threshold in force for an engine, and where it comes from.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct Explained {
    /// `ground.first_run_min`
    pub key: String,
    pub value: Setting,
    pub unit: &'static str,
    /// `cowlwatch.toml:12`, or `default`.
    pub from: String,
    /// Confirmed by the operator against the engine maker's instructions.
    pub confirmed: bool,
}

/// Reads a configuration. `file` is named in messages; relative paths are relative to `folder`.
///
/// # Errors
/// Every problem, in order of line.
pub fn load(text: &str, file: &str, folder: &Path) -> Result<Config, Vec<Rejection>> {
    match load_partly(text, file, folder) {
        (Some(config), problems) if problems.is_empty() => Ok(config),
        (_, problems) => Err(problems),
    }
}

/// As [`load`], but with problems too: what could be read, so that `check` can go on to the fleet's own files.
/// `None` where `[fleet]` cannot be used.
pub fn load_partly(text: &str, file: &str, folder: &Path) -> (Option<Config>, Vec<Rejection>) {
    let problems = Problems::new(file);
    let table = keyed::read(text, &problems);
    let keys = Keys::new(&table, &problems);
    let fleet = settings::fleet(&keys, folder);
    let (digest, alerts) = (settings::digest(&keys), settings::alerts(&keys));
    let mail = mail::mail(&keys, folder);
    let layouts = layouts(&keys);
    let scopes = Scopes::read(&keys);
    scopes.check(&problems);
    if keys.node("confirmed").is_some() {
        let expected = "it under [model.\"NAME\"], [tail.NAME] or [engine.\"SERIAL\"]: numbers are confirmed per model \
                        or engine";
        keys.wrong("confirmed", expected);
    }
    keys.done();
    let settings = fleet.map(|fleet| Settings { fleet, digest, alerts, mail });
    let config = settings.map(|settings| Config { settings, layouts, scopes, file: file.into() });
    (config, problems.into_list())
}

impl Config {
    /// The usual values without a configuration file: for the demonstration and for tests.
    pub fn usual(folder: PathBuf, models: PathBuf, state: PathBuf, time_zone: chrono_tz::Tz) -> Self {
        let fleet = FleetSettings {
            folder,
            models,
            state,
            time_zone,
            scan_every_s: settings::USUAL_SCAN_EVERY_S,
            operator: None,
        };
        let digest = Digest { schedule: settings::USUAL_SCHEDULE.to_owned() };
        let settings = Settings { fleet, digest, alerts: Alerts::default(), mail: None };
        Self { settings, layouts: Layouts::default(), scopes: Scopes::default(), file: "".into() }
    }

    /// Takes in the thresholds that the engine models file gives for its models.
    #[must_use]
    pub fn with_models(mut self, file: &ModelsFile) -> Self {
        self.scopes.models_file = file.plans.clone();
        self
    }

    /// The same configuration under other thresholds, for `replay --with`.
    ///
    /// # Errors
    /// As [`Self::with_changes`].
    pub fn with_thresholds(&self, text: &str, file: &str) -> Result<Self, Vec<Rejection>> {
        self.with_changes(&[(text, file)])
    }

    /// The same configuration under other thresholds: texts with the names that messages call them by, each
    /// laid over those before it. They may contradict one another; what they come to may not.
    ///
    /// A text with a `[fleet]` table is a whole configuration: its thresholds replace today's. One without
    /// is a change: what it sets holds, the rest stays. Of a whole configuration only the thresholds count.
    ///
    /// # Errors
    /// Every problem, in order of text and line.
    pub fn with_changes(&self, changes: &[(&str, &str)]) -> Result<Self, Vec<Rejection>> {
        let mut config = self.clone();
        let mut wrong = Vec::new();
        for (text, file) in changes {
            let problems = Problems::new(file);
            let table = keyed::read(text, &problems);
            let keys = Keys::new(&table, &problems);
            let other = Scopes::read(&keys);
            let whole = keys.has("fleet");
            for ignored in NO_THRESHOLDS {
                let _ = keys.node(ignored);
            }
            keys.done();
            if whole {
                config.scopes = Scopes { models_file: self.scopes.models_file.clone(), ..other };
            } else {
                config.scopes.overlay(&other);
            }
            wrong.extend(problems.into_list());
        }
        let problems = Problems::new(&self.file);
        config.scopes.check(&problems);
        wrong.extend(problems.into_list());
        if wrong.is_empty() { Ok(config) } else { Err(wrong) }
    }

    /// Every threshold in force for an engine, with where it comes from.
    pub fn explain(&self, tail: &str, model: &str, serial: &str) -> Vec<Explained> {
        let rules = self.rules(tail, model, serial);
        let scopes: Vec<_> = self.scopes.of(tail, model, serial).collect();
        let explained = |key: String, value: Setting, unit, from: Option<String>| Explained {
            key,
            value,
            unit,
            from: from.unwrap_or_else(|| "default".to_owned()),
            confirmed: rules.confirmed,
        };
        let thresholds = KEYS.iter().map(|key| {
            let from = scopes.iter().rev().find_map(|scope| scope.source_of(key.section, key.name));
            explained(key.path(), key.of(&rules), key.unit(), from.map(ToString::to_string))
        });
        let levels = Kind::ALL.iter().map(|kind| {
            let from = scopes.iter().rev().find_map(|scope| scope.level_of(*kind));
            let level = rules.levels.get(kind).copied().unwrap_or_else(|| kind.usual_level());
            let source = from.map(|(_, source)| source.to_string());
            explained(format!("levels.{kind}"), Setting::Word(level.word()), "", source)
        });
        thresholds.chain(levels).collect()
    }

    /// Narrowing tables and routes that name a tail, model or serial the fleet does not have.
    /// `known`: (tail, model, serial) of every engine.
    pub fn unknown_names(&self, known: &[(Arc<str>, Arc<str>, Arc<str>)]) -> Vec<Rejection> {
        let tails: BTreeSet<&str> = known.iter().map(|(tail, ..)| &**tail).collect();
        let models: BTreeSet<&str> = known.iter().map(|(_, model, _)| &**model).collect();
        let serials: BTreeSet<&str> = known.iter().map(|(.., serial)| &**serial).collect();
        let mut found = Vec::new();
        for (what, scopes, names) in [
            ("model", &self.scopes.models, &models),
            ("tail", &self.scopes.tails, &tails),
            ("engine", &self.scopes.engines, &serials),
        ] {
            for (name, scope) in scopes.iter().filter(|(name, _)| !names.contains(name.as_str())) {
                let Some(source) = scope.source.clone() else { continue };
                let expected = match nearest(name, names.iter().copied()) {
                    Some(near) => format!("the nearest in the fleet, {near}"),
                    None => format!("a {what} that the fleet has"),
                };
                found.push(Rejection { source, found: format!("[{what}.{name}]"), expected, whole_file: false });
            }
        }
        found.extend(self.routes_to_nowhere(&tails));
        found
    }

    /// Thresholds set beyond what a model itself allows: a limit that could never be reached before the model's own.
    pub fn beyond_models(&self, models: &Models) -> Vec<Rejection> {
        let mut found = Vec::new();
        for (name, model) in models {
            let rules = self.rules("", name, "");
            let rated = (model.rated_rpm > 0.0).then_some(model.rated_rpm);
            for (section, key, most, of) in [
                ("break_in", "cht_max_f", model.cht_max_f, "cht_max_f"),
                ("ground", "cht_max_f", model.cht_max_f, "cht_max_f"),
                ("break_in", "initial_rpm", rated, "rated_rpm"),
            ] {
                let Some(Setting::Number(value)) = keys::key(section, key).map(|key| key.of(&rules)) else { continue };
                let scopes = self.scopes.of("", name, "");
                let Some(source) = scopes.rev().find_map(|scope| scope.source_of(section, key)) else { continue };
                if let Some(most) = most.filter(|most| value > *most) {
                    found.push(Rejection {
                        source: source.clone(),
                        found: format!("{section}.{key} = {value}"),
                        expected: format!("no more than {of} = {most} of {name} ({})", model.source),
                        whole_file: false,
                    });
                }
            }
        }
        found
    }

    fn routes_to_nowhere(&self, tails: &BTreeSet<&str>) -> Vec<Rejection> {
        let routes = self.settings.mail.iter().flat_map(|mail| &mail.routes);
        let unknown = routes.flat_map(|route| &route.tails).filter(|tail| !tails.contains(tail.as_str()));
        let rejection = |tail: &String| Rejection {
            source: Source { file: self.file.clone(), line: 0 },
            found: format!("mail.route.tails has \"{tail}\""),
            expected: match nearest(tail, tails.iter().copied()) {
                Some(near) => format!("the nearest in the fleet, {near}"),
                None => "a tail that the fleet has".to_owned(),
            },
            whole_file: false,
        };
        unknown.map(rejection).collect()
    }
}

impl RulesFor for Config {
    fn rules(&self, tail: &str, model: &str, serial: &str) -> Arc<Rules> {
        let mut rules = Rules::default();
        for scope in self.scopes.of(tail, model, serial) {
            scope.apply(&mut rules);
        }
        Arc::new(rules)
    }
}

/// The shared layouts: `[layout.NAME]` tables. Written as in aircraft.toml, `[[logbook]]` and `[[monitor]]` tables
/// with a `name`, or `[logbook.NAME]` and `[monitor.NAME]`, they are understood too.
fn layouts(top: &Keys<'_>) -> Layouts {
    let mut layouts = Layouts::default();
    for (kind, monitor) in [("layout", None), ("logbook", Some(false)), ("monitor", Some(true))] {
        let named: Vec<(String, Keys<'_>)> = match top.node(kind).map(|node| &node.value) {
            None => continue,
            Some(Value::List(_)) => {
                let name = |table: &Keys<'_>| {
                    if !table.has("name") {
                        table.missing("name", "the name by which aircraft.toml calls it: layout = \"NAME\"");
                    }
                    table.text("name", "a name in quotes").map(str::to_owned)
                };
                top.tables(kind).into_iter().filter_map(|table| name(&table).map(|name| (name, table))).collect()
            }
            Some(_) => top.table(kind).map(|tables| tables.named_tables()).unwrap_or_default(),
        };
        for (name, table) in named {
            let said = table.choice("for", &[("logbook", false), ("monitor", true)]);
            if said.or(monitor).unwrap_or_else(|| layout_tables::of_recording(&table)) {
                layouts.monitors.insert(name, layout_tables::monitor(&table, &Layouts::default(), None));
            } else {
                layouts.logbooks.insert(name, layout_tables::logbook(&table, &Layouts::default(), None));
            }
        }
    }
    layouts
}
