//! From an order to times: each node is placed as early as it can be after the nodes before it.

use super::shape::{ANY, Shape};
use super::state::{NONE, State};
use super::supply::Left;
use crate::problem::network::{Mode, NEVER, Tick};

/// Working memory of decoding; nothing is allocated while it works.
pub(super) struct Decoder<'s, 'n> {
    shape: &'s Shape<'n>,
    /// When each lane is free, after which node, of which family.
    lane_end: Vec<Tick>,
    lane_node: Vec<u32>,
    lane_family: Vec<u32>,
    /// No earlier finish of a group is possible with what is placed.
    finish: Vec<Tick>,
    left: Vec<Left>,
    whole: Vec<Left>,
    floor_cost: i64,
}

/// A place for a node.
struct Spot {
    start: Tick,
    rig: u32,
    lane: u32,
    length: Tick,
}

/// What became of an order.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Outcome {
    /// All is placed, at this cost.
    Cost(i64),
    /// It costs more than the limit.
    Dear,
    /// The order cannot be kept.
    Never,
}

impl Outcome {
    /// The cost, where all is placed.
    pub(super) fn cost(self) -> Option<i64> {
        match self {
            Self::Cost(cost) => Some(cost),
            Self::Dear | Self::Never => None,
        }
    }
}

/// Why a node could not be placed.
enum Stuck {
    /// A node before it in the order must come after it, or it never fits.
    Never,
    /// This node must not start before this tick, for a largest gap.
    Push(u32, Tick),
}

impl<'s, 'n> Decoder<'s, 'n> {
    pub(super) fn new(shape: &'s Shape<'n>) -> Self {
        let lanes = *shape.lanes.last().expect("lanes begin with 0") as usize;
        let whole: Vec<Left> = shape.net.crews.iter().map(Left::new).collect();
        Self {
            shape,
            lane_end: vec![0; lanes],
            lane_node: vec![NONE; lanes],
            lane_family: vec![u32::MAX; lanes],
            finish: shape.floor.clone(),
            left: whole.clone(),
            whole,
            floor_cost: shape.floor_cost(),
        }
    }

    /// Works out all times from position `from` on, those before it being right; nothing is
    /// right where it costs more than `limit`.
    pub(super) fn decode(&mut self, state: &mut State, from: usize, limit: i64) -> Outcome {
        self.decode_with(state, from, limit, 20 + state.order.len() / 2)
    }

    /// Works out all times, with as many repairs of largest gaps as may help.
    pub(super) fn decode_patiently(&mut self, state: &mut State) -> Outcome {
        self.decode_with(state, 0, i64::MAX, 100 + 20 * state.order.len())
    }

    fn decode_with(&mut self, state: &mut State, from: usize, limit: i64, most: usize) -> Outcome {
        for ix in from..state.order.len() {
            state.push[state.order[ix] as usize] = 0;
        }
        let mut total = self.replay(state, from);
        let mut ix = from;
        let mut repairs = 0;
        while ix < state.order.len() {
            let node = state.order[ix];
            match self.place(state, node, ix) {
                Ok(()) => {
                    total += self.raise(state, node);
                    ix += 1;
                }
                Err(Stuck::Push(earlier, tick)) if repairs < most => {
                    repairs += 1;
                    state.push[earlier as usize] = tick;
                    ix = state.pos[earlier as usize] as usize;
                    total = self.replay(state, ix);
                }
                Err(_) => return Outcome::Never,
            }
            if total > limit {
                return Outcome::Dear;
            }
        }
        state.finish.clone_from(&self.finish);
        state.cost = total;
        Outcome::Cost(total)
    }

    /// Sets the lanes and supplies as they are after the nodes before `to`; the cost that follows.
    fn replay(&mut self, state: &State, to: usize) -> i64 {
        self.lane_end.fill(0);
        self.lane_node.fill(NONE);
        self.lane_family.fill(u32::MAX);
        self.finish.clone_from(&self.shape.floor);
        for (left, whole) in self.left.iter_mut().zip(&self.whole) {
            left.reset(whole);
        }
        let mut total = self.floor_cost;
        for node in &state.order[..to] {
            self.occupy(state, *node);
            total += self.raise(state, *node);
        }
        total
    }

    /// Enters a placed node into lane and supplies.
    #[inline]
    fn occupy(&mut self, state: &State, node: u32) {
        let at = node as usize;
        let task = state.first[at] as usize;
        let lane = state.lane[at];
        if lane != NONE {
            self.lane_end[lane as usize] = state.end[at];
            self.lane_node[lane as usize] = node;
            self.lane_family[lane as usize] = self.shape.net.tasks[task].family;
        }
        if self.shape.has_uses {
            for used in self.shape.net.uses(task) {
                self.left[used.crew as usize].take(state.start[at], state.end[at], used.number);
            }
        }
    }

    /// Raises the finishes that a placed node makes certain; by how much the cost grows.
    #[inline]
    fn raise(&mut self, state: &State, node: u32) -> i64 {
        let mut grown = 0;
        for task in state.members(node) {
            let finish = state.end[node as usize] + self.shape.tail[task];
            let group = self.shape.net.tasks[task].group as usize;
            if finish > self.finish[group] {
                let price = &self.shape.net.groups[group];
                grown += price.cost(finish) - price.cost(self.finish[group]);
                self.finish[group] = finish;
            }
        }
        grown
    }

    #[inline]
    fn place(&mut self, state: &mut State, node: u32, ix: usize) -> Result<(), Stuck> {
        let arrival = self.arrival(state, node, ix)?;
        let spot = self.spot(state, node, arrival)?;
        if self.shape.has_most {
            self.largest_gaps(state, node, ix, &spot)?;
        }
        let at = node as usize;
        state.start[at] = spot.start;
        state.end[at] = spot.start + spot.length;
        state.rig[at] = spot.rig;
        state.lane[at] = spot.lane;
        state.ahead[at] = if spot.lane == NONE {
            NONE
        } else {
            self.lane_node[spot.lane as usize]
        };
        self.occupy(state, node);
        Ok(())
    }

    /// When all tasks of a node can start, for what they wait for.
    #[inline]
    fn arrival(&self, state: &State, node: u32, ix: usize) -> Result<Tick, Stuck> {
        let net = self.shape.net;
        let mut arrival = state.push[node as usize];
        for task in state.members(node) {
            arrival = arrival.max(net.tasks[task].ready);
            for link in net.before(task) {
                let other = state.node[link.task as usize] as usize;
                if state.pos[other] as usize >= ix {
                    if link.least > -NEVER {
                        return Err(Stuck::Never);
                    }
                    continue;
                }
                let from = if link.from_end {
                    state.end[other]
                } else {
                    state.start[other]
                };
                arrival = arrival.max(from + link.least);
            }
            if self.shape.has_most {
                arrival = arrival
                    .max(self.shape.head[task])
                    .max(self.after_later(state, task, ix));
            }
        }
        Ok(arrival)
    }

    /// A task that stands in the order after one that must follow within a largest gap starts late enough for it.
    fn after_later(&self, state: &State, task: usize, ix: usize) -> Tick {
        let mut arrival = 0;
        for link in self
            .shape
            .net
            .after(task)
            .iter()
            .filter(|link| link.most < NEVER)
        {
            let other = state.node[link.task as usize] as usize;
            if (state.pos[other] as usize) < ix {
                arrival = arrival.max(state.start[other] - link.most);
            }
        }
        arrival
    }

    /// The node's rig and start: as early as it can end.
    #[inline]
    fn spot(&self, state: &State, node: u32, arrival: Tick) -> Result<Spot, Stuck> {
        let task = state.first[node as usize] as usize;
        let modes = self.shape.net.modes(task);
        let chosen = state.mode[node as usize];
        if chosen != ANY {
            return self.spot_on(task, modes[chosen as usize], arrival);
        }
        let mut best: Option<Spot> = None;
        for mode in modes {
            let spot = self.spot_on(task, *mode, arrival)?;
            let end = |spot: &Spot| spot.start + spot.length;
            let idle = |spot: &Spot| spot.start - self.lane_end[spot.lane as usize];
            let better = |old: &Spot| match end(&spot).cmp(&end(old)) {
                std::cmp::Ordering::Equal => spot.lane != NONE && idle(&spot) < idle(old),
                order => order.is_lt(),
            };
            if best.as_ref().is_none_or(better) {
                best = Some(spot);
            }
        }
        best.ok_or(Stuck::Never)
    }

    #[inline]
    fn spot_on(&self, task: usize, mode: Mode, arrival: Tick) -> Result<Spot, Stuck> {
        let (mut start, lane) = self.lane_for(task, mode.rig, arrival);
        if self.shape.has_uses {
            start = self.fit(task, start, mode.length)?;
        }
        Ok(Spot {
            start,
            rig: mode.rig,
            lane,
            length: mode.length,
        })
    }

    /// The lane of a rig that is free first, or of those free on arrival the one that idles least.
    #[inline]
    fn lane_for(&self, task: usize, rig: u32, arrival: Tick) -> (Tick, u32) {
        let from = self.shape.lanes[rig as usize];
        let to = self.shape.lanes[rig as usize + 1];
        let family = self.shape.net.tasks[task].family;
        let mut best = (arrival, NONE);
        let mut best_free = 0;
        for lane in from..to {
            let ix = lane as usize;
            let free = self.lane_end[ix] + self.shape.setup(self.lane_family[ix], family);
            let start = free.max(arrival);
            if best.1 == NONE || start < best.0 || (start == best.0 && free > best_free) {
                best = (start, lane);
                best_free = free;
            }
        }
        best
    }

    /// The first start from `start` on at which all that the task takes is free.
    fn fit(&self, task: usize, mut start: Tick, length: Tick) -> Result<Tick, Stuck> {
        let uses = self.shape.net.uses(task);
        let mut agreed = 0;
        let mut ix = 0;
        while agreed < uses.len() {
            let used = uses[ix];
            let fits = self.left[used.crew as usize].fit(start, length, used.number);
            if fits >= NEVER {
                return Err(Stuck::Never);
            }
            agreed = if fits == start { agreed + 1 } else { 1 };
            start = fits;
            ix = (ix + 1) % uses.len();
        }
        Ok(start)
    }

    /// Where the start is too late for a largest gap, says which node must start later.
    fn largest_gaps(&self, state: &State, node: u32, ix: usize, spot: &Spot) -> Result<(), Stuck> {
        for task in state.members(node) {
            for link in self
                .shape
                .net
                .before(task)
                .iter()
                .filter(|link| link.most < NEVER)
            {
                let other = state.node[link.task as usize];
                let at = other as usize;
                if state.pos[at] as usize >= ix {
                    continue;
                }
                let from = if link.from_end {
                    state.end[at]
                } else {
                    state.start[at]
                };
                if spot.start > from + link.most {
                    return Err(Stuck::Push(
                        other,
                        state.start[at] + spot.start - link.most - from,
                    ));
                }
            }
        }
        Ok(())
    }
}
