//! What is computed once from a network, so that a move need not.

use crate::problem::network::{Block, Link, Mode, NEVER, Network, Place, Tick};

/// The mode of a run whose rig is chosen when its time is worked out.
pub(super) const ANY: u32 = u32::MAX;

/// A network with the figures that every decode needs.
#[expect(
    clippy::struct_excessive_bools,
    reason = "each says what a network has, apart from the others"
)]
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
    /// Some rig needs time between tasks of different kinds.
    pub(super) has_setup: bool,
    /// Setup by row, flat, and its width.
    pub(super) setup: Vec<Tick>,
    pub(super) families: usize,
    /// Tasks that could share a run, by family.
    pub(super) kin: Vec<Vec<u32>>,
    /// What is booked already, by lane.
    pub(super) blocks: Vec<Vec<Block>>,
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
        let most = |task: usize| net.before(task).iter().any(Link::limits);
        let has_most = tasks.clone().any(most);
        if has_most {
            keep_gaps(net, &mut head);
        }
        let mut lanes = vec![0];
        for rig in &net.rigs {
            let own = match rig {
                Place::Each(positions) | Place::Held(positions) => *positions,
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
            has_setup: !net.setup.is_empty()
                || net
                    .site
                    .as_ref()
                    .is_some_and(|site| site.changeover.iter().any(|gap| *gap > 0)),
            blocks: blocks(net, &lanes),
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

    /// Idle ticks that a rig needs from one kind of task to another; none before the first.
    #[inline]
    pub(super) fn setup(&self, rig: u32, from: u32, to: u32) -> Tick {
        if from == u32::MAX || !self.has_setup {
            return 0;
        }
        if self.families > 0 {
            return self.setup[from as usize * self.families + to as usize];
        }
        match &self.net.site {
            Some(site) if from != to => site.changeover[rig as usize],
            _ => 0,
        }
    }

    /// The mode of a task on one of its rigs.
    pub(super) fn mode_on(&self, task: usize, rig: u32) -> Mode {
        let mut modes = self.net.modes(task).iter();
        *modes
            .find(|mode| mode.rig == rig)
            .expect("it is placed on one of its rigs")
    }

    /// What setups on a rig depend on: the fixture of a task alone, the family of a run.
    #[inline]
    pub(super) fn kind(&self, task: usize, rig: u32) -> u32 {
        match self.net.rigs[rig as usize] {
            Place::Each(_) | Place::Open => self.net.tasks[task].fixture,
            Place::Together(_) | Place::Held(_) => self.net.tasks[task].family,
        }
    }
}

fn interchangeable(net: &Network, task: usize) -> bool {
    let modes = net.modes(task);
    let first = modes[0];
    modes.len() > 1
        && modes.iter().all(|mode| {
            (mode.load, mode.exposure, mode.unload) == (first.load, first.exposure, first.unload)
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
        Place::Each(_) | Place::Held(_) | Place::Open => 1,
    }
}

fn blocks(net: &Network, lanes: &[u32]) -> Vec<Vec<Block>> {
    let mut blocks = vec![Vec::new(); *lanes.last().expect("lanes begin with 0") as usize];
    for block in net.site.iter().flat_map(|site| &site.blocks) {
        blocks[(lanes[block.rig as usize] + block.lane) as usize].push(*block);
    }
    blocks
}

fn kin(net: &Network, room: &[u32]) -> Vec<Vec<u32>> {
    let families = net
        .tasks
        .iter()
        .map(|task| task.family + 1)
        .max()
        .unwrap_or(0);
    let mut kin = vec![Vec::new(); families as usize];
    for (ix, task) in net
        .tasks
        .iter()
        .enumerate()
        .filter(|(ix, task)| room[*ix] > 1 && !task.bound)
    {
        kin[task.family as usize].push(u32::try_from(ix).expect("tasks are numbered by u32"));
    }
    kin
}

/// Raises heads until they keep every gap; false where going round some ring of gaps would raise them for ever.
pub(super) fn keep_gaps(net: &Network, head: &mut [Tick]) -> bool {
    for _ in 0..=net.tasks.len() {
        let mut changed = false;
        for task in 0..net.tasks.len() {
            for link in net.after(task) {
                let other = link.task as usize;
                if link.orders() {
                    let from = head[task] + link.origin(0, net.shortest(task));
                    changed |= raise(&mut head[other], from + link.least);
                }
                if link.limits() {
                    let to = head[other] - link.origin(0, net.longest(task)) - link.most;
                    changed |= raise(&mut head[task], to);
                }
            }
        }
        if !changed {
            return true;
        }
    }
    false
}

fn raise(value: &mut Tick, to: Tick) -> bool {
    let raised = to > *value;
    *value = to.min(NEVER).max(*value);
    raised
}

/// Heads and tails of all tasks and floors of all groups, from the links that make an order.
fn paths(net: &Network) -> (Vec<Tick>, Vec<Tick>, Vec<Tick>) {
    let order = net.in_order();
    let order = order.as_deref().unwrap_or(&[]);
    let mut head: Vec<Tick> = net.tasks.iter().map(|task| task.ready).collect();
    let mut tail = vec![0; net.tasks.len()];
    for task in order.iter().map(|task| *task as usize) {
        for link in net.after(task).iter().filter(|link| link.orders()) {
            let from = head[task] + link.origin(0, net.shortest(task));
            let other = &mut head[link.task as usize];
            *other = (*other).max(from + link.least);
        }
    }
    for task in order.iter().rev().map(|task| *task as usize) {
        for link in net.after(task).iter().filter(|link| link.orders()) {
            let other = link.task as usize;
            if net.tasks[other].group == net.tasks[task].group {
                let gap = link.least - link.origin(net.longest(task), 0);
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
