//! Why a request cannot be planned: the step, the rule that stands in the way, and the nearest remedy.
//!
//! A request that finds no place even alone is looked at in a small problem of its own. Rules are lifted one at
//! a time (then two) until its units find a place; the place they find says how much of the rule is in the
//! way, and each remedy that is named was tried. Who finds no place beside the others is asked for pins that
//! clash, and for the longest free time where it needs more.

mod beside;
mod remedy;

pub(super) use beside::beside;

use super::construct::{Builder, Fixed};
use super::timeline::{Placed, Timelines};
use super::words;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CrewIx, OnTime, People, Problem, RequestIx, Unit, UnitIx};
use std::sync::Arc;

/// A rule that can be lifted.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum Rule {
    Pins,
    Calibration,
    Outages,
    MaxWait,
    RestMax,
    People(CrewIx),
    Horizon,
}

impl Rule {
    /// Every rule, those that are easiest to put right first.
    fn all(problem: &Problem) -> Vec<Self> {
        let crews = (0..problem.crews.len()).map(|ix| Self::People(CrewIx::from(ix)));
        [
            Self::Pins,
            Self::Calibration,
            Self::Outages,
            Self::MaxWait,
            Self::RestMax,
        ]
        .into_iter()
        .chain(crews)
        .chain([Self::Horizon])
        .collect()
    }

    /// Its number and name.
    fn name(self, problem: &Problem) -> String {
        match self {
            Self::Pins => "R10 pins".to_owned(),
            Self::Calibration => "R5 calibration".to_owned(),
            Self::Outages => "R5 outages".to_owned(),
            Self::MaxWait => "R8 the longest wait in the rig".to_owned(),
            Self::RestMax => "R1 the largest rest".to_owned(),
            Self::People(crew) => format!("R6 shifts of crew {}", problem.crews[crew.ix()].id),
            Self::Horizon => "R11 the horizon".to_owned(),
        }
    }

    /// The problem without the rule.
    fn lift(self, problem: &Problem) -> Problem {
        let mut lifted = problem.clone();
        match self {
            Self::Pins => lifted.units.iter_mut().for_each(|unit| unit.pins.clear()),
            Self::Calibration => lifted.rigs.iter_mut().for_each(|rig| {
                let spans = rig.outages.iter().map(|(span, _)| *span).collect();
                rig.calibrated_until = Minute::LAST;
                rig.usable = free_of(&OnTime::new(spans), Minute::LAST);
            }),
            Self::Outages => lifted.rigs.iter_mut().for_each(|rig| {
                rig.usable = free_of(&OnTime::default(), rig.calibrated_until);
            }),
            Self::MaxWait => {
                lifted
                    .conditions
                    .iter_mut()
                    .for_each(|own| own.max_wait = Minutes::FOREVER);
            }
            Self::RestMax => {
                for request in &mut lifted.requests {
                    request
                        .steps
                        .iter_mut()
                        .for_each(|own| own.rest_max = Minutes::FOREVER);
                }
            }
            Self::People(crew) => {
                let always = Span::new(problem.now - Minutes::DAY, problem.end + Minutes::DAY);
                set_people(&mut lifted, crew, &[(always, 10_000)]);
            }
            Self::Horizon => reach_further(&mut lifted),
        }
        lifted
    }
}

/// Why a request that some rig could do finds no place even alone.
pub(super) fn alone(problem: &Problem, request: RequestIx, step: usize) -> String {
    let own = &problem.requests[request.ix()];
    if own.ready >= problem.end {
        return words::ready_after_horizon(problem, request);
    }
    let base = only(problem, request);
    let Err(stuck) = walks(&base) else {
        return words::no_place(problem, request, step);
    };
    let rules = Rule::all(&base);
    for rule in &rules {
        if let Ok(walks) = walks(&rule.lift(&base)) {
            return remedy::words(&base, *rule, stuck, &walks[stuck.0.ix()]);
        }
    }
    for (ix, first) in rules.iter().enumerate() {
        for second in &rules[ix + 1..] {
            if walks(&second.lift(&first.lift(&base))).is_ok() {
                return format!(
                    "{} and {} together leave no place; with one of them alone it could be planned \
                     only if the other gave way too",
                    first.name(&base),
                    second.name(&base)
                );
            }
        }
    }
    words::no_place(problem, request, step)
}

/// A unit and the step (from 0) that finds no place.
type Stuck = (UnitIx, usize);

/// Where every unit's steps go alone, by unit and step; or the first that finds no place.
fn walks(problem: &Problem) -> Result<Vec<Vec<Option<Placed>>>, Stuck> {
    let pins: Vec<Vec<Fixed>> = problem.units.iter().map(Fixed::pins).collect();
    let mut builder = Builder::alone(problem, Timelines::empty(problem), Arc::new(pins));
    let mut all = Vec::with_capacity(problem.units.len());
    for (ix, own) in problem.units.iter().enumerate() {
        let unit = UnitIx::from(ix);
        own.facts.iter().for_each(|fact| builder.place_fact(fact));
        builder.walk_alone(unit).map_err(|step| (unit, step))?;
        let steps = 0..own.wanted.max(own.facts.len());
        let placed = steps.map(|step| builder.lines.forget(unit, step));
        all.push(placed.collect());
        builder.forget_log();
    }
    Ok(all)
}

/// The problem with one request only.
fn only(problem: &Problem, request: RequestIx) -> Problem {
    let own = &problem.requests[request.ix()];
    let units = own.units.start as usize..own.units.end as usize;
    let mut units = problem.units[units].to_vec();
    // Units without facts, pins or stops are all alike: one speaks for them.
    let is_plain = |unit: &Unit| {
        unit.facts.is_empty() && unit.pins.is_empty() && unit.wanted == own.steps.len()
    };
    let mut plain = 0;
    units.retain(|unit| {
        plain += usize::from(is_plain(unit));
        !is_plain(unit) || plain == 1
    });
    let mut own = own.clone();
    own.units = 0..u32::try_from(units.len()).expect("a request has fewer units than a problem");
    for (ix, unit) in units.iter_mut().enumerate() {
        unit.request = RequestIx(0);
        unit.facts
            .iter_mut()
            .for_each(|fact| fact.visit.unit = UnitIx::from(ix));
        // What the plan in force says does not bind who cannot be planned.
        unit.published.clear();
    }
    Problem {
        lab: problem.lab.clone(),
        zone: problem.zone.clone(),
        now: problem.now,
        end: problem.end,
        frozen_before: problem.frozen_before,
        site: problem.site.clone(),
        crews: problem.crews.clone(),
        rigs: problem.rigs.clone(),
        conditions: problem.conditions.clone(),
        eligible: problem.eligible.clone(),
        requests: vec![own],
        units,
        fixtures: problem.fixtures,
    }
}

/// The spans outside of `taken`, up to `until`.
fn free_of(taken: &OnTime, until: Minute) -> Vec<Span> {
    let mut free = Vec::new();
    let mut from = Minute::FIRST;
    for span in taken.spans() {
        free.push(Span::new(from, span.start.min(until)));
        from = span.end;
    }
    free.push(Span::new(from, until));
    free.retain(|span| !span.is_empty());
    free
}

/// Gives a crew other people, and the site accordingly.
fn set_people(problem: &mut Problem, crew: CrewIx, shifts: &[(Span, u32)]) {
    let own = &mut problem.crews[crew.ix()];
    own.people = People::new(shifts);
    own.on = own.people.on();
    let all = problem
        .crews
        .iter()
        .flat_map(|crew| crew.on.spans().iter().copied());
    problem.site = OnTime::new(all.collect());
}

/// The shifts of a crew as spans with people.
fn shifts_of(problem: &Problem, crew: CrewIx) -> Vec<(Span, u32)> {
    let steps = problem.crews[crew.ix()].people.steps();
    let piece = |pair: &[(Minute, u32)]| (Span::new(pair[0].0, pair[1].0), pair[0].1);
    steps
        .windows(2)
        .map(piece)
        .filter(|(_, people)| *people > 0)
        .collect()
}

/// Makes the horizon four times as far, and at least a hundred days further; the last week of every crew's
/// calendar goes on.
fn reach_further(problem: &mut Problem) {
    let week = Minutes::DAY * 7;
    let old = problem.end;
    let more = ((old - problem.now) * 3).max(Minutes::DAY * 100);
    let end = old + more;
    for ix in 0..problem.crews.len() {
        let crew = CrewIx::from(ix);
        let mut shifts = shifts_of(problem, crew);
        shifts.retain(|(span, _)| span.start < old);
        let last: Vec<(Span, u32)> = shifts
            .iter()
            .filter(|(span, _)| span.start >= old - week)
            .copied()
            .collect();
        let mut by = week;
        while old - week + by < end {
            let moved = last
                .iter()
                .map(|(own, people)| (Span::new(own.start + by, own.end + by), *people));
            shifts.extend(moved);
            by += week;
        }
        set_people(problem, crew, &shifts);
    }
    problem.end = end;
}
