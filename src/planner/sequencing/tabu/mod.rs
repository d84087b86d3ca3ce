//! Tabu search on tight blocks, where one finish is all that counts and every rig takes one task at a time.
//!
//! Each iteration estimates, from heads and tails, what every move of a tight task would give: over its block on
//! the same rig (Nowicki and Smutnicki 1996; Balas and Vazacopoulos 1998; Zhang and others 2007), or to
//! another rig at the places worth looking at (Mastrolilli and Gambardella 2000). The best that is not
//! forbidden is made, and going back on it is forbidden for a while. After a long time without
//! progress the search goes on from the best, shaken.

mod sequences;

use super::shape::Shape;
use super::state::State;
use crate::planner::random::Random;
use crate::problem::network::{Place, Tick};
use sequences::{Marks, Sequences, Times, Ways};

/// The most tasks for which the table of forbidden orders is worth its memory.
const MOST_TASKS: usize = 3000;

/// How many changes are worked out exactly where a task has a choice of rigs.
const FEW: usize = 3;

/// True where this search can work on the network.
pub(super) fn suits(shape: &Shape<'_>) -> bool {
    let net = shape.net;
    net.groups.len() == 1
        && net.groups[0].late == 0
        && !shape.has_uses
        && net.site.is_none()
        && !shape.has_most
        && shape.families == 0
        && net.tasks.len() <= MOST_TASKS
        && net.rigs.iter().all(|rig| *rig == Place::Each(1))
        && (0..net.tasks.len()).all(|task| {
            net.before(task)
                .iter()
                .all(|link| link.from_end && link.least >= 0)
        })
}

/// A change with what it is thought to give.
#[derive(Clone, Copy, Debug)]
struct Change {
    task: u32,
    /// Mode of the task afterwards.
    mode: u32,
    /// Place on the rig, counted without the task.
    place: u32,
    estimate: Tick,
}

/// The search.
pub(super) struct Tabu<'s, 'n> {
    shape: &'s Shape<'n>,
    ways: Ways<'n>,
    now: Sequences,
    best: Sequences,
    random: Random,
    /// Iteration until which the first task may not be put before the second again.
    forbidden: Vec<u64>,
    /// Iteration until which a task may not go back to a rig.
    left_rig: Vec<u64>,
    /// Some task can go on several rigs.
    has_choice: bool,
    iteration: u64,
    progress: u64,
    marks: Marks,
    /// What was known before a change was tried.
    known: Times,
    path: Vec<u32>,
    changes: Vec<Change>,
    heads: Vec<Tick>,
}

impl<'s, 'n> Tabu<'s, 'n> {
    pub(super) fn new(shape: &'s Shape<'n>, start: &State, seed: u64) -> Self {
        let n = shape.net.tasks.len();
        let mut search = Self {
            shape,
            ways: Ways::new(shape.net),
            now: Sequences::default(),
            best: Sequences::default(),
            random: Random::new(seed),
            forbidden: vec![0; n * n],
            left_rig: vec![0; n * shape.net.rigs.len()],
            has_choice: (0..n).any(|task| shape.net.modes(task).len() > 1),
            iteration: 0,
            progress: 0,
            marks: Marks::default(),
            known: Times::default(),
            path: Vec::new(),
            changes: Vec::new(),
            heads: Vec::new(),
        };
        search.take(start);
        search.best = search.now.clone();
        search
    }

    /// Goes on from another order.
    pub(super) fn take(&mut self, state: &State) {
        let net = self.shape.net;
        let mut now = Sequences::empty(net);
        for node in &state.order {
            let task = state.first[*node as usize] as usize;
            let rig = state.rig[*node as usize];
            let modes = net.modes(task);
            let mode = modes
                .iter()
                .position(|mode| mode.rig == rig)
                .expect("it is placed on one of its rigs");
            now.mode[task] = u32::try_from(mode).expect("few modes");
            now.rig[task] = rig;
            now.length[task] = modes[mode].length();
            now.rigs[rig as usize].push(u32::try_from(task).expect("tasks are numbered by u32"));
        }
        for rig in 0..now.rigs.len() {
            now.number(rig);
        }
        let in_order = now.work_out(&self.ways);
        assert!(in_order, "an order that was decoded has no ring");
        self.now = now;
    }

    /// Writes the best into a state: order and modes, to be decoded.
    pub(super) fn give(&self, state: &mut State) {
        let best = &self.best;
        for (at, task) in best.times.order.iter().enumerate() {
            state.order[at] = state.node[*task as usize];
        }
        for (task, mode) in best.mode.iter().enumerate() {
            state.mode[state.node[task] as usize] = *mode;
        }
        state.number(0, state.order.len());
    }

    /// Iterates; true where a better order was found.
    pub(super) fn run(&mut self, iterations: usize, patience: u64) -> bool {
        let before = self.best.times.finish;
        for _ in 0..iterations {
            self.iteration += 1;
            self.step();
            if self.now.times.finish < self.best.times.finish {
                self.best.clone_from(&self.now);
                self.progress = self.iteration;
            } else if self.iteration - self.progress > patience {
                self.shake();
            }
        }
        self.best.times.finish < before
    }

    fn step(&mut self) {
        self.tight_path();
        self.changes.clear();
        self.look_on_blocks();
        if self.has_choice {
            self.look_on_other_rigs();
        }
        let allowed = self.allowed();
        let chosen = match allowed[..] {
            [] if self.changes.is_empty() => return self.shake(),
            [] => self.changes[self.random.below(self.changes.len())],
            [only] => only,
            _ => self.best_of(&allowed),
        };
        self.make(chosen);
    }

    /// The allowed changes of the lowest estimates: one where estimates are nearly exact, a few where they know
    /// only part of the way.
    fn allowed(&mut self) -> Vec<Change> {
        let most = if self.has_choice { FEW } else { 1 };
        let mut lowest: Vec<Change> = Vec::with_capacity(most + 1);
        let mut alike = 1;
        for ix in 0..self.changes.len() {
            let change = self.changes[ix];
            let full = lowest.len() == most;
            if full && lowest[most - 1].estimate < change.estimate {
                continue;
            }
            let stays = change.mode == self.now.mode[change.task as usize];
            // On another rig the estimate knows only the ways through the task: it lifts no ban.
            if !(stays && change.estimate < self.best.times.finish) && self.is_forbidden(&change) {
                continue;
            }
            if full && lowest[most - 1].estimate == change.estimate {
                alike += 1;
                if self.random.below(alike) > 0 {
                    continue;
                }
            } else {
                alike = 1;
            }
            let at = lowest.partition_point(|other| other.estimate < change.estimate);
            lowest.insert(at, change);
            lowest.truncate(most);
        }
        lowest
    }

    /// Of a few changes the one that gives the earliest finish, worked out exactly.
    fn best_of(&mut self, changes: &[Change]) -> Change {
        let mut best = (Tick::MAX, changes[0]);
        self.known.clone_from(&self.now.times);
        for change in changes {
            let old = self.place_of(change.task);
            if self.move_task(*change) {
                if self.now.times.finish < best.0 {
                    best = (self.now.times.finish, *change);
                }
                self.put(old);
                self.now.times.clone_from(&self.known);
            }
        }
        best.1
    }

    fn place_of(&self, task: u32) -> Change {
        Change {
            task,
            mode: self.now.mode[task as usize],
            place: self.now.place[task as usize],
            estimate: 0,
        }
    }

    /// A way of tight tasks from the start to the finish, drawn at random where there are several.
    fn tight_path(&mut self) {
        let net = self.shape.net;
        let now = &self.now;
        self.path.clear();
        let mut count = 0;
        let nobody = now.nobody();
        let mut last = nobody;
        for task in 0..nobody {
            if now.end(task) == now.times.finish {
                count += 1;
                if self.random.below(count) == 0 {
                    last = task;
                }
            }
        }
        while last != nobody {
            self.path.push(last);
            let task = last as usize;
            let head = now.start(last);
            let before = now.before[task];
            let by_rig = before != nobody && now.end(before) == head;
            let by_link = net
                .before(task)
                .iter()
                .find(|link| now.end(link.task) + link.least == head);
            last = match (by_rig, by_link) {
                (true, Some(link)) if self.random.below(2) == 0 => link.task,
                (true, _) => before,
                (false, Some(link)) => link.task,
                (false, None) => nobody,
            };
        }
        self.path.reverse();
    }

    /// Moves within the tight blocks: to their ends, and of their ends inwards.
    fn look_on_blocks(&mut self) {
        let mut from = 0;
        while from < self.path.len() {
            let rig = self.now.rig[self.path[from] as usize];
            let mut to = from;
            while to + 1 < self.path.len()
                && self.now.rig[self.path[to + 1] as usize] == rig
                && self.now.before[self.path[to + 1] as usize] == self.path[to]
            {
                to += 1;
            }
            if to > from {
                self.look_on_block(from, to);
            }
            from = to + 1;
        }
    }

    fn look_on_block(&mut self, from: usize, to: usize) {
        let first = self.now.place[self.path[from] as usize] as usize;
        let last = first + to - from;
        let rig = self.now.rig[self.path[from] as usize] as usize;
        for place in first..last {
            self.right(rig, place, last);
            self.left(rig, place + 1, first);
        }
        for place in first + 1..last {
            self.right(rig, first, place);
            self.left(rig, last, place);
        }
    }

    /// The task at `from` goes right after the one at `to`: estimated where no ring can come of it.
    fn right(&mut self, rig: usize, from: usize, to: usize) {
        let now = &self.now;
        let sequence = &now.rigs[rig];
        let (task, last) = (sequence[from], sequence[to]);
        let reach = now.through(last);
        let holds = |other: u32| other == last || now.through(other) > reach;
        if self
            .shape
            .net
            .after(task as usize)
            .iter()
            .any(|link| holds(link.task))
        {
            return;
        }
        let mut free = if from == 0 {
            0
        } else {
            now.end(sequence[from - 1])
        };
        self.heads.clear();
        for other in &sequence[from + 1..=to] {
            let head = free.max(self.links_head(*other));
            self.heads.push(head);
            free = head + now.length[*other as usize];
        }
        let own = free.max(self.links_head(task));
        let mut tail = sequence.get(to + 1).map_or(0, |next| now.through(*next));
        tail = tail.max(self.links_tail(task)) + now.length[task as usize];
        let mut estimate = own + tail;
        for (other, head) in sequence[from + 1..=to].iter().zip(&self.heads).rev() {
            tail = tail.max(self.links_tail(*other)) + now.length[*other as usize];
            estimate = estimate.max(head + tail);
        }
        self.note(task, to, estimate);
    }

    /// The task at `from` goes right before the one at `to`.
    fn left(&mut self, rig: usize, from: usize, to: usize) {
        let now = &self.now;
        let sequence = &now.rigs[rig];
        let (task, first) = (sequence[from], sequence[to]);
        let reach = now.end(first);
        let holds = |other: u32| other == first || now.end(other) > reach;
        if self
            .shape
            .net
            .before(task as usize)
            .iter()
            .any(|link| holds(link.task))
        {
            return;
        }
        let free = if to == 0 {
            0
        } else {
            now.end(sequence[to - 1])
        };
        let own = free.max(self.links_head(task));
        let mut end = own + now.length[task as usize];
        self.heads.clear();
        for other in &sequence[to..from] {
            let head = end.max(self.links_head(*other));
            self.heads.push(head);
            end = head + now.length[*other as usize];
        }
        let mut tail = sequence.get(from + 1).map_or(0, |next| now.through(*next));
        let mut estimate = 0;
        for (other, head) in sequence[to..from].iter().zip(&self.heads).rev() {
            tail = tail.max(self.links_tail(*other)) + now.length[*other as usize];
            estimate = estimate.max(head + tail);
        }
        tail = tail.max(self.links_tail(task)) + now.length[task as usize];
        self.note(task, to, estimate.max(own + tail));
    }

    fn note(&mut self, task: u32, place: usize, estimate: Tick) {
        self.changes.push(Change {
            task,
            mode: self.now.mode[task as usize],
            place: u32::try_from(place).expect("places are few"),
            estimate,
        });
    }

    fn links_head(&self, task: u32) -> Tick {
        self.now.links_head(&self.ways, task)
    }

    fn links_tail(&self, task: u32) -> Tick {
        self.now.links_tail(&self.ways, task)
    }

    /// Each tight task on each other rig of its own, at the places between those that must be before and after.
    fn look_on_other_rigs(&mut self) {
        for ix in 0..self.path.len() {
            let task = self.path[ix];
            let modes = self.shape.net.modes(task as usize);
            if modes.len() < 2 {
                continue;
            }
            let head = self.links_head(task);
            let tail = self.links_tail(task);
            for (mode, own) in modes.iter().enumerate() {
                if own.rig != self.now.rig[task as usize] {
                    self.look_on_rig(task, mode, head, tail);
                }
            }
        }
    }

    fn look_on_rig(&mut self, task: u32, mode: usize, head: Tick, tail: Tick) {
        let now = &self.now;
        let own = self.shape.net.modes(task as usize)[mode];
        let sequence = &now.rigs[own.rig as usize];
        // Those that end before the task could start stay before it, unless their tails are short too.
        let low = sequence.partition_point(|other| now.end(*other) <= head);
        let high = sequence.partition_point(|other| now.through(*other) > tail);
        let (low, high) = if low <= high {
            (low, high)
        } else {
            (high, low)
        };
        for place in low..=high {
            let free = if place == 0 {
                0
            } else {
                now.end(sequence[place - 1])
            };
            let next = sequence.get(place).map_or(0, |next| now.through(*next));
            let estimate = free.max(head) + own.length() + next.max(tail);
            self.changes.push(Change {
                task,
                mode: u32::try_from(mode).expect("few modes"),
                place: u32::try_from(place).expect("places are few"),
                estimate,
            });
        }
    }

    fn is_forbidden(&self, change: &Change) -> bool {
        let task = change.task as usize;
        let n = self.shape.net.tasks.len();
        let rig = self.shape.net.modes(task)[change.mode as usize].rig;
        if rig != self.now.rig[task] {
            return self.left_rig[task * self.shape.net.rigs.len() + rig as usize] > self.iteration;
        }
        let sequence = &self.now.rigs[rig as usize];
        let (from, to) = (self.now.place[task] as usize, change.place as usize);
        if from < to {
            let passed = &sequence[from + 1..=to];
            passed
                .iter()
                .any(|other| self.forbidden[*other as usize * n + task] > self.iteration)
        } else {
            let passed = &sequence[to..from];
            passed
                .iter()
                .any(|other| self.forbidden[task * n + *other as usize] > self.iteration)
        }
    }

    /// Makes a change, forbids going back on it; takes it back where it makes a ring.
    fn make(&mut self, change: Change) {
        let task = change.task as usize;
        let n = self.shape.net.tasks.len();
        let old = self.place_of(change.task);
        let tenure = self.tenure();
        let until = self.iteration + tenure;
        let rig = self.now.rig[task];
        let new_rig = self.shape.net.modes(task)[change.mode as usize].rig;
        if rig == new_rig {
            let (from, to) = (old.place as usize, change.place as usize);
            let sequence = &self.now.rigs[rig as usize];
            if from < to {
                for other in &sequence[from + 1..=to] {
                    self.forbidden[task * n + *other as usize] = until;
                }
            } else {
                for other in &sequence[to..from] {
                    self.forbidden[*other as usize * n + task] = until;
                }
            }
        } else {
            self.left_rig[task * self.shape.net.rigs.len() + rig as usize] = until;
        }
        if !self.move_task(change) && rig != new_rig {
            self.left_rig[task * self.shape.net.rigs.len() + new_rig as usize] = until;
        }
    }

    fn tenure(&mut self) -> u64 {
        let n = self.shape.net.tasks.len();
        let rigs = self.shape.net.rigs.len().max(1);
        let base = 10 + n / (rigs * rigs).max(1);
        (base + self.random.below(base)) as u64
    }

    /// Makes a change and works out what comes of it; false, and nothing is changed, where it makes a ring.
    fn move_task(&mut self, change: Change) -> bool {
        let old = self.place_of(change.task);
        self.put(change);
        let in_order = self
            .now
            .work_out_moved(&self.ways, change.task, &mut self.marks);
        if !in_order {
            self.put(old);
        }
        in_order
    }

    fn put(&mut self, change: Change) {
        let net = self.shape.net;
        self.now.put(net, change.task, change.mode, change.place);
    }

    /// Back to the best, with a few tight moves at random.
    fn shake(&mut self) {
        self.now.clone_from(&self.best);
        self.progress = self.iteration;
        self.forbidden.fill(0);
        self.left_rig.fill(0);
        let moves = 3 + self.random.below(12);
        for _ in 0..moves {
            self.tight_path();
            self.changes.clear();
            self.look_on_blocks();
            if self.has_choice {
                self.look_on_other_rigs();
            }
            if self.changes.is_empty() {
                return;
            }
            let chosen = self.changes[self.random.below(self.changes.len())];
            self.make(chosen);
        }
    }
}
