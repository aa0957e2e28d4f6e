//! Other accounts of what happened to the oil, carried on beside the one believed.
//!
//! Whether oil went in that nobody logged is often open for many flights. Decided at once it is now and then decided
//! wrongly, and what was given up never comes back. So a few accounts are kept up, each with its own level, rate and
//! possible changes, and weighed by how well they foretold what was seen since. The rate is told over all of them, and
//! a rise is one that most of their weight agrees on.

use super::Watch;
use crate::engine::Event;
use crate::judge::Rate;
use crate::judge::consumption::candidates::Candidate;
use crate::judge::consumption::evidence::{Evidence, Look};
use crate::judge::consumption::steps::Step;
use crate::judge::consumption::sump::Who;
use crate::judge::consumption::track::Track;
use crate::judge::consumption::unlogged::{Unlogged, convinces, possible};
use crate::judge::consumption::{NINETY, estimate};

/// Accounts kept up beside the one believed.
const MOST: usize = 3;
/// Flights after which one is given up, and ln odds below which it is. (Found by simulation, as the number.)
const FLIGHTS: u32 = 40;
const GIVEN_UP: f64 = -4.0;
/// Odds beyond these are all the same, ln.
const SURE: f64 = 30.0;

/// An account of the engine's oil: what went in that nobody logged.
#[derive(Clone, Debug, Default, PartialEq)]
struct Added {
    oil: Vec<Unlogged>,
    /// ln odds against that none of it went in, before anything was seen.
    ln_prior: f64,
}

impl Added {
    fn holds(&self, found: &Unlogged) -> bool {
        self.oil.iter().any(|u| u.is_the_same(found))
    }

    fn and(&self, found: &Unlogged) -> Self {
        let mut both = self.clone();
        both.oil.push(*found);
        both.ln_prior += found.ln_prior;
        both
    }

    /// What went in by this account and not by the other.
    fn beyond<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = &'a Unlogged> {
        self.oil.iter().filter(|u| !other.holds(u))
    }

    /// The last flight before which the two differ.
    fn parted(&self, other: &Self) -> u32 {
        self.beyond(other).chain(other.beyond(self)).map(|u| u.flight).max().unwrap_or(0)
    }
}

/// An account that is not the one believed, and what would be believed by it.
#[derive(Clone, Debug)]
struct Account {
    added: Added,
    track: Track,
}

/// The account believed, those kept up beside it, and what was given up lately.
#[derive(Clone, Debug, Default)]
pub(super) struct Accounts {
    believed: Added,
    held: Vec<Account>,
    given_up: Vec<Unlogged>,
    /// The findings that ask about what went in by the account believed.
    told: Vec<(Unlogged, usize)>,
}

impl Accounts {
    pub fn clear(&mut self) {
        *self = Self::default();
    }

    /// For a watch that has told nothing of them.
    pub fn untold(mut self) -> Self {
        self.told.clear();
        self
    }

    /// The place of each beside the one believed, and its ln odds against that.
    fn odds(&self, believed: &Track) -> impl Iterator<Item = (usize, f64)> {
        self.held.iter().map(|a| self.ln_odds(a, believed)).enumerate()
    }

    fn ln_odds(&self, account: &Account, believed: &Track) -> f64 {
        let prior = account.added.ln_prior - self.believed.ln_prior;
        let seen = account.track.sump.ln_likelihood - believed.sump.ln_likelihood;
        (prior + seen).clamp(-SURE, SURE)
    }

    /// Gives up what is unlikely by now, or has been open for long.
    fn give_up(&mut self, believed: &Track) {
        let flights = believed.sump.flights;
        let recent = |flight: u32| flights.saturating_sub(flight) <= FLIGHTS;
        self.given_up.retain(|u| recent(u.flight));
        for k in (0..self.held.len()).rev() {
            let account = &self.held[k];
            if !recent(account.added.parted(&self.believed)) || self.ln_odds(account, believed) <= GIVEN_UP {
                self.drop(k);
            }
        }
        // What all of them hold for long makes no difference any more.
        let all = self.held.iter_mut().map(|a| &mut a.added).chain([&mut self.believed]);
        all.for_each(|added| added.oil.retain(|u| recent(u.flight)));
        self.told.retain(|(u, _)| recent(u.flight));
    }

    fn drop(&mut self, k: usize) {
        let dropped = self.held.swap_remove(k);
        self.given_up.extend(dropped.added.beyond(&self.believed));
    }

    fn knows(&self, found: &Unlogged) -> bool {
        self.held.iter().any(|a| a.added.holds(found)) || self.given_up.iter().any(|u| u.is_the_same(found))
    }

    /// Takes one in: the account believed, and this besides. The least likely makes room.
    fn take_in(&mut self, found: &Unlogged, track: Track, believed: &Track) {
        self.held.push(Account { added: self.believed.and(found), track });
        if self.held.len() > MOST
            && let Some((least, _)) = self.odds(believed).min_by(|a, b| a.1.total_cmp(&b.1))
        {
            self.drop(least);
        }
    }
}

impl Watch<'_> {
    /// What an event shows of the oil, in every account; told of the one believed.
    pub(super) fn look(&mut self, who: Who, event: &Event) -> Option<(Look, Evidence)> {
        self.accounts.held.iter_mut().for_each(|a| {
            a.track.look(who, event);
        });
        self.track.look(who, event)
    }

    /// The event of step `k` moves level and rate, in every account.
    pub(super) fn go(&mut self, k: usize, step: Step<'_>, mate_h: Option<f64>) {
        let tracks = self.accounts.held.iter_mut().map(|a| &mut a.track).chain([&mut self.track]);
        tracks.for_each(|t| t.go(step.event, step.service, self.decays[k], mate_h));
    }

    /// An event other than a flight moves what is believed of the mate, in every account.
    pub(super) fn mate_goes(&mut self, event: &Event) {
        let tracks = self.accounts.held.iter_mut().map(|a| &mut a.track).chain([&mut self.track]);
        tracks.for_each(|t| t.mate_goes(event));
    }

    /// Nothing before this moment is gone through again, nor told otherwise.
    pub(super) fn forget_past(&mut self) {
        self.kept.clear();
        self.accounts.clear();
    }

    /// After a look at step `now`: an account that has become clearly likelier is believed from now on, and a further
    /// one taken in.
    pub(super) fn weigh_accounts(&mut self, now: usize) {
        let sump = &self.track.sump;
        self.accounts.give_up(&self.track);
        if let Some(found) = possible(&sump.own, sump.flights).filter(|found| !self.accounts.knows(found))
            && let Some(track) = self.had_been_added(now, Who::Own, &found)
        {
            self.accounts.take_in(&found, track, &self.track);
        }
        let likeliest = self.accounts.odds(&self.track).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((which, ln_odds)) = likeliest
            && convinces(ln_odds, &self.track.sump.own, true)
        {
            self.believe(now, which);
        }
    }

    /// Another account is believed from now on, and the one believed so far is one of the others. Asks about what went in
    /// by the one, and no more about what did by the other alone.
    pub(super) fn believe(&mut self, now: usize, which: usize) {
        let mut accounts = std::mem::take(&mut self.accounts);
        let taken = accounts.held.swap_remove(which);
        let before = std::mem::replace(&mut accounts.believed, taken.added.clone());
        accounts.held.push(Account { added: before.clone(), track: self.track.clone() });
        let new: Vec<Unlogged> = taken.added.beyond(&before).copied().collect();
        let gone: Vec<Unlogged> = before.beyond(&taken.added).copied().collect();
        // What is kept of the flights since is of the other account.
        let gone_back = match (&*new, &*gone) {
            ([found], []) => self.go_back(now, Who::Own, found).is_some(),
            _ => false,
        };
        if !gone_back {
            self.kept.clear();
            self.track = taken.track;
        }
        for found in &gone {
            self.withdraw(now, found, &mut accounts);
        }
        for found in &new {
            accounts.told.extend(self.tell_not_logged(now, found).map(|finding| (*found, finding)));
        }
        self.accounts = accounts;
    }

    /// An addition that has been taken as made seems not to have been.
    fn withdraw(&mut self, now: usize, found: &Unlogged, accounts: &mut Accounts) {
        if let Some(seating) = &mut self.seating {
            seating.pour(-found.quarts, 0.02);
        }
        if let Some(k) = accounts.told.iter().position(|(told, _)| told.is_the_same(found)) {
            let (_, finding) = accounts.told.swap_remove(k);
            self.findings.not_so(finding, self.steps[now].event);
        }
    }

    /// The statistic of a rise over all accounts, each by its weight; and the account that says most of it, where that
    /// is not the one believed and its rise is large enough to be told.
    pub(super) fn ln_rise_in_all(&self, ln_rise: f64) -> (f64, Option<usize>) {
        let mut most = ln_rise;
        let (mut weights, mut rises, mut which) = (1.0, ln_rise.exp(), None);
        for (k, odds) in self.accounts.odds(&self.track) {
            let changes = &self.accounts.held[k].track.sump.own.changes;
            let ln_rise = changes.ln_sum(&self.ratios.rises);
            weights += odds.exp();
            rises += (odds + ln_rise).exp();
            let told = |f: Candidate| self.large_enough(true, 1.0 + f.size / f.rate);
            if odds + ln_rise > most && changes.best(true).is_some_and(told) {
                (most, which) = (odds + ln_rise, Some(k));
            }
        }
        if weights > 1.0 { ((rises / weights).ln(), which) } else { (ln_rise, None) }
    }

    /// The rate with its 90 % interval over all accounts, each by its weight.
    pub(super) fn estimate(&self) -> Rate {
        let believed = estimate(&self.track);
        if self.accounts.held.is_empty() {
            return believed;
        }
        let others = self.accounts.odds(&self.track);
        let others = others.map(|(k, ln_odds)| (ln_odds.exp(), estimate(&self.accounts.held[k].track)));
        let rates: Vec<(f64, Rate)> = others.chain([(1.0, believed)]).collect();
        let weights: f64 = rates.iter().map(|(w, _)| w).sum();
        let mean = rates.iter().map(|(w, r)| w * r.qt_per_h).sum::<f64>() / weights;
        let variance = |r: &Rate| ((r.high - r.qt_per_h) / NINETY).powi(2) + (r.qt_per_h - mean).powi(2);
        let half = NINETY * (rates.iter().map(|(w, r)| w * variance(r)).sum::<f64>() / weights).sqrt();
        Rate { qt_per_h: mean, low: (mean - half).max(0.0), high: mean + half }
    }
}
