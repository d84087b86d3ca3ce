//! R4: positions, runs, held conditions and changeovers, by how the rig is loaded.

use super::{Court, Rule};
use crate::domain::lab::Loading;
use crate::domain::{Minute, Minutes};
use crate::problem::{Place, RigIx, Visit};
use std::collections::BTreeMap;

pub(super) fn check(court: &mut Court<'_>) {
    let mut on_rig: BTreeMap<RigIx, Vec<&Visit>> = BTreeMap::new();
    for visit in &court.plan.visits {
        on_rig.entry(visit.rig).or_default().push(visit);
    }
    for (rig, mut visits) in on_rig {
        visits.sort_by_key(|visit| (visit.times.load, visit.times.out));
        match court.problem.rigs[rig.ix()].loading {
            Loading::Each => each(court, rig, &visits),
            Loading::Together => together(court, rig, &visits),
            Loading::Held => held(court, rig, &visits),
        }
    }
}

/// Notes a clash between two visits against the later one that is planned; nothing where both are facts.
fn between(court: &mut Court<'_>, visit: &Visit, other: &Visit, why: &str) {
    let blamed = if court.is_fact(visit) { other } else { visit };
    if !court.is_fact(blamed) {
        court.against(Rule::Capacity, blamed, why);
    }
}

fn each(court: &mut Court<'_>, rig: RigIx, visits: &[&Visit]) {
    let own = &court.problem.rigs[rig.ix()];
    let mut lanes: BTreeMap<u32, Vec<&Visit>> = BTreeMap::new();
    for visit in visits {
        match visit.place {
            Place::Position(position) if (1..=own.positions).contains(&position) => {
                lanes.entry(position).or_default().push(visit);
            }
            _ => {
                let why = format!("has no position from 1 to {} of {}", own.positions, own.id);
                court.against(Rule::Capacity, visit, &why);
            }
        }
    }
    for (position, lane) in lanes {
        let place = format!("position {position} of {}", own.id);
        one_after_the_other(court, &lane, &place, own.changeover, |visit| {
            court_fixture(visit, court.problem)
        });
    }
}

fn court_fixture(visit: &Visit, problem: &crate::problem::Problem) -> u32 {
    problem.step(visit.unit, visit.step).fixture.0
}

/// Visits in the order of their loads do not overlap, and lie a changeover apart where `kind` differs.
fn one_after_the_other(
    court: &mut Court<'_>,
    visits: &[&Visit],
    place: &str,
    changeover: Minutes,
    kind: impl Fn(&Visit) -> u32,
) {
    let mut last: Option<&Visit> = None;
    for visit in visits {
        if let Some(before) = last {
            let gap = visit.times.load - before.times.out;
            let name = court.name(before);
            if gap < Minutes::ZERO {
                let why = format!("is at {place} together with {name}");
                between(court, visit, before, &why);
            } else if kind(visit) != kind(before) && gap < changeover {
                let why = format!(
                    "follows {name} at {place} after {gap}; the changeover takes {changeover}"
                );
                between(court, visit, before, &why);
            }
        }
        if last.is_none_or(|before| visit.times.out > before.times.out) {
            last = Some(visit);
        }
    }
}

fn together(court: &mut Court<'_>, rig: RigIx, visits: &[&Visit]) {
    let own = &court.problem.rigs[rig.ix()];
    let mut runs: BTreeMap<u32, Vec<&Visit>> = BTreeMap::new();
    for visit in visits {
        match visit.place {
            Place::Run(number) => runs.entry(number).or_default().push(visit),
            _ => court.against(Rule::Capacity, visit, &format!("has no run on {}", own.id)),
        }
    }
    for (number, run) in &runs {
        one_run(court, rig, *number, run);
    }
    let mut heads: Vec<&Visit> = runs.values().map(|run| run[0]).collect();
    heads.sort_by_key(|visit| (visit.times.load, visit.times.out));
    let problem = court.problem;
    one_after_the_other(court, &heads, own.id.as_str(), own.changeover, |visit| {
        problem.step(visit.unit, visit.step).condition.0
    });
}

/// One condition, one set of times, no more units than positions.
fn one_run(court: &mut Court<'_>, rig: RigIx, number: u32, run: &[&Visit]) {
    let own = &court.problem.rigs[rig.ix()];
    let head = run[0];
    let condition = court.problem.step(head.unit, head.step).condition;
    if run.len() > own.positions as usize
        && let Some(last) = run.iter().rev().find(|visit| !court.is_fact(visit))
    {
        let why = format!(
            "makes {} units in run {number} of {}, which has {} positions",
            run.len(),
            own.id,
            own.positions
        );
        court.against(Rule::Capacity, last, &why);
    }
    for visit in &run[1..] {
        let name = court.name(head);
        if court.problem.step(visit.unit, visit.step).condition != condition {
            let why = format!("shares run {number} with {name}, but not its condition");
            between(court, visit, head, &why);
        }
        if visit.times != head.times {
            let why = format!("shares run {number} with {name}, but not its times");
            between(court, visit, head, &why);
        }
    }
}

fn held(court: &mut Court<'_>, rig: RigIx, visits: &[&Visit]) {
    let own = &court.problem.rigs[rig.ix()];
    for visit in visits.iter().filter(|visit| visit.place != Place::Held) {
        court.against(
            Rule::Capacity,
            visit,
            &format!("has a position or run on {}, which has none", own.id),
        );
    }
    crowding(court, rig, visits);
    let mut latest: BTreeMap<u32, &Visit> = BTreeMap::new();
    for visit in visits {
        let condition = court.problem.step(visit.unit, visit.step).condition.0;
        for (other, before) in latest.clone() {
            let gap = visit.times.load - before.times.out;
            if other != condition && gap < own.changeover.max(Minutes::new(0)) {
                let name = court.name(before);
                let why = if gap < Minutes::ZERO {
                    format!(
                        "is in {} together with {name}, which has another condition",
                        own.id
                    )
                } else {
                    format!(
                        "follows {name} in {} after {gap}; the changeover takes {}",
                        own.id, own.changeover
                    )
                };
                between(court, visit, before, &why);
            }
        }
        let entry = latest.entry(condition).or_insert(visit);
        if visit.times.out > entry.times.out {
            *entry = visit;
        }
    }
}

/// Never more units inside than positions; at one minute leavers go first.
fn crowding(court: &mut Court<'_>, rig: RigIx, visits: &[&Visit]) {
    let own = &court.problem.rigs[rig.ix()];
    let mut inside: Vec<(Minute, &Visit)> = Vec::new();
    for visit in visits {
        inside.retain(|(out, _)| *out > visit.times.load);
        inside.push((visit.times.out, visit));
        if inside.len() > own.positions as usize {
            let blamed = inside
                .iter()
                .rev()
                .find(|(_, one)| !court.is_fact(one))
                .map(|(_, one)| *one);
            if let Some(blamed) = blamed {
                let why = format!(
                    "makes {} units in {}, which has {} positions",
                    inside.len(),
                    own.id,
                    own.positions
                );
                court.against(Rule::Capacity, blamed, &why);
            }
        }
    }
}
