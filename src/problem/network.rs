//! The compiled problem as a network: tasks, arcs between them, and what they share.
//!
//! The form in which orders and choices of rig are searched. It is wider than today's lab folders in ways
//! that a lab could ask for: a step may wait for several others, a task may take several people of several
//! crews, setup times may depend on both families, and late and flow minutes weigh separately.
//! All times are whole ticks from 0 (minutes from now, for a lab), all costs are whole numbers.

use std::ops::Range;

/// No limit on a time.
pub const NEVER: i32 = i32::MAX / 4;

/// A time, in ticks.
pub type Tick = i32;

/// Tasks with what binds and what serves them.
#[derive(Clone, Debug, Default)]
pub struct Network {
    /// What must be done.
    pub tasks: Vec<Task>,
    /// Where it can be done.
    pub rigs: Vec<Place>,
    /// Who or what is shared by number: people of a crew, places of a bench.
    pub crews: Vec<Supply>,
    /// What the tasks are done for, with the price of its finish.
    pub groups: Vec<Group>,
    /// Setup between families on a rig, by row (before) and column (after); empty where there is none.
    pub setup: Vec<Vec<Tick>>,
    modes: Vec<Mode>,
    uses: Vec<Use>,
    before: Links,
    after: Links,
}

/// One thing to be done without a break.
#[derive(Clone, Debug)]
pub struct Task {
    /// Place in [`Network::groups`].
    pub group: u32,
    /// Not before this.
    pub ready: Tick,
    /// Tasks of one family may share a run, and need no setup between them.
    pub family: u32,
    modes: Range<u32>,
    uses: Range<u32>,
}

/// A rig on which a task can be done, and how long it takes there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mode {
    /// Place in [`Network::rigs`].
    pub rig: u32,
    /// Ticks from start to end.
    pub length: Tick,
}

/// What a task takes of a supply while it is done.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Use {
    /// Place in [`Network::crews`].
    pub crew: u32,
    /// How many of it.
    pub number: i32,
}

/// A rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// That many positions, one task each.
    Each(u32),
    /// One run at a time, of up to that many tasks of a family.
    Together(u32),
    /// Room for any number of tasks.
    Open,
}

/// How many people or places there are; each entry holds from its tick until the next one.
#[derive(Clone, Debug)]
pub struct Supply {
    /// Ticks with the number from there on, sorted by tick; the first is at 0.
    pub steps: Vec<(Tick, i32)>,
}

/// What a finish costs: `late × max(0, finish − due) + flow × (finish − ready)`.
#[derive(Clone, Copy, Debug)]
pub struct Group {
    /// Flow counts from here.
    pub ready: Tick,
    /// Late minutes count from here; [`NEVER`] without a due date.
    pub due: Tick,
    /// Price of a late tick.
    pub late: i64,
    /// Price of a tick of flow.
    pub flow: i64,
}

impl Group {
    /// The cost where its last task ends at `finish`.
    pub fn cost(&self, finish: Tick) -> i64 {
        self.late * i64::from((finish - self.due).max(0))
            + self.flow * i64::from(finish - self.ready)
    }
}

/// A gap that must be kept between two tasks.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Link {
    /// The other task.
    pub task: u32,
    /// Where the gap begins: true at the end of the first task, false at its start.
    pub from_end: bool,
    /// Smallest gap to the start of the second task; may be negative.
    pub least: Tick,
    /// Largest gap; [`NEVER`] without a limit.
    pub most: Tick,
}

/// Lists of links, one after the other.
#[derive(Clone, Debug, Default)]
struct Links {
    ends: Vec<u32>,
    links: Vec<Link>,
}

impl Links {
    fn new(tasks: usize, mut all: Vec<(u32, Link)>) -> Self {
        all.sort_by_key(|(task, _)| *task);
        let mut ends = vec![0; tasks];
        for (task, _) in &all {
            ends[*task as usize] += 1;
        }
        let mut sum = 0;
        for end in &mut ends {
            sum += *end;
            *end = sum;
        }
        let links = all.into_iter().map(|(_, link)| link).collect();
        Self { ends, links }
    }

    fn of(&self, task: usize) -> &[Link] {
        let from = if task == 0 { 0 } else { self.ends[task - 1] };
        &self.links[from as usize..self.ends[task] as usize]
    }
}

impl Network {
    /// Adds a task that can be done in one of `modes` and takes `uses`; its number.
    pub fn add_task(
        &mut self,
        group: u32,
        ready: Tick,
        family: u32,
        modes: &[Mode],
        uses: &[Use],
    ) -> u32 {
        let task = Task {
            group,
            ready,
            family,
            modes: append(&mut self.modes, modes),
            uses: append(&mut self.uses, uses),
        };
        self.tasks.push(task);
        index(self.tasks.len() - 1)
    }

    /// Sets all links at once, each as (first task, second task, from_end, least, most).
    pub fn link(&mut self, links: &[(u32, u32, bool, Tick, Tick)]) {
        let way = |first: bool| {
            let one = |(a, b, from_end, least, most): &(u32, u32, bool, Tick, Tick)| {
                let (own, task) = if first { (*a, *b) } else { (*b, *a) };
                let link = Link {
                    task,
                    from_end: *from_end,
                    least: *least,
                    most: *most,
                };
                (own, link)
            };
            links.iter().map(one).collect()
        };
        self.after = Links::new(self.tasks.len(), way(true));
        self.before = Links::new(self.tasks.len(), way(false));
    }

    /// The ways in which a task can be done.
    pub fn modes(&self, task: usize) -> &[Mode] {
        let range = &self.tasks[task].modes;
        &self.modes[range.start as usize..range.end as usize]
    }

    /// What a task takes of the supplies.
    pub fn uses(&self, task: usize) -> &[Use] {
        let range = &self.tasks[task].uses;
        &self.uses[range.start as usize..range.end as usize]
    }

    /// Links from earlier tasks to this one.
    pub fn before(&self, task: usize) -> &[Link] {
        self.before.of(task)
    }

    /// Links from this task to later ones.
    pub fn after(&self, task: usize) -> &[Link] {
        self.after.of(task)
    }

    /// Setup from one family to another.
    pub fn setup(&self, from: u32, to: u32) -> Tick {
        self.setup
            .get(from as usize)
            .map_or(0, |row| row[to as usize])
    }

    /// The shortest time a task can take.
    pub fn shortest(&self, task: usize) -> Tick {
        let lengths = self.modes(task).iter().map(|mode| mode.length);
        lengths.min().expect("every task has a mode")
    }

    /// The longest time a task can take.
    pub fn longest(&self, task: usize) -> Tick {
        let lengths = self.modes(task).iter().map(|mode| mode.length);
        lengths.max().expect("every task has a mode")
    }

    /// Tasks in an order in which each comes after those it waits for (links with a
    /// smallest gap), or else the tasks that wait for each other in a ring.
    pub fn in_order(&self) -> Result<Vec<u32>, Vec<u32>> {
        let orders = |links: &[Link]| links.iter().filter(|link| link.least > -NEVER).count();
        let mut waits: Vec<usize> = (0..self.tasks.len())
            .map(|task| orders(self.before(task)))
            .collect();
        let mut order: Vec<u32> = (0..self.tasks.len())
            .filter(|task| waits[*task] == 0)
            .map(index)
            .collect();
        let mut next = 0;
        while next < order.len() {
            let links = self.after(order[next] as usize).iter();
            for link in links.filter(|link| link.least > -NEVER) {
                let left = &mut waits[link.task as usize];
                *left -= 1;
                if *left == 0 {
                    order.push(link.task);
                }
            }
            next += 1;
        }
        if order.len() == self.tasks.len() {
            return Ok(order);
        }
        Err((0..self.tasks.len())
            .filter(|task| waits[*task] > 0)
            .map(index)
            .collect())
    }
}

fn append<T: Copy>(all: &mut Vec<T>, new: &[T]) -> Range<u32> {
    let from = index(all.len());
    all.extend_from_slice(new);
    from..index(all.len())
}

fn index(ix: usize) -> u32 {
    u32::try_from(ix).expect("a network has fewer than four billion of anything")
}
