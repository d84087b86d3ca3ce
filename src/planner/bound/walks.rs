//! The cheapest walk of a unit when rigs and hands have prices.
//!
//! Step after step the least sum of tolls with which a unit can be ready for the next step by each bucket is found from
//! the same of the step before: a load in a bucket costs its toll and makes the unit ready no
//! earlier than its stop says. Every walk in a valid plan loads in some buckets, each no earlier than the
//! one before made it ready, and pays at least these tolls.

use super::crowd::Walked;
use super::grid::Grid;
use super::shares::Shares;
use super::stops::Stops;
use crate::domain::{Minute, Minutes};
use crate::problem::{Pin, Problem, RequestIx, Unit};

/// No stop: a pinned visit, or nothing at all.
const NONE: u32 = u32::MAX;
/// A request is followed until this long after its earliest finish, and twice its shortest flow more.
const SLACK: Minutes = Minutes::new(14 * 1440);

/// Units of a request that have come equally far and are free to go on.
#[derive(Clone, Debug)]
struct Group {
    count: f64,
    first: usize,
    floor: Minute,
    pins: Vec<Pin>,
}

/// A request with all that does not change with prices.
#[derive(Clone, Debug)]
pub(super) struct Walker {
    pub(super) request: RequestIx,
    least: Minute,
    groups: Vec<Group>,
    /// By step: the first bucket in which any unit can load.
    heads: Vec<usize>,
    /// Buckets that are looked at; beyond them everything is free.
    from: usize,
    until: usize,
}

/// A visit of the cheapest walk.
#[derive(Clone, Copy, Debug)]
pub(super) struct Taken {
    pub(super) request: usize,
    pub(super) step: usize,
    /// Place of the step's [`Stops`], and number of the stop.
    pub(super) stops: usize,
    pub(super) stop: usize,
    /// Units that take it.
    pub(super) units: f64,
}

/// When a request need not be followed any more.
pub(super) fn until(problem: &Problem, request: RequestIx, least: Minute) -> Minute {
    let own = &problem.requests[request.ix()];
    let flow = least - own.ready.max(problem.now);
    (least + flow * 2 + SLACK).min(problem.end)
}

impl Walker {
    pub(super) fn new(
        problem: &Problem,
        grid: &Grid,
        request: RequestIx,
        walked: &Walked,
        least: Minute,
    ) -> Self {
        let own = &problem.requests[request.ix()];
        let floor = own.ready.max(problem.now);
        let mut groups: Vec<Group> = Vec::new();
        let free = |unit: &&Unit| unit.wanted == own.steps.len() && unit.facts.len() < unit.wanted;
        let units = &problem.units[own.units.start as usize..own.units.end as usize];
        for unit in units.iter().filter(free) {
            let first = unit.facts.len();
            let out = unit.facts.last().map(|fact| fact.visit.times.out);
            let floor = out.map_or(floor, |out| floor.max(out + own.steps[first].rest_min));
            let alike = groups.iter_mut().find(|group| {
                group.first == first && group.pins.is_empty() && unit.pins.is_empty()
            });
            if let Some(group) = alike {
                group.count += 1.0;
                group.floor = group.floor.min(floor);
            } else {
                let pins = unit.pins.clone();
                groups.push(Group {
                    count: 1.0,
                    first,
                    floor,
                    pins,
                });
            }
        }
        let heads = walked.steps.iter().map(|passed| {
            let first = passed.loads.first();
            first.map_or(0, |load| grid.bucket(*load))
        });
        let from = groups.iter().map(|group| grid.bucket(group.floor)).min();
        Self {
            request,
            least,
            groups,
            heads: heads.collect(),
            from: from.unwrap_or(0).min(grid.count()),
            until: grid
                .bucket(until(problem, request, least))
                .min(grid.count()),
        }
    }

    /// True where its units have something to pay for.
    pub(super) fn walks(&self) -> bool {
        !self.groups.is_empty() && self.from < self.until
    }

    /// How many buckets a round looks at for each step.
    pub(super) fn width(&self) -> usize {
        self.until.saturating_sub(self.from) * self.groups.len()
    }

    /// The least sum of cost and tolls over all finishes; adds the visits that attain it to `taken`.
    pub(super) fn cheapest(
        &self,
        problem: &Problem,
        board: &Prices<'_>,
        taken: &mut Vec<Taken>,
    ) -> f64 {
        if !self.walks() {
            return problem.cost_at(self.request, self.least) as f64;
        }
        let grid = board.grid;
        let board = Board {
            walker: self,
            problem,
            stops: &board.of[self.request.ix()],
            prices: board,
        };
        let walked: Vec<Fields> = self.groups.iter().map(|group| board.walk(group)).collect();
        let cost = |bucket: usize| {
            let finish = self.least.max(grid.start(bucket));
            problem.cost_at(self.request, finish) as f64
        };
        let beyond = cost(self.until);
        let sums = (self.from..self.until).map(|bucket| {
            let tolls = self.groups.iter().zip(&walked);
            let tolls = tolls.map(|(group, fields)| group.count * fields.cost[bucket - self.from]);
            (cost(bucket) + tolls.sum::<f64>(), bucket)
        });
        let best = sums.min_by(|a, b| a.0.total_cmp(&b.0));
        match best.filter(|(sum, _)| *sum < beyond) {
            Some((sum, bucket)) => {
                for (group, fields) in self.groups.iter().zip(&walked) {
                    board.trace(group, fields, bucket, taken);
                }
                sum
            }
            None => beyond,
        }
    }
}

/// What all walks look at.
pub(super) struct Prices<'a> {
    pub(super) grid: &'a Grid,
    /// By request and step, a place in `stops`.
    pub(super) of: &'a [Vec<usize>],
    pub(super) stops: &'a [Stops],
    /// By place in `stops` and number of the stop.
    pub(super) tolls: &'a [Vec<f64>],
    pub(super) shares: &'a Shares,
}

/// What the walks of one request look at.
struct Board<'a> {
    walker: &'a Walker,
    problem: &'a Problem,
    stops: &'a [usize],
    prices: &'a Prices<'a>,
}

/// The tolls to be through by each bucket, and by step the stop that leads there.
struct Fields {
    cost: Vec<f64>,
    stops: Vec<Vec<u32>>,
}

impl Board<'_> {
    fn walk(&self, group: &Group) -> Fields {
        let width = self.walker.until - self.walker.from;
        let floor = self.prices.grid.bucket(group.floor).max(self.walker.from) - self.walker.from;
        let mut cost = vec![f64::INFINITY; width];
        cost[floor.min(width)..].fill(0.0);
        let mut stops = vec![Vec::new(); group.first];
        for step in group.first..self.stops.len() {
            let mut next = vec![f64::INFINITY; width];
            let mut led = vec![NONE; width];
            match group.pins.iter().find(|pin| pin.step == step) {
                Some(pin) => self.pinned(pin, &cost, &mut next),
                None => self.step(step, &cost, &mut next, &mut led),
            }
            for ix in 1..width {
                if next[ix - 1] <= next[ix] {
                    next[ix] = next[ix - 1];
                    led[ix] = led[ix - 1];
                }
            }
            cost = next;
            stops.push(led);
        }
        Fields { cost, stops }
    }

    fn step(&self, step: usize, cost: &[f64], next: &mut [f64], led: &mut [u32]) {
        let (from, until) = (self.walker.from, self.walker.until);
        let stops = &self.prices.stops[self.stops[step]];
        let tolls = &self.prices.tolls[self.stops[step]];
        let (part, most) = self.prices.shares.of(self.walker.request.ix(), step);
        let head = self.walker.heads[step].max(from);
        for line in &stops.lines {
            let first = line
                .stops
                .partition_point(|stop| (stop.bucket as usize) < head);
            let seats = most.min(line.positions) as f64;
            for (ix, stop) in line.stops.iter().enumerate().skip(first) {
                let (bucket, ready) = (stop.bucket as usize, stop.next as usize);
                if ready >= until {
                    break;
                }
                let share = if line.together {
                    part[bucket] / seats
                } else {
                    1.0
                };
                let sum = cost[bucket - from] + share * tolls[line.base + ix];
                if sum < next[ready - from] {
                    next[ready - from] = sum;
                    led[ready - from] = u32::try_from(line.base + ix).expect("stops are few");
                }
            }
        }
    }

    /// A pinned visit pays nothing: its load is where it is.
    fn pinned(&self, pin: &Pin, cost: &[f64], next: &mut [f64]) {
        let (from, until) = (self.walker.from, self.walker.until);
        let bucket = self.prices.grid.bucket(pin.load).max(from);
        if bucket < until {
            let own = &self.problem.requests[self.walker.request.ix()].steps[pin.step];
            let rig = &self.problem.rigs[pin.rig.ix()];
            let exposure = self.problem.exposure(own, pin.rig);
            let stay = rig.load + exposure.unwrap_or(Minutes::ZERO) + rig.unload;
            let ready = self.prices.grid.bucket(pin.load + stay).max(bucket);
            if ready < until {
                next[ready - from] = cost[bucket - from];
            }
        }
    }

    fn trace(&self, group: &Group, fields: &Fields, bucket: usize, taken: &mut Vec<Taken>) {
        let from = self.walker.from;
        let mut bucket = bucket;
        for step in (group.first..self.stops.len()).rev() {
            let number = fields.stops[step][bucket - from];
            if number == NONE {
                let Some(pin) = group.pins.iter().find(|pin| pin.step == step) else {
                    return;
                };
                bucket = self.prices.grid.bucket(pin.load).max(from);
                continue;
            }
            let stops = self.stops[step];
            let (_, stop) = self.prices.stops[stops].stop(number as usize);
            taken.push(Taken {
                request: self.walker.request.ix(),
                step,
                stops,
                stop: number as usize,
                units: group.count,
            });
            bucket = stop.bucket as usize;
        }
    }
}
