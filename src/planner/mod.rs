//! The planner: a problem, a seed and a budget in; a plan, a bound and reasons out.
//!
//! Pure: no clock, no file, no ledger, and no checker. It is anytime: the first valid plan comes at
//! once, better ones as long as the budget lasts, and the best so far is what it returns.
//!
//! `construct` puts requests in one after another by priority rules; `search` takes a few out and
//! puts them in again; both book through `timeline`, and both ask `reach` where a chain of steps
//! can go. `bound` says what no plan can beat, `because` why each booking is not earlier.

mod alone;
mod because;
mod bound;
pub mod budget;
mod construct;
mod infeasible;
mod orders;
pub(crate) mod random;
mod reach;
mod search;
pub mod sequencing;
mod settle;
mod side_by_side;
mod spans;
mod timeline;
pub mod why;
mod words;

pub use budget::{Budget, Rounds};

use crate::domain::Minute;
use crate::problem::{Left, Place, Plan, Problem, Request, RequestIx, RigIx, UnitIx, Visit};
use alone::Alone;
use construct::{Builder, Fixed, Style, Wheel, generate, rules};
use std::collections::BTreeMap;
use std::sync::Arc;
use timeline::Slot;

/// What the planner found.
#[derive(Clone, Debug)]
pub struct Solved {
    /// The best plan found.
    pub plan: Plan,
    /// Its cost.
    pub cost: i64,
    /// No plan can cost less.
    pub bound: i64,
    /// Why each visit of the plan is not earlier, in words; in the order of `plan.visits`.
    pub because: Vec<String>,
    /// Rounds of work done.
    pub rounds: u64,
}

/// News while the planner works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Rounds of work done.
    pub rounds: u64,
    /// Cost of the best plan so far.
    pub cost: i64,
    /// The bound, once it is known.
    pub bound: Option<i64>,
}

/// For so many rounds of the search there is a round of prices for the bound.
const PRICED: u64 = 20;

/// Plans in which the dear requests of the one before go ahead, at most, and the share of the budget after which there are
/// no more of them.
const TURNS: usize = 40;
const TURNING: f64 = 0.15;

/// Plans `problem` until `budget` is used up; the same problem, seed and number of rounds give the same
/// plan. A budget that is used up from the start gives the first valid plan, with the bound that is there at once.
pub fn solve(
    problem: &Problem,
    seed: u64,
    budget: &dyn Budget,
    progress: &mut dyn FnMut(Progress),
) -> Solved {
    let alone = Alone::look(problem);
    let share = bound_share(problem);
    let used = |priced: u64| budget.used(priced * PRICED) / share;
    let bound: &(dyn Fn(&[RequestIx]) -> i64 + Sync) = if budget.used_up(0) {
        &|left| bound::own_paths(problem, &alone, left)
    } else {
        &|left| bound::lower(problem, &alone, left, &used)
    };
    let quick = bound::own_paths(problem, &alone, &[]);
    let mut news = |rounds, cost| {
        progress(Progress {
            rounds,
            cost,
            bound: Some(quick),
        });
    };
    std::thread::scope(|scope| {
        // The first plan does not wait for the bound.
        let all = scope.spawn(|| bound(&[]));
        let (mut best, rounds) = first_plan(problem, &alone, budget, &mut news);
        let least = alone.least_finishes(problem);
        let rounds =
            side_by_side::improve(&mut best.builder, &least, seed, rounds, budget, &mut news);
        let all = all
            .join()
            .unwrap_or_else(|panic| std::panic::resume_unwind(panic));
        let left: Vec<RequestIx> = best.no_room.iter().map(|(request, _)| *request).collect();
        let bound = if left.is_empty() { all } else { bound(&left) };
        finish(problem, &alone, best, bound, rounds)
    })
}

/// The share of a budget of time after which the bound is not raised any more: in large labs the search needs the
/// rest.
fn bound_share(problem: &Problem) -> f64 {
    const MANY: usize = 1000;
    const SHARE: f64 = 0.4;
    let all: usize = problem.requests.iter().map(Request::visits).sum();
    if all > MANY { SHARE } else { 1.0 }
}

/// The visits of the plan in force, repaired and nothing more: what is still possible stays where it is, the rest
/// finds the earliest place beside it. No bound and no reasons, for whoever asks thousands of times.
pub fn repair(problem: &Problem) -> Vec<Visit> {
    let alone = Alone::look(problem);
    let (best, _) = first_plan(problem, &alone, &Rounds(0), &mut |_, _| {});
    let booked = bookings(&best.builder);
    visits(problem, &best.builder, &booked)
}

/// The best of the plans by rules and of those in which the dear requests go ahead, and how many were tried after the
/// first.
fn first_plan<'p>(
    problem: &'p Problem,
    alone: &Alone,
    budget: &dyn Budget,
    news: &mut dyn FnMut(u64, i64),
) -> (Candidate<'p>, u64) {
    let mut rounds = 0;
    let mut best: Option<Candidate<'_>> = None;
    // The plan in force, repaired, goes first where there is one; the first plan that leaves nobody out
    // is the first valid one.
    let repaired = alone::keep_published(problem, alone);
    let rules = rules();
    let starts = repaired.iter().map(|kept| (&rules[0], kept));
    for (rule, fixed) in starts.chain(rules.iter().map(|rule| (rule, &alone.fixed))) {
        let complete = best.as_ref().is_some_and(|best| best.no_room.is_empty());
        if complete && budget.used_up(rounds) {
            break;
        }
        let order = rule.order(problem, alone);
        let next = Candidate::new(problem, alone, &order, rule.style, fixed);
        rounds += u64::from(best.is_some());
        if best.as_ref().is_none_or(|best| next.value() < best.value()) {
            news(rounds, next.cost);
            best = Some(next);
        }
    }
    let mut best = best.expect("there is at least one rule");
    let mut wheel = Wheel::new(&rules[0].order(problem, alone));
    for rule in rules.iter().cycle().take(TURNS) {
        if budget.used(rounds) >= TURNING {
            break;
        }
        let next = Candidate::new(problem, alone, &wheel.order(), rule.style, &alone.fixed);
        wheel.turn(&next.dearer(problem, alone));
        rounds += 1;
        if next.value() < best.value() {
            news(rounds, next.cost);
            best = next;
        }
    }
    (best, rounds)
}

/// The first minute at which a step could load on a rig beside the visits of `plan`, the unit's own visits
/// from that step on taken off; `None` where there is none within the horizon.
pub fn first_free(
    problem: &Problem,
    plan: &Plan,
    unit: UnitIx,
    step: usize,
    rig: RigIx,
) -> Option<Minute> {
    let alone = Alone::look(problem);
    let rule = rules().remove(0);
    let mut builder = Builder::new(problem, &alone, rule.style);
    let own_steps = |visit: &&Visit| visit.unit != unit || visit.step < step;
    builder.place_visits(plan.visits.iter().filter(own_steps));
    builder.first_free(unit, step, rig)
}

/// A complete plan under construction, with what it had to leave out.
struct Candidate<'p> {
    builder: Builder<'p>,
    no_room: Vec<(RequestIx, usize)>,
    /// Bookings that must stay where they are, and do not.
    broken: usize,
    cost: i64,
}

/// How many bookings that must stay where they are do not, since their requests found no other place.
fn broken(builder: &Builder<'_>, alone: &Alone) -> usize {
    let units = (0..alone.fixed.len()).map(UnitIx::from);
    let all = units.flat_map(|unit| alone.fixed[unit.ix()].iter().map(move |own| (unit, own)));
    let moved = all.filter(|(unit, own)| {
        let placed = builder.lines.placed(*unit, own.step);
        placed.is_some_and(|placed| placed.rig != own.rig || placed.times.load != own.load)
    });
    moved.count()
}

impl<'p> Candidate<'p> {
    fn new(
        problem: &'p Problem,
        alone: &Alone,
        order: &[RequestIx],
        style: Style,
        fixed: &Arc<Vec<Vec<Fixed>>>,
    ) -> Self {
        let (builder, no_room) = generate(problem, alone, order, style, fixed);
        let cost = search::cost_of(&builder);
        Self {
            broken: broken(&builder, alone),
            builder,
            no_room,
            cost,
        }
    }

    /// What each request costs more than it must; nothing where it is left out.
    fn dearer(&self, problem: &Problem, alone: &Alone) -> Vec<i64> {
        let requests = (0..problem.requests.len()).map(RequestIx::from);
        let dearer = |request| {
            let finish = self.builder.finish(request)?;
            let least = alone.finish(request)?.min(finish);
            Some(problem.cost_at(request, finish) - problem.cost_at(request, least))
        };
        requests
            .map(|request| dearer(request).unwrap_or(0))
            .collect()
    }

    /// Fewer left out first, then fewer bookings elsewhere that must stay where they are, then the lower cost.
    fn value(&self) -> (usize, usize, i64) {
        (self.no_room.len(), self.broken, self.cost)
    }
}

/// Turns the builder's bookings into a plan with reasons.
fn finish(
    problem: &Problem,
    alone: &Alone,
    mut best: Candidate<'_>,
    bound: i64,
    rounds: u64,
) -> Solved {
    let mut booked = bookings(&best.builder);
    settle::settle(&mut best.builder, &booked);
    booked.sort_by_key(|(unit, step)| {
        let placed = best
            .builder
            .lines
            .placed(*unit, *step)
            .expect("listed bookings exist");
        (placed.times.load, placed.rig, *unit)
    });
    let reasons = because::reasons(&mut best.builder, &booked);
    let visits = visits(problem, &best.builder, &booked);
    let because = visits
        .iter()
        .zip(&reasons)
        .map(|(visit, because)| words::because(problem, because, visit.times.load))
        .collect();
    let mut left = alone.left(problem);
    left.extend(best.no_room.iter().map(|(request, step)| {
        let reason = infeasible::beside(&best.builder, *request, *step);
        Left {
            request: *request,
            step: *step,
            reason,
        }
    }));
    left.sort_by_key(|left| left.request);
    let plan = Plan { visits, left };
    let cost = plan.cost(problem);
    Solved {
        plan,
        cost,
        bound,
        because,
        rounds,
    }
}

fn bookings(builder: &Builder<'_>) -> Vec<(UnitIx, usize)> {
    let mut all = Vec::new();
    for (ix, unit) in builder.problem.units.iter().enumerate() {
        let unit_ix = UnitIx::from(ix);
        let steps = 0..unit.wanted.max(unit.facts.len());
        all.extend(
            steps
                .map(|step| (unit_ix, step))
                .filter(|(u, s)| builder.lines.placed(*u, *s).is_some()),
        );
    }
    all
}

/// Numbers the runs: those that have started keep theirs, the others count on by time.
fn visits(problem: &Problem, builder: &Builder<'_>, booked: &[(UnitIx, usize)]) -> Vec<Visit> {
    let mut numbers: BTreeMap<(RigIx, Minute), u32> = BTreeMap::new();
    let mut next: BTreeMap<RigIx, u32> = BTreeMap::new();
    for unit in &problem.units {
        for fact in &unit.facts {
            if let Place::Run(number) = fact.visit.place {
                numbers.insert((fact.visit.rig, fact.visit.times.load), number);
                let count = next.entry(fact.visit.rig).or_insert(1);
                *count = (*count).max(number + 1);
            }
        }
    }
    let visit = |(unit, step): &(UnitIx, usize)| {
        let placed = builder
            .lines
            .placed(*unit, *step)
            .expect("listed bookings exist");
        let place = match placed.slot {
            Slot::Lane(lane) => Place::Position(lane + 1),
            Slot::Held => Place::Held,
            Slot::Run => {
                let key = (placed.rig, placed.times.load);
                Place::Run(*numbers.entry(key).or_insert_with(|| {
                    let count = next.entry(placed.rig).or_insert(1);
                    *count += 1;
                    *count - 1
                }))
            }
        };
        Visit {
            unit: *unit,
            step: *step,
            rig: placed.rig,
            place,
            times: placed.times,
        }
    };
    booked.iter().map(visit).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::domain::lab::{Length, Loading};
    use crate::domain::parts::{
        ALL_WEEK, crew, empty_lab, method, request, rig, sequence, shift, step,
    };
    use crate::domain::plan::Times;
    use crate::domain::zone::known::utc;
    use crate::domain::{Facts, Minutes};
    use crate::problem::compile;

    #[test]
    fn a_cheaper_plan_that_moves_a_frozen_booking_does_not_win() {
        let hour = Minutes::hours(1);
        let mut lab = empty_lab();
        lab.freeze = hour * 4;
        lab.crews = vec![crew("bench", vec![shift(&ALL_WEEK, (8, 0), (16, 0), 1)])];
        let look = method("look", "look", Length::Hold(hour));
        lab.methods.insert(look.id.clone(), look);
        lab.rigs = vec![rig("bench", &["look"], Loading::Each, 1)];
        lab.sequences = vec![sequence("s", vec![step("look")])];
        let now = utc("2027-03-01T08:00");
        lab.requests = vec![request("R", "s", 1, now)];
        let before = compile(&lab, &Facts::default(), now);
        let mut news = |_| {};
        let earliest = solve(&before, 1, &Rounds(0), &mut news).plan.visits;
        let mut frozen = earliest.clone();
        let Times {
            load,
            start,
            end,
            unload,
            out,
        } = &mut frozen[0].times;
        for own in [load, start, end, unload, out] {
            *own += hour;
        }
        let facts = Facts {
            published: before.words(&frozen, &[]),
            ..Facts::default()
        };
        let problem = compile(&lab, &facts, now);
        let alone = Alone::look(&problem);
        let rule = &rules()[0];
        let order = rule.order(&problem, &alone);
        let kept = Candidate::new(&problem, &alone, &order, rule.style, &alone.fixed);
        let mut builder = Builder::new(&problem, &alone, rule.style);
        builder.place_visits(earliest.iter());
        let moved = Candidate {
            broken: broken(&builder, &alone),
            cost: search::cost_of(&builder),
            builder,
            no_room: Vec::new(),
        };
        assert_eq!((kept.broken, moved.broken), (0, 1));
        assert!(moved.cost < kept.cost);
        assert!(kept.value() < moved.value());
    }
}
