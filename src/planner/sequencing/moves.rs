//! Small changes of an order, of rigs and of runs, aimed at where cost arises.

use super::critical::{Walk, lane_gap};
use super::shape::{ANY, Shape};
use super::state::{NONE, State};
use crate::planner::random::Random;
use crate::problem::network::{Link, Network};
use std::ops::RangeInclusive;

/// Makes moves; keeps its working memory.
pub(super) struct Mover<'s, 'n> {
    shape: &'s Shape<'n>,
    walk: Walk,
    marks: Vec<bool>,
    bound: Vec<u32>,
    others: Vec<u32>,
}

/// Kinds of moves, with their share where the network has a use for them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Swap,
    Block,
    Rig,
    Shift,
    Join,
    Split,
}

impl<'s, 'n> Mover<'s, 'n> {
    pub(super) fn new(shape: &'s Shape<'n>) -> Self {
        Self {
            shape,
            walk: Walk::default(),
            marks: vec![false; shape.net.tasks.len()],
            bound: Vec::new(),
            others: Vec::new(),
        }
    }

    /// The kinds that can change something, each with its weight.
    pub(super) fn kinds(&self) -> Vec<(Kind, f64)> {
        let lanes = self.shape.lanes.last().is_some_and(|lanes| *lanes > 0);
        let on = |is: bool, weight: f64| if is { weight } else { 0.0 };
        let all = [
            (Kind::Swap, 4.0),
            (Kind::Block, on(lanes, 2.0)),
            (Kind::Rig, on(self.shape.has_choice, 4.0)),
            (
                Kind::Shift,
                on(true, if self.shape.has_uses { 4.0 } else { 1.0 }),
            ),
            (Kind::Join, on(self.shape.has_runs, 4.0)),
            (Kind::Split, on(self.shape.has_runs, 1.0)),
        ];
        all.into_iter()
            .filter(|(_, weight)| *weight > 0.0)
            .collect()
    }

    /// Changes the state; the first position of the order from which times must be worked out anew, or `None`
    /// where nothing was changed.
    pub(super) fn make(
        &mut self,
        kind: Kind,
        state: &mut State,
        random: &mut Random,
    ) -> Option<usize> {
        match kind {
            Kind::Swap => self.swap(state, random),
            Kind::Block => self.block(state, random),
            Kind::Rig => self.other_rig(state, random),
            Kind::Shift => self.shift(state, random),
            Kind::Join => self.join(state, random),
            Kind::Split => self.split(state, random),
        }
    }

    /// Two neighbours on a tight way change places.
    fn swap(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        if !self.walk.go(self.shape, state, random) || self.walk.arcs.is_empty() {
            return None;
        }
        let arc = self.walk.arcs[random.below(self.walk.arcs.len())];
        if random.below(2) == 0 {
            self.put_before(state, arc.later, arc.earlier)
        } else {
            self.put_after(state, arc.earlier, arc.later)
        }
    }

    /// A node moves over several of its tight block on a lane.
    fn block(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        if !self.walk.go(self.shape, state, random) || self.walk.arcs.is_empty() {
            return None;
        }
        let arc = self.walk.arcs[random.below(self.walk.arcs.len())];
        let mut first = arc.earlier;
        let steps = 1 + random.below(8);
        for _ in 0..steps {
            let ahead = state.ahead[first as usize];
            if ahead == NONE || lane_gap(self.shape, state, ahead, first) > 0 {
                break;
            }
            first = ahead;
        }
        if random.below(2) == 0 {
            self.put_before(state, arc.later, first)
        } else {
            self.put_after(state, first, arc.later)
        }
    }

    /// A node on a tight way goes to another rig, at its place in the order or near it.
    fn other_rig(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        let node = if self.walk.go(self.shape, state, random) && random.below(8) > 0 {
            self.walk.nodes[random.below(self.walk.nodes.len())]
        } else {
            state.order[random.below(state.order.len())]
        };
        let at = node as usize;
        let modes = self.shape.net.modes(state.first[at] as usize).len();
        if state.mode[at] == ANY || modes < 2 {
            return None;
        }
        let skip = 1 + random.below(modes - 1);
        let mode = (state.mode[at] as usize + skip) % modes;
        if self.shape.room_in(state.first[at] as usize, mode) < state.count[at] {
            return None;
        }
        state.mode[at] = u32::try_from(mode).expect("few modes");
        let from = state.pos[at] as usize;
        if random.below(2) == 0 {
            return Some(from);
        }
        Some(
            self.shift_node(state, node, random)
                .map_or(from, |moved| moved.min(from)),
        )
    }

    /// Any node goes elsewhere in the order.
    fn shift(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        let node = state.order[random.below(state.order.len())];
        self.shift_node(state, node, random)
    }

    fn shift_node(&mut self, state: &mut State, node: u32, random: &mut Random) -> Option<usize> {
        let from = state.pos[node as usize] as usize;
        let reach = 2 + random.below(state.order.len().min(40));
        let low = from.saturating_sub(reach);
        let high = (from + reach).min(state.order.len() - 1);
        let to = low + random.below(high - low + 1);
        let other = state.order[to];
        match to.cmp(&from) {
            std::cmp::Ordering::Less => self.put_before(state, node, other),
            std::cmp::Ordering::Greater => self.put_after(state, node, other),
            std::cmp::Ordering::Equal => None,
        }
    }

    /// A task goes into another run of its family, or changes places with one there.
    fn join(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        let task = self.some_task(state, random)?;
        let kin = &self.shape.kin[self.shape.net.tasks[task as usize].family as usize];
        let own = state.node[task as usize];
        let draw = |random: &mut Random| kin[random.below(kin.len())];
        let mut other = draw(random);
        let far = |other: u32| {
            (state.start[state.node[other as usize] as usize] - state.start[own as usize]).abs()
        };
        for _ in 0..2 {
            let next = draw(random);
            if state.node[next as usize] != own && far(next) < far(other) {
                other = next;
            }
        }
        let node = state.node[other as usize];
        if node == own {
            return None;
        }
        let from = state.pos[own as usize].min(state.pos[node as usize]) as usize;
        if state.count[node as usize] < self.room(state, node) {
            state.move_task(task, node);
            return Some(from.min(state.order.len() - 1));
        }
        state.leave_for_swap(task, other);
        Some(from)
    }

    fn room(&self, state: &State, node: u32) -> u32 {
        let task = state.first[node as usize] as usize;
        match state.mode[node as usize] {
            ANY => self.shape.room[task],
            mode => self.shape.room_in(task, mode as usize),
        }
    }

    /// A task leaves its run for one of its own, just before or after.
    fn split(&mut self, state: &mut State, random: &mut Random) -> Option<usize> {
        let task = self.some_task(state, random)?;
        let own = state.node[task as usize];
        if state.count[own as usize] < 2 {
            return None;
        }
        let from = state.pos[own as usize] as usize;
        state.leave(task);
        let node = state.insert_node(from + random.below(2), state.mode[own as usize]);
        state.join(task, node);
        if random.below(2) == 0 {
            let moved = self.shift_node(state, node, random);
            return Some(moved.map_or(from, |moved| moved.min(from)));
        }
        Some(from)
    }

    /// A task that can share a run: from a tight way, or any.
    fn some_task(&mut self, state: &State, random: &mut Random) -> Option<u32> {
        let node = if random.below(2) == 0 && self.walk.go(self.shape, state, random) {
            self.walk.nodes[random.below(self.walk.nodes.len())]
        } else {
            state.order[random.below(state.order.len())]
        };
        let skip = random.below(state.count[node as usize] as usize);
        let task = state.members(node).nth(skip)?;
        (self.shape.room[task] > 1 && !self.shape.net.tasks[task].bound)
            .then(|| u32::try_from(task).expect("tasks are numbered by u32"))
    }

    /// Puts a node just before an earlier one, with all between that it waits for.
    fn put_before(&mut self, state: &mut State, node: u32, earlier: u32) -> Option<usize> {
        let from = state.pos[earlier as usize] as usize;
        let to = state.pos[node as usize] as usize;
        self.gather(state, node, (from..=to).rev(), from..=to, Network::before);
        if self.bound.last() == Some(&earlier) {
            return None;
        }
        let all = self.bound.iter().rev().chain(self.others.iter().rev());
        write(state, from, all);
        Some(from)
    }

    /// Puts a node just after a later one, with all between that waits for it.
    fn put_after(&mut self, state: &mut State, node: u32, later: u32) -> Option<usize> {
        let from = state.pos[node as usize] as usize;
        let to = state.pos[later as usize] as usize;
        self.gather(state, node, from..=to, from..=to, Network::after);
        if self.bound.last() == Some(&later) {
            return None;
        }
        let all = self.others.iter().chain(self.bound.iter());
        write(state, from, all);
        Some(from)
    }

    /// Parts the nodes at the positions within a span, the first of which is the node's own, into those bound to it by links and
    /// the others, each in the order of the positions.
    fn gather(
        &mut self,
        state: &State,
        node: u32,
        positions: impl Iterator<Item = usize>,
        within: RangeInclusive<usize>,
        links: fn(&'n Network, usize) -> &'n [Link],
    ) {
        self.bound.clear();
        self.others.clear();
        self.marks[node as usize] = true;
        for position in positions {
            let own = state.order[position];
            if !std::mem::take(&mut self.marks[own as usize]) {
                self.others.push(own);
                continue;
            }
            self.bound.push(own);
            for task in state.members(own) {
                for link in links(self.shape.net, task)
                    .iter()
                    .filter(|link| link.orders())
                {
                    let other = state.node[link.task as usize];
                    if within.contains(&(state.pos[other as usize] as usize)) {
                        self.marks[other as usize] = true;
                    }
                }
            }
        }
    }
}

/// Writes nodes into the order from a position on.
fn write<'w>(state: &mut State, from: usize, nodes: impl Iterator<Item = &'w u32>) {
    let mut to = from;
    for node in nodes {
        state.order[to] = *node;
        to += 1;
    }
    state.number(from, to);
}
