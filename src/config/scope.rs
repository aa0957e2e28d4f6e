//! Threshold tables, and who they hold for: the fleet, a model, a tail, one engine. The nearest wins.

use std::collections::BTreeMap;

use super::keys::{KEYS, Key, SECTIONS, Setting};
use super::meant::Rules;
use crate::judge::{Kind, Level};
use crate::records::Source;
use crate::records::keyed::{Keys, Problems, one_of};

/// The tables that narrow thresholds to a model, a tail, one engine.
pub const NARROWINGS: [&str; 3] = ["model", "tail", "engine"];

/// What one scope sets, each with the line that sets it.
#[derive(Clone, Debug, Default)]
pub struct Overrides {
    values: Vec<(&'static Key, Setting, Source)>,
    levels: BTreeMap<Kind, (Level, Source)>,
    confirmed: Option<(bool, Source)>,
    /// Line of the scope's first table.
    pub source: Option<Source>,
}

impl Overrides {
    /// Reads the threshold tables present in `keys`; `narrowed` ones may carry `confirmed`.
    pub fn read(keys: &Keys<'_>, narrowed: bool) -> Self {
        let source = |line| keys.problems().source(line);
        let mut found = Self { source: Some(source(keys.line())), ..Self::default() };
        for section in SECTIONS {
            let Some(table) = keys.has(section).then(|| keys.table(section)).flatten() else {
                let _ = keys.node(section);
                continue;
            };
            for key in KEYS.iter().filter(|key| key.section == section) {
                if let Some(setting) = key.read(&table) {
                    found.values.push((key, setting, source(table.line_of(key.name))));
                }
            }
            table.done();
        }
        found.read_levels(keys);
        if narrowed && let Some(confirmed) = keys.flag("confirmed") {
            found.confirmed = Some((confirmed, source(keys.line_of("confirmed"))));
        }
        found
    }

    fn read_levels(&mut self, keys: &Keys<'_>) {
        let Some(table) = keys.table("levels") else { return };
        let kinds: Vec<&str> = Kind::ALL.iter().map(|kind| kind.word()).collect();
        let levels = [Level::Advisory, Level::Caution, Level::Warning].map(|level| (level.word(), level));
        for (word, node) in table.entries() {
            match Kind::ALL.iter().find(|kind| kind.word() == word) {
                Some(kind) => {
                    if let Some(level) = table.choice(word, &levels) {
                        self.levels.insert(*kind, (level, table.problems().source(node.line)));
                    }
                }
                None => {
                    let found = format!("unknown kind of alert {}", table.named(word));
                    table.problems().add(node.line, found, one_of(word, &kinds));
                }
            }
        }
    }

    /// Puts what this scope sets into `rules`.
    pub fn apply(&self, rules: &mut Rules) {
        for (key, setting, _) in &self.values {
            key.put(rules, setting);
        }
        rules.levels.extend(self.levels.iter().map(|(kind, (level, _))| (*kind, *level)));
        if let Some((confirmed, _)) = self.confirmed {
            rules.confirmed = confirmed;
        }
    }

    /// The line that sets a threshold here.
    pub fn source_of(&self, section: &str, name: &str) -> Option<&Source> {
        self.values.iter().find(|(key, ..)| key.section == section && key.name == name).map(|(.., source)| source)
    }

    /// Level set for a kind, with its line.
    pub fn level_of(&self, kind: Kind) -> Option<&(Level, Source)> {
        self.levels.get(&kind)
    }

    /// What is set here, as `ground.first_run_min` and its value, in words.
    pub fn settings(&self) -> impl Iterator<Item = (String, String, &Source)> {
        let values = self.values.iter().map(|(key, setting, source)| (key.path(), setting.to_string(), source));
        let levels = self.levels.iter();
        let levels =
            levels.map(|(kind, (level, source))| (format!("levels.{kind}"), format!("\"{}\"", level.word()), source));
        let confirmed = self.confirmed.iter().map(|(is, source)| ("confirmed".to_owned(), is.to_string(), source));
        values.chain(levels).chain(confirmed)
    }

    /// Takes over what `other` sets; on both, `other` holds.
    pub fn overlay(&mut self, other: &Self) {
        for (key, setting, source) in &other.values {
            self.values.retain(|(k, ..)| k.path() != key.path());
            self.values.push((key, setting.clone(), source.clone()));
        }
        self.levels.extend(other.levels.iter().map(|(kind, level)| (*kind, level.clone())));
        self.confirmed = other.confirmed.clone().or_else(|| self.confirmed.clone());
        self.source = self.source.clone().or_else(|| other.source.clone());
    }
}

/// Every scope of the configuration.
#[derive(Clone, Debug, Default)]
pub struct Scopes {
    pub fleet: Overrides,
    /// From the engine models file: between the fleet and the configuration's own `[model.NAME]`.
    pub models_file: BTreeMap<String, Overrides>,
    pub models: BTreeMap<String, Overrides>,
    pub tails: BTreeMap<String, Overrides>,
    pub engines: BTreeMap<String, Overrides>,
}

impl Scopes {
    /// Reads the fleet's threshold tables and all narrowed ones.
    pub fn read(keys: &Keys<'_>) -> Self {
        let narrowed = |name: &str| -> BTreeMap<String, Overrides> {
            let Some(tables) = keys.table(name) else { return BTreeMap::new() };
            let mut found = BTreeMap::new();
            for (whose, table) in tables.named_tables() {
                found.insert(whose, Overrides::read(&table, true));
                table.done();
            }
            found
        };
        Self {
            models: narrowed("model"),
            tails: narrowed("tail"),
            engines: narrowed("engine"),
            fleet: Overrides::read(keys, false),
            models_file: BTreeMap::new(),
        }
    }

    /// The scopes that hold for an engine, from the widest to the nearest.
    pub fn of(&self, tail: &str, model: &str, serial: &str) -> impl DoubleEndedIterator<Item = &Overrides> {
        [
            Some(&self.fleet),
            self.models_file.get(model),
            self.models.get(model),
            self.tails.get(tail),
            self.engines.get(serial),
        ]
        .into_iter()
        .flatten()
    }

    /// Everything set anywhere: `tail.N0417H.ground.first_run_min`, its value in words, and the line.
    pub fn settings(&self) -> BTreeMap<String, (String, Source)> {
        let mut found = BTreeMap::new();
        let mut put = |prefix: &str, scope: &Overrides| {
            let settings = scope.settings();
            found.extend(settings.map(|(key, value, source)| (format!("{prefix}{key}"), (value, source.clone()))));
        };
        put("", &self.fleet);
        let narrowed = [&self.models, &self.tails, &self.engines];
        let narrowed =
            [("models file: model", &self.models_file)].into_iter().chain(NARROWINGS.into_iter().zip(narrowed));
        for (word, scopes) in narrowed {
            scopes.iter().for_each(|(name, scope)| put(&format!("{word}.{name}."), scope));
        }
        found
    }

    /// Takes over every scope of `other`; where both set a threshold in the same scope, `other` holds.
    pub fn overlay(&mut self, other: &Self) {
        self.fleet.overlay(&other.fleet);
        for (mine, theirs) in [
            (&mut self.models_file, &other.models_file),
            (&mut self.models, &other.models),
            (&mut self.tails, &other.tails),
            (&mut self.engines, &other.engines),
        ] {
            for (name, overrides) in theirs {
                mine.entry(name.clone()).or_default().overlay(overrides);
            }
        }
    }

    /// Contradictions within the fleet's thresholds, and of each narrowing with the fleet's.
    pub fn check(&self, problems: &Problems) {
        contradictions(&[&self.fleet], problems);
        for scope in self.models.values().chain(self.tails.values()).chain(self.engines.values()) {
            contradictions(&[&self.fleet, scope], problems);
        }
    }
}

/// Pairs of thresholds in minutes or hours where the first must not exceed the second.
const NOT_ABOVE: [(&str, &str, &str); 5] = [
    ("ground", "first_run_min", "in_service_min"),
    ("ground", "break_in_min", "in_service_min"),
    ("ground", "in_service_min", "three_days_min"),
    ("oil_change", "grace_h", "every_h"),
    ("break_in", "power_back_ft", "stay_over_field_ft"),
];

/// Reports thresholds that cannot hold together, at the line that brought the contradiction about.
pub fn contradictions(scopes: &[&Overrides], problems: &Problems) {
    let mut rules = Rules::default();
    for scope in scopes {
        scope.apply(&mut rules);
    }
    let value =
        |section: &str, name: &str| super::keys::key(section, name).map_or(Setting::Unset, |key| key.of(&rules));
    // Only the nearest scope is to blame: what the wider one brought about is reported there.
    let Some(nearest) = scopes.last() else { return };
    let told = |section: &str, name: &str, other: &str, relation: &str, opposite: &str| {
        let path = |name: &str| format!("{section}.{name} = {}", value(section, name));
        if let Some(source) = nearest.source_of(section, name) {
            problems.add_at(source.clone(), path(name), format!("{relation} {}", path(other)));
        } else if let Some(source) = nearest.source_of(section, other) {
            problems.add_at(source.clone(), path(other), format!("{opposite} {}", path(name)));
        }
    };
    for (section, low, high) in NOT_ABOVE {
        if let (Setting::Number(a), Setting::Number(b)) = (value(section, low), value(section, high))
            && a > b
        {
            told(section, low, high, "no more than", "no less than");
        }
    }
    if shortest_step(&rules) <= rules.break_in.grace_h {
        told("break_in", "grace_h", "oil_changes_at_h", "less than every step of", "steps wider than");
    }
}

/// Hours between the two oil changes of break-in that are nearest to one another.
fn shortest_step(rules: &Rules) -> f64 {
    let points = &rules.break_in.oil_changes_at_h;
    let steps = std::iter::once(0.0).chain(points.iter().copied()).zip(points).map(|(a, b)| b - a);
    steps.fold(f64::INFINITY, f64::min)
}

/// Whether these thresholds can hold together.
pub fn consistent(rules: &Rules) -> bool {
    let number = |section: &str, name: &str| match super::keys::key(section, name).map(|key| key.of(rules)) {
        Some(Setting::Number(value)) => value,
        _ => f64::NAN,
    };
    NOT_ABOVE.iter().all(|(section, low, high)| number(section, low) <= number(section, high))
        && shortest_step(rules) > rules.break_in.grace_h
}
