//! Letters of a pass: one per aircraft, whatever number of its alerts speak at once.

use std::sync::Arc;

use super::{How, Outcome, Say};
use crate::judge::{Kind, Level};

/// Who a letter is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Audience {
    Usual,
    /// Those a warning goes to when nobody has acknowledged it.
    Escalation,
}

/// What one letter tells.
#[derive(Clone, Debug, PartialEq)]
pub struct Bundle {
    pub tail: Arc<str>,
    pub audience: Audience,
    /// The highest level among them.
    pub level: Level,
    pub kinds: Vec<Kind>,
    /// Highest level first, then by number.
    pub says: Vec<Say>,
}

/// The letters of a pass, in order of tail.
pub fn bundles(outcome: &Outcome) -> Vec<Bundle> {
    let mut bundles: Vec<Bundle> = Vec::new();
    for say in outcome.says() {
        let audience = match say.how {
            How::AtOnce => Audience::Usual,
            How::Escalation => Audience::Escalation,
            How::Digest | How::Summary => continue,
        };
        let Some(alert) = outcome.alert(say.number) else { continue };
        let (tail, level, kind) = (alert.tail().clone(), alert.level(), alert.kind());
        match bundles.iter_mut().find(|b| b.tail == tail && b.audience == audience) {
            Some(bundle) => {
                bundle.level = bundle.level.max(level);
                bundle.kinds.push(kind);
                bundle.says.push(*say);
            }
            None => bundles.push(Bundle { tail, audience, level, kinds: vec![kind], says: vec![*say] }),
        }
    }
    let level = |say: &Say| outcome.alert(say.number).map(super::Alert::level);
    for bundle in &mut bundles {
        bundle.says.sort_by(|a, b| level(b).cmp(&level(a)).then(a.number.cmp(&b.number)));
    }
    bundles.sort_by(|a, b| a.tail.cmp(&b.tail).then(a.audience.cmp(&b.audience)));
    bundles
}
