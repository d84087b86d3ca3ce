//! R9: with `keep_together`, all units of a request are in one run for each step done on a chamber: if
//! one unit does it on a rig loaded together, all do.

use super::{Court, Rule};
use crate::domain::lab::Loading;
use crate::problem::{RequestIx, Visit};

pub(super) fn check(court: &mut Court<'_>) {
    for ix in 0..court.problem.requests.len() {
        let request = &court.problem.requests[ix];
        if request.keep_together && request.units.len() > 1 {
            for step in 0..request.steps.len() {
                one_step(court, RequestIx::from(ix), step);
            }
        }
    }
}

fn one_step(court: &mut Court<'_>, request: RequestIx, step: usize) {
    let units = court.problem.units_of(request);
    let visits: Vec<&Visit> = units
        .filter_map(|unit| court.by_step.get(&(unit, step)).copied())
        .collect();
    let on_chamber =
        |visit: &&Visit| court.problem.rigs[visit.rig.ix()].loading == Loading::Together;
    // Units that have started the step apart cannot be brought together again.
    if visits.iter().any(|visit| court.is_fact(visit)) {
        return;
    }
    let Some(first) = visits.iter().copied().find(|visit| on_chamber(visit)) else {
        return;
    };
    for visit in visits {
        if (visit.rig, visit.place) != (first.rig, first.place) {
            let name = court.name(first);
            let why =
                format!("is not in the run of {name}, and their request keeps its units together");
            court.against(Rule::Together, visit, &why);
        }
    }
}
