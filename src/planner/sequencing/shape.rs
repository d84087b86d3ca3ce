//! What is computed once from a network, so that a move need not.

use crate::problem::network::{NEVER, Network, Place, Tick};

/// The mode of a run whose rig is chosen when its time is worked out.
pub(super) const ANY: u32 = u32::MAX;

/// A network with the figures that every decode needs.
pub(super) struct Shape<'n> {
    pub(super) net: &'n Network,
    /// Earliest start of each task, and
    pub(super) head: Vec<Tick>,
    /// shortest time from its end to the end of its group.
    pub(super) tail: Vec<Tick>,
    /// A finish that each group cannot beat: the longest path alone.
    pub(super) floor: Vec<Tick>,
    /// First lane of each rig, and one past the last lane at the end.
    pub(super) lanes: Vec<u32>,
    /// True where all rigs of a task take it for as long: the first free one is as good as any.
    pub(super) any: Vec<bool>,
    /// How many tasks share a run at most.
    pub(super) room: Vec<u32>,
    /// True where some link has a largest gap.
    pub(super) has_most: bool,
    /// Tasks that can share a run, some task has a choice of rig, some task takes a supply.
    pub(super) has_runs: bool,
    pub(super) has_choice: bool,
    pub(super) has_uses: bool,
    /// Setup by row, flat, and its width.
    pub(super) setup: Vec<Tick>,
    pub(super) families: usize,
    /// Tasks that could share a run, by family.
    pub(super) kin: Vec<Vec<u32>>,
}

impl<'n> Shape<'n> {
    pub(super) fn new(net: &'n Network) -> Self {
        let tasks = 0..net.tasks.len();
        let any: Vec<bool> = tasks
            .clone()
            .map(|task| interchangeable(net, task))
            .collect();
        let room: Vec<u32> = tasks.clone().map(|task| room_of(net, task)).collect();
        let (mut head, tail, floor) = paths(net);
        let most = |task: usize| net.before(task).iter().any(|link| link.most < NEVER);
        let has_most = tasks.clone().any(most);
        if has_most {
            keep_gaps(net, &mut head);
        }
        let mut lanes = vec![0];
        for rig in &net.rigs {
            let own = match rig {
                Place::Each(positions) => *positions,
                Place::Together(_) => 1,
                Place::Open => 0,
            };
            lanes.push(lanes.last().expect("begins with 0") + own);
        }
        Self {
            has_most,
            has_runs: room.iter().any(|room| *room > 1),
            has_choice: tasks
                .clone()
                .any(|task| net.modes(task).len() > 1 && !any[task]),
            has_uses: tasks.clone().any(|task| !net.uses(task).is_empty()),
            setup: net.setup.iter().flatten().copied().collect(),
            families: net.setup.len(),
            kin: kin(net, &room),
            net,
            head,
            tail,
            floor,
            lanes,
            any,
            room,
        }
    }

    /// The cost that each group cannot go below.
    pub(super) fn floor_cost(&self) -> i64 {
        let groups = self.net.groups.iter().zip(&self.floor);
        groups.map(|(group, floor)| group.cost(*floor)).sum()
    }

    /// How many tasks share a run on a mode's rig.
    pub(super) fn room_in(&self, task: usize, mode: usize) -> u32 {
        room_on(self.net, self.net.modes(task)[mode].rig)
    }

    #[inline]
    pub(super) fn setup(&self, from: u32, to: u32) -> Tick {
        if self.families == 0 || from == u32::MAX {
            return 0;
        }
        self.setup[from as usize * self.families + to as usize]
    }
}

fn interchangeable(net: &Network, task: usize) -> bool {
    let modes = net.modes(task);
    let first = modes[0];
    modes.len() > 1
        && modes.iter().all(|mode| {
            mode.length == first.length
                && net.rigs[mode.rig as usize] == net.rigs[first.rig as usize]
        })
}

fn room_of(net: &Network, task: usize) -> u32 {
    let rooms = net.modes(task).iter().map(|mode| room_on(net, mode.rig));
    rooms.max().expect("every task has a mode")
}

fn room_on(net: &Network, rig: u32) -> u32 {
    match net.rigs[rig as usize] {
        Place::Together(positions) => positions,
        Place::Each(_) | Place::Open => 1,
    }
}

fn kin(net: &Network, room: &[u32]) -> Vec<Vec<u32>> {
    let families = net
        .tasks
        .iter()
        .map(|task| task.family + 1)
        .max()
        .unwrap_or(0);
    let mut kin = vec![Vec::new(); families as usize];
    for (ix, task) in net.tasks.iter().enumerate().filter(|(ix, _)| room[*ix] > 1) {
        kin[task.family as usize].push(u32::try_from(ix).expect("tasks are numbered by u32"));
    }
    kin
}

/// Raises heads until they keep the largest gaps too, or each task has been raised often enough to see that they
/// cannot.
fn keep_gaps(net: &Network, head: &mut [Tick]) {
    for _ in 0..=net.tasks.len() {
        let mut changed = false;
        for task in 0..net.tasks.len() {
            for link in net.after(task) {
                let other = link.task as usize;
                if link.least > -NEVER {
                    let from = head[task] + if link.from_end { net.shortest(task) } else { 0 };
                    changed |= raise(&mut head[other], from + link.least);
                }
                if link.most < NEVER {
                    let longest = if link.from_end { net.longest(task) } else { 0 };
                    let to = head[other] - longest - link.most;
                    changed |= raise(&mut head[task], to);
                }
            }
        }
        if !changed {
            return;
        }
    }
}

fn raise(value: &mut Tick, to: Tick) -> bool {
    let raised = to > *value;
    *value = to.max(*value);
    raised
}

/// Heads and tails of all tasks and floors of all groups, from the links that make an order.
fn paths(net: &Network) -> (Vec<Tick>, Vec<Tick>, Vec<Tick>) {
    let order = net.in_order();
    let order = order.as_deref().unwrap_or(&[]);
    let mut head: Vec<Tick> = net.tasks.iter().map(|task| task.ready).collect();
    let mut tail = vec![0; net.tasks.len()];
    for task in order.iter().map(|task| *task as usize) {
        for link in net.after(task).iter().filter(|link| link.least > -NEVER) {
            let from = head[task] + if link.from_end { net.shortest(task) } else { 0 };
            let other = &mut head[link.task as usize];
            *other = (*other).max(from + link.least);
        }
    }
    for task in order.iter().rev().map(|task| *task as usize) {
        for link in net.after(task).iter().filter(|link| link.least > -NEVER) {
            let other = link.task as usize;
            if net.tasks[other].group == net.tasks[task].group {
                let gap = link.least - if link.from_end { 0 } else { net.longest(task) };
                tail[task] = tail[task].max(gap + net.shortest(other) + tail[other]);
            }
        }
    }
    let mut floor = vec![0; net.groups.len()];
    for (task, own) in net.tasks.iter().enumerate() {
        let floor = &mut floor[own.group as usize];
        *floor = (*floor).max(head[task] + net.shortest(task) + tail[task]);
    }
    (head, tail, floor)
}
