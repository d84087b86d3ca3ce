//! The cheapest way of a request through its steps at given prices.
//!
//! By ticks, step after step: the least that must have been paid to come out of a step at each tick, from the least
//! to have been there to load. A visit takes at least what the first that can load in its tick takes, and comes out no
//! earlier; waiting costs nothing but time. All units of a request pay the same for the same way, so the
//! least of the request is that of one unit's way, paid by all of them, with the cost of the request at its end.
//!
//! A way that ends after some tick costs at least what the request costs there, so ticks are looked at only as long as
//! that is less than what the last way costs at the new prices.

use super::clock::{Clock, Line, Offer};
use super::shares::Shares;
use crate::domain::{Minute, Minutes};
use crate::problem::{Problem, RequestIx};

/// A step of a request's way.
#[derive(Clone, Debug)]
pub(super) struct Leg {
    pub(super) kind: usize,
    /// By offer of the kind: how often it is paid.
    pub(super) weights: Vec<f64>,
    /// Its number among the shares, where it can be done in a run.
    pub(super) share: Option<usize>,
    /// The rest before it.
    pub(super) rest: Minutes,
}

/// The units of a request that are equally far, and pay.
#[derive(Clone, Debug)]
pub(super) struct Party<'p> {
    pub(super) problem: &'p Problem,
    pub(super) request: RequestIx,
    /// They do not load before.
    pub(super) from: Minute,
    /// The request does not finish before.
    pub(super) least: Minute,
    /// What happens later is not looked at.
    pub(super) last: Minute,
    pub(super) legs: Vec<Leg>,
}

/// For each leg the number of its offer, and of the stay there.
pub(super) type Trip = Vec<(usize, usize)>;

/// What can be had, and at what price.
#[derive(Clone, Copy)]
pub(super) struct Market<'a> {
    pub(super) clock: Clock,
    pub(super) offers: &'a [Vec<Offer>],
    pub(super) lines: &'a [Line],
    pub(super) shares: &'a Shares,
}

/// The stay by which a tick is reached: offer and number.
type Step = (usize, usize);

impl Party<'_> {
    /// The cost of the request where it finishes then.
    pub(super) fn cost(&self, finish: Minute) -> f64 {
        let finish = finish.max(self.least);
        self.problem.cost_at(self.request, finish) as f64
    }

    /// The least of cost and payments, with the way if it is known; `last` is the way of the round before.
    pub(super) fn cheapest(&self, market: Market<'_>, last: Option<&Trip>) -> (f64, Option<Trip>) {
        let first = market.clock.tick(self.from);
        let until = self.until(market, last).max(first);
        let count = until - first + 1;
        let mut paid = vec![0.0; count];
        let mut steps: Vec<Vec<Step>> = Vec::with_capacity(self.legs.len());
        let mut waits: Vec<Vec<usize>> = Vec::with_capacity(self.legs.len());
        for leg in &self.legs {
            let rest = market.clock.whole(leg.rest);
            let wait = waited(&mut paid, if waits.is_empty() { 0 } else { rest });
            waits.push(wait);
            let (out, step) = through(market, leg, first, &paid);
            paid = out;
            steps.push(step);
        }
        // Whoever ends later costs no less.
        let mut least = (self.cost(market.clock.minute(until + 1)), None);
        for (tick, paid) in paid.iter().enumerate().filter(|(_, paid)| paid.is_finite()) {
            let all = paid + self.cost(market.clock.minute(first + tick));
            if all < least.0 {
                least = (all, Some(tick));
            }
        }
        let trip = |tick| back(market, &self.legs, first, tick, &steps, &waits);
        (least.0, least.1.map(trip))
    }

    /// The last tick at which the request costs no more than the last way does now.
    fn until(&self, market: Market<'_>, last: Option<&Trip>) -> usize {
        let end = market.clock.tick(self.last);
        let Some(last) = last else { return end };
        let mut all = 0.0;
        let mut out = 0;
        for (leg, (offer, stay)) in self.legs.iter().zip(last) {
            all += pay(market, leg, *offer, *stay);
            out = market.offers[leg.kind][*offer].stays[*stay].out;
        }
        all += self.cost(market.clock.minute(out));
        let (mut low, mut high) = (out.min(end), end);
        while low < high {
            let middle = (low + high).div_ceil(2);
            if self.cost(market.clock.minute(middle)) <= all {
                low = middle;
            } else {
                high = middle - 1;
            }
        }
        low
    }

    /// Takes from the lines what the way takes, and tells the shares of it.
    pub(super) fn take(
        &self,
        trip: &Trip,
        offers: &[Vec<Offer>],
        lines: &mut [Line],
        shares: &mut Shares,
    ) {
        for (leg, (offer, stay)) in self.legs.iter().zip(trip) {
            let own = &offers[leg.kind][*offer];
            let stay = own.stays[*stay];
            let mut weight = leg.weights[*offer];
            if let Some(share) = leg.share.filter(|_| own.together) {
                weight *= shares.of(share, stay.load);
                shares.loaded(share, stay.load);
            }
            if let Some(rig) = own.rig {
                lines[rig].take(stay.load, stay.out, weight);
            }
            lines[own.crew].take(stay.load, stay.hands, weight);
        }
    }
}

/// What all units of the request pay for a stay.
fn pay(market: Market<'_>, leg: &Leg, offer: usize, stay: usize) -> f64 {
    let own = &market.offers[leg.kind][offer];
    let stay = own.stays[stay];
    let rig = own
        .rig
        .map_or(0.0, |rig| market.lines[rig].cost(stay.load, stay.out));
    let all = rig + market.lines[own.crew].cost(stay.load, stay.hands);
    let share = leg.share.filter(|_| own.together);
    let share = share.map_or(1.0, |share| market.shares.of(share, stay.load));
    leg.weights[offer] * share * all
}

/// Turns what was paid by each way out into the least by which one is there to load; the way out that
/// each tick goes back to.
fn waited(paid: &mut [f64], rest: usize) -> Vec<usize> {
    let outs = paid.to_vec();
    let (mut least, mut best) = (f64::INFINITY, 0);
    let mut waited = Vec::with_capacity(paid.len());
    for (tick, own) in paid.iter_mut().enumerate() {
        if let Some(out) = tick.checked_sub(rest)
            && outs[out] < least
        {
            (least, best) = (outs[out], out);
        }
        *own = least;
        waited.push(best);
    }
    waited
}

/// The least paid by each way out, for what was paid to be there, and the stays that lead there.
fn through(market: Market<'_>, leg: &Leg, first: usize, paid: &[f64]) -> (Vec<f64>, Vec<Step>) {
    let mut least = vec![f64::INFINITY; paid.len()];
    let mut steps = vec![(0, 0); paid.len()];
    for (offer, own) in market.offers[leg.kind].iter().enumerate() {
        let begin = own.stays.partition_point(|stay| stay.load < first);
        for (number, stay) in own.stays.iter().enumerate().skip(begin) {
            let (load, out) = (stay.load - first, stay.out - first);
            if load >= paid.len() {
                break;
            }
            if out >= paid.len() {
                continue;
            }
            let all = paid[load] + pay(market, leg, offer, number);
            if all < least[out] {
                least[out] = all;
                steps[out] = (offer, number);
            }
        }
    }
    (least, steps)
}

/// The way that comes out at a tick.
fn back(
    market: Market<'_>,
    legs: &[Leg],
    first: usize,
    tick: usize,
    steps: &[Vec<Step>],
    waits: &[Vec<usize>],
) -> Trip {
    let mut trip = Trip::with_capacity(legs.len());
    let mut out = tick;
    for ((leg, steps), waits) in legs.iter().zip(steps).zip(waits).rev() {
        let (offer, stay) = steps[out];
        trip.push((offer, stay));
        let load = market.offers[leg.kind][offer].stays[stay].load - first;
        out = waits[load];
    }
    trip.reverse();
    trip
}
