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
//! The least of a request: for each finish its cost, and what its units must pay at least at each step, one after the
//! other, so that all are through by then ([`cheapest`]). Largest rests, the unload's person, changeovers and
//! what has started are not priced.
//!
//! A run on a rig loaded together is paid for once, by shares ([`shares`]). Time is counted on a clock that moves
//! every few minutes ([`clock`]): first a rough one, whose rounds are quick, then finer ones, which tell more.
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
use super::{Least, crowd, seats};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::{CondIx, Request, Unit};
use cheapest::{Leg, Market, Paid, Party};
use clock::{Clock, Costs, Grain, Latest, Line, Offer};
use shares::Shares;

/// Rounds by clocks that look ever more finely at time: a rough one soon finds about where prices must be, and each
/// begins with what the one before it has found.
const STAGES: [Stage; 3] = [
    Stage {
        grain: Grain::ROUGH,
        rounds: 70,
        first_step: 1.0,
        last_step: 0.01,
    },
    Stage {
        grain: Grain::MIDDLE,
        rounds: 300,
        first_step: 0.3,
        last_step: 0.003,
    },
    Stage {
        grain: Grain::FINE,
        rounds: 300,
        first_step: 0.3,
        last_step: 0.003,
    },
];
/// Where more than this share of the budget is used up there is no time for a finer clock.
const ENOUGH: f64 = 0.6;
/// Visits beyond which nothing is priced: the rounds would take longer than the bound may.
const VISITS: usize = 10_000;
/// A step aims so far above the best bound, and at most so far above where it is.
const AIM: f64 = 1.6;
const FAR: f64 = 0.6;
/// The share of the last direction that a step keeps.
const KEPT: f64 = 0.7;
/// Rounds after which shares are divided anew.
const DIVIDED: u64 = 3;
/// A request's steps are looked at until its least finish and as long again, or so long, or half as long as all
/// least finishes are away: where much waits for the same rig much waits long.
const LONGER: Minutes = Minutes::hours(7 * 24);
/// A sum of some thousand products is exact to this share.
const EXACT: f64 = 1e-9;

/// No plan of these requests costs less; never below the sum of their least costs. `used` says which share
/// of the budget is used up after so many rounds: at 1 the prices found so far must do.
#[expect(
    clippy::cast_possible_truncation,
    reason = "a gain is far below 2^53, and was rounded down"
)]
pub(super) fn raise(ahead: &Ahead<'_>, all: &[Least], used: &dyn Fn(u64) -> f64) -> i64 {
    let problem = ahead.problem;
    let cost = |own: &Least| problem.cost_at(own.request, own.finish);
    let base: i64 = all.iter().map(cost).sum();
    let visits = |own: &Least| problem.requests[own.request.ix()].visits();
    if all.iter().map(visits).sum::<usize>() > VISITS || used(0) >= 1.0 {
        return base;
    }
    let mut prices = Prices::new(ahead, all, STAGES[0].grain);
    if prices.parties.is_empty() {
        return base;
    }
    let priced: f64 = prices.parties.iter().map(|own| own.cost(own.least)).sum();
    let (mut best, mut done, mut begun) = (priced, 0, 0.0);
    for (number, stage) in STAGES.iter().enumerate() {
        if number > 0 {
            prices = prices.finer(ahead, all, stage.grain);
        }
        let used_since = |round: u64| (used(done + round) - begun) / (1.0 - begun);
        best = prices.best_of(best, stage, &used_since);
        done += stage.rounds;
        begun = used(done);
        if begun > ENOUGH {
            break;
        }
    }
    let gain = best - priced;
    let gain = gain - EXACT * base as f64;
    base + (gain.floor() as i64).max(0)
}

/// Rounds of prices by one clock.
#[derive(Clone, Copy, Debug)]
struct Stage {
    grain: Grain,
    /// So many rounds at most.
    rounds: u64,
    /// Steps go this share of the way at first and in the end.
    first_step: f64,
    last_step: f64,
}

/// Those who pay, and what is for sale.
struct Prices<'p> {
    parties: Vec<Party<'p>>,
    /// By kind of step: its rigs.
    offers: Vec<Vec<Offer>>,
    /// By kind of step.
    latest: Vec<Latest>,
    costs: Vec<Costs>,
    clock: Clock,
    /// Rigs, then crews.
    lines: Vec<Line>,
    shares: Shares,
}

impl<'p> Prices<'p> {
    fn new(ahead: &Ahead<'p>, all: &[Least], grain: Grain) -> Self {
        let mut shares = Shares::default();
        let last = all.iter().map(|own| own.finish).max();
        let span = last.map_or(Minutes::ZERO, |last| last - ahead.problem.now);
        let longer = LONGER.max(Minutes::new(span.get() / 2));
        let parties = all.iter();
        let mut parties: Vec<Party<'p>> = parties
            .filter_map(|own| party(ahead, own, longer, &mut shares))
            .collect();
        let last = parties.iter().map(|own| own.last).max();
        let clock = Clock::new(ahead.problem, last.unwrap_or(ahead.problem.now), grain);
        for party in &mut parties {
            party.go_by(&clock);
        }
        shares.open(&clock);
        let lines = clock::lines(ahead.problem, &clock);
        let mut offers = clock::offers(ahead, &clock);
        let latest = offers.iter().map(|own| Latest::new(own, &clock)).collect();
        for own in offers.iter_mut().flatten() {
            own.thin(clock, &lines);
        }
        Self {
            parties,
            latest,
            costs: offers.iter().map(|own| Costs::new(own, &clock)).collect(),
            offers,
            lines,
            clock,
            shares,
        }
    }

    /// The same requests by a finer clock, which begins with what is found.
    fn finer(&self, ahead: &Ahead<'p>, all: &[Least], grain: Grain) -> Self {
        let mut finer = Self::new(ahead, all, grain);
        for (line, known) in finer.lines.iter_mut().zip(&self.lines) {
            line.ask_as(&finer.clock, known, &self.clock);
        }
        let (shares, clock) = (&mut finer.shares, &finer.clock);
        shares.learn_from(clock, &self.shares, &self.clock);
        finer
    }

    /// The best bound of rounds of prices, at least `best`, until all is used.
    fn best_of(&mut self, mut best: f64, stage: &Stage, used: &dyn Fn(u64) -> f64) -> f64 {
        for round in 1..=stage.rounds {
            let used = used(round).max(round as f64 / stage.rounds as f64);
            let value = self.round();
            best = best.max(value);
            if used >= 1.0 {
                break;
            }
            let length: f64 = self.lines.iter_mut().map(|line| line.turn(KEPT)).sum();
            if length <= 0.0 {
                break;
            }
            let step = stage.first_step * (stage.last_step / stage.first_step).powf(used);
            let far = step * (AIM * best - value).min(FAR * best) / length;
            for line in &mut self.lines {
                line.step(far);
            }
            if round % DIVIDED == 0 {
                self.shares.divide();
            }
        }
        best
    }

    fn market(&self) -> Market<'_> {
        Market {
            clock: self.clock,
            offers: &self.offers,
            latest: &self.latest,
            costs: &self.costs,
            lines: &self.lines,
            shares: &self.shares,
        }
    }

    /// The bound at the present prices; whoever pays takes what it pays for.
    fn round(&mut self) -> f64 {
        for line in &mut self.lines {
            line.add_up();
        }
        for (costs, offers) in self.costs.iter_mut().zip(&self.offers) {
            costs.look(offers, &self.lines);
        }
        let mut value = -self.lines.iter().map(Line::paid_back).sum::<f64>();
        let bought: Vec<Vec<Paid>> = self
            .parties
            .iter()
            .map(|party| {
                let (least, paid) = party.cheapest(self.market());
                value += least;
                paid
            })
            .collect();
        for (party, paid) in self.parties.iter().zip(&bought) {
            party.take(paid, &self.offers, &mut self.lines, &mut self.shares);
        }
        value
    }
}

/// The units of a request that pay: the most that are equally far and have all of the other steps to do. `None`
/// where there are none.
fn party<'p>(
    ahead: &Ahead<'p>,
    known: &Least,
    longer: Minutes,
    shares: &mut Shares,
) -> Option<Party<'p>> {
    let problem = ahead.problem;
    let Least {
        request,
        finish: least,
        walked,
    } = known;
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
    let longer = (*least - from).at_least_zero().max(longer);
    let mut party = Party {
        problem,
        request: *request,
        units: count,
        least: *least,
        last: (*least + longer).min(problem.end),
        legs: Vec::new(),
    };
    for step in first..own.steps.len() {
        let before = step
            .checked_sub(1)
            .and_then(|last| walked.steps[last].outs.first());
        let from = before.map_or(from, |out| from.max(*out + own.steps[step].rest_min));
        let earliest = &walked.steps[step].loads[..count];
        let share = |condition| shares.add(condition, from);
        party.legs.push(leg(ahead, own, step, earliest, share));
    }
    Some(party)
}

/// One step of units that load no earlier, one after the other.
fn leg(
    ahead: &Ahead<'_>,
    own: &Request,
    step: usize,
    earliest: &[Minute],
    share: impl FnOnce(CondIx) -> usize,
) -> Leg {
    let rigs = &ahead.problem.rigs;
    let number = ahead.kind_number(&own.steps[step]);
    let kind = &ahead.kinds[number];
    let in_run = seats::units_in_a_run(ahead, own, step, own.steps.len());
    let eligible = ahead.problem.rigs_for(&own.steps[step]).iter();
    let mut loadings = eligible.map(|(rig, _)| rigs[rig.ix()].loading);
    let runs = loadings.any(|loading| loading == Loading::Together);
    let weight = |way: &Way| match rigs.get(way.room) {
        Some(rig) if rig.loading == Loading::Together => {
            let most = earliest.len().min(in_run).min(rig.positions as usize);
            1.0 / most.max(1) as f64
        }
        // Several rigs seen as one: perhaps a run, whose hands are shared.
        None if runs => 0.0,
        _ => 1.0,
    };
    Leg {
        kind: number,
        weights: kind.ways.iter().map(weight).collect(),
        share: runs.then(|| share(own.steps[step].condition)),
        rest: own.steps[step].rest_min,
        rest_ticks: 0,
        earliest: earliest.to_vec(),
        room: seats::room(ahead.problem, &own.steps[step], in_run).max(1),
        hands: if !runs && kind.takes_hands() {
            crowd::most_people(kind)
        } else {
            usize::MAX
        },
    }
}
