//! **Prices.** What requests do to each other: every scarce hour of a rig and of a crew has a price.
//!
//! Ask that nobody take more of a rig or of a crew than there is, but as a price instead of a rule: who takes
//! an hour pays for it, and all that there is of it is paid back. Whatever the prices, none below zero, the
//! payments of a valid plan are at most what is paid back. So the sum over the requests of the least
//! that each can do for itself, its cost and what it pays, less all that is paid back, is below the
//! cost of every valid plan (Lagrangian relaxation; Fisher 1981, from memory). Prices rise where more is taken than there
//! is and fall where less is (subgradient steps; Held, Wolfe & Crowder 1974, from memory). The best of all
//! prices tried counts, so that the bound holds however far they got.
//!
//! The least of a request: its units are alike, each goes through its steps by the cheapest way ([`cheapest`])
//! that ends by the request's finish, and that is no earlier than its own crowd allows. Largest rests, the unload's person,
//! changeovers and what has started are not priced.
//!
//! A run on a rig loaded together is paid for once, by shares ([`shares`]). Time is counted on a clock that moves
//! every few minutes ([`clock`]).
//!
//! Example: two requests of one unit, priority 1, both ready at 08:00, four hours each on one position. Alone each
//! costs 240. At a price of 1 a minute from 08:00 to 12:00 each can pay 240, or wait as long: 480 either
//! way. Of 960 together 240 are paid back, and the bound is 720, the least cost there is.

mod cheapest;
mod clock;
mod shares;
#[cfg(test)]
mod tests;

use super::ahead::{Ahead, Way};
use super::{crowd, seats};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::{CondIx, RequestIx, Unit};
use cheapest::{Leg, Market, Party, Trip};
use clock::{Clock, Line, Offer};
use shares::Shares;

/// Rounds of prices.
const ROUNDS: usize = 120;
/// Visits beyond which nothing is priced: the rounds would take longer than the bound may.
const VISITS: usize = 10_000;
/// The first step aims so far above the best bound, and moves this share of the way.
const AIM: f64 = 1.3;
const FIRST_STEP: f64 = 0.6;
/// Rounds without gain after which steps become shorter, and by how much.
const STALL: usize = 8;
const SHORTER: f64 = 0.6;
/// The share of the last direction that a step keeps.
const KEPT: f64 = 0.4;
/// Rounds after which shares are divided anew.
const DIVIDED: usize = 10;
/// A request's steps are looked at until its least finish and as long again, or so long.
const LONGER: Minutes = Minutes::hours(7 * 24);
/// A sum of some thousand products is exact to this share.
const EXACT: f64 = 1e-9;

/// A request with the minute before which it does not finish.
pub(super) type Least = (RequestIx, Minute);

/// No plan of these requests costs less; never below the sum of their least costs. `enough` says when to
/// settle for the prices found so far.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a gain is far below 2^53, and was rounded down"
)]
pub(super) fn raise(ahead: &Ahead<'_>, all: &[Least], enough: &dyn Fn() -> bool) -> i64 {
    let problem = ahead.problem;
    let base: i64 = all.iter().map(|(own, at)| problem.cost_at(*own, *at)).sum();
    let visits = |(own, _): &Least| problem.requests[own.ix()].visits();
    if all.iter().map(visits).sum::<usize>() > VISITS || enough() {
        return base;
    }
    let mut prices = Prices::new(ahead, all);
    if prices.parties.is_empty() {
        return base;
    }
    let priced: f64 = prices.parties.iter().map(|own| own.cost(own.least)).sum();
    let gain = prices.best_of(ROUNDS, priced, enough) - priced;
    let gain = gain - EXACT * base as f64;
    base + (gain.floor() as i64).max(0)
}

/// Those who pay, and what is for sale.
struct Prices<'p> {
    parties: Vec<Party<'p>>,
    trips: Vec<Option<Trip>>,
    /// By kind of step: its rigs.
    offers: Vec<Vec<Offer>>,
    clock: Clock,
    /// Rigs, then crews.
    lines: Vec<Line>,
    shares: Shares,
}

impl<'p> Prices<'p> {
    fn new(ahead: &Ahead<'p>, all: &[Least]) -> Self {
        let mut shares = Shares::default();
        let parties = all.iter();
        let parties: Vec<Party<'p>> = parties
            .filter_map(|(request, least)| party(ahead, *request, *least, &mut shares))
            .collect();
        let last = parties.iter().map(|own| own.last).max();
        let clock = Clock::new(ahead.problem, last.unwrap_or(ahead.problem.now));
        shares.open(&clock);
        Self {
            trips: vec![None; parties.len()],
            parties,
            offers: clock::offers(ahead, &clock),
            lines: clock::lines(ahead.problem, &clock),
            clock,
            shares,
        }
    }

    /// The best bound of some rounds of prices, the first of which are all zero.
    fn best_of(&mut self, rounds: usize, base: f64, enough: &dyn Fn() -> bool) -> f64 {
        let (mut best, mut step, mut stalled) = (base, FIRST_STEP, 0);
        for round in 1..=rounds {
            if enough() {
                break;
            }
            let value = self.round();
            stalled = if value > best { 0 } else { stalled + 1 };
            best = best.max(value);
            if stalled == STALL {
                step *= SHORTER;
                stalled = 0;
            }
            let length: f64 = self.lines.iter_mut().map(|line| line.turn(KEPT)).sum();
            if length <= 0.0 {
                break;
            }
            let far = step * (AIM * best - value) / length;
            for line in &mut self.lines {
                line.step(far);
            }
            if round % DIVIDED == 0 {
                self.shares.divide();
            }
        }
        best
    }

    /// The bound at the present prices; whoever pays takes what it pays for.
    fn round(&mut self) -> f64 {
        for line in &mut self.lines {
            line.add_up();
        }
        let mut value = -self.lines.iter().map(Line::paid_back).sum::<f64>();
        let market = Market {
            clock: self.clock,
            offers: &self.offers,
            lines: &self.lines,
            shares: &self.shares,
        };
        for (party, trip) in self.parties.iter().zip(&mut self.trips) {
            let (least, next) = party.cheapest(market, trip.as_ref());
            value += least;
            *trip = next;
        }
        for (party, trip) in self.parties.iter().zip(&self.trips) {
            if let Some(trip) = trip {
                party.take(trip, &self.offers, &mut self.lines, &mut self.shares);
            }
        }
        value
    }
}

/// The units of a request that pay: the most that are equally far and have all of the other steps to do. `None`
/// where there are none.
fn party<'p>(
    ahead: &Ahead<'p>,
    request: RequestIx,
    least: Minute,
    shares: &mut Shares,
) -> Option<Party<'p>> {
    let problem = ahead.problem;
    let own = &problem.requests[request.ix()];
    let units = &problem.units[own.units.start as usize..own.units.end as usize];
    let goes_on = |unit: &&Unit| unit.wanted == own.steps.len() && unit.facts.len() < unit.wanted;
    let equally_far = |step: usize| {
        let units = units.iter().filter(goes_on);
        units.filter(move |unit| unit.facts.len() == step)
    };
    // Of equally many those who have more to do.
    let first = (0..own.steps.len())
        .rev()
        .max_by_key(|step| equally_far(*step).count())?;
    let count = equally_far(first).count();
    let arrival = |unit: &Unit| match unit.facts.last() {
        Some(fact) => fact.visit.times.out + own.steps[first].rest_min,
        None => Minute::FIRST,
    };
    let arrival = equally_far(first).map(arrival).min()?;
    let from = arrival.max(own.ready).max(problem.now);
    let longer = (least - from).at_least_zero().max(LONGER);
    let mut party = Party {
        problem,
        request,
        from,
        least,
        last: (least + longer).min(problem.end),
        legs: Vec::new(),
    };
    let walked = crowd::walk(ahead, request);
    for step in first..own.steps.len() {
        let before = step
            .checked_sub(1)
            .and_then(|last| walked.steps[last].outs.first());
        let from = before.map_or(from, |out| from.max(*out + own.steps[step].rest_min));
        party
            .legs
            .push(leg(ahead, request, step, count, |condition| {
                shares.add(condition, from)
            }));
    }
    Some(party)
}

/// One step of `count` units.
fn leg(
    ahead: &Ahead<'_>,
    request: RequestIx,
    step: usize,
    count: usize,
    share: impl FnOnce(CondIx) -> usize,
) -> Leg {
    let rigs = &ahead.problem.rigs;
    let own = &ahead.problem.requests[request.ix()];
    let kind = ahead.kind_number(&own.steps[step]);
    let in_run = seats::units_in_a_run(ahead, own, step, own.steps.len());
    let eligible = ahead.problem.rigs_for(&own.steps[step]).iter();
    let mut loadings = eligible.map(|(rig, _)| rigs[rig.ix()].loading);
    let runs = loadings.any(|loading| loading == Loading::Together);
    let weight = |way: &Way| match rigs.get(way.room) {
        Some(rig) if rig.loading == Loading::Together => {
            let most = count.min(in_run).min(rig.positions as usize).max(1);
            count as f64 / most as f64
        }
        // Several rigs seen as one: perhaps a run, whose hands are shared.
        None if runs => 0.0,
        _ => count as f64,
    };
    Leg {
        kind,
        weights: ahead.kinds[kind].ways.iter().map(weight).collect(),
        share: runs.then(|| share(own.steps[step].condition)),
        rest: own.steps[step].rest_min,
    }
}
