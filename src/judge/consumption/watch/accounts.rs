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
use crate::judge::consumption::change::{Statistics, statistics};
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

/// An account of the engine's oil that is not the one believed.
#[derive(Clone, Debug)]
struct Account {
    track: Track,
    differs: Differs,
    /// The flight from which on it differs.
    flight: u32,
    /// ln odds against the account believed, before anything was seen since.
    ln_prior: f64,
}

/// What an account says otherwise than the one believed.
#[derive(Clone, Copy, Debug, PartialEq)]
enum Differs {
    /// Oil went in, and nobody logged it.
    Added(Unlogged),
    /// So much was not added that has been taken as added, qt. The finding that asked about it.
    NotAdded(f64, Option<usize>),
}

impl Account {
    /// ln odds against the account believed.
    fn ln_odds(&self, believed: &Track) -> f64 {
        (self.ln_prior + self.track.sump.ln_likelihood - believed.sump.ln_likelihood).clamp(-SURE, SURE)
    }

    fn is_of(&self, found: &Unlogged) -> bool {
        matches!(self.differs, Differs::Added(u) if u.is_the_same(found))
    }
}

/// The accounts kept up, and what was given up lately.
#[derive(Clone, Debug, Default)]
pub(super) struct Accounts {
    held: Vec<Account>,
    given_up: Vec<Unlogged>,
}

impl Accounts {
    pub fn clear(&mut self) {
        self.held.clear();
        self.given_up.clear();
    }

    /// For a watch that has told nothing of them.
    pub fn untold(mut self) -> Self {
        for account in &mut self.held {
            if let Differs::NotAdded(_, told) = &mut account.differs {
                *told = None;
            }
        }
        self
    }

    /// Gives up what is unlikely by now or long ago.
    fn give_up(&mut self, believed: &Track) {
        let flights = believed.sump.flights;
        self.given_up.retain(|u| flights.saturating_sub(u.flight) <= FLIGHTS);
        let (held, given_up) = (&mut self.held, &mut self.given_up);
        held.retain(|a| {
            let keep = flights.saturating_sub(a.flight) <= FLIGHTS && a.ln_odds(believed) > GIVEN_UP;
            if let (false, Differs::Added(unlogged)) = (keep, a.differs) {
                given_up.push(unlogged);
            }
            keep
        });
    }

    fn knows(&self, found: &Unlogged) -> bool {
        self.held.iter().any(|a| a.is_of(found)) || self.given_up.iter().any(|u| u.is_the_same(found))
    }

    /// Takes one in; the least likely makes room.
    fn take_in(&mut self, account: Account, believed: &Track) {
        self.held.push(account);
        if self.held.len() > MOST
            && let Some((least, _)) = self.odds(believed).min_by(|a, b| a.1.total_cmp(&b.1))
            && let Differs::Added(unlogged) = self.held.swap_remove(least).differs
        {
            self.given_up.push(unlogged);
        }
    }

    /// The place of each, and its ln odds against the account believed.
    fn odds(&self, believed: &Track) -> impl Iterator<Item = (usize, f64)> {
        self.held.iter().map(|a| a.ln_odds(believed)).enumerate()
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
            let (flight, ln_prior) = (found.flight, found.ln_prior);
            let account = Account { track, differs: Differs::Added(found), flight, ln_prior };
            self.accounts.take_in(account, &self.track);
        }
        let likeliest = self.accounts.odds(&self.track).max_by(|a, b| a.1.total_cmp(&b.1));
        if let Some((which, ln_odds)) = likeliest
            && convinces(ln_odds, &self.track.sump.own, true)
        {
            self.believe(now, which);
        }
    }

    /// Another account is believed from now on; the one believed so far is one of the others.
    pub(super) fn believe(&mut self, now: usize, which: usize) {
        let taken = self.accounts.held.swap_remove(which);
        let (before, event) = (self.track.clone(), self.steps[now].event);
        let mut others = std::mem::take(&mut self.accounts);
        let back = match taken.differs {
            Differs::Added(found) => {
                if self.go_back(now, Who::Own, &found).is_none() {
                    self.forget_past();
                    self.track = taken.track;
                }
                Differs::NotAdded(found.quarts, self.tell_not_logged(now, &found))
            }
            Differs::NotAdded(quarts, told) => {
                self.forget_past();
                self.track = taken.track;
                if let Some(seating) = &mut self.seating {
                    seating.pour(-quarts, 0.02);
                }
                if let Some(finding) = told {
                    self.findings.not_so(finding, event);
                }
                Differs::Added(Unlogged { flight: taken.flight, quarts, ln_prior: -taken.ln_prior, ln_odds: 0.0 })
            }
        };
        others.held.iter_mut().for_each(|a| a.ln_prior -= taken.ln_prior);
        others.held.push(Account { track: before, differs: back, flight: taken.flight, ln_prior: -taken.ln_prior });
        self.accounts = others;
    }

    /// The statistic of a rise over all accounts, each by its weight; and the account that says most of it, where that
    /// is not the one believed and its rise is large enough to be told.
    pub(super) fn ln_rise_in_all(&self, ln_rise: f64, levels: bool) -> (f64, Option<usize>) {
        let mut most = ln_rise;
        let (mut weights, mut rises, mut which) = (1.0, ln_rise.exp(), None);
        for (k, odds) in self.accounts.odds(&self.track) {
            let own = &self.accounts.held[k].track.sump.own;
            let Statistics { ln_rise, .. } = statistics(own, &self.ratios, levels);
            weights += odds.exp();
            rises += (odds + ln_rise).exp();
            let told = |f: Candidate| self.large_enough(true, 1.0 + f.size / f.rate);
            if odds + ln_rise > most && own.changes.best(true).is_some_and(told) {
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
