//! What a pass tells: the morning that digest and page are made of, and letters written into its transaction.

use std::collections::BTreeSet;
use std::sync::Arc;

use chrono::{NaiveDate, TimeDelta};
use tracing::{error, warn};

use super::judged::Judged;
use super::seen::Seen;
use super::{DigestWish, Rules};
use crate::alerts::{Alert, Audience, Bundle, Outcome, Unplaced};
use crate::daemon::pictures;
use crate::judge::{Kind, RulesFor as _};
use crate::records::{Instant, Rejection};
use crate::report::{self, Freshness, Letter, Morning};
use crate::shell::mail::{self, Recipients};
use crate::shell::store::{self, Pass};

pub(super) fn morning(
    pass: &Pass<'_>,
    rules: &Rules,
    judged: Judged,
    outcome: &Outcome,
    seen: Seen,
    previous: Option<Instant>,
    (first, now): (bool, Instant),
) -> Result<Morning, store::StoreError> {
    let last = pass.last_digest()?;
    let since = |a: &Alert| match (&a.closed, previous) {
        (Some(closed), Some(previous)) => a.memory.ended.unwrap_or(closed.at) > previous && a.told.is_some(),
        _ => false,
    };
    let silent: BTreeSet<&str> = outcome
        .alerts
        .iter()
        .filter(|a| a.kind() == Kind::DataSilent && a.finding.settled.is_none() && !a.memory.gone)
        .map(|a| &**a.tail())
        .collect();
    let spoilt = seen.spoilt();
    // A folder may be written otherwise than the tail in its aircraft.toml.
    let of = |folders: &BTreeSet<String>, tail: &str| folders.iter().any(|f| f.eq_ignore_ascii_case(tail));
    let freshness = |(tail, last_record): &(Arc<str>, Option<Instant>)| Freshness {
        tail: tail.clone(),
        last_record: *last_record,
        silent: silent.contains(&**tail),
        missing: of(&seen.missing, tail),
        spoilt: of(&spoilt, tail),
    };
    let pictures = pictures::pictures(pass, &judged.engines, &outcome.alerts, now)?;
    Ok(Morning {
        operator: rules.config.settings.fleet.operator.clone(),
        zone: rules.config.settings.fleet.time_zone,
        as_of: now,
        sequence: last.map_or(0, |d| d.sequence) + 1,
        previous,
        alerts: outcome.alerts.iter().filter(|a| a.is_live() || since(a)).cloned().collect(),
        aircraft: judged.aircraft.iter().map(freshness).collect(),
        engines: judged.engines,
        rejections: seen.rejections,
        unplaced: if first { Vec::new() } else { unplaced(rules, outcome, now) },
        pictures,
        undelivered: pass.outbox()?.undelivered,
        first,
    })
}

/// Answers that could not be carried out, as long as other questions about the log are shown. Those of a log's past
/// may be to alerts of another state.
fn unplaced(rules: &Rules, outcome: &Outcome, now: Instant) -> Vec<Rejection> {
    let shown = |u: &&Unplaced| {
        let days = rules.config.rules("", "", "").records.event_days;
        now - u.at < TimeDelta::seconds((days * 86_400.0) as i64)
    };
    let rejection = |u: &Unplaced| Rejection {
        source: u.source.clone(),
        found: u.why.clone(),
        expected: u.expected.to_owned(),
        whole_file: false,
    };
    outcome.unplaced.iter().filter(shown).map(rejection).collect()
}

/// Days for which the text of a delivered letter is kept.
const KEPT_DAYS: i64 = 90;

/// The digest of a pass.
pub(super) struct Written {
    pub(super) date: NaiveDate,
    pub(super) sequence: u32,
    pub(super) subject: String,
}

/// Letters of a pass, written into its transaction.
pub(super) struct Writing<'a> {
    pub(super) pass: &'a Pass<'a>,
    pub(super) rules: &'a Rules,
    pub(super) now: Instant,
    pub(super) letters: u32,
}

impl Writing<'_> {
    pub(super) fn single(
        &mut self,
        bundle: &Bundle,
        outcome: &Outcome,
        morning: &Morning,
    ) -> Result<(), store::StoreError> {
        let alerts: Vec<&Alert> = bundle.says.iter().filter_map(|s| outcome.alert(s.number)).collect();
        let letter = report::letters::single(&alerts, bundle.audience == Audience::Escalation, morning);
        let slug = format!("{}-{}", bundle.level.word(), bundle.tail);
        self.post("alert", &slug, &letter, Recipients::Alerts(bundle))
    }

    /// The one summary of a first pass.
    pub(super) fn summary(&mut self, morning: &Morning) -> Result<(), store::StoreError> {
        let letter = report::digest::digest(morning);
        self.post("summary", "first-look", &letter, Recipients::Digest)
    }

    pub(super) fn digest(
        &mut self,
        wish: DigestWish,
        morning: &mut Morning,
    ) -> Result<Option<Written>, store::StoreError> {
        let DigestWish::For(date) = wish else { return Ok(None) };
        let Some(sequence) = self.pass.record_digest(date, self.now)? else { return Ok(None) };
        morning.sequence = sequence;
        let letter = report::digest::digest(morning);
        self.post("digest", &format!("digest-{date}"), &letter, Recipients::Digest)?;
        self.pass.tidy_letters(self.now - TimeDelta::days(KEPT_DAYS))?;
        Ok(Some(Written { date, sequence, subject: letter.subject }))
    }

    fn post(&mut self, kind: &str, slug: &str, letter: &Letter, to: Recipients<'_>) -> Result<(), store::StoreError> {
        let settings = &self.rules.config.settings;
        let mail = settings.mail.as_ref();
        let (from, to) = (mail::sender(mail), mail::recipients(to, mail, &settings.alerts));
        if to.is_empty() {
            warn!(letter = slug, "nobody is to get this letter");
            return Ok(());
        }
        let post = mail::Post { kind, slug, made: self.now, from, to: &to };
        let posted = match mail::post(self.pass, letter, post) {
            // One letter that cannot be made must not stop the judging of a fleet; its alerts stay open and listed.
            Err(store::StoreError::Letter(why)) => {
                error!(letter = slug, %why, "letter not written");
                return Ok(());
            }
            posted => posted?,
        };
        for why in posted.left_out {
            warn!(letter = slug, %why, "recipient left out");
        }
        self.letters += 1;
        Ok(())
    }
}
