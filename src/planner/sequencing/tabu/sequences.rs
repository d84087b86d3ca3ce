//! Sequences on rigs, with the heads and tails of their tasks.

use crate::problem::network::{Link, Network, Tick};
use std::ops::Range;

/// Sequences on rigs.
#[derive(Clone, Default)]
pub(super) struct Sequences {
    pub(super) rigs: Vec<Vec<u32>>,
    pub(super) mode: Vec<u32>,
    pub(super) rig: Vec<u32>,
    pub(super) place: Vec<u32>,
    /// The tasks right before and right after each on its rig, or nobody.
    pub(super) before: Vec<u32>,
    pub(super) after: Vec<u32>,
    pub(super) length: Vec<Tick>,
    pub(super) times: Times,
}

/// When tasks end, and what follows them.
#[derive(Clone, Default)]
pub(super) struct Times {
    /// When each ends, and from its start to the finish; zero for [`Sequences::nobody`], which is after the last task.
    end: Vec<Tick>,
    through: Vec<Tick>,
    /// Every task after those that it waits for, and the place of each there.
    pub(super) order: Vec<u32>,
    at: Vec<u32>,
    pub(super) finish: Tick,
}

/// What tasks wait for, but for their rigs.
pub(super) struct Ways<'n> {
    net: &'n Network,
    ready: Vec<Tick>,
    /// The first link of each to earlier tasks, and to later ones: most have no more.
    before: Vec<Way>,
    after: Vec<Way>,
}

/// A gap to another task, which is nobody where there is none.
#[derive(Clone, Copy)]
struct Way {
    task: u32,
    least: Tick,
    has_more: bool,
}

impl<'n> Ways<'n> {
    pub(super) fn new(net: &'n Network) -> Self {
        let nobody = number(net.tasks.len());
        let way = |links: &[Link]| Way {
            task: links.first().map_or(nobody, |link| link.task),
            least: links.first().map_or(0, |link| link.least),
            has_more: links.len() > 1,
        };
        let tasks = || 0..net.tasks.len();
        Self {
            net,
            ready: net.tasks.iter().map(|task| task.ready).collect(),
            before: tasks().map(|task| way(net.before(task))).collect(),
            after: tasks().map(|task| way(net.after(task))).collect(),
        }
    }
}

impl Sequences {
    /// No task is on any rig.
    pub(super) fn empty(net: &Network) -> Self {
        let n = net.tasks.len();
        let nobody = number(n);
        Self {
            rigs: vec![Vec::new(); net.rigs.len()],
            mode: vec![0; n],
            rig: vec![0; n],
            place: vec![0; n],
            before: vec![nobody; n],
            after: vec![nobody; n],
            length: vec![0; n],
            times: Times {
                end: vec![0; n + 1],
                through: vec![0; n + 1],
                order: Vec::with_capacity(n),
                at: vec![0; n],
                finish: 0,
            },
        }
    }

    /// Who is before the first on a rig, and after the last.
    pub(super) fn nobody(&self) -> u32 {
        number(self.length.len())
    }

    /// Notes the places of the tasks on a rig, and their neighbours.
    pub(super) fn number(&mut self, rig: usize) {
        let mut last = self.nobody();
        for (place, task) in self.rigs[rig].iter().enumerate() {
            self.place[*task as usize] = number(place);
            self.before[*task as usize] = last;
            if let Some(after) = self.after.get_mut(last as usize) {
                *after = *task;
            }
            last = *task;
        }
        let nobody = self.nobody();
        if let Some(after) = self.after.get_mut(last as usize) {
            *after = nobody;
        }
    }

    /// Puts a task elsewhere: to a place, counted without it, on the rig of one of its modes. Nothing is worked out.
    pub(super) fn put(&mut self, net: &Network, task: u32, mode: u32, place: u32) {
        let own = net.modes(task as usize)[mode as usize];
        let at = task as usize;
        let from = self.rig[at] as usize;
        self.rigs[from].remove(self.place[at] as usize);
        self.mode[at] = mode;
        self.rig[at] = own.rig;
        self.length[at] = own.length();
        self.rigs[own.rig as usize].insert(place as usize, task);
        self.number(from);
        if own.rig as usize != from {
            self.number(own.rig as usize);
        }
    }

    #[inline]
    pub(super) fn start(&self, task: u32) -> Tick {
        self.times.end[task as usize] - self.length[task as usize]
    }

    /// When a task ends; zero for nobody.
    #[inline]
    pub(super) fn end(&self, task: u32) -> Tick {
        self.times.end[task as usize]
    }

    /// From a task's start to the finish; zero for nobody.
    #[inline]
    pub(super) fn through(&self, task: u32) -> Tick {
        self.times.through[task as usize]
    }

    /// The first tick at which a task could start for what its links say.
    #[inline]
    pub(super) fn links_head(&self, ways: &Ways<'_>, task: u32) -> Tick {
        let way = ways.before[task as usize];
        let mut head = ways.ready[task as usize].max(self.end(way.task) + way.least);
        if way.has_more {
            for link in &ways.net.before(task as usize)[1..] {
                head = head.max(self.end(link.task) + link.least);
            }
        }
        head
    }

    /// What must follow a task for what its links say.
    #[inline]
    pub(super) fn links_tail(&self, ways: &Ways<'_>, task: u32) -> Tick {
        let way = ways.after[task as usize];
        let mut tail = way.least + self.through(way.task);
        if way.has_more {
            for link in &ways.net.after(task as usize)[1..] {
                tail = tail.max(link.least + self.through(link.task));
            }
        }
        tail
    }

    /// Works out all heads and tails; false where the sequences make a ring.
    pub(super) fn work_out(&mut self, ways: &Ways<'_>) -> bool {
        let net = ways.net;
        let n = net.tasks.len();
        let nobody = self.nobody();
        let mut waits: Vec<usize> = (0..n)
            .map(|task| net.before(task).len() + usize::from(self.before[task] != nobody))
            .collect();
        let order = &mut self.times.order;
        order.clear();
        order.extend((0..n).filter(|task| waits[*task] == 0).map(number));
        let mut next = 0;
        while let Some(task) = order.get(next) {
            let task = *task as usize;
            let on_rig = Some(self.after[task]).filter(|after| *after != nobody);
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
        self.place_in_order(&(0..n));
        self.refresh(ways, &(0..n));
        true
    }

    /// Works out the heads and tails that change where a task was moved to another place; false where that makes a
    /// ring, and then nothing is changed.
    ///
    /// Only the part of the order between the task and the one that it went past is sorted anew (as by Pearce and
    /// Kelly 2006).
    pub(super) fn work_out_moved(&mut self, ways: &Ways<'_>, task: u32, marks: &mut Marks) -> bool {
        let net = ways.net;
        let nobody = self.nobody();
        let at = |task: u32| self.times.at[task as usize] as usize;
        let own = at(task);
        let (before, after) = (self.before[task as usize], self.after[task as usize]);
        let (part, in_order) = if before != nobody && at(before) > own {
            let part = own..at(before) + 1;
            let in_order = marks.put_after(self, net, task, &part);
            (part, in_order)
        } else if after != nobody && at(after) < own {
            let part = at(after)..own + 1;
            let in_order = marks.put_before(self, net, task, &part);
            (part, in_order)
        } else {
            (own..own + 1, true)
        };
        if in_order {
            self.refresh(ways, &part);
        }
        in_order
    }

    /// Works out anew the heads from a part of the order on, and the tails up to its end.
    fn refresh(&mut self, ways: &Ways<'_>, part: &Range<usize>) {
        for ix in part.start..self.times.order.len() {
            let task = self.times.order[ix];
            let free = self.end(self.before[task as usize]);
            let head = free.max(self.links_head(ways, task));
            self.times.end[task as usize] = head + self.length[task as usize];
        }
        for ix in (0..part.end).rev() {
            let task = self.times.order[ix];
            let next = self.through(self.after[task as usize]);
            let tail = next.max(self.links_tail(ways, task));
            self.times.through[task as usize] = self.length[task as usize] + tail;
        }
        self.times.finish = self.times.end.iter().copied().fold(0, Tick::max);
    }

    fn place_in_order(&mut self, part: &Range<usize>) {
        let times = &mut self.times;
        for ix in part.clone() {
            times.at[times.order[ix] as usize] = number(ix);
        }
    }
}

/// Room for sorting a part of an order anew.
#[derive(Default)]
pub(super) struct Marks {
    /// Tasks that must go with the one that was moved; nobody is none of them.
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
        part: &Range<usize>,
    ) -> bool {
        self.begin(net, task);
        for ix in part.start + 1..part.end {
            let other = own.times.order[ix];
            let waits = self.meets(own.before[other as usize], net.before(other as usize));
            if waits && ix == part.end - 1 {
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
        part: &Range<usize>,
    ) -> bool {
        self.begin(net, task);
        for ix in (part.start..part.end - 1).rev() {
            let other = own.times.order[ix];
            let awaited = self.meets(own.after[other as usize], net.after(other as usize));
            if awaited && ix == part.start {
                return self.end(false);
            }
            self.sort_in(other, awaited);
        }
        let sorted = self.with.iter().rev().chain(self.others.iter().rev());
        write(own, part, sorted);
        self.end(true)
    }

    /// True where a task's neighbour on its rig, or one that it is linked to, goes with the one that was moved.
    fn meets(&self, on_rig: u32, links: &[Link]) -> bool {
        self.is_marked(on_rig) || links.iter().any(|link| self.is_marked(link.task))
    }

    fn begin(&mut self, net: &Network, task: u32) {
        self.marked.resize(net.tasks.len() + 1, false);
        self.with.clear();
        self.others.clear();
        self.sort_in(task, true);
    }

    #[inline]
    fn is_marked(&self, task: u32) -> bool {
        self.marked[task as usize]
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
fn write<'t>(own: &mut Sequences, part: &Range<usize>, sorted: impl Iterator<Item = &'t u32>) {
    for (place, task) in own.times.order[part.clone()].iter_mut().zip(sorted) {
        *place = *task;
    }
    own.place_in_order(part);
}

fn number(ix: usize) -> u32 {
    u32::try_from(ix).expect("tasks are numbered by u32")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::planner::random::Random;
    use crate::problem::network::{Mode, NEVER, Place, Task};

    const RIGS: usize = 4;

    /// Tasks with one or two rigs each, and links from lower numbers to higher ones.
    fn network(random: &mut Random) -> Network {
        let tick = |value: usize| Tick::try_from(value).expect("a small number");
        let mut net = Network::default();
        net.rigs = vec![Place::Each(1); RIGS];
        let mut links = Vec::new();
        for task in 0..30 {
            let first = random.below(RIGS);
            let mut mode = |rig: usize| Mode::plain(number(rig), tick(random.below(9)));
            let modes = [mode(first), mode((first + 1) % RIGS)];
            let count = 1 + random.below(2);
            let ready = tick(random.below(20));
            net.add_task(Task::new(0, ready, 0), &modes[..count], &[]);
            for _ in 0..random.below(3).min(task) {
                let before = number(random.below(task));
                links.push((before, number(task), true, tick(random.below(5)), NEVER));
            }
        }
        net.link(&links);
        net
    }

    /// Every task on the rig of its first mode, in the order of the numbers.
    fn sequences(net: &Network) -> Sequences {
        let mut own = Sequences::empty(net);
        for task in 0..net.tasks.len() {
            let mode = net.modes(task)[0];
            own.rig[task] = mode.rig;
            own.length[task] = mode.length();
            own.rigs[mode.rig as usize].push(number(task));
        }
        (0..RIGS).for_each(|rig| own.number(rig));
        own
    }

    #[test]
    fn what_a_move_changes_is_what_working_out_everything_gives() {
        let mut random = Random::new(5);
        let mut rings = 0;
        for _ in 0..40 {
            let net = network(&mut random);
            let ways = Ways::new(&net);
            let mut marks = Marks::default();
            let mut now = sequences(&net);
            assert!(now.work_out(&ways));
            for _ in 0..200 {
                let task = number(random.below(net.tasks.len()));
                let at = task as usize;
                let (mode, place) = (now.mode[at], now.place[at]);
                let new_mode = random.below(net.modes(at).len());
                let rig = net.modes(at)[new_mode].rig;
                let others = now.rigs[rig as usize].iter().filter(|own| **own != task);
                let new_place = number(random.below(others.count() + 1));
                now.put(&net, task, number(new_mode), new_place);
                let mut all = now.clone();
                let in_order = all.work_out(&ways);
                assert_eq!(now.work_out_moved(&ways, task, &mut marks), in_order);
                if !in_order {
                    rings += 1;
                    now.put(&net, task, mode, place);
                    all = now.clone();
                    assert!(all.work_out(&ways), "it was in order before");
                }
                assert_eq!(now.times.end, all.times.end);
                assert_eq!(now.times.through, all.times.through);
                assert_eq!(now.times.finish, all.times.finish);
            }
        }
        assert!(rings > 500, "rings must be met: {rings}");
    }
}
