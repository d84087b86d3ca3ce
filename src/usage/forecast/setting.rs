//! What all samples of a forecast have in common: the lab, where it stands, and the plan's order.

use super::hands::Hands;
use super::history::History;
use super::keys::Keys;
use crate::domain::lab::{Lab, OnFailure};
use crate::domain::{Minute, Minutes, Span};
use crate::floor::Down;
use crate::problem::{OnTime, Place, Plan, Problem, RequestIx, RigIx, UnitIx, Visit};
use std::collections::BTreeMap;

/// Visits that begin and end as one: a run of a rig loaded together, else a single visit.
#[derive(Clone, Debug)]
pub(super) struct Run {
    pub(super) rig: RigIx,
    /// The wished position, from 0.
    pub(super) lane: u32,
    /// Units with their steps, from 0.
    pub(super) members: Vec<(UnitIx, usize)>,
    /// When the plan loads it.
    pub(super) load: Minute,
    /// It must not begin before the plan says: it is pinned, or a largest rest binds it to what follows.
    pub(super) not_before: bool,
}

/// What all samples have in common.
#[derive(Clone, Debug)]
pub struct Setting<'p> {
    pub(super) problem: &'p Problem,
    /// What rates are kept by.
    pub keys: Keys,
    /// The plan's runs, by load.
    pub(super) order: Vec<Run>,
    /// Requests that the plan leaves out.
    pub(super) left: Vec<RequestIx>,
    /// When requests finish by the plan.
    pub(super) planned: Vec<Option<Minute>>,
    /// The place of each unit's first step in lists of all steps of all units.
    pub(super) first: Vec<usize>,
    /// Steps that are over, by that place, and have their verdict, if they need one.
    pub(super) decided: Vec<bool>,
    /// By request: a unit with a bad verdict walks no further.
    pub(super) stops: Vec<bool>,
    /// By rig the spans of its use, breakdowns not taken off.
    pub(super) open: Vec<Vec<Span>>,
    /// By rig the breakdown that it has now.
    pub(super) down: Vec<Option<Down>>,
    /// By crew who is on shift.
    pub(super) hands: Vec<Hands>,
}

impl<'p> Setting<'p> {
    /// Of a lab as its ledger says it stands, and of a plan for it from the problem's own now.
    pub fn new(lab: &Lab, history: &History, problem: &'p Problem, plan: &Plan) -> Self {
        let mut first = Vec::with_capacity(problem.units.len());
        let mut count = 0;
        for unit in &problem.units {
            first.push(count);
            count += problem.requests[unit.request.ix()].steps.len();
        }
        let stops = lab
            .requests
            .iter()
            .map(|own| own.on_failure == OnFailure::Stop);
        let down = |rig: &crate::problem::Rig| {
            let record = history.now.rigs.get(&rig.id);
            record.and_then(crate::floor::RigRecord::down)
        };
        // Runs that have begun may load before now.
        let earliest = problem.now - Minutes::DAY * 30;
        let hands = problem.crews.iter();
        Self {
            problem,
            keys: Keys::new(problem),
            order: runs(problem, plan.visits.iter().copied()),
            left: plan.left.iter().map(|own| own.request).collect(),
            planned: plan.finishes(problem),
            decided: decided(problem, history, &first, count),
            first,
            stops: stops.collect(),
            open: problem.rigs.iter().map(|rig| open(lab, rig)).collect(),
            down: problem.rigs.iter().map(down).collect(),
            hands: hands
                .map(|crew| Hands::new(&crew.people, earliest))
                .collect(),
        }
    }

    /// The place of a unit's step in lists of all steps.
    pub(super) fn at(&self, unit: UnitIx, step: usize) -> usize {
        self.first[unit.ix()] + step
    }

    /// How many steps all units have together.
    pub(super) fn steps(&self) -> usize {
        self.decided.len()
    }

    /// Requests of the plan of which something is still to be done.
    pub(super) fn open_requests(&self) -> impl Iterator<Item = RequestIx> + '_ {
        let all = (0..self.problem.requests.len()).map(RequestIx::from);
        let in_plan = all.filter(|request| !self.left.contains(request));
        in_plan.filter(|request| {
            let mut units = self.problem.units_of(*request);
            units.any(|unit| {
                let own = &self.problem.units[unit.ix()];
                own.facts.len() < own.wanted || own.facts.iter().any(|fact| !fact.over)
            })
        })
    }
}

/// The runs of visits that have not begun, by load.
pub(super) fn runs(problem: &Problem, visits: impl Iterator<Item = Visit>) -> Vec<Run> {
    let mut shared: BTreeMap<(RigIx, u32), usize> = BTreeMap::new();
    let mut runs: Vec<Run> = Vec::new();
    for visit in visits {
        let unit = &problem.units[visit.unit.ix()];
        if visit.step < unit.facts.len() || visit.step >= unit.wanted {
            continue;
        }
        let member = (visit.unit, visit.step);
        let not_before = bound_in_time(problem, visit.unit, visit.step);
        if let Place::Run(number) = visit.place {
            if let Some(ix) = shared.get(&(visit.rig, number)) {
                runs[*ix].members.push(member);
                runs[*ix].not_before |= not_before;
                continue;
            }
            shared.insert((visit.rig, number), runs.len());
        }
        runs.push(Run {
            rig: visit.rig,
            lane: match visit.place {
                Place::Position(position) => position.saturating_sub(1),
                Place::Run(_) | Place::Held => 0,
            },
            members: vec![member],
            load: visit.times.load,
            not_before,
        });
    }
    runs.sort_by_key(|run| (run.load, run.rig, run.members[0]));
    runs
}

/// True where a step is pinned, or what follows it must follow within a largest rest.
fn bound_in_time(problem: &Problem, unit: UnitIx, step: usize) -> bool {
    let own = &problem.units[unit.ix()];
    let next = problem.request_of(unit).steps.get(step + 1);
    let closes = next.is_some_and(|next| step + 1 < own.wanted && next.rest_max < Minutes::FOREVER);
    closes || own.pins.iter().any(|pin| pin.step == step)
}

/// Steps whose verdict is known, or that have none and are over.
fn decided(problem: &Problem, history: &History, first: &[usize], count: usize) -> Vec<bool> {
    let mut decided = vec![false; count];
    for (unit, first) in problem.units.iter().zip(first) {
        let record = history.now.units.get(&unit.id);
        for step in 0..unit.facts.len() {
            let number = u32::try_from(step + 1).unwrap_or(u32::MAX);
            let known = record.is_some_and(|own| own.verdicts.contains_key(&number));
            // A step further on has begun: whatever the verdict was, the unit went on.
            decided[first + step] = known || step + 1 < unit.facts.len();
        }
    }
    decided
}

/// When a rig is in use by the lab folder alone.
fn open(lab: &Lab, rig: &crate::problem::Rig) -> Vec<Span> {
    let outages = lab.outages.iter().filter(|own| own.rig == rig.id);
    let until = Span::new(Minute::FIRST, rig.calibrated_until);
    without(
        &[until],
        &OnTime::new(outages.map(|own| own.span).collect()),
    )
}

/// Spans with some taken off.
pub(super) fn without(spans: &[Span], taken: &OnTime) -> Vec<Span> {
    let mut left = Vec::new();
    for span in spans {
        let mut from = span.start;
        for piece in taken.within(*span) {
            left.push(Span::new(from, piece.start));
            from = piece.end;
        }
        left.push(Span::new(from, span.end));
    }
    left.retain(|span| !span.is_empty());
    left
}
