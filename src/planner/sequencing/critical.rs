//! Where cost comes from: from the last task of a dear group back along what holds it up.

use super::shape::Shape;
use super::state::{NONE, State};
use crate::planner::random::Random;

/// One node that cannot start before another has left its lane or its people.
#[derive(Clone, Copy, Debug)]
pub(super) struct Arc {
    pub(super) earlier: u32,
    pub(super) later: u32,
}

/// A way back from a finish to where it begins.
#[derive(Default)]
pub(super) struct Walk {
    /// Nodes on the way, the last first.
    pub(super) nodes: Vec<u32>,
    /// Those steps of it that another order could avoid.
    pub(super) arcs: Vec<Arc>,
    tight: Vec<(u32, bool)>,
}

/// How many nodes back in the order a holder of people is looked for.
const LOOK_BACK: usize = 200;

impl Walk {
    /// Walks back from the end of a group drawn by its cost above its floor; false where none is above.
    pub(super) fn go(&mut self, shape: &Shape<'_>, state: &State, random: &mut Random) -> bool {
        self.nodes.clear();
        self.arcs.clear();
        let Some(group) = dear_group(shape, state, random) else {
            return false;
        };
        let Some(mut node) = last_node(shape, state, group) else {
            return false;
        };
        loop {
            self.nodes.push(node);
            self.look(shape, state, node);
            if self.tight.is_empty() {
                return true;
            }
            let (earlier, avoidable) = self.tight[random.below(self.tight.len())];
            if avoidable {
                self.arcs.push(Arc {
                    earlier,
                    later: node,
                });
            }
            node = earlier;
        }
    }

    /// Gathers the nodes whose end a node's start waits for, each with true where an order could avoid it.
    fn look(&mut self, shape: &Shape<'_>, state: &State, node: u32) {
        self.tight.clear();
        let at = node as usize;
        let start = state.start[at];
        for task in state.members(node) {
            for link in shape.net.before(task).iter().filter(|link| link.orders()) {
                let other = state.node[link.task as usize];
                let from = link.origin(state.start[other as usize], state.end[other as usize]);
                if from + link.least == start {
                    self.tight.push((other, false));
                }
            }
        }
        let ahead = state.ahead[at];
        if ahead != NONE && lane_gap(shape, state, ahead, node) == 0 {
            self.tight.push((ahead, true));
        }
        if shape.has_uses || shape.net.site.is_some() {
            self.look_for_people(shape, state, node);
        }
    }

    /// Those that give back people, or places, when the node starts.
    fn look_for_people(&mut self, shape: &Shape<'_>, state: &State, node: u32) {
        let own = state.first[node as usize] as usize;
        let start = state.start[node as usize];
        let at = state.pos[node as usize] as usize;
        for other in state.order[at.saturating_sub(LOOK_BACK)..at].iter().rev() {
            if state.end[*other as usize] == start
                && shares(shape, own, state.first[*other as usize] as usize)
            {
                self.tight.push((*other, true));
            }
        }
    }
}

/// True where two tasks take of a common supply.
fn shares(shape: &Shape<'_>, one: usize, other: usize) -> bool {
    let net = shape.net;
    let hands = net.tasks[one].hands;
    let uses = net.uses(one);
    (hands.is_some() && hands == net.tasks[other].hands)
        || net
            .uses(other)
            .iter()
            .any(|own| uses.iter().any(|used| used.crew == own.crew))
}

/// Idle ticks between two nodes on a lane beyond the setup.
pub(super) fn lane_gap(shape: &Shape<'_>, state: &State, earlier: u32, later: u32) -> i32 {
    let rig = state.rig[later as usize];
    let kind = |node: u32| shape.kind(state.first[node as usize] as usize, rig);
    let setup = shape.setup(rig, kind(earlier), kind(later));
    state.start[later as usize] - state.end[earlier as usize] - setup
}

fn dear_group(shape: &Shape<'_>, state: &State, random: &mut Random) -> Option<usize> {
    let groups = &shape.net.groups;
    if groups.len() == 1 {
        return Some(0);
    }
    let excess = |ix: usize| groups[ix].cost(state.finish[ix]) - groups[ix].cost(shape.floor[ix]);
    let total: i64 = (0..groups.len()).map(excess).sum();
    if total <= 0 {
        return None;
    }
    let mut drawn = random.fraction() * total as f64;
    for ix in 0..groups.len() {
        drawn -= excess(ix) as f64;
        if drawn < 0.0 {
            return Some(ix);
        }
    }
    None
}

fn last_node(shape: &Shape<'_>, state: &State, group: usize) -> Option<u32> {
    let finish = state.finish[group];
    let ends_it = |node: &u32| {
        state.end[*node as usize] == finish
            && state
                .members(*node)
                .any(|task| shape.net.tasks[task].group as usize == group)
    };
    state.order.iter().rev().copied().find(ends_it)
}
