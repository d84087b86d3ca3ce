//! R3: an eligible rig; load, exposure and unload as long as they take there, one after the other.

use super::{Court, Rule};
use crate::domain::{Minutes, Span};
use crate::problem::{Condition, OnTime, Problem, Visit};

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        hands(court, visit);
        exposure(court, visit);
    }
}

fn hands(court: &mut Court<'_>, visit: &Visit) {
    let rig = &court.problem.rigs[visit.rig.ix()];
    let times = &visit.times;
    let load = times.start - times.load;
    if load != rig.load {
        let why = format!("loads for {load}; {} takes {}", rig.id, rig.load);
        court.against(Rule::Eligible, visit, &why);
    }
    let unload = times.out - times.unload;
    if unload != rig.unload {
        let why = format!("unloads for {unload}; {} takes {}", rig.id, rig.unload);
        court.against(Rule::Eligible, visit, &why);
    }
    if times.unload < times.end {
        court.against(Rule::Eligible, visit, "unloads before its exposure ends");
    }
}

fn exposure(court: &mut Court<'_>, visit: &Visit) {
    let problem = court.problem;
    let step = problem.step(visit.unit, visit.step);
    let Some(asked) = problem.exposure(step, visit.rig) else {
        let why = format!("cannot be done on {}", problem.rigs[visit.rig.ix()].id);
        court.against(Rule::Eligible, visit, &why);
        return;
    };
    let condition = problem.condition(step);
    let span = Span::new(visit.times.start, visit.times.end);
    let done = match pausing_watch(problem, condition, visit) {
        Some(watch) => watched_minutes(watch, span),
        None => span.length(),
    };
    if done != asked {
        let why = format!("is exposed for {done}; {asked} are asked");
        court.against(Rule::Eligible, visit, &why);
    } else if let Some(watch) = pausing_watch(problem, condition, visit)
        && !watch.contains(span.end - Minutes::new(1))
    {
        court.against(
            Rule::Eligible,
            visit,
            "had its whole exposure before the end that is given",
        );
    }
}

/// The watch that the exposure pauses without, where it may pause.
pub(super) fn pausing_watch<'p>(
    problem: &'p Problem,
    condition: &Condition,
    visit: &Visit,
) -> Option<&'p OnTime> {
    if problem.pauses(condition, visit.rig) {
        problem.watch(condition)
    } else {
        None
    }
}

/// Minutes of the span that are watched, counted piece by piece.
fn watched_minutes(watch: &OnTime, span: Span) -> Minutes {
    watch.within(span).map(Span::length).sum()
}
