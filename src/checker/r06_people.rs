//! R6: at every minute a crew's loads, unloads and full watches need no more people than its shifts give.
//!
//! A clash is noted where a need begins that the shift cannot meet, against the latest planned visit
//! that takes a person then. What only facts need is no clash: it has happened.

use super::r03_eligible::pausing_watch;
use super::{Clash, Court, Rule};
use crate::domain::lab::{Loading, Watch};
use crate::domain::plan::Times;
use crate::domain::{Minute, Span};
use crate::problem::{CrewIx, Place, RigIx, Visit};
use std::collections::{BTreeMap, BTreeSet};

/// A stretch of time that takes one person.
struct Task<'a> {
    span: Span,
    visit: &'a Visit,
}

pub(super) fn check(court: &mut Court<'_>) {
    let mut tasks: BTreeMap<CrewIx, Vec<Task<'_>>> = BTreeMap::new();
    let mut seen_runs: BTreeSet<(RigIx, Place, Times)> = BTreeSet::new();
    // Facts first, so that a run that has started counts as one.
    let (facts, planned): (Vec<&Visit>, Vec<&Visit>) = court
        .plan
        .visits
        .iter()
        .partition(|visit| court.is_fact(visit));
    for visit in facts.into_iter().chain(planned) {
        let shares = court.problem.rigs[visit.rig.ix()].loading == Loading::Together;
        if shares && !seen_runs.insert((visit.rig, visit.place, visit.times)) {
            continue;
        }
        let condition = court
            .problem
            .condition(court.problem.step(visit.unit, visit.step));
        let list = tasks.entry(condition.crew).or_default();
        list.extend(
            spans(court, visit)
                .into_iter()
                .map(|span| Task { span, visit }),
        );
    }
    for (crew, tasks) in tasks {
        one_crew(court, crew, &tasks);
    }
}

/// When a visit takes a person.
fn spans(court: &Court<'_>, visit: &Visit) -> Vec<Span> {
    let problem = court.problem;
    let condition = problem.condition(problem.step(visit.unit, visit.step));
    let times = &visit.times;
    let mut spans = vec![
        Span::new(times.load, times.start),
        Span::new(times.unload, times.out),
    ];
    if condition.watch == Watch::Full {
        let exposure = Span::new(times.start, times.end);
        match pausing_watch(problem, condition, visit) {
            Some(watch) => spans.extend(watch.within(exposure)),
            None => spans.push(exposure),
        }
    }
    spans.retain(|span| !span.is_empty());
    spans
}

fn one_crew(court: &mut Court<'_>, crew: CrewIx, tasks: &[Task<'_>]) {
    let own = &court.problem.crews[crew.ix()];
    let mut moments: BTreeSet<Minute> = own.people.steps().iter().map(|(at, _)| *at).collect();
    moments.extend(tasks.iter().map(|task| task.span.start));
    let mut by_start: Vec<&Task<'_>> = tasks.iter().collect();
    by_start.sort_by_key(|task| task.span.start);
    let mut next = 0;
    let mut running: Vec<&Task<'_>> = Vec::new();
    let mut over = false;
    for at in moments {
        running.retain(|task| task.span.end > at);
        while next < by_start.len() && by_start[next].span.start <= at {
            running.push(by_start[next]);
            next += 1;
        }
        let have = own.people.at(at) as usize;
        let was_over = std::mem::replace(&mut over, running.len() > have);
        let planned = running.iter().rev().find(|task| !court.is_fact(task.visit));
        if let (true, false, Some(task)) = (over, was_over, planned) {
            let clash = too_few(court, crew, at, running.len(), have, task);
            court.clashes.push(clash);
        }
    }
}

fn too_few(
    court: &Court<'_>,
    crew: CrewIx,
    at: Minute,
    need: usize,
    have: usize,
    task: &Task<'_>,
) -> Clash {
    let visit = task.visit;
    let name = court.name(visit);
    let crew = &court.problem.crews[crew.ix()].id;
    let text = format!(
        "crew {crew}: {need} needed at {}, {have} on shift; the last for {name}",
        court.when(at)
    );
    Clash {
        rule: Rule::People,
        unit: Some(visit.unit),
        step: Some(visit.step),
        rig: Some(visit.rig),
        span: Some(Span::new(at, task.span.end)),
        text,
    }
}
