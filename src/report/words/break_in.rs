//! Sentences about break-in: what the evidence shows. A person decides.

use super::facts::Facts;
use super::numbers;

/// The headline of `break-in-stabilised`, without the engine in front.
pub fn headline(f: &Facts) -> String {
    let hours = f.number(&["hours_since_build", "hours"]);
    let hours = hours.map_or(String::new(), |h| format!(" at {} since the build", numbers::hours(h)));
    let p = f.number(&["stabilised_p", "probability", "p", "value"]);
    let missing = f.items(&["missing"]);
    if !missing.is_empty() {
        let p = p.map_or(String::new(), |p| format!(" (probability {})", numbers::probability(p)));
        return format!("consumption not shown to have stabilised{hours}{p}; missing: {}", missing.join("; "));
    }
    let p = p.map_or(String::new(), |p| format!(", probability {}", numbers::probability(p)));
    let rate = f.number(&["to_qt_per_h", "rate_qt_per_h"]);
    let rate = rate.map_or(String::new(), |r| {
        format!("; {} qt/h, {}, {} h/qt", numbers::rate(r), f.clock(), numbers::hours_per_qt(r))
    });
    format!("consumption looks stabilised{hours}{p}{rate}")
}
