//! The first sight of a fleet's past: very many findings, nearly all of them settled long ago.
//!
//! Ten years of a hundred engines are some twenty thousand alerts. They are made and stored some at a time, and what is
//! over by then is not held while the rest are made.

use std::collections::HashSet;

use super::{Action, Outcome, Pass, Rest, reconcile};
use crate::judge::Finding;

/// Alerts made at a time.
const SOME: usize = 1_000;

/// What [`reconcile`] gives where nothing is remembered, save that alerts which are closed and were never told of are
/// not among [`Outcome::alerts`]: `store` has had them. No alert has had a number yet.
///
/// # Errors
/// What `store` said.
pub fn first_sight<E>(
    mut findings: Vec<Finding>,
    actions: &[Action],
    pass: &Pass<'_>,
    mut store: impl FnMut(&Outcome) -> Result<(), E>,
) -> Result<Outcome, E> {
    // As they are numbered. Two findings of one key are one: the first stands.
    let mut keys = HashSet::new();
    findings.retain(|finding| keys.insert(finding.key()));
    drop(keys);
    findings.sort_by_cached_key(|finding| (finding.raised, finding.key()));
    let new = 1..=findings.len() as u32;
    let (mut actions, nobodys): (Vec<&Action>, Vec<&Action>) =
        actions.iter().partition(|action| new.contains(&action.number));
    let (mut whole, mut last) = (Outcome::default(), 0);
    let mut of_these: Vec<Action> = nobodys.into_iter().cloned().collect();
    let mut findings = findings.into_iter();
    loop {
        let some: Vec<Finding> = findings.by_ref().take(SOME).collect();
        let until = last + some.len() as u32;
        of_these.extend(actions.extract_if(.., |action| action.number <= until).cloned());
        let rest = Rest { last, met: HashSet::new() };
        let outcome = reconcile(Vec::new(), some, &of_these, &rest, pass);
        store(&outcome)?;
        whole.changed.extend(outcome.changed);
        whole.decisions.extend(outcome.decisions);
        whole.unplaced.extend(outcome.unplaced);
        whole.alerts.extend(outcome.alerts.into_iter().filter(|alert| alert.is_live() || alert.told.is_some()));
        (last, of_these) = (until, Vec::new());
        if findings.len() == 0 {
            return Ok(whole);
        }
    }
}
