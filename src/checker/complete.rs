//! Completeness: every request is either planned whole, for every unit up to the steps it still walks, or
//! left out whole, and rightly: a step that no rig can do, a unit that has no valid place even alone, or units that
//! stay together and are too many for it.
//! Visits that have started stay in the plan either way.

use super::alone::can_be_planned_alone;
use super::together::cannot_stay_together;
use super::{Clash, Court, Rule};
use crate::problem::{RequestIx, UnitIx, Visit};
use std::collections::BTreeSet;

pub(super) fn check(court: &mut Court<'_>) {
    let left: BTreeSet<RequestIx> = court.plan.left.iter().map(|left| left.request).collect();
    for ix in 0..court.problem.requests.len() {
        let request = RequestIx::from(ix);
        if left.contains(&request) {
            left_rightly(court, request);
        } else {
            planned_whole(court, request);
        }
    }
    twice_or_too_much(court);
}

fn note(court: &mut Court<'_>, unit: Option<UnitIx>, step: Option<usize>, text: String) {
    court.clashes.push(Clash {
        rule: Rule::Complete,
        unit,
        step,
        rig: None,
        span: None,
        text,
    });
}

fn left_rightly(court: &mut Court<'_>, request: RequestIx) {
    let problem = court.problem;
    let own = &problem.requests[request.ix()];
    let planned: Vec<UnitIx> = problem
        .units_of(request)
        .filter(|unit| {
            (problem.units[unit.ix()].facts.len()..own.steps.len())
                .any(|step| court.by_step.contains_key(&(*unit, step)))
        })
        .collect();
    for unit in planned {
        let text = format!(
            "{} is left out, but {} has visits",
            own.id,
            problem.units[unit.ix()].id
        );
        note(court, Some(unit), None, text);
    }
    let entries: Vec<_> = court
        .plan
        .left
        .iter()
        .filter(|left| left.request == request)
        .collect();
    if entries.len() > 1 {
        note(court, None, None, format!("{} is left out twice", own.id));
    }
    if entries.iter().any(|left| left.reason.trim().is_empty()) {
        note(
            court,
            None,
            None,
            format!("{} is left out without a reason", own.id),
        );
    }
    let hopeless = own
        .steps
        .iter()
        .any(|step| problem.rigs_for(step).is_empty());
    if !hopeless
        && !cannot_stay_together(problem, request)
        && problem
            .units_of(request)
            .all(|unit| can_be_planned_alone(problem, unit))
    {
        note(
            court,
            None,
            None,
            format!("{} is left out, but it can be planned", own.id),
        );
    }
}

fn planned_whole(court: &mut Court<'_>, request: RequestIx) {
    let problem = court.problem;
    for unit in problem.units_of(request) {
        let wanted = 0..problem.units[unit.ix()].wanted;
        let missing: Vec<usize> = wanted
            .filter(|step| !court.by_step.contains_key(&(unit, *step)))
            .map(|step| step + 1)
            .collect();
        let steps = match missing[..] {
            [] => continue,
            [one] => format!("step {one}"),
            [first, .., last] if last - first + 1 == missing.len() => {
                format!("steps {first} to {last}")
            }
            _ => {
                let numbers: Vec<String> = missing.iter().map(usize::to_string).collect();
                format!("steps {}", numbers.join(", "))
            }
        };
        let id = &problem.units[unit.ix()].id;
        note(
            court,
            Some(unit),
            None,
            format!("{id} has no visit for {steps}"),
        );
    }
}

fn twice_or_too_much(court: &mut Court<'_>) {
    let mut seen = BTreeSet::new();
    let visits: Vec<&Visit> = court.plan.visits.iter().collect();
    for visit in visits {
        let name = court.name(visit);
        if !seen.insert((visit.unit, visit.step)) {
            note(
                court,
                Some(visit.unit),
                Some(visit.step),
                format!("{name} is planned twice"),
            );
        }
        if visit.step >= court.problem.units[visit.unit.ix()].wanted {
            note(
                court,
                Some(visit.unit),
                Some(visit.step),
                format!("{name} is planned, but the unit is stopped before it"),
            );
        }
    }
}
