//! From an order to times: each node is placed as early as it can be after the nodes before it.

use super::shape::{ANY, Shape};
use super::site::Held;
use super::state::{NONE, State};
use super::supply::Left;
use crate::problem::network::{Mode, NEVER, Tick};

/// Working memory of decoding; nothing is allocated while it works.
pub(super) struct Decoder<'s, 'n> {
    pub(super) shape: &'s Shape<'n>,
    pub(super) now: Work,
    /// As it is before any node is placed.
    empty: Work,
    /// As it was after the nodes before some positions of the order that was kept last.
    marks: Vec<Work>,
    /// How many of the marks hold.
    holding: usize,
    /// Marks lie this many positions apart at least.
    apart: usize,
    /// The first position whose node the last decode may have placed elsewhere.
    changed: usize,
}

/// What is taken by the nodes placed so far.
#[derive(Clone)]
pub(super) struct Work {
    /// How many nodes are placed.
    position: usize,
    /// When each lane is free, after which node, of which kind.
    pub(super) lane_end: Vec<Tick>,
    lane_node: Vec<u32>,
    pub(super) lane_kind: Vec<u32>,
    /// No earlier finish of a group is possible with what is placed, and no lower cost.
    finish: Vec<Tick>,
    total: i64,
    pub(super) left: Vec<Left>,
    /// For each held rig: what is in it now, from when on, and until when.
    pub(super) held: Vec<Held>,
}

impl Work {
    fn copy(&mut self, from: &Self) {
        self.position = from.position;
        self.lane_end.clone_from(&from.lane_end);
        self.lane_node.clone_from(&from.lane_node);
        self.lane_kind.clone_from(&from.lane_kind);
        self.finish.clone_from(&from.finish);
        self.total = from.total;
        for (left, from) in self.left.iter_mut().zip(&from.left) {
            left.reset(from);
        }
        self.held.clone_from(&from.held);
    }
}

/// A place for a node.
pub(super) struct Spot {
    pub(super) start: Tick,
    pub(super) unload: Tick,
    pub(super) end: Tick,
    pub(super) rig: u32,
    pub(super) lane: u32,
}

/// Marks kept along an order.
const MARKS: usize = 24;

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
pub(super) enum Stuck {
    /// A node before it in the order must come after it, or it never fits.
    Never,
    /// This node must not start before this tick, for a largest gap.
    Push(u32, Tick),
}

impl<'s, 'n> Decoder<'s, 'n> {
    pub(super) fn new(shape: &'s Shape<'n>) -> Self {
        let lanes = *shape.lanes.last().expect("lanes begin with 0") as usize;
        let empty = Work {
            position: 0,
            lane_end: vec![0; lanes],
            lane_node: vec![NONE; lanes],
            lane_kind: vec![u32::MAX; lanes],
            finish: shape.floor.clone(),
            total: shape.floor_cost(),
            left: shape.net.crews.iter().map(Left::new).collect(),
            held: vec![Held::default(); shape.net.rigs.len()],
        };
        Self {
            shape,
            now: empty.clone(),
            empty,
            marks: Vec::new(),
            holding: 0,
            apart: (shape.net.tasks.len() / MARKS).max(4),
            changed: 0,
        }
    }

    /// The order decoded last is the one that others will be made from.
    pub(super) fn keep(&mut self) {
        self.holding = self.holding_until(self.changed);
    }

    /// How many marks hold for an order that is changed from a position on.
    fn holding_until(&self, position: usize) -> usize {
        self.marks[..self.holding].partition_point(|mark| mark.position <= position)
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
        self.changed = from;
        self.replay(state, from);
        let mut repairs = 0;
        while self.now.position < state.order.len() {
            let node = state.order[self.now.position];
            match self.place(state, node, self.now.position) {
                Ok(()) => self.now.position += 1,
                Err(Stuck::Push(earlier, tick)) if repairs < most => {
                    repairs += 1;
                    state.push[earlier as usize] = tick;
                    let position = state.pos[earlier as usize] as usize;
                    self.changed = self.changed.min(position);
                    self.replay(state, position);
                }
                Err(_) => return Outcome::Never,
            }
            if self.now.total > limit {
                return Outcome::Dear;
            }
        }
        state.finish.clone_from(&self.now.finish);
        state.cost = self.now.total;
        Outcome::Cost(self.now.total)
    }

    /// Takes what the nodes before `to` take, from the nearest mark before it on.
    fn replay(&mut self, state: &State, to: usize) {
        let usable = to.min(self.changed);
        let marked = self.holding_until(usable);
        let mark = marked
            .checked_sub(1)
            .map_or(&self.empty, |last| &self.marks[last]);
        self.now.copy(mark);
        let mut next = if marked == self.holding {
            self.now.position + self.apart
        } else {
            usize::MAX
        };
        while self.now.position < to {
            let node = state.order[self.now.position];
            self.occupy(state, node);
            self.now.position += 1;
            if self.now.position == next && next <= usable {
                self.mark();
                next += self.apart;
            }
        }
    }

    fn mark(&mut self) {
        match self.marks.get_mut(self.holding) {
            Some(mark) => mark.copy(&self.now),
            None => self.marks.push(self.now.clone()),
        }
        self.holding += 1;
    }

    /// Enters a placed node into lane and supplies.
    #[inline]
    fn occupy(&mut self, state: &State, node: u32) {
        let at = node as usize;
        let task = state.first[at] as usize;
        let lane = state.lane[at];
        if lane != NONE {
            self.now.lane_end[lane as usize] = state.end[at];
            self.now.lane_node[lane as usize] = node;
            self.now.lane_kind[lane as usize] = self.shape.kind(task, state.rig[at]);
        }
        if let Some(site) = &self.shape.net.site {
            self.occupy_site(site, state, node);
        } else if self.shape.has_uses {
            for used in self.shape.net.uses(task) {
                self.now.left[used.crew as usize].take(state.start[at], state.end[at], used.number);
            }
        }
        self.raise(state, node);
    }

    /// Raises the finishes that a placed node makes certain, and the cost with them.
    #[inline]
    fn raise(&mut self, state: &State, node: u32) {
        for task in state.members(node) {
            let finish = state.end[node as usize] + self.shape.tail[task];
            let group = self.shape.net.tasks[task].group as usize;
            let known = self.now.finish[group];
            if finish > known {
                let price = &self.shape.net.groups[group];
                self.now.total += price.cost(finish) - price.cost(known);
                self.now.finish[group] = finish;
            }
        }
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
        state.unload[at] = spot.unload;
        state.end[at] = spot.end;
        state.rig[at] = spot.rig;
        state.lane[at] = spot.lane;
        state.ahead[at] = if spot.lane == NONE {
            NONE
        } else {
            self.now.lane_node[spot.lane as usize]
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
                    if link.orders() {
                        return Err(Stuck::Never);
                    }
                    continue;
                }
                let from = link.origin(state.start[other], state.end[other]);
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
            .filter(|link| link.limits())
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
            let idle = |spot: &Spot| spot.start - self.now.lane_end[spot.lane as usize];
            let better = |old: &Spot| match spot.end.cmp(&old.end) {
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
        if let Some(site) = &self.shape.net.site {
            return self
                .spot_at_site(site, task, mode, arrival)
                .ok_or(Stuck::Never);
        }
        let (mut start, lane) = self.lane_for(task, mode.rig, arrival);
        if self.shape.has_uses {
            start = self.fit(task, start, mode.exposure)?;
        }
        let end = start + mode.exposure;
        Ok(Spot {
            start,
            unload: end,
            end,
            rig: mode.rig,
            lane,
        })
    }

    /// The lane of a rig that is free first, or of those free on arrival the one that idles least.
    #[inline]
    fn lane_for(&self, task: usize, rig: u32, arrival: Tick) -> (Tick, u32) {
        let from = self.shape.lanes[rig as usize];
        let to = self.shape.lanes[rig as usize + 1];
        let kind = self.shape.kind(task, rig);
        let mut best = (arrival, NONE);
        let mut best_free = 0;
        for lane in from..to {
            let ix = lane as usize;
            let free = self.now.lane_end[ix] + self.shape.setup(rig, self.now.lane_kind[ix], kind);
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
            let fits = self.now.left[used.crew as usize].fit(start, length, used.number);
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
                .filter(|link| link.limits())
            {
                let other = state.node[link.task as usize];
                let at = other as usize;
                if state.pos[at] as usize >= ix {
                    continue;
                }
                let from = link.origin(state.start[at], state.end[at]);
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
