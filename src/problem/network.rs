//! The compiled problem as a network: tasks, arcs between them, and what they share.
//!
//! The form in which orders and choices of rig are searched. It is wider than today's lab folders in ways
//! that a lab could ask for: a step may wait for several others, a task may take several people of several
//! crews, setup times may depend on both families, and late and flow minutes weigh separately.
//! All times are whole ticks from 0 (minutes from now, for a lab), all costs are whole numbers.

use super::calendar::OnTime;
use crate::domain::{Minute, Minutes};
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
    /// What a lab adds: calendars, outages, what is booked already.
    pub site: Option<Site>,
    /// Setup between families on any rig, by row (before) and column (after); empty where there is none.
    pub setup: Vec<Vec<Tick>>,
    modes: Vec<Mode>,
    uses: Vec<Use>,
    before: Links,
    after: Links,
}

/// One stay on a rig: load, exposure, unload.
#[derive(Clone, Debug)]
pub struct Task {
    /// Place in [`Network::groups`].
    pub group: u32,
    /// Not before this.
    pub ready: Tick,
    /// It starts by then, and
    pub latest_start: Tick,
    /// it ends by then.
    pub latest_end: Tick,
    /// Tasks of one family may share a run, and need no setup between them on rigs that take runs, or are held.
    pub family: u32,
    /// Tasks of one fixture need no setup between them on rigs that take each task alone.
    pub fixture: u32,
    /// The crew that gives one person for load and for unload, if any.
    pub hands: Option<u32>,
    /// The calendar of [`Site::watches`] that must hold while it is exposed, if any.
    pub watch: Option<u32>,
    /// On a rig that takes each task alone the exposure pauses while its watch does not hold.
    pub pausable: bool,
    /// Longest wait between exposure and unload.
    pub max_wait: Tick,
    /// It stays with those that share its run.
    pub bound: bool,
    modes: Range<u32>,
    uses: Range<u32>,
}

impl Task {
    /// A task of a group that can start from `ready` on; fixture and family are one.
    pub fn new(group: u32, ready: Tick, family: u32) -> Self {
        Self {
            group,
            ready,
            latest_start: NEVER,
            latest_end: NEVER,
            family,
            fixture: family,
            hands: None,
            watch: None,
            pausable: false,
            max_wait: 0,
            bound: false,
            modes: 0..0,
            uses: 0..0,
        }
    }
}

/// A rig on which a task can be done, and how long it takes there.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Mode {
    /// Place in [`Network::rigs`].
    pub rig: u32,
    /// Ticks of load.
    pub load: Tick,
    /// Ticks of exposure, pauses excluded.
    pub exposure: Tick,
    /// Ticks of unload.
    pub unload: Tick,
}

impl Mode {
    /// Neither load nor unload.
    pub fn plain(rig: u32, length: Tick) -> Self {
        Self {
            rig,
            load: 0,
            exposure: length,
            unload: 0,
        }
    }

    /// The shortest stay.
    pub fn length(&self) -> Tick {
        self.load + self.exposure + self.unload
    }
}

/// What a lab adds to a network.
#[derive(Clone, Debug)]
pub struct Site {
    /// The minute of tick 0.
    pub origin: Minute,
    /// All ends by then.
    pub end: Tick,
    /// For each rig the spans in which a stay must lie whole, sorted.
    pub open: Vec<Vec<(Tick, Tick)>>,
    /// For each rig the gap between different fixtures, or families.
    pub changeover: Vec<Tick>,
    /// What is booked already, sorted by rig, lane and start.
    pub blocks: Vec<Block>,
    /// Calendars that exposures may need.
    pub watches: Vec<OnTime>,
}

/// A stay that is booked already and does not move.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub struct Block {
    /// The rig, and
    pub rig: u32,
    /// the lane on it, from 0.
    pub lane: u32,
    /// From when
    pub from: Tick,
    /// to when.
    pub to: Tick,
    /// Its fixture, or on rigs that take runs or are held its family.
    pub kind: u32,
}

/// What a task takes of a supply while it is exposed.
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
    /// That many positions, all of one family at a time.
    Held(u32),
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

/// A length in ticks, cut to [`NEVER`] both ways.
pub fn ticks(length: Minutes) -> Tick {
    let cut = length.get().clamp(i64::from(-NEVER), i64::from(NEVER));
    Tick::try_from(cut).unwrap_or(NEVER)
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

impl Link {
    /// True where it has a smallest gap, and so says which task comes first.
    pub fn orders(&self) -> bool {
        self.least > -NEVER
    }

    /// True where it has a largest gap.
    pub fn limits(&self) -> bool {
        self.most < NEVER
    }

    /// Where the gap begins, of the start and the end of the first task.
    pub fn origin(&self, start: Tick, end: Tick) -> Tick {
        if self.from_end { end } else { start }
    }
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
    /// Adds a task that can be done in one of `modes` and takes `uses` while it is exposed; its number.
    pub fn add_task(&mut self, mut task: Task, modes: &[Mode], uses: &[Use]) -> u32 {
        task.modes = append(&mut self.modes, modes);
        task.uses = append(&mut self.uses, uses);
        self.tasks.push(task);
        index(self.tasks.len() - 1)
    }

    /// Sets all links at once, each as (first task, second task, `from_end`, least, most).
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
    ///
    /// # Panics
    ///
    /// Where the task was added without a mode.
    pub fn shortest(&self, task: usize) -> Tick {
        let lengths = self.modes(task).iter().map(Mode::length);
        lengths.min().expect("every task has a mode")
    }

    /// The longest time a task can take.
    ///
    /// # Panics
    ///
    /// Where the task was added without a mode.
    pub fn longest(&self, task: usize) -> Tick {
        let lengths = self.modes(task).iter().map(Mode::length);
        lengths.max().expect("every task has a mode")
    }

    /// Tasks in an order in which each comes after those it waits for (links with a
    /// smallest gap), or else the tasks that wait for each other in a ring.
    pub fn in_order(&self) -> Result<Vec<u32>, Vec<u32>> {
        let orders = |links: &[Link]| links.iter().filter(|link| link.orders()).count();
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
            for link in links.filter(|link| link.orders()) {
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
