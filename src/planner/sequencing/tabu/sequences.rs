//! Sequences on rigs, with the heads and tails of their tasks.

use crate::planner::sequencing::state::NONE;
use crate::problem::network::{Network, Tick};

/// Sequences on rigs.
#[derive(Clone, Default)]
pub(super) struct Sequences {
    pub(super) rigs: Vec<Vec<u32>>,
    pub(super) mode: Vec<u32>,
    pub(super) rig: Vec<u32>,
    pub(super) place: Vec<u32>,
    /// The tasks right before and right after each on its rig, or [`NONE`].
    pub(super) before: Vec<u32>,
    pub(super) after: Vec<u32>,
    pub(super) length: Vec<Tick>,
    pub(super) times: Times,
}

/// Heads and tails of the tasks.
#[derive(Clone, Default)]
pub(super) struct Times {
    pub(super) head: Vec<Tick>,
    pub(super) tail: Vec<Tick>,
    /// Every task after those that it waits for, and the place of each there.
    pub(super) order: Vec<u32>,
    pub(super) at: Vec<u32>,
    pub(super) finish: Tick,
}

/// Which tasks must be worked out anew: heads from one place of the order on, tails up to another.
#[derive(Clone, Copy)]
struct Touched {
    heads_from: usize,
    tails_to: usize,
}

impl Sequences {
    /// No task is on any rig.
    pub(super) fn empty(net: &Network) -> Self {
        let n = net.tasks.len();
        Self {
            rigs: vec![Vec::new(); net.rigs.len()],
            mode: vec![0; n],
            rig: vec![0; n],
            place: vec![0; n],
            before: vec![NONE; n],
            after: vec![NONE; n],
            length: vec![0; n],
            times: Times {
                head: vec![0; n],
                tail: vec![0; n],
                order: Vec::with_capacity(n),
                at: vec![0; n],
                finish: 0,
            },
        }
    }

    /// Notes the places of the tasks on a rig, and their neighbours.
    pub(super) fn number(&mut self, rig: usize) {
        let mut last = NONE;
        for (place, task) in self.rigs[rig].iter().enumerate() {
            self.place[*task as usize] = number(place);
            self.before[*task as usize] = last;
            if last != NONE {
                self.after[last as usize] = *task;
            }
            last = *task;
        }
        if last != NONE {
            self.after[last as usize] = NONE;
        }
    }

    #[inline]
    pub(super) fn end(&self, task: u32) -> Tick {
        self.times.head[task as usize] + self.length[task as usize]
    }

    /// From a task's start to the finish.
    #[inline]
    pub(super) fn through(&self, task: u32) -> Tick {
        self.length[task as usize] + self.times.tail[task as usize]
    }

    /// The first minute at which a task could start for what its links say.
    #[inline]
    pub(super) fn links_head(&self, net: &Network, task: u32) -> Tick {
        let links = net.before(task as usize).iter();
        let ends = links.map(|link| self.end(link.task) + link.least);
        ends.fold(net.tasks[task as usize].ready, Tick::max)
    }

    /// What must follow a task for what its links say.
    #[inline]
    pub(super) fn links_tail(&self, net: &Network, task: u32) -> Tick {
        let links = net.after(task as usize).iter();
        links
            .map(|link| link.least + self.through(link.task))
            .fold(0, Tick::max)
    }

    /// Works out all heads and tails; false where the sequences make a ring.
    pub(super) fn work_out(&mut self, net: &Network) -> bool {
        let n = net.tasks.len();
        let mut waits: Vec<usize> = (0..n)
            .map(|task| net.before(task).len() + usize::from(self.before[task] != NONE))
            .collect();
        let order = &mut self.times.order;
        order.clear();
        order.extend((0..n).filter(|task| waits[*task] == 0).map(number));
        let mut next = 0;
        while let Some(task) = order.get(next) {
            let task = *task as usize;
            let on_rig = Some(self.after[task]).filter(|after| *after != NONE);
            let linked = net.after(task).iter().map(|link| link.task);
            for after in linked.chain(on_rig) {
                waits[after as usize] -= 1;
                if waits[after as usize] == 0 {
                    order.push(after);
                }
            }
            next += 1;
        }
        if self.times.order.len() < n {
            return false;
        }
        self.place_in_order(0, n);
        self.refresh(
            net,
            Touched {
                heads_from: 0,
                tails_to: n - 1,
            },
        );
        true
    }

    /// Works out the heads and tails that change where a task was moved to another place; false where that makes a
    /// ring, and then nothing is changed.
    ///
    /// Only the part of the order between the task and the one that it went past is sorted anew (as by Pearce and
    /// Kelly 2006).
    pub(super) fn work_out_moved(&mut self, net: &Network, task: u32, marks: &mut Marks) -> bool {
        let at = |task: u32| self.times.at[task as usize] as usize;
        let own = at(task);
        let (before, after) = (self.before[task as usize], self.after[task as usize]);
        let touched = if before != NONE && at(before) > own {
            let touched = Touched {
                heads_from: own,
                tails_to: at(before),
            };
            if !marks.put_after(self, net, task, touched) {
                return false;
            }
            touched
        } else if after != NONE && at(after) < own {
            let touched = Touched {
                heads_from: at(after),
                tails_to: own,
            };
            if !marks.put_before(self, net, task, touched) {
                return false;
            }
            touched
        } else {
            Touched {
                heads_from: own,
                tails_to: own,
            }
        };
        self.refresh(net, touched);
        true
    }

    fn refresh(&mut self, net: &Network, touched: Touched) {
        let mut latest = 0;
        for ix in touched.heads_from..self.times.order.len() {
            let task = self.times.order[ix];
            let before = self.before[task as usize];
            let free = if before == NONE { 0 } else { self.end(before) };
            self.times.head[task as usize] = free.max(self.links_head(net, task));
        }
        for ix in (0..=touched.tails_to).rev() {
            let task = self.times.order[ix];
            let after = self.after[task as usize];
            let next = if after == NONE {
                0
            } else {
                self.through(after)
            };
            self.times.tail[task as usize] = next.max(self.links_tail(net, task));
        }
        for (head, length) in self.times.head.iter().zip(&self.length) {
            latest = latest.max(head + length);
        }
        self.times.finish = latest;
    }

    fn place_in_order(&mut self, from: usize, to: usize) {
        let times = &mut self.times;
        for (ix, task) in times.order[from..to].iter().enumerate() {
            times.at[*task as usize] = number(from + ix);
        }
    }
}

/// Room for sorting a part of an order anew.
#[derive(Default)]
pub(super) struct Marks {
    /// Tasks that must go with the one that was moved.
    marked: Vec<bool>,
    with: Vec<u32>,
    others: Vec<u32>,
}

impl Marks {
    /// Puts a task, and whoever waits for it, behind the last of a part of the order; false where the last one waits
    /// for it.
    fn put_after(
        &mut self,
        own: &mut Sequences,
        net: &Network,
        task: u32,
        part: Touched,
    ) -> bool {
        self.begin(net, task);
        for ix in part.heads_from + 1..=part.tails_to {
            let other = own.times.order[ix];
            let waits = self.is_marked(own.before[other as usize])
                || net
                    .before(other as usize)
                    .iter()
                    .any(|link| self.is_marked(link.task));
            if waits && ix == part.tails_to {
                return self.end(false);
            }
            self.sort_in(other, waits);
        }
        let sorted = self.others.iter().chain(&self.with);
        write(own, part, sorted);
        self.end(true)
    }

    /// Puts a task, and whoever it waits for, ahead of the first of a part of the order; false where it waits for the
    /// first one.
    fn put_before(
        &mut self,
        own: &mut Sequences,
        net: &Network,
        task: u32,
        part: Touched,
    ) -> bool {
        self.begin(net, task);
        for ix in (part.heads_from..part.tails_to).rev() {
            let other = own.times.order[ix];
            let awaited = self.is_marked(own.after[other as usize])
                || net
                    .after(other as usize)
                    .iter()
                    .any(|link| self.is_marked(link.task));
            if awaited && ix == part.heads_from {
                return self.end(false);
            }
            self.sort_in(other, awaited);
        }
        let sorted = self.with.iter().rev().chain(self.others.iter().rev());
        write(own, part, sorted);
        self.end(true)
    }

    fn begin(&mut self, net: &Network, task: u32) {
        self.marked.resize(net.tasks.len(), false);
        self.with.clear();
        self.others.clear();
        self.sort_in(task, true);
    }

    #[inline]
    fn is_marked(&self, task: u32) -> bool {
        task != NONE && self.marked[task as usize]
    }

    #[inline]
    fn sort_in(&mut self, task: u32, goes_with: bool) {
        if goes_with {
            self.marked[task as usize] = true;
            self.with.push(task);
        } else {
            self.others.push(task);
        }
    }

    /// Leaves no mark.
    fn end(&mut self, result: bool) -> bool {
        for task in &self.with {
            self.marked[*task as usize] = false;
        }
        result
    }
}

/// Writes a part of an order.
fn write<'t>(own: &mut Sequences, part: Touched, sorted: impl Iterator<Item = &'t u32>) {
    let to = part.tails_to + 1;
    for (place, task) in own.times.order[part.heads_from..to].iter_mut().zip(sorted) {
        *place = *task;
    }
    own.place_in_order(part.heads_from, to);
}

fn number(ix: usize) -> u32 {
    u32::try_from(ix).expect("tasks are numbered by u32")
}
