//! From bookings to an order of a network, and back.
//!
//! Requests of which nothing has begun and nothing is fixed become tasks; everything else is booked already. What
//! the search of orders finds goes back into the builder as bookings.

use super::construct::Builder;
use super::sequencing::{Outline, Run};
use super::timeline::{Placed, RigLine, Slot};
use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes};
use crate::problem::network::{
    Block, Group, Mode, NEVER, Network, Place, Site, Supply, Task, Tick, Use, ticks,
};
use crate::problem::{Problem, RequestIx, RigIx, UnitIx};
use std::collections::BTreeMap;

/// More tasks than this take too long to place anew for each move.
const MOST_TASKS: usize = 2000;

/// An order of the requests that are free to move.
pub(super) struct Orders {
    pub(super) net: Network,
    /// The order that the bookings make.
    pub(super) outline: Outline,
    free: Vec<RequestIx>,
    steps: Vec<(UnitIx, usize)>,
}

/// A booking of a free request on its way into the network.
struct Booked {
    unit: UnitIx,
    step: usize,
    placed: Placed,
}

impl Orders {
    /// The network of a builder's bookings, where there is something to move and not too much of it.
    pub(super) fn of(builder: &Builder<'_>) -> Option<Self> {
        let problem = builder.problem;
        let free = free_requests(builder);
        let tasks: usize = free
            .iter()
            .map(|request| builder.bookings_of(*request).count())
            .sum();
        if !(2..=MOST_TASKS).contains(&tasks) {
            return None;
        }
        let mut rest = builder.clone();
        for request in &free {
            rest.take_off(*request);
        }
        let mut net = surroundings(problem, &rest);
        let mut booked = Vec::new();
        for (group, request) in free.iter().enumerate() {
            net.groups.push(group_of(problem, *request));
            let bookings = builder.bookings_of(*request);
            booked.extend(
                bookings.map(|(unit, step, placed)| (group, Booked { unit, step, placed })),
            );
        }
        let runs = runs(&booked);
        let rigs = rigs_of(problem, &booked, &runs);
        let mut links = Vec::new();
        for (ix, (group, own)) in booked.iter().enumerate() {
            let task = task_of(problem, *group, own, &booked, &runs[ix]);
            let modes: Vec<Mode> = rigs[ix]
                .iter()
                .map(|rig| mode_of(problem, own, *rig))
                .collect();
            let number = net.add_task(task, &modes, &uses_of(problem, own));
            if ix > 0 && booked[ix - 1].1.unit == own.unit {
                let step = problem.step(own.unit, own.step);
                links.push((
                    number - 1,
                    number,
                    true,
                    ticks(step.rest_min),
                    ticks(step.rest_max),
                ));
            }
        }
        net.link(&links);
        Some(Self {
            outline: outline(&booked, &runs, &rigs),
            net,
            free,
            steps: booked.iter().map(|(_, own)| (own.unit, own.step)).collect(),
        })
    }

    /// What the free requests cost as they are booked.
    pub(super) fn cost(&self, builder: &Builder<'_>) -> i64 {
        let costs = self.free.iter().filter_map(|request| {
            Some(builder.problem.cost_at(*request, builder.finish(*request)?))
        });
        costs.sum()
    }

    /// Puts the bookings of an order into the builder that it came from.
    pub(super) fn book(&self, builder: &mut Builder<'_>, runs: &[Run]) {
        for request in &self.free {
            builder.take_off(*request);
        }
        let mut taken = Vec::with_capacity(runs.len());
        for ((unit, step), run) in self.steps.iter().zip(runs) {
            let problem = builder.problem;
            taken.push((*unit, *step, placed(problem, *unit, *step, run)));
        }
        builder.put_back(&taken);
    }
}

/// A task's stay as a booking.
fn placed(problem: &Problem, unit: UnitIx, step: usize, run: &Run) -> Placed {
    let rig = RigIx(run.rig);
    let own = &problem.rigs[rig.ix()];
    let at = |tick: Tick| problem.now + Minutes::new(i64::from(tick));
    let start = at(run.load) + own.load;
    let what = problem.step(unit, step);
    let exposure = problem
        .exposure(what, rig)
        .expect("the network offers eligible rigs only");
    let end = problem.exposure_end(problem.condition(what), rig, start, exposure);
    Placed {
        rig,
        slot: match own.loading {
            Loading::Each => Slot::Lane(run.lane),
            Loading::Together => Slot::Run,
            Loading::Held => Slot::Held,
        },
        times: Times {
            load: at(run.load),
            start,
            end: end.expect("the exposure was placed with its pauses"),
            unload: at(run.unload),
            out: at(run.out),
        },
    }
}

/// Requests of which nothing is fixed, nothing runs, and no run is shared with one that is.
fn free_requests(builder: &Builder<'_>) -> Vec<RequestIx> {
    let problem = builder.problem;
    let all = (0..problem.requests.len()).map(RequestIx::from);
    let mut free: Vec<bool> = all
        .clone()
        .map(|request| is_free(builder, request))
        .collect();
    let mut shared: BTreeMap<(RigIx, Minute), Vec<usize>> = BTreeMap::new();
    for (ix, unit) in problem.units.iter().enumerate() {
        for step in 0..unit.wanted.max(unit.facts.len()) {
            if let Some(placed) = builder.lines.placed(UnitIx::from(ix), step)
                && placed.slot == Slot::Run
            {
                shared
                    .entry((placed.rig, placed.times.load))
                    .or_default()
                    .push(unit.request.ix());
            }
        }
    }
    loop {
        let mut changed = false;
        for requests in shared.values() {
            if requests.iter().any(|request| !free[*request]) {
                for request in requests {
                    changed |= std::mem::take(&mut free[*request]);
                }
            }
        }
        if !changed {
            return all.filter(|request| free[request.ix()]).collect();
        }
    }
}

fn is_free(builder: &Builder<'_>, request: RequestIx) -> bool {
    let problem = builder.problem;
    builder.can_move(request)
        && problem.units_of(request).all(|unit| {
            let own = &problem.units[unit.ix()];
            let from = own.facts.len();
            let open = (from..own.wanted).all(|step| {
                builder.fixed_at(unit, step).is_none() && builder.lines.placed(unit, step).is_some()
            });
            let window_kept = || {
                let (Some(fact), Some(placed)) =
                    (own.facts.last(), builder.lines.placed(unit, from))
                else {
                    return true;
                };
                let rest = problem.step(unit, from).rest_max;
                from >= own.wanted || placed.times.load - fact.visit.times.out <= rest
            };
            open && own.facts.iter().all(|fact| fact.over) && window_kept()
        })
}

/// Rigs, people, calendars and what is booked already.
fn surroundings(problem: &Problem, rest: &Builder<'_>) -> Network {
    let mut net = Network::default();
    net.rigs = problem
        .rigs
        .iter()
        .map(|rig| match rig.loading {
            Loading::Each => Place::Each(rig.positions),
            Loading::Together => Place::Together(rig.positions),
            Loading::Held => Place::Held(rig.positions),
        })
        .collect();
    net.crews = (0..problem.crews.len())
        .map(|crew| {
            let mut steps = vec![(Tick::MIN / 2, 0)];
            steps.extend(
                rest.lines
                    .people_left(crew)
                    .map(|(at, people)| (tick(problem, at), people)),
            );
            Supply { steps }
        })
        .collect();
    let open = |rig: &crate::problem::Rig| {
        let spans = rig
            .usable
            .iter()
            .map(|span| (tick(problem, span.start), tick(problem, span.end)));
        spans.collect()
    };
    let crews = problem.crews.iter().map(|crew| crew.on.clone());
    net.site = Some(Site {
        origin: problem.now,
        end: tick(problem, problem.end),
        open: problem.rigs.iter().map(open).collect(),
        changeover: problem
            .rigs
            .iter()
            .map(|rig| ticks(rig.changeover))
            .collect(),
        blocks: blocks(problem, rest),
        watches: std::iter::once(problem.site.clone()).chain(crews).collect(),
    });
    net
}

fn blocks(problem: &Problem, rest: &Builder<'_>) -> Vec<Block> {
    let mut blocks = Vec::new();
    for (rig, line) in rest.lines.rigs.iter().enumerate() {
        let rig = u32::try_from(rig).expect("rigs are numbered by u32");
        let block = |lane: u32, from: Minute, to: Minute, kind: u32| Block {
            rig,
            lane,
            from: tick(problem, from),
            to: tick(problem, to),
            kind,
        };
        match line {
            RigLine::Each(lanes) => {
                for (lane, stays) in (0..).zip(lanes) {
                    blocks.extend(
                        stays
                            .iter()
                            .map(|stay| block(lane, stay.span.start, stay.span.end, stay.kind)),
                    );
                }
            }
            RigLine::Together(runs) => {
                blocks.extend(
                    runs.iter()
                        .map(|run| block(0, run.times.load, run.times.out, run.condition.0)),
                );
            }
            RigLine::Held(stays, _) => {
                let mut free: Vec<Minute> = Vec::new();
                for stay in stays {
                    let lane = free
                        .iter()
                        .position(|end| *end <= stay.span.start)
                        .unwrap_or_else(|| {
                            free.push(stay.span.end);
                            free.len() - 1
                        });
                    free[lane] = stay.span.end;
                    let lane = u32::try_from(lane).expect("positions are few");
                    blocks.push(block(lane, stay.span.start, stay.span.end, stay.kind));
                }
            }
        }
    }
    blocks
}

fn group_of(problem: &Problem, request: RequestIx) -> Group {
    let own = &problem.requests[request.ix()];
    Group {
        ready: tick(problem, own.ready),
        due: own.due.map_or(NEVER, |due| tick(problem, due)),
        late: 10 * own.priority,
        flow: own.priority,
    }
}

/// For each booking those that share its run, itself included; alone where it shares none.
fn runs(booked: &[(usize, Booked)]) -> Vec<Vec<usize>> {
    let mut shared: BTreeMap<(RigIx, Minute), Vec<usize>> = BTreeMap::new();
    for (ix, (_, own)) in booked
        .iter()
        .enumerate()
        .filter(|(_, (_, own))| own.placed.slot == Slot::Run)
    {
        shared
            .entry((own.placed.rig, own.placed.times.load))
            .or_default()
            .push(ix);
    }
    let of = |(ix, (_, own)): (usize, &(usize, Booked))| match own.placed.slot {
        Slot::Run => shared[&(own.placed.rig, own.placed.times.load)].clone(),
        Slot::Lane(_) | Slot::Held => vec![ix],
    };
    booked.iter().enumerate().map(of).collect()
}

fn keeps_together(problem: &Problem, own: &Booked) -> bool {
    let request = problem.request_of(own.unit);
    request.keep_together && request.units.len() > 1
}

/// True where a booking's run must stay as it is: a member's request keeps its units together.
fn bound(problem: &Problem, booked: &[(usize, Booked)], run: &[usize]) -> bool {
    run.iter().any(|ix| keeps_together(problem, &booked[*ix].1))
        && booked[run[0]].1.placed.slot == Slot::Run
}

/// The rigs that each booking may go to. A bound run goes as a whole, to where all of it can go; what is kept
/// together and is on rigs loaded one by one stays on such.
fn rigs_of(problem: &Problem, booked: &[(usize, Booked)], runs: &[Vec<usize>]) -> Vec<Vec<RigIx>> {
    let eligible = |own: &Booked| {
        let rigs = problem.rigs_for(problem.step(own.unit, own.step)).iter();
        rigs.map(|(rig, _)| *rig).collect::<Vec<_>>()
    };
    let together = |rig: &RigIx| problem.rigs[rig.ix()].loading == Loading::Together;
    let of = |(ix, (_, own)): (usize, &(usize, Booked))| {
        let mut rigs = eligible(own);
        if bound(problem, booked, &runs[ix]) {
            rigs.retain(together);
            for other in &runs[ix] {
                let theirs = eligible(&booked[*other].1);
                rigs.retain(|rig| theirs.contains(rig));
            }
        } else if keeps_together(problem, own) {
            rigs.retain(|rig| !together(rig));
        }
        rigs
    };
    booked.iter().enumerate().map(of).collect()
}

fn task_of(
    problem: &Problem,
    group: usize,
    own: &Booked,
    booked: &[(usize, Booked)],
    run: &[usize],
) -> Task {
    let what = problem.step(own.unit, own.step);
    let condition = problem.condition(what);
    let unit = &problem.units[own.unit.ix()];
    let request = problem.request_of(own.unit);
    let mut task = Task::new(
        u32::try_from(group).expect("groups are numbered by u32"),
        tick(problem, request.ready).max(0),
        what.condition.0,
    );
    task.fixture = what.fixture.0;
    task.hands = Some(condition.crew.0);
    task.watch = match condition.watch {
        Watch::None => None,
        Watch::Site => Some(0),
        Watch::Full => Some(1 + condition.crew.0),
    };
    task.pausable = condition.pausable;
    task.max_wait = ticks(condition.max_wait);
    task.bound = bound(problem, booked, run);
    if own.step == unit.facts.len()
        && let Some(fact) = unit.facts.last()
    {
        let out = tick(problem, fact.visit.times.out);
        task.ready = task.ready.max(out + ticks(what.rest_min));
        task.latest_start = out.saturating_add(ticks(what.rest_max)).min(NEVER);
    }
    task
}

fn mode_of(problem: &Problem, own: &Booked, rig: RigIx) -> Mode {
    let exposure = problem.exposure(problem.step(own.unit, own.step), rig);
    let lines = &problem.rigs[rig.ix()];
    Mode {
        rig: rig.0,
        load: ticks(lines.load),
        exposure: ticks(exposure.expect("only eligible rigs are offered")),
        unload: ticks(lines.unload),
    }
}

fn uses_of(problem: &Problem, own: &Booked) -> Vec<Use> {
    let condition = problem.condition(problem.step(own.unit, own.step));
    match condition.watch {
        Watch::Full => vec![Use {
            crew: condition.crew.0,
            number: 1,
        }],
        Watch::None | Watch::Site => Vec::new(),
    }
}

/// The bookings as an order: by load, each run once.
fn outline(booked: &[(usize, Booked)], runs: &[Vec<usize>], rigs: &[Vec<RigIx>]) -> Outline {
    let mut leads: Vec<usize> = (0..booked.len()).filter(|ix| runs[*ix][0] == *ix).collect();
    leads.sort_by_key(|ix| {
        let own = &booked[*ix].1;
        (
            own.placed.times.load,
            own.placed.times.out,
            own.step,
            own.unit,
        )
    });
    let number = |ix: usize| u32::try_from(ix).expect("tasks are numbered by u32");
    Outline {
        runs: leads
            .iter()
            .map(|lead| {
                let rig = booked[*lead].1.placed.rig;
                let mode = rigs[*lead].iter().position(|own| *own == rig);
                let tasks = runs[*lead].iter().map(|ix| number(*ix)).collect();
                (
                    tasks,
                    number(mode.expect("a booking is on one of its rigs")),
                )
            })
            .collect(),
    }
}

fn tick(problem: &Problem, minute: Minute) -> Tick {
    ticks(minute - problem.now)
}
