//! Ruin and recreate: take a few requests off, put them in again in another order, keep what is better.
//!
//! After Shaw (1998) and Schrimpf and others (2000), with record-to-record acceptance (Dueck 1993). What
//! is taken off is chosen where cost arises: a late or long request with others that use its rigs at the
//! same time. A round changes only what it takes off, so its price does not grow with the plan.

use super::construct::{Builder, Style};
use super::random::Random;
use super::timeline::Placed;
use crate::domain::{Minute, Minutes};
use crate::problem::{RequestIx, UnitIx};
use std::collections::BTreeMap;

type Taken = Vec<(UnitIx, usize, Placed)>;

/// What a round did.
pub(super) struct Outcome {
    pub(super) improved: bool,
    pub(super) cost: i64,
}

/// A search in progress.
pub(super) struct Search<'b, 'p> {
    builder: &'b mut Builder<'p>,
    random: Random,
    /// Requests that may be taken off: those with bookings; what is fixed goes back where it must be.
    movable: Vec<RequestIx>,
    /// Rigs a request could use, as a set of bits by rig number modulo 64.
    rigs: Vec<u64>,
    cost: i64,
    best_cost: i64,
    /// Where the current plan is worse than the best: the bookings that requests changed since then have
    /// in the best plan.
    best: BTreeMap<RequestIx, Taken>,
    rounds: u64,
}

/// The cost of all requests that are planned.
pub(super) fn cost_of(builder: &Builder<'_>) -> i64 {
    let requests = (0..builder.problem.requests.len()).map(RequestIx::from);
    requests.map(|request| request_cost(builder, request)).sum()
}

fn request_cost(builder: &Builder<'_>, request: RequestIx) -> i64 {
    builder
        .finish(request)
        .map_or(0, |finish| builder.problem.cost_at(request, finish))
}

impl<'b, 'p> Search<'b, 'p> {
    pub(super) fn new(builder: &'b mut Builder<'p>, seed: u64) -> Self {
        let problem = builder.problem;
        let all = (0..problem.requests.len()).map(RequestIx::from);
        let movable = all.filter(|request| builder.can_move(*request)).collect();
        let rigs = (0..problem.requests.len())
            .map(|ix| rig_bits(builder, ix))
            .collect();
        let cost = cost_of(builder);
        builder.forget_log();
        Self {
            builder,
            random: Random::new(seed),
            movable,
            rigs,
            cost,
            best_cost: cost,
            best: BTreeMap::new(),
            rounds: 0,
        }
    }

    /// One round; `None` where there is nothing to move.
    pub(super) fn round(&mut self) -> Option<Outcome> {
        let ruined = self.choose()?;
        self.rounds += 1;
        let before: i64 = ruined
            .iter()
            .map(|request| request_cost(self.builder, *request))
            .sum();
        let taken: Vec<Taken> = ruined
            .iter()
            .map(|request| self.builder.take_off(*request))
            .collect();
        let after = self.recreate(&ruined);
        let accepted = after.is_some_and(|after| self.accepts(after - before));
        if !accepted {
            self.take_back(&ruined, &taken);
            return Some(Outcome {
                improved: false,
                cost: self.best_cost,
            });
        }
        self.cost += after.unwrap_or(before) - before;
        let improved = self.cost < self.best_cost;
        if self.cost <= self.best_cost {
            self.best_cost = self.cost;
            self.best.clear();
        } else {
            for (request, bookings) in ruined.iter().zip(taken) {
                self.best.entry(*request).or_insert(bookings);
            }
        }
        Some(Outcome {
            improved,
            cost: self.best_cost,
        })
    }

    /// Leaves the best plan in the builder.
    pub(super) fn finish(self) {
        for request in self.best.keys() {
            self.builder.take_off(*request);
        }
        for bookings in self.best.values() {
            self.builder.put_back(bookings);
        }
    }

    /// Worse plans are taken within a threshold of the best that falls as rounds go by.
    fn accepts(&self, change: i64) -> bool {
        if change <= 0 {
            return true;
        }
        let share = 0.01 / (1.0 + self.rounds as f64 / 500.0);
        (self.cost + change - self.best_cost) as f64 <= share * self.best_cost as f64
    }

    /// A request chosen by its cost or at random, and some that compete with it.
    fn choose(&mut self) -> Option<Vec<RequestIx>> {
        if self.movable.is_empty() {
            return None;
        }
        let first = self.seed_request();
        let others = 1 + self.random.below(4.min(self.movable.len()));
        let span = self.span_of(first);
        let mut near: Vec<(f64, RequestIx)> = Vec::new();
        let tries = 24.min(self.movable.len());
        for _ in 0..tries {
            let other = self.movable[self.random.below(self.movable.len())];
            if other != first && near.iter().all(|(_, known)| *known != other) {
                near.push((
                    self.kinship(first, span, other) * (0.3 + self.random.fraction()),
                    other,
                ));
            }
        }
        near.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)));
        let mut ruined = vec![first];
        ruined.extend(near.into_iter().take(others).map(|(_, other)| other));
        Some(ruined)
    }

    /// The dearest of a few drawn at random.
    fn seed_request(&mut self) -> RequestIx {
        let draws = 1 + self.random.below(4);
        let drawn: Vec<RequestIx> = (0..draws)
            .map(|_| self.movable[self.random.below(self.movable.len())])
            .collect();
        let dearest = drawn
            .into_iter()
            .max_by_key(|request| request_cost(self.builder, *request));
        dearest.expect("at least one is drawn")
    }

    fn span_of(&self, request: RequestIx) -> (Minute, Minute) {
        let own = &self.builder.problem.requests[request.ix()];
        (own.ready, self.builder.finish(request).unwrap_or(own.ready))
    }

    /// How much two requests compete: common rigs, common time.
    fn kinship(&self, first: RequestIx, span: (Minute, Minute), other: RequestIx) -> f64 {
        let (from, to) = self.span_of(other);
        let common = (span.1.min(to) - span.0.max(from)).at_least_zero().get() as f64;
        let longest = (span.1 - span.0).max(to - from).get().max(1) as f64;
        let rigs = (self.rigs[first.ix()] & self.rigs[other.ix()]).count_ones();
        f64::from(1 + rigs) * (0.1 + common / longest)
    }

    /// Puts the requests in again; their cost, or `None` where one finds no place.
    fn recreate(&mut self, ruined: &[RequestIx]) -> Option<i64> {
        let mut order: Vec<RequestIx> = ruined.to_vec();
        for ix in (1..order.len()).rev() {
            order.swap(ix, self.random.below(ix + 1));
        }
        let hours = [0, 2, 6, 12, 24, 72][self.random.below(6)];
        let look_ahead = self.random.below(4) > 0;
        self.builder.style = Style {
            join_wait: Minutes::hours(hours),
            look_ahead,
            alone: false,
        };
        for request in &order {
            self.builder.put(*request).ok()?;
        }
        self.builder.forget_log();
        Some(
            order
                .iter()
                .map(|request| request_cost(self.builder, *request))
                .sum(),
        )
    }

    fn take_back(&mut self, ruined: &[RequestIx], taken: &[Taken]) {
        for request in ruined {
            self.builder.take_off(*request);
        }
        for bookings in taken {
            self.builder.put_back(bookings);
        }
        self.builder.forget_log();
    }
}

fn rig_bits(builder: &Builder<'_>, request: usize) -> u64 {
    let problem = builder.problem;
    let steps = problem.requests[request].steps.iter();
    let rigs = steps
        .flat_map(|step| problem.rigs_for(step))
        .map(|(rig, _)| rig.0 % 64);
    rigs.fold(0, |bits, rig| bits | 1 << rig)
}
