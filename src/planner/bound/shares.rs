//! Who pays for a run of a rig that is loaded together.
//!
//! A run takes the whole rig, however few units are in it. Its price may be split among those who could
//! ride in it in any way, as long as no run ever collects more than its price. Riders of one condition are
//! the steps of requests that have it; of one rider at most `m` units ride at once: no more than it has, the
//! rig has positions, and can begin the next step in time ([`super::seats`]). If rider `i` is given the
//! part `a_i` of the price, and each of its units pays `a_i ÷ m_i`, then a run with `k_i <= m_i` units of each
//! collects `Σ k_i a_i ÷ m_i <= Σ a_i = 1` of it. The parts may differ from bucket to bucket, since all
//! units of a run load in the same minute.
//!
//! Example: a chamber of 12 positions, two requests of 3 units each with one condition. With halves each
//! unit pays a sixth of a run. A week later only the second request is still about: it is given the
//! whole, and each of its units pays a third.

use super::ahead::Ahead;
use super::seats;
use crate::problem::CondIx;
use std::collections::BTreeMap;

/// What remains of a bucket's use after a round.
const MEMORY: f64 = 0.85;
/// How far the use of a bucket reaches into the next.
const REACH: f64 = 0.7;
/// Everybody's part where nobody is seen.
const FLOOR: f64 = 0.02;

/// A step of a request that rides in runs.
#[derive(Clone, Debug)]
struct Rider {
    /// The most of its units in one run, by what the next step lets through and the request has.
    most: usize,
    /// How much it has been seen in each bucket.
    seen: Vec<f64>,
    /// Its part of the price in each bucket.
    part: Vec<f64>,
}

/// The parts of all riders.
#[derive(Clone, Debug)]
pub(super) struct Shares {
    riders: Vec<Rider>,
    /// Riders by condition.
    conditions: Vec<Vec<usize>>,
    /// By request and step.
    number: BTreeMap<(usize, usize), usize>,
}

impl Shares {
    /// Equal parts for the riders of the given requests.
    pub(super) fn new(ahead: &Ahead<'_>, buckets: usize, requests: &[bool]) -> Self {
        let mut conditions: BTreeMap<CondIx, Vec<usize>> = BTreeMap::new();
        let mut shares = Self {
            riders: Vec::new(),
            conditions: Vec::new(),
            number: BTreeMap::new(),
        };
        let problem = ahead.problem;
        for (ix, request) in problem
            .requests
            .iter()
            .enumerate()
            .filter(|(ix, _)| requests[*ix])
        {
            let units = request.units.len();
            for (step, own) in request.steps.iter().enumerate() {
                // A unit that is stopped before the next step is not held by its rest.
                let all = request
                    .units
                    .clone()
                    .all(|unit| problem.units[unit as usize].wanted == request.steps.len());
                let until = if all { request.steps.len() } else { step + 1 };
                let most = seats::units_in_a_run(ahead, request, step, until).min(units);
                conditions
                    .entry(own.condition)
                    .or_default()
                    .push(shares.riders.len());
                shares.number.insert((ix, step), shares.riders.len());
                shares.riders.push(Rider {
                    most: most.max(1),
                    seen: vec![0.0; buckets],
                    part: Vec::new(),
                });
            }
        }
        shares.conditions = conditions.into_values().collect();
        shares.split();
        shares
    }

    /// The part of a run's price that one unit pays in each bucket, and by how many units it is shared
    /// at most.
    pub(super) fn of(&self, request: usize, step: usize) -> (&[f64], usize) {
        let rider = &self.riders[self.number[&(request, step)]];
        (&rider.part, rider.most)
    }

    /// Notes that the rider loads in a bucket.
    pub(super) fn note(&mut self, request: usize, step: usize, bucket: usize) {
        let rider = &mut self.riders[self.number[&(request, step)]];
        rider.seen[bucket] += 1.0 - MEMORY;
    }

    /// Splits anew by where riders were seen, and begins to forget.
    pub(super) fn split(&mut self) {
        for members in &self.conditions {
            let near: Vec<Vec<f64>> = members
                .iter()
                .map(|rider| spread(&self.riders[*rider].seen))
                .collect();
            let buckets = near[0].len();
            let mut sums = vec![0.0; buckets];
            for near in &near {
                for (sum, own) in sums.iter_mut().zip(near) {
                    *sum += own + FLOOR;
                }
            }
            for (rider, near) in members.iter().zip(&near) {
                let own = near.iter().zip(&sums);
                let part = own.map(|(own, sum)| (own + FLOOR) / sum).collect();
                self.riders[*rider].part = part;
            }
        }
        for seen in self.riders.iter_mut().flat_map(|rider| &mut rider.seen) {
            *seen *= MEMORY;
        }
    }
}

/// What is seen in a bucket, fading into those before and after it.
fn spread(seen: &[f64]) -> Vec<f64> {
    let mut near = seen.to_vec();
    for ix in 1..near.len() {
        near[ix] = near[ix].max(near[ix - 1] * REACH);
    }
    for ix in (1..near.len()).rev() {
        near[ix - 1] = near[ix - 1].max(near[ix] * REACH);
    }
    near
}
