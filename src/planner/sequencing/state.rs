//! A plan of a network under search: in which order runs are put in, where, and who shares them.

use super::shape::{ANY, Shape};
use crate::problem::network::Tick;

/// No node, no task.
pub(super) const NONE: u32 = u32::MAX;

/// An order of nodes. A node is a run, or a single task; it is placed as early as it can be after the nodes
/// before it. Nodes and tasks are numbered alike: there are never more nodes than tasks.
#[derive(Clone, Debug, Default)]
pub(super) struct State {
    /// Nodes in the order in which they are placed.
    pub(super) order: Vec<u32>,
    /// Place of a node in `order`.
    pub(super) pos: Vec<u32>,
    /// Which of its first task's modes a node takes, or [`ANY`].
    pub(super) mode: Vec<u32>,
    /// First task of a node, next task of the same node, node of a task, tasks of a node.
    pub(super) first: Vec<u32>,
    pub(super) next: Vec<u32>,
    pub(super) node: Vec<u32>,
    pub(super) count: Vec<u32>,
    /// Where and when decode placed a node, and which node was on its lane before.
    pub(super) start: Vec<Tick>,
    pub(super) end: Vec<Tick>,
    pub(super) rig: Vec<u32>,
    pub(super) lane: Vec<u32>,
    pub(super) ahead: Vec<u32>,
    /// Pushed right, so that a largest gap to a later node holds.
    pub(super) push: Vec<Tick>,
    /// When each group finishes, and what all of it costs.
    pub(super) finish: Vec<Tick>,
    pub(super) cost: i64,
}

impl State {
    /// Every task alone, in the given order.
    pub(super) fn of_order(shape: &Shape<'_>, order: &[u32]) -> Self {
        let n = shape.net.tasks.len();
        let tasks = || 0..u32::try_from(n).expect("tasks are numbered by u32");
        let mut state = Self {
            order: order.to_vec(),
            pos: vec![0; n],
            mode: tasks()
                .map(|task| if shape.any[task as usize] { ANY } else { 0 })
                .collect(),
            first: tasks().collect(),
            next: vec![NONE; n],
            node: tasks().collect(),
            count: vec![1; n],
            start: vec![0; n],
            end: vec![0; n],
            rig: vec![0; n],
            lane: vec![NONE; n],
            ahead: vec![NONE; n],
            push: vec![0; n],
            finish: shape.floor.clone(),
            cost: i64::MAX,
        };
        state.number(0, order.len());
        state
    }

    /// Copies everything without allocating.
    pub(super) fn copy(&mut self, from: &Self) {
        self.order.clone_from(&from.order);
        self.pos.clone_from(&from.pos);
        self.mode.clone_from(&from.mode);
        self.first.clone_from(&from.first);
        self.next.clone_from(&from.next);
        self.node.clone_from(&from.node);
        self.count.clone_from(&from.count);
        self.start.clone_from(&from.start);
        self.end.clone_from(&from.end);
        self.rig.clone_from(&from.rig);
        self.lane.clone_from(&from.lane);
        self.ahead.clone_from(&from.ahead);
        self.push.clone_from(&from.push);
        self.finish.clone_from(&from.finish);
        self.cost = from.cost;
    }

    /// Sets the places of `order[from..to]` anew.
    pub(super) fn number(&mut self, from: usize, to: usize) {
        for ix in from..to {
            self.pos[self.order[ix] as usize] = u32::try_from(ix).expect("fewer than four billion");
        }
    }

    /// The tasks of a node.
    pub(super) fn members(&self, node: u32) -> Members<'_> {
        Members {
            next: &self.next,
            task: self.first[node as usize],
        }
    }

    /// Takes a task out of its node, which must have others; the task is then in no node.
    pub(super) fn leave(&mut self, task: u32) {
        let node = self.node[task as usize] as usize;
        if self.first[node] == task {
            self.first[node] = self.next[task as usize];
        } else {
            let mut at = self.first[node];
            while self.next[at as usize] != task {
                at = self.next[at as usize];
            }
            self.next[at as usize] = self.next[task as usize];
        }
        self.next[task as usize] = NONE;
        self.count[node] -= 1;
    }

    /// Puts a task that is in no node into one.
    pub(super) fn join(&mut self, task: u32, node: u32) {
        self.next[task as usize] = self.first[node as usize];
        self.first[node as usize] = task;
        self.node[task as usize] = node;
        self.count[node as usize] += 1;
    }

    /// Two tasks of different nodes change places.
    pub(super) fn leave_for_swap(&mut self, one: u32, other: u32) {
        let (from, to) = (self.node[one as usize], self.node[other as usize]);
        self.leave(one);
        self.leave(other);
        self.join(one, to);
        self.join(other, from);
    }

    /// Removes a node that has no task any more.
    pub(super) fn remove_node(&mut self, node: u32) {
        let at = self.pos[node as usize] as usize;
        self.order.remove(at);
        self.number(at, self.order.len());
    }

    /// A node that is not in use, put in at `at`, without a task.
    pub(super) fn insert_node(&mut self, at: usize, mode: u32) -> u32 {
        let free = self.count.iter().position(|count| *count == 0);
        let node = free.expect("a task that is in no node leaves one free");
        self.first[node] = NONE;
        self.mode[node] = mode;
        let node = u32::try_from(node).expect("nodes are numbered by u32");
        self.order.insert(at, node);
        self.number(at, self.order.len());
        node
    }
}

/// The tasks of a node, one after the other.
pub(super) struct Members<'s> {
    next: &'s [u32],
    task: u32,
}

impl Iterator for Members<'_> {
    type Item = usize;

    #[inline]
    fn next(&mut self) -> Option<usize> {
        let task = self.task as usize;
        if self.task == NONE {
            return None;
        }
        self.task = self.next[task];
        Some(task)
    }
}
