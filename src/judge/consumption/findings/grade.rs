//! Oil of another grade or kind: after some quarts of it, what it did to the rate.

use super::{Findings, Situation};
use crate::engine::Event;
use crate::judge::{Evidence, Finding, Kind, Rate};
use crate::records::Oil;

/// Quarts of the new oil before its effect is told.
const GRADE_QUARTS: f64 = 4.0;

/// A change of grade waiting for quarts before it can be told what it did.
#[derive(Clone, Debug)]
pub(super) struct Grade {
    event: Event,
    from: Option<Oil>,
    to: Oil,
    before: Rate,
    burnt: f64,
}

impl Findings<'_> {
    /// Oil of another grade or kind went in.
    pub fn grade_changed(&mut self, event: &Event, from: Option<Oil>, to: Oil, before: Rate, burnt: f64) {
        self.settle_all(event, "the oil was changed to another grade; the baseline starts anew");
        self.grade = Some(Grade { event: event.clone(), from, to, before, burnt });
    }

    /// After some quarts of another grade: what it did to the rate, as a possibility.
    pub(super) fn watch_grade(&mut self, event: &Event, now: &Situation) {
        let Some(grade) = self.grade.take_if(|g| now.burnt - g.burnt >= GRADE_QUARTS) else { return };
        let subject = self.subject(event, "grade", 3);
        let mut finding = Finding::at_event(Kind::OilGradeChanged, self.engine, event, subject);
        let ratio = now.rate.qt_per_h / grade.before.qt_per_h;
        let spread = |r: Rate| (r.high - r.low) / 2.0 / r.qt_per_h;
        let half = spread(now.rate).hypot(spread(grade.before));
        finding.size = ratio;
        finding.evidence = Evidence::default()
            .with("from_oil", grade.from.as_ref().map(Oil::to_string).unwrap_or_default())
            .with("to_oil", grade.to.to_string())
            .with("from_qt_per_h", grade.before.qt_per_h)
            .with("to_qt_per_h", now.rate.qt_per_h)
            .with("ratio", ratio)
            .with("ratio_low", ratio * (1.0 - half).max(0.0))
            .with("ratio_high", ratio * (1.0 + half))
            .with("since", self.engine.date(grade.event.at))
            .with("since_hours", grade.event.hours)
            .with("quarts", now.burnt - grade.burnt)
            .with("used", vec![grade.event.source.clone()])
            .with_some("may_mean", may_mean(&grade, ratio, half));
        self.push_for_a_while(finding);
    }
}

/// Common practice, no source: single grade to multigrade, down points past the rings, up to guides or leaks.
fn may_mean(grade: &Grade, ratio: f64, half: f64) -> Option<String> {
    let to_multigrade = grade.to.multigrade() && !grade.from.as_ref()?.multigrade();
    if !to_multigrade {
        return None;
    }
    let words = if ratio * (1.0 + half) < 1.0 {
        "possibly most oil was passing the rings"
    } else if ratio * (1.0 - half) > 1.0 {
        "possibly worn intake guides or outside leaks"
    } else {
        "no clear change: small flows, or several paths"
    };
    Some(words.to_owned())
}
