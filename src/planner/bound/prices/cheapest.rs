//! The least that a request can cost at given prices: its units one after the other.
//!
//! Of the units at a step let the `i`-th be the one that loads there as the `i`-th. It loads no earlier than the
//! request's own crowd lets it ([`super::super::crowd`]). And where the request finishes by `C`, at least `n - i` others
//! of the `n` units load after it and must be through by `C` as well: the crowd seen backwards. Of the last `j` to load
//! take the one that comes out first, at `o`. All `j` come out no earlier, so `o` is at most the latest minute from which
//! `j` can go on; if the step's rigs hold `P` units at once, at least `j - P` load at `o` or later. Whoever is out by
//! `o` has loaded by the latest load for that; and the `j`-th from the last has loaded by then. The same holds for the
//! people who load, of whom only so many are on shift.
//!
//! So each unit has a window at each step, the narrower the earlier `C` is, and it pays at least the lowest price in it.
//! The least of the request is that over all `C` of its cost at `C` and what all units pay at all steps: `C` is
//! tried in steps of a block of ticks, until its cost alone is more than the least so far.
//!
//! Example: three units, one hour each on one position, all by 13:00. The last loads by 12:00, the second by 11:00,
//! the first by 10:00.

use super::clock::{Clock, Costs, Latest, Line, Offer, Stay};
use super::shares::Shares;
use crate::domain::{Minute, Minutes};
use crate::problem::{Problem, RequestIx};

/// A step of a request's units.
#[derive(Clone, Debug)]
pub(super) struct Leg {
    pub(super) kind: usize,
    /// By offer of the kind: how often one unit pays for it.
    pub(super) weights: Vec<f64>,
    /// Its number among the shares, where it can be done in a run.
    pub(super) share: Option<usize>,
    /// The rest before it.
    pub(super) rest: Minutes,
    /// The same in whole ticks; see [`Party::go_by`].
    pub(super) rest_ticks: usize,
    /// Before which the first, the second, … unit does not load.
    pub(super) earliest: Vec<Minute>,
    /// So many units are in its rigs at once at most.
    pub(super) room: usize,
    /// So many are loaded at once at most.
    pub(super) hands: usize,
}

/// The units of a request that are equally far, and pay.
#[derive(Clone, Debug)]
pub(super) struct Party<'p> {
    pub(super) problem: &'p Problem,
    pub(super) request: RequestIx,
    /// How many they are.
    pub(super) units: usize,
    /// The request does not finish before.
    pub(super) least: Minute,
    /// What happens later is not looked at.
    pub(super) last: Minute,
    pub(super) legs: Vec<Leg>,
}

/// What is paid for: leg, number of the offer, and the stay there.
pub(super) type Paid = (usize, usize, Stay);

/// What can be had, and at what price.
#[derive(Clone, Copy)]
pub(super) struct Market<'a> {
    pub(super) clock: Clock,
    pub(super) offers: &'a [Vec<Offer>],
    pub(super) latest: &'a [Latest],
    pub(super) costs: &'a [Costs],
    pub(super) lines: &'a [Line],
    pub(super) shares: &'a Shares,
}

/// The lowest price in a unit's window at a step, as far as it has been looked at.
#[derive(Clone, Copy, Debug)]
struct Window {
    next: usize,
    lowest: f64,
}

impl Party<'_> {
    /// Its rests are counted by that clock from now on.
    pub(super) fn go_by(&mut self, clock: &Clock) {
        for leg in &mut self.legs {
            leg.rest_ticks = clock.whole(leg.rest);
        }
    }

    /// The cost of the request where it finishes then.
    pub(super) fn cost(&self, finish: Minute) -> f64 {
        let finish = finish.max(self.least);
        self.problem.cost_at(self.request, finish) as f64
    }

    /// The least of cost and payments, and what is paid for; nothing where it finishes later than is looked at.
    pub(super) fn cheapest(&self, market: Market<'_>) -> (f64, Vec<Paid>) {
        let clock = market.clock;
        let end = clock.tick(self.last);
        let mut windows = self.open(market);
        let mut latest = vec![0; windows.len()];
        // Whoever ends later costs no less.
        let (mut least, mut best) = (self.cost(clock.minute(end + 1)), None);
        let mut tick = clock.tick(self.least);
        while tick <= end {
            let until = (tick + clock.block - 1).min(end);
            let cost = self.cost(clock.minute(tick));
            if cost >= least {
                break;
            }
            if self.latest(market, until, &mut latest) {
                let all = cost + self.payments(market, &latest, &mut windows, least - cost);
                if all < least {
                    (least, best) = (all, Some(until));
                }
            }
            tick = until + 1;
        }
        let bought = best.map(|until| {
            self.latest(market, until, &mut latest);
            self.bought(market, &latest)
        });
        (least, bought.unwrap_or_default())
    }

    /// The windows, by leg and rank, not looked at yet.
    fn open(&self, market: Market<'_>) -> Vec<Window> {
        let earliest = self.legs.iter().flat_map(|leg| &leg.earliest);
        let window = |at: &Minute| Window {
            next: market.clock.tick(*at) / market.clock.block,
            lowest: f64::INFINITY,
        };
        earliest.map(window).collect()
    }

    /// The last ticks, by leg and rank, at which units load who are all through by a tick; false where they cannot be.
    pub(super) fn latest(&self, market: Market<'_>, end: usize, loads: &mut [usize]) -> bool {
        let mut after: Option<(usize, usize)> = None;
        for (number, leg) in self.legs.iter().enumerate().rev() {
            let latest = &market.latest[leg.kind];
            let first = number * self.units;
            for from_last in 0..self.units {
                let rank = self.units - 1 - from_last;
                let out = match after {
                    None => Some(end),
                    Some((first, rest)) => loads[first + rank].checked_sub(rest),
                };
                let Some(mut out) = out else { return false };
                if from_last >= leg.room {
                    out = out.min(loads[first + rank + leg.room]);
                }
                let Some(mut load) = latest.load_out_by(out) else {
                    return false;
                };
                if from_last >= leg.hands {
                    let hands_end = loads[first + rank + leg.hands];
                    let Some(free) = latest.load_hands_by(hands_end) else {
                        return false;
                    };
                    load = load.min(free);
                }
                if from_last > 0 {
                    load = load.min(loads[first + rank + 1]);
                }
                loads[first + rank] = load;
            }
            after = Some((first, leg.rest_ticks));
        }
        true
    }

    /// What all pay at least in their windows up to the latest loads; given up above `most`.
    fn payments(
        &self,
        market: Market<'_>,
        latest: &[usize],
        windows: &mut [Window],
        most: f64,
    ) -> f64 {
        let by_leg = windows
            .chunks_mut(self.units)
            .zip(latest.chunks(self.units));
        let mut all = 0.0;
        for (leg, (windows, latest)) in self.legs.iter().zip(by_leg) {
            if market.costs[leg.kind].free {
                continue;
            }
            for (window, latest) in windows.iter_mut().zip(latest) {
                let until = latest / market.clock.block;
                if window.next <= until {
                    let lowest = lowest(market, leg, window.next, until);
                    window.lowest = window.lowest.min(lowest);
                    window.next = until + 1;
                }
                all += window.lowest;
            }
            if all >= most {
                break;
            }
        }
        all
    }

    /// The cheapest stays in the windows, the first of those that cost the same.
    fn bought(&self, market: Market<'_>, latest: &[usize]) -> Vec<Paid> {
        let block = market.clock.block;
        let mut all = Vec::with_capacity(latest.len());
        for (number, leg) in self.legs.iter().enumerate() {
            for (rank, earliest) in leg.earliest.iter().enumerate() {
                let from = market.clock.tick(*earliest) / block;
                let until = latest[number * self.units + rank] / block;
                let cheapest = cheapest_block(market, leg, from, until);
                let stay = cheapest.and_then(|at| stay_in(market, leg, at));
                all.extend(stay.map(|(offer, stay)| (number, offer, stay)));
            }
        }
        all
    }

    /// Takes from the lines what is paid for, and tells the shares of it.
    pub(super) fn take(
        &self,
        paid: &[Paid],
        offers: &[Vec<Offer>],
        lines: &mut [Line],
        shares: &mut Shares,
    ) {
        for (number, offer, stay) in paid {
            let leg = &self.legs[*number];
            let own = &offers[leg.kind][*offer];
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

/// How often one unit pays for an offer that it loads in a block.
fn weight(market: Market<'_>, leg: &Leg, offer: usize, block: usize) -> f64 {
    let share = leg
        .share
        .filter(|_| market.offers[leg.kind][offer].together);
    let share = share.map_or(1.0, |share| {
        let first = block * market.clock.block;
        let last = first + market.clock.block - 1;
        let shares = market.shares;
        shares.of(share, first).min(shares.of(share, last))
    });
    leg.weights[offer] * share
}

/// The least that one unit pays which loads in some blocks.
fn lowest(market: Market<'_>, leg: &Leg, from: usize, until: usize) -> f64 {
    let mut lowest = f64::INFINITY;
    for (offer, costs) in market.costs[leg.kind].by_offer.iter().enumerate() {
        let costs = &costs[from..=until];
        let own = if leg.share.is_some() && market.offers[leg.kind][offer].together {
            let both = (from..).zip(costs);
            both.map(|(block, cost)| weight(market, leg, offer, block) * cost)
                .fold(f64::INFINITY, f64::min)
        } else {
            leg.weights[offer] * costs.iter().copied().fold(f64::INFINITY, f64::min)
        };
        // Nothing times infinity is no number, and no stay.
        lowest = lowest.min(own);
    }
    lowest
}

/// The block in which it pays least, the first of them.
fn cheapest_block(market: Market<'_>, leg: &Leg, from: usize, until: usize) -> Option<usize> {
    let (mut least, mut best) = (f64::INFINITY, None);
    for block in from..=until {
        let own = lowest(market, leg, block, block);
        if own < least {
            (least, best) = (own, Some(block));
        }
        if own <= 0.0 {
            break;
        }
    }
    best
}

/// The cheapest stay that loads in a block.
fn stay_in(market: Market<'_>, leg: &Leg, block: usize) -> Option<(usize, Stay)> {
    let offers = market.offers[leg.kind].iter().enumerate();
    let stays = offers.flat_map(|(offer, own)| {
        let weight = weight(market, leg, offer, block);
        let in_block = market.costs[leg.kind].in_block(offer, block);
        let stays = own.stays[in_block].iter();
        stays.map(move |stay| (weight * own.cost(market.lines, stay), offer, *stay))
    });
    let cheapest = stays.min_by(|a, b| a.0.total_cmp(&b.0));
    cheapest.map(|(_, offer, stay)| (offer, stay))
}
