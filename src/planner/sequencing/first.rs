//! First orders, by priority rules.
//!
//! One task after another is chosen among those whose predecessors are done: of those that could start before any
//! of them could end, the most urgent. Urgency is the apparent tardiness cost (Vepsalainen and Morton 1987,
//! with setups after Lee, Bhaskaran and Pinedo 1997), or the longest way to the end.

use super::shape::{ANY, Shape};
use super::state::State;
use crate::problem::network::{Place, Tick};

/// How urgency is reckoned.
#[derive(Clone, Copy, Debug)]
pub(super) enum Rule {
    /// The longest way to the end first.
    Tail,
    /// Apparent tardiness cost with this look-ahead, in mean lengths; a run waits this many quarters of its length for
    /// those that could share it.
    Tardiness { look_ahead: f64, wait: Tick },
}

/// The rules worth trying.
pub(super) fn rules(shape: &Shape<'_>) -> Vec<Rule> {
    if shape.net.groups.len() == 1 {
        return vec![Rule::Tail];
    }
    let waits: &[Tick] = if shape.has_runs { &[0, 1, 2] } else { &[0] };
    let mut rules = Vec::new();
    for wait in waits {
        for look_ahead in [0.5, 1.0, 2.0, 4.0, 8.0] {
            rules.push(Rule::Tardiness {
                look_ahead,
                wait: *wait,
            });
        }
    }
    rules
}

struct Dispatch<'s, 'n> {
    shape: &'s Shape<'n>,
    rule: Rule,
    mean: f64,
    waits: Vec<usize>,
    arrival: Vec<Tick>,
    ready: Vec<u32>,
    lane_end: Vec<Tick>,
    lane_family: Vec<u32>,
}

/// Where a task could go now.
#[derive(Clone, Copy)]
struct Offer {
    mode: usize,
    lane: Option<usize>,
    start: Tick,
    end: Tick,
}

/// An order with runs and rigs, by a rule.
pub(super) fn order(shape: &Shape<'_>, rule: Rule) -> State {
    let net = shape.net;
    let tasks = 0..net.tasks.len();
    let orders = |task: usize| net.before(task).iter().filter(|link| link.orders()).count();
    let waits: Vec<usize> = tasks.clone().map(orders).collect();
    let lanes = *shape.lanes.last().expect("lanes begin with 0") as usize;
    let total: f64 = tasks
        .clone()
        .map(|task| f64::from(net.shortest(task)))
        .sum();
    let mut dispatch = Dispatch {
        shape,
        rule,
        mean: (total / net.tasks.len().max(1) as f64).max(1.0),
        ready: tasks
            .clone()
            .filter(|task| waits[*task] == 0)
            .map(|task| u32::try_from(task).expect("tasks are numbered by u32"))
            .collect(),
        waits,
        arrival: net.tasks.iter().map(|task| task.ready).collect(),
        lane_end: vec![0; lanes],
        lane_family: vec![u32::MAX; lanes],
    };
    let mut state = State::of_order(shape, &[]);
    while !dispatch.ready.is_empty() {
        dispatch.next(&mut state);
    }
    state
}

impl Dispatch<'_, '_> {
    /// Chooses the next run and enters it.
    fn next(&mut self, state: &mut State) {
        let offers: Vec<Offer> = self
            .ready
            .iter()
            .map(|task| self.offer(*task as usize))
            .collect();
        let first_end = offers.iter().map(|offer| offer.end).min().unwrap_or(0);
        let open = |ix: &usize| offers[*ix].start < first_end || offers[*ix].end == first_end;
        let urgency = |ix: usize| self.urgency(self.ready[ix] as usize, offers[ix]);
        let best = (0..offers.len())
            .filter(open)
            .max_by(|a, b| urgency(*a).total_cmp(&urgency(*b)).then(b.cmp(a)))
            .expect("what ends first is open");
        let offer = offers[best];
        let lead = self.ready[best];
        let members = self.members(lead, offer);
        let start = members
            .iter()
            .map(|task| self.arrival[*task as usize])
            .fold(offer.start, Tick::max);
        self.enter(state, &members, offer, start);
    }

    fn offer(&self, task: usize) -> Offer {
        let net = self.shape.net;
        let mut best: Option<Offer> = None;
        for (mode, own) in net.modes(task).iter().enumerate() {
            let rig = own.rig as usize;
            let lanes = self.shape.lanes[rig] as usize..self.shape.lanes[rig + 1] as usize;
            let free = |lane: &usize| {
                self.lane_end[*lane]
                    + self
                        .shape
                        .setup(own.rig, self.lane_family[*lane], net.tasks[task].family)
            };
            let lane = lanes.min_by_key(free);
            let start = lane.map_or(0, |lane| free(&lane)).max(self.arrival[task]);
            let offer = Offer {
                mode,
                lane,
                start,
                end: start + own.length(),
            };
            if best.is_none_or(|best| offer.end < best.end) {
                best = Some(offer);
            }
        }
        best.expect("every task has a mode")
    }

    fn urgency(&self, task: usize, offer: Offer) -> f64 {
        let net = self.shape.net;
        let own = &net.tasks[task];
        let tail = f64::from(self.shape.tail[task]);
        let length = f64::from(offer.end - offer.start);
        match self.rule {
            Rule::Tail => tail + length,
            Rule::Tardiness { look_ahead, .. } => {
                let group = &self.shape.net.groups[own.group as usize];
                let left = f64::from(group.due) - tail - f64::from(offer.end);
                let soon = (-left.max(0.0) / (look_ahead * self.mean)).exp();
                let setup = offer.lane.map_or(0, |lane| {
                    self.shape.setup(
                        net.modes(task)[offer.mode].rig,
                        self.lane_family[lane],
                        own.family,
                    )
                });
                let near = (-f64::from(setup) / self.mean).exp();
                let price = group.late as f64 * soon + group.flow as f64;
                near * price / (length + tail).max(1.0)
            }
        }
    }

    /// The lead task and those that share its run.
    fn members(&self, lead: u32, offer: Offer) -> Vec<u32> {
        let net = self.shape.net;
        let mode = net.modes(lead as usize)[offer.mode];
        let Place::Together(room) = net.rigs[mode.rig as usize] else {
            return vec![lead];
        };
        let wait = match self.rule {
            Rule::Tail => 0,
            Rule::Tardiness { wait, .. } => wait,
        };
        let until = offer.start + mode.length() * wait / 4;
        let family = net.tasks[lead as usize].family;
        let mut others: Vec<u32> = self
            .ready
            .iter()
            .copied()
            .filter(|task| {
                *task != lead
                    && net.tasks[*task as usize].family == family
                    && self.arrival[*task as usize] <= until
            })
            .collect();
        others.sort_by(|a, b| {
            let urgency = |task: u32| self.urgency(task as usize, offer);
            urgency(*b).total_cmp(&urgency(*a)).then(a.cmp(b))
        });
        others.truncate(room as usize - 1);
        others.insert(0, lead);
        others
    }

    fn enter(&mut self, state: &mut State, members: &[u32], offer: Offer, start: Tick) {
        let net = self.shape.net;
        let lead = members[0] as usize;
        let length = net.modes(lead)[offer.mode].length();
        if let Some(lane) = offer.lane {
            self.lane_end[lane] = start + length;
            self.lane_family[lane] = net.tasks[lead].family;
        }
        for task in &members[1..] {
            state.count[*task as usize] = 0;
            state.join(*task, members[0]);
        }
        state.mode[lead] = if self.shape.any[lead] {
            ANY
        } else {
            u32::try_from(offer.mode).expect("few modes")
        };
        state.order.push(members[0]);
        state.number(state.order.len() - 1, state.order.len());
        self.ready.retain(|task| !members.contains(task));
        for task in members {
            self.release(*task as usize, start, start + length);
        }
    }

    /// Those that waited for a task.
    fn release(&mut self, task: usize, start: Tick, end: Tick) {
        for link in self
            .shape
            .net
            .after(task)
            .iter()
            .filter(|link| link.orders())
        {
            let other = link.task as usize;
            let from = link.origin(start, end);
            self.arrival[other] = self.arrival[other].max(from + link.least);
            self.waits[other] -= 1;
            if self.waits[other] == 0 {
                self.ready.push(link.task);
            }
        }
    }
}
