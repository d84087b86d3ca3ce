//! Where a step can load, bucket by bucket, and what a load there must take at least.
//!
//! All loads within one bucket are looked at as one: it comes out no earlier than the first of them
//! could, and takes of its rig, and of its crew, the least that any of them does. With prices that are constant within
//! a bucket that least is at the first load, at the last, or where the end of the stay crosses from one
//! bucket to the next; where the stay has no fixed length, the first way out after each of two parts of the
//! bucket is set against the last load of that part.

use super::ahead::{Ahead, Kind, Way};
use super::grid::{Grid, Spot};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::Request;
use std::collections::BTreeMap;

/// A stay that lasts at least from one spot to the other.
pub(super) type Stay = (Spot, Spot);

/// All loads of a step on a rig within one bucket.
#[derive(Clone, Copy, Debug)]
pub(super) struct Stop {
    pub(super) bucket: u32,
    /// The bucket in which the next step can load at the earliest, or in which the last comes out.
    pub(super) next: u32,
    stays: (u32, u32),
    hands: (u32, u32),
}

/// The stops of a step on one rig.
#[derive(Clone, Debug)]
pub(super) struct Line {
    /// What it takes a place of; see [`Ahead`].
    pub(super) room: usize,
    /// Units share it run by run.
    pub(super) together: bool,
    pub(super) positions: usize,
    /// Stops of the lines before this one.
    pub(super) base: usize,
    pub(super) stops: Vec<Stop>,
    pairs: Vec<Stay>,
}

impl Line {
    /// Least stays in the rig; a load in the bucket lasts at least as long as one of them.
    pub(super) fn stays(&self, stop: &Stop) -> &[Stay] {
        &self.pairs[stop.stays.0 as usize..stop.stays.1 as usize]
    }

    /// The same for the hands of the crew.
    pub(super) fn hands(&self, stop: &Stop) -> &[Stay] {
        &self.pairs[stop.hands.0 as usize..stop.hands.1 as usize]
    }
}

/// A step with what binds it to those that follow: the same for all requests of a sequence.
#[derive(Clone, Debug)]
pub(super) struct Stops {
    pub(super) crew: usize,
    pub(super) lines: Vec<Line>,
}

impl Stops {
    /// How many stops there are on all lines.
    pub(super) fn count(&self) -> usize {
        self.lines
            .last()
            .map_or(0, |line| line.base + line.stops.len())
    }

    /// The line and stop of a number below [`Stops::count`].
    pub(super) fn stop(&self, number: usize) -> (&Line, &Stop) {
        let line = self.lines.partition_point(|line| line.base <= number) - 1;
        let line = &self.lines[line];
        (line, &line.stops[number - line.base])
    }
}

/// The steps that differ in their stops, each once for all requests that share it.
#[derive(Debug, Default)]
pub(super) struct Chains {
    /// A request and step of each.
    all: Vec<(usize, usize)>,
    /// By request and step, a place in `all`.
    pub(super) of: Vec<Vec<usize>>,
}

impl Chains {
    /// The chains of the given requests.
    pub(super) fn new(ahead: &Ahead<'_>, requests: &[bool]) -> Self {
        let mut known: BTreeMap<Vec<Link>, usize> = BTreeMap::new();
        let mut chains = Self::default();
        for (ix, request) in ahead.problem.requests.iter().enumerate() {
            let steps = if requests[ix] { request.steps.len() } else { 0 };
            let mut own = Vec::with_capacity(steps);
            for step in 0..steps {
                let number = *known.entry(chain(ahead, request, step)).or_insert_with(|| {
                    chains.all.push((ix, step));
                    chains.all.len() - 1
                });
                own.push(number);
            }
            chains.of.push(own);
        }
        chains
    }

    /// Rigs over all chains: how many lines of stops there will be.
    pub(super) fn lines(&self, ahead: &Ahead<'_>) -> usize {
        let requests = &ahead.problem.requests;
        let steps = self
            .all
            .iter()
            .map(|(ix, step)| &requests[*ix].steps[*step]);
        steps.map(|step| ahead.kind(step).ways.len()).sum()
    }

    /// The stops of every chain.
    pub(super) fn stops(&self, ahead: &Ahead<'_>, grid: &Grid) -> Vec<Stops> {
        let requests = &ahead.problem.requests;
        let all = self.all.iter();
        all.map(|(ix, step)| stops(ahead, grid, &requests[*ix], *step))
            .collect()
    }
}

fn stops(ahead: &Ahead<'_>, grid: &Grid, request: &Request, step: usize) -> Stops {
    let kind = ahead.kind(&request.steps[step]);
    let next = request.steps.get(step + 1);
    let rest = next.map_or(Minutes::ZERO, |next| next.rest_min);
    let on_way = |way: &Way| {
        let walk = Walk {
            ahead,
            kind,
            way,
            request,
            step,
        };
        line(&walk, grid, rest)
    };
    let mut lines: Vec<Line> = kind.ways.iter().map(on_way).collect();
    for ix in 1..lines.len() {
        lines[ix].base = lines[ix - 1].base + lines[ix - 1].stops.len();
    }
    let crew = kind.condition.crew.ix();
    Stops { crew, lines }
}

/// The kind of a step with its rest, where a largest rest binds it to the step before.
type Link = (usize, Minutes, Minutes);

/// A step with its rest, and those that must follow within a largest rest with theirs.
fn chain(ahead: &Ahead<'_>, request: &Request, step: usize) -> Vec<Link> {
    let mut chain = vec![(
        ahead.kind_number(&request.steps[step]),
        Minutes::ZERO,
        Minutes::ZERO,
    )];
    for next in &request.steps[step + 1..] {
        let bound = next.rest_max < Minutes::FOREVER;
        let kind = if bound {
            ahead.kind_number(next)
        } else {
            usize::MAX
        };
        chain.push((kind, next.rest_min, next.rest_max));
        if !bound {
            break;
        }
    }
    chain
}

/// A step of a request on one way.
struct Walk<'a, 'p> {
    ahead: &'a Ahead<'p>,
    kind: &'a Kind<'p>,
    way: &'a Way,
    request: &'a Request,
    step: usize,
}

impl Walk<'_, '_> {
    /// The earliest load from `from` on, and the earliest way out after which the rest can follow.
    fn earliest(&self, from: Minute) -> Option<super::ahead::Earliest> {
        self.ahead
            .step_on_way(self.request, self.step, self.way, from)
    }
}

fn line(walk: &Walk<'_, '_>, grid: &Grid, rest: Minutes) -> Line {
    let problem = walk.ahead.problem;
    let rig = problem.rigs.get(walk.way.room);
    let mut line = Line {
        room: walk.way.room,
        together: rig.is_some_and(|rig| rig.loading == Loading::Together),
        positions: rig.map_or(1, |rig| rig.positions as usize),
        base: 0,
        stops: Vec::new(),
        pairs: Vec::new(),
    };
    let one = Minutes::new(1);
    let mut bucket = 0;
    while bucket < grid.count() {
        let Some(first) = walk.earliest(grid.start(bucket)) else {
            break;
        };
        if first.load >= grid.end(bucket) {
            bucket = grid.bucket(first.load);
            continue;
        }
        let last_load = grid.end(bucket) - one;
        let stays = {
            let out = |load| walk.earliest(load).map_or(problem.end, |own| own.out);
            let stay = walk.way.stay();
            add_stays(
                grid,
                &mut line.pairs,
                (first.load, last_load),
                first.out,
                stay,
                out,
            )
        };
        let hands = {
            let end = |load| walk.kind.hands_end_on(walk.way, load);
            let hands = walk.kind.hands(walk.way);
            let ends = end(first.load);
            add_stays(
                grid,
                &mut line.pairs,
                (first.load, last_load),
                ends,
                hands,
                end,
            )
        };
        line.stops.push(Stop {
            bucket: index(bucket),
            next: index(grid.bucket(first.out + rest)),
            stays,
            hands,
        });
        bucket += 1;
    }
    line
}

/// Adds the stays that a load from the first to the last may come down to; `end` is monotone and at least
/// `length` after the load.
fn add_stays(
    grid: &Grid,
    pairs: &mut Vec<Stay>,
    (first, last): (Minute, Minute),
    first_end: Minute,
    length: Minutes,
    end: impl Fn(Minute) -> Minute,
) -> (u32, u32) {
    let begun = index(pairs.len());
    let mut push = |from: Minute, to: Minute| pairs.push((grid.spot(from), grid.spot(to)));
    if first_end == first + length {
        push(first, first_end);
        push(last, last + length);
        for edge in grid.edges_between(first + length, last + length) {
            push(*edge - length, *edge);
        }
    } else {
        let middle = first + Minutes::new((last - first).get() / 2);
        push(middle, first_end);
        push(last, end(middle));
    }
    (begun, index(pairs.len()))
}

fn index(ix: usize) -> u32 {
    u32::try_from(ix).expect("buckets and stays are few")
}
