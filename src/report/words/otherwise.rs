//! What would have to be so for an alert not to have come, in a person's words.

use chrono_tz::Tz;

use super::numbers;
use crate::config::Explained;
use crate::judge::Finding;
use crate::judge::otherwise::{OilOtherwise, Otherwise, SettingOtherwise, hangs_on_thresholds};

use super::Paragraph;

/// The paragraph; none where the kind of alert hangs on no threshold. `explained`: the thresholds in force, with where they come from.
pub fn otherwise(o: &Otherwise, finding: &Finding, explained: &[Explained], zone: Tz) -> Option<Paragraph> {
    if o.comes && !hangs_on_thresholds(finding.kind) {
        return None;
    }
    let mut lines = Vec::new();
    if !o.comes {
        lines.push("Under the thresholds and records of today it would not come at all.".to_owned());
    }
    lines.extend(o.settings.iter().map(|s| setting(s, explained)));
    lines.extend(o.oil.map(|oil| slip(oil, finding, zone)));
    if o.comes && lines.is_empty() {
        lines.push("No single threshold within its range would have kept it away.".to_owned());
    } else if o.comes {
        lines.push("Each was tried alone, with everything else as it is.".to_owned());
    }
    Some(Paragraph { title: "It would not have come".to_owned(), lines, steps: false })
}

/// `With consumption.smallest_change at 2.4 × the baseline or more (1.5 now, by default).`
fn setting(s: &SettingOtherwise, explained: &[Explained]) -> String {
    let from = explained.iter().find(|row| row.key == s.key).map_or("", |row| row.from.as_str());
    let from = match from {
        "" => String::new(),
        "default" => ", by default".to_owned(),
        line => format!(", {line}"),
    };
    let side = match (s.at_end, s.value > s.in_force) {
        (true, _) => "",
        (_, true) => " or more",
        (_, false) => " or less",
    };
    let unit = if s.unit.is_empty() { String::new() } else { format!(" {}", s.unit) };
    format!("With {} at {}{unit}{side} ({} now{from}).", s.key, numbers::exact(s.value), numbers::exact(s.in_force))
}

fn slip(oil: OilOtherwise, finding: &Finding, zone: Tz) -> String {
    let near = numbers::date_of(finding.raised, zone);
    let from = numbers::day(numbers::date_of(oil.from, zone), near);
    let quarts = numbers::short(oil.more_qt.abs());
    if oil.more_qt > 0.0 {
        format!("Had {quarts} qt more been poured since {from}: an addition that was not logged.")
    } else {
        format!(
            "Had {quarts} qt less been poured since {from}: an addition entered twice, too large, or for another engine."
        )
    }
}
