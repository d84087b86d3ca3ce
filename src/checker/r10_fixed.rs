//! R10: pinned visits are where the pin says; what has started stays as it happened; bookings of the plan
//! in force that start within freeze of now keep rig and load unless they have become impossible.
//!
//! A frozen booking has become impossible where, the other units left aside, it breaks a rule by itself:
//! its request is not ready, its rig cannot do it (any more) or not in the time that was booked, is out
//! of use or past its calibration, nobody of its crew is on shift to load it, its watch is not there, a
//! pin wants it elsewhere, the step before was frozen and impossible, or what has happened since leaves
//! no valid gap before it or has taken its place.

use super::r03_eligible::pausing_watch;
use super::{Clash, Court, Rule};
use crate::domain::lab::Loading;
use crate::domain::{Minutes, Span};
use crate::problem::{Problem, UnitIx, Visit};

pub(super) fn check(court: &mut Court<'_>) {
    for ix in 0..court.problem.units.len() {
        let unit = UnitIx::from(ix);
        facts(court, unit);
        pins(court, unit);
        frozen(court, unit);
    }
}

fn facts(court: &mut Court<'_>, unit: UnitIx) {
    for fact in &court.problem.units[unit.ix()].facts {
        let planned = court.by_step.get(&(unit, fact.visit.step)).copied();
        if planned != Some(&fact.visit) {
            let text = format!(
                "{} has started as recorded, and the plan says otherwise",
                court.name(&fact.visit)
            );
            court.clashes.push(Clash {
                rule: Rule::Fixed,
                unit: Some(unit),
                step: Some(fact.visit.step),
                rig: Some(fact.visit.rig),
                span: Some(fact.visit.times.stay()),
                text,
            });
        }
    }
}

fn pins(court: &mut Court<'_>, unit: UnitIx) {
    for pin in &court.problem.units[unit.ix()].pins {
        let Some(visit) = court.by_step.get(&(unit, pin.step)).copied() else {
            continue;
        };
        if (visit.rig, visit.times.load) != (pin.rig, pin.load) {
            let why = format!(
                "loads at {}, but it is pinned to {} at {}",
                court.when(visit.times.load),
                court.rig(pin.rig),
                court.when(pin.load)
            );
            court.against(Rule::Fixed, visit, &why);
        }
    }
}

fn frozen(court: &mut Court<'_>, unit: UnitIx) {
    let problem = court.problem;
    let mut broken = false;
    for booked in &problem.units[unit.ix()].published {
        let load = booked.times.load;
        if load < problem.now || load >= problem.frozen_before {
            continue;
        }
        broken = broken || impossible(problem, unit, booked);
        let planned = court.by_step.get(&(unit, booked.step)).copied();
        if broken
            || planned.is_some_and(|visit| (visit.rig, visit.times.load) == (booked.rig, load))
        {
            continue;
        }
        let why = format!(
            "starts within the freeze time, and the published plan has it on {} at {}",
            court.rig(booked.rig),
            court.when(load)
        );
        // A request that is left out, or a unit that is stopped, is judged by completeness.
        if let Some(visit) = planned {
            court.against(Rule::Fixed, visit, &why);
        }
    }
}

fn impossible(problem: &Problem, unit: UnitIx, booked: &Visit) -> bool {
    let own = &problem.units[unit.ix()];
    let step = problem.step(unit, booked.step);
    let condition = problem.condition(step);
    let rig = &problem.rigs[booked.rig.ix()];
    let times = &booked.times;
    let exposed = match pausing_watch(problem, condition, booked) {
        Some(watch) => watch
            .within(Span::new(times.start, times.end))
            .map(Span::length)
            .sum(),
        None => times.end - times.start,
    };
    let on = &problem.crews[condition.crew.ix()].on;
    let unwatched = pausing_watch(problem, condition, booked).is_none()
        && problem
            .watch(condition)
            .is_some_and(|watch| !watch.covers(Span::new(times.start, times.end)));
    let pinned_elsewhere = own
        .pins
        .iter()
        .any(|pin| pin.step == booked.step && (pin.rig, pin.load) != (booked.rig, times.load));
    let last_fact = own
        .facts
        .last()
        .filter(|fact| fact.visit.step + 1 == booked.step);
    let gap_broken = last_fact.is_some_and(|fact| {
        let gap = times.load - fact.visit.times.out;
        gap < step.rest_min || gap > step.rest_max
    });
    times.load < problem.request_of(unit).ready
        || problem.exposure(step, booked.rig) != Some(exposed)
        || !rig.usable.iter().any(|span| span.covers(times.stay()))
        || !on.covers(Span::new(times.load, times.start))
        || unwatched
        || pinned_elsewhere
        || gap_broken
        || place_taken(problem, booked)
}

/// What has happened and still lasts leaves no room for the booking on its rig.
fn place_taken(problem: &Problem, booked: &Visit) -> bool {
    let rig = &problem.rigs[booked.rig.ix()];
    let kind = |visit: &Visit| {
        let step = problem.step(visit.unit, visit.step);
        if rig.loading == Loading::Each {
            step.fixture.0
        } else {
            step.condition.0
        }
    };
    let facts = problem
        .units
        .iter()
        .flat_map(|unit| &unit.facts)
        .map(|fact| &fact.visit);
    let in_the_way = facts.filter(|fact| fact.rig == booked.rig).filter(|fact| {
        let pad = if kind(fact) == kind(booked) {
            Minutes::ZERO
        } else {
            rig.changeover
        };
        let widened = Span::new(fact.times.load - pad, fact.times.out + pad);
        widened.overlaps(booked.times.stay())
    });
    match rig.loading {
        Loading::Each => in_the_way.count() >= rig.positions as usize,
        Loading::Together => in_the_way.count() > 0,
        Loading::Held => {
            let (same, other): (Vec<&Visit>, Vec<&Visit>) =
                in_the_way.partition(|fact| kind(fact) == kind(booked));
            !other.is_empty() || same.len() >= rig.positions as usize
        }
    }
}
