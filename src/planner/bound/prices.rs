//! **Together.** Everybody competes for the same rigs and people.
//!
//! Let every minute of a rig's position and of a crew's person have a price, none below zero. In any valid
//! plan the visits take no more of a bucket than there is of it ([`super::supply`]), so the sum of what all units pay is at most
//! `Σ capacity × price`. Hence the cost of the plan is at least the sum over requests of cost and tolls, less
//! `Σ capacity × price`; and for each request cost and tolls are at least those of the cheapest walks of its
//! units ([`super::walks`]), which all end by its finish, no earlier than its own path and crowd allow. That
//! bound holds for whatever prices; better ones are found by raising the price of what the cheapest walks
//! overfill and lowering that of what they leave (subgradient steps after Held, Wolfe and Crowder 1974; the
//! direction is smoothed after Camerini, Fratta and Maffioli 1975). Groups of rigs and crews are combined
//! validly by construction: each request's cost is counted once, whatever it pays where.
//!
//! Example: two requests of one unit, priority 1, 60 minutes on the only bench, from 08:00 on. Each alone costs 60.
//! At a price of 1 for each minute from 08:00 to 09:00 it costs each 120 to go first or second, and the hour
//! that there is gives back 60: the bound is 180, and the best plan costs 60 + 120.

use super::ahead::Ahead;
use super::crowd::Walked;
use super::grid::{Grid, Spot};
use super::shares::Shares;
use super::stops::{Chains, Stops};
use super::supply::capacities;
use super::walks::{Prices, Taken, Walker, until};
use crate::domain::{Minute, Span};
use crate::problem::{Problem, RequestIx};

/// Buckets while anybody is on shift: no fewer, no more.
const BUCKETS: (usize, usize) = (16, 600);
/// Stops that may be looked up when the board is laid: so many, and more for each visit, up to a most.
const STOPS: (usize, usize, usize) = (6_000, 40, 600_000);
/// Stops that may be looked at in all rounds together, likewise.
const WORK: (usize, usize, usize) = (500_000, 5_000, 100_000_000);
/// Rounds: no fewer, no more.
const ROUNDS: (usize, usize) = (4, 150);
/// Buckets of all requests and steps together from which on the rounds are left out: they would cost more
/// time and memory than a plan does.
const BOARD: usize = 40_000_000;
/// Share of the last direction in the next.
const MOMENTUM: f64 = 0.6;

/// A request whose cost is bounded.
#[derive(Clone, Debug)]
pub(super) struct Bounded {
    pub(super) request: RequestIx,
    pub(super) walked: Walked,
    /// It finishes no earlier.
    pub(super) least: Minute,
}

/// The bound of all these requests together.
pub(super) fn bound(ahead: &Ahead<'_>, requests: &[Bounded]) -> i64 {
    let problem = ahead.problem;
    let costs = requests
        .iter()
        .map(|own| problem.cost_at(own.request, own.least));
    let floor: i64 = costs.sum();
    match Market::new(ahead, requests) {
        Some(mut market) => {
            let found = market.best();
            // A float is exact to far more than a millionth here.
            let sure = (found - 1e-3 - found.abs() * 1e-9).floor();
            floor.max(whole(sure))
        }
        None => floor,
    }
}

#[expect(
    clippy::cast_possible_truncation,
    reason = "costs lie far below what a float holds exactly"
)]
fn whole(cost: f64) -> i64 {
    cost as i64
}

/// Prices of everything in every bucket, and who pays them.
struct Market<'a, 'p> {
    ahead: &'a Ahead<'p>,
    grid: Grid,
    lengths: Vec<f64>,
    /// By request and step, a place in `stops`.
    of: Vec<Vec<usize>>,
    stops: Vec<Stops>,
    walkers: Vec<Walker>,
    shares: Shares,
    /// By room, then by crew: what there is in each bucket.
    capacity: Vec<Vec<f64>>,
    /// The price of a minute of it.
    price: Vec<Vec<f64>>,
    direction: Vec<Vec<f64>>,
}

/// What a round found.
struct Round {
    value: f64,
    taken: Vec<Taken>,
}

impl<'a, 'p> Market<'a, 'p> {
    fn new(ahead: &'a Ahead<'p>, requests: &[Bounded]) -> Option<Self> {
        let problem = ahead.problem;
        let last = requests
            .iter()
            .map(|own| until(problem, own.request, own.least));
        let span = Span::new(problem.now, last.max()?);
        if span.is_empty() {
            return None;
        }
        let mut wanted = vec![false; problem.requests.len()];
        for own in requests {
            wanted[own.request.ix()] = true;
        }
        let chains = Chains::new(ahead, &wanted);
        let grid = Grid::new(&problem.site, span, buckets(ahead, &chains)?);
        let stops = chains.stops(ahead, &grid);
        let walkers = requests
            .iter()
            .map(|own| Walker::new(problem, &grid, own.request, &own.walked, own.least));
        let walkers = walkers.collect();
        let capacity = capacities(ahead, &grid);
        let nothing: Vec<Vec<f64>> = capacity.iter().map(|own| vec![0.0; own.len()]).collect();
        Some(Self {
            ahead,
            lengths: grid.lengths(),
            shares: Shares::new(ahead, grid.count(), &wanted),
            grid,
            of: chains.of,
            stops,
            walkers,
            capacity,
            price: nothing.clone(),
            direction: nothing,
        })
    }

    /// The best bound of some rounds.
    fn best(&mut self) -> f64 {
        let rounds = allowed(WORK, visits(self.ahead.problem)) / self.work().max(1);
        let rounds = rounds.clamp(ROUNDS.0, ROUNDS.1);
        let first = self.round();
        let (start, mut best) = (first.value, first.value);
        let mut gain = start.abs() * 0.08 + 1.0;
        let mut idle = 0;
        let mut round = first;
        for _ in 0..rounds {
            if !self.step(&round, best + gain) {
                break;
            }
            round = self.round();
            if round.value > best + gain * 0.05 {
                idle = 0;
            } else {
                idle += 1;
            }
            best = best.max(round.value);
            if idle >= 6 {
                gain *= 0.6;
                idle = 0;
            }
        }
        best
    }

    /// About how many stops a round looks at.
    fn work(&self) -> usize {
        let tolls: usize = self.stops.iter().map(|stops| stops.count() * 3).sum();
        let walks = self.walkers.iter().map(|walker| {
            let steps = self.of[walker.request.ix()].iter();
            let lines: usize = steps.map(|own| self.stops[*own].lines.len()).sum();
            walker.width() * lines
        });
        tolls + walks.sum::<usize>()
    }

    /// The bound at the prices as they are.
    fn round(&mut self) -> Round {
        let sums: Vec<Vec<f64>> = self.price.iter().map(|own| self.running(own)).collect();
        let tolls = self.tolls(&sums);
        let prices = Prices {
            grid: &self.grid,
            of: &self.of,
            stops: &self.stops,
            tolls: &tolls,
            shares: &self.shares,
        };
        let mut taken = Vec::new();
        let walkers = self.walkers.iter();
        let costs = walkers.map(|own| own.cheapest(self.ahead.problem, &prices, &mut taken));
        let mut value: f64 = costs.sum();
        for (capacity, price) in self.capacity.iter().zip(&self.price) {
            let paid = capacity.iter().zip(price).map(|(have, price)| have * price);
            value -= paid.sum::<f64>();
        }
        Round { value, taken }
    }

    /// Price times minutes from the first bucket to each.
    fn running(&self, price: &[f64]) -> Vec<f64> {
        let mut sums = Vec::with_capacity(price.len() + 1);
        let mut sum = 0.0;
        sums.push(sum);
        for (price, length) in price.iter().zip(&self.lengths) {
            sum += price * length;
            sums.push(sum);
        }
        sums
    }

    /// What each stop costs a visit that takes it alone.
    fn tolls(&self, sums: &[Vec<f64>]) -> Vec<Vec<f64>> {
        let rooms = self.capacity.len() - self.ahead.problem.crews.len();
        let mut all = Vec::with_capacity(self.stops.len());
        for stops in &self.stops {
            let crew = rooms + stops.crew;
            let mut tolls = Vec::with_capacity(stops.count());
            for line in &stops.lines {
                for stop in &line.stops {
                    let stay = self.least(line.room, &sums[line.room], line.stays(stop)).0;
                    let hands = self.least(crew, &sums[crew], line.hands(stop)).0;
                    tolls.push(stay + hands);
                }
            }
            all.push(tolls);
        }
        all
    }

    /// The cheapest of some stays, and which.
    fn least(&self, what: usize, sums: &[f64], stays: &[(Spot, Spot)]) -> (f64, usize) {
        let price = &self.price[what];
        let at = |spot: Spot| {
            let bucket = spot.bucket as usize;
            sums[bucket] + price[bucket] * f64::from(spot.into)
        };
        let mut least = (f64::INFINITY, 0);
        for (ix, (from, to)) in stays.iter().enumerate() {
            let toll = at(*to) - at(*from);
            if toll < least.0 {
                least = (toll, ix);
            }
        }
        (least.0.max(0.0), least.1)
    }

    /// Changes prices towards a bound of `target`; false where nothing is overfull or left.
    fn step(&mut self, round: &Round, target: f64) -> bool {
        let mut use_of = self.use_of(&round.taken);
        for ((used, have), price) in use_of.iter_mut().zip(&self.capacity).zip(&self.price) {
            for ((used, have), price) in used.iter_mut().zip(have).zip(price) {
                *used -= have;
                if *price <= 0.0 && *used < 0.0 {
                    *used = 0.0;
                }
            }
        }
        let mut square = 0.0;
        for (own, new) in self.direction.iter_mut().zip(&use_of) {
            for ((own, new), length) in own.iter_mut().zip(new).zip(&self.lengths) {
                *own = new + MOMENTUM * *own;
                square += *own * *own / length;
            }
        }
        if square <= 1e-9 {
            return false;
        }
        let pace = (target - round.value) / square;
        for (price, own) in self.price.iter_mut().zip(&self.direction) {
            for ((price, own), length) in price.iter_mut().zip(own).zip(&self.lengths) {
                *price = (*price + pace * own / length).max(0.0);
            }
        }
        for taken in &round.taken {
            let (line, stop) = self.stops[taken.stops].stop(taken.stop);
            if line.together {
                self.shares
                    .note(taken.request, taken.step, stop.bucket as usize);
            }
        }
        self.shares.split();
        true
    }

    /// Minutes that the cheapest walks take of everything, by bucket.
    fn use_of(&self, taken: &[Taken]) -> Vec<Vec<f64>> {
        let rooms = self.capacity.len() - self.ahead.problem.crews.len();
        let mut used: Vec<Vec<f64>> = self
            .capacity
            .iter()
            .map(|own| vec![0.0; own.len()])
            .collect();
        for own in taken {
            let stops = &self.stops[own.stops];
            let (line, stop) = stops.stop(own.stop);
            let units = if line.together {
                let (part, most) = self.shares.of(own.request, own.step);
                own.units * part[stop.bucket as usize] / most.min(line.positions) as f64
            } else {
                own.units
            };
            let stays = line.stays(stop);
            self.add(&mut used[line.room], stays[0], units);
            let hands = line.hands(stop);
            self.add(&mut used[rooms + stops.crew], hands[0], units);
        }
        used
    }

    /// Adds the minutes from one spot to another, times `units`.
    fn add(&self, used: &mut [f64], (from, to): (Spot, Spot), units: f64) {
        let (first, last) = (from.bucket as usize, to.bucket as usize);
        let buckets = used.iter_mut().zip(&self.lengths).enumerate();
        for (bucket, (used, length)) in buckets.take(last + 1).skip(first) {
            let until = if bucket == last {
                f64::from(to.into)
            } else {
                *length
            };
            *used += units * until;
        }
        if let Some(used) = used.get_mut(first) {
            *used -= units * f64::from(from.into);
        }
    }
}

/// So many, and more for each visit, up to a most.
fn allowed((least, each, most): (usize, usize, usize), visits: usize) -> usize {
    visits.saturating_mul(each).saturating_add(least).min(most)
}

/// Visits of all units, started ones included.
fn visits(problem: &Problem) -> usize {
    problem.units.iter().map(|unit| unit.wanted).sum()
}

/// How many buckets the steps of the problem allow for; `None` where there are too many.
fn buckets(ahead: &Ahead<'_>, chains: &Chains) -> Option<usize> {
    let stops = allowed(STOPS, visits(ahead.problem));
    let buckets = stops / chains.lines(ahead).max(1);
    let buckets = buckets.clamp(BUCKETS.0, BUCKETS.1);
    let steps: usize = chains.of.iter().map(Vec::len).sum();
    (steps * buckets <= BOARD).then_some(buckets)
}
