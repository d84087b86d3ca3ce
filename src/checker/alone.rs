//! Can a unit be planned at all, alone in an otherwise empty lab?
//!
//! Step by step, the set of all minutes at which the unit can come out is worked out from the set of the
//! step before, rig by rig. Only shifts, watches, outages, calibration, horizon, rests and the unit's own
//! pins count, and the changeover between two of its steps that follow each other in one place; one person
//! on shift is enough.

use crate::domain::lab::{Loading, Watch};
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{Condition, OnTime, Problem, RigIx, Step, UnitIx};

/// True where the unit has some valid place for every step that it still walks.
pub(super) fn can_be_planned_alone(problem: &Problem, unit: UnitIx) -> bool {
    let own = &problem.units[unit.ix()];
    let request = problem.request_of(unit);
    let floor = request.ready.max(problem.now);
    // By the rig of the step before: the minutes at which the unit can come out there.
    let mut outs: Option<Vec<(RigIx, OnTime)>> = None;
    if let Some(fact) = own.facts.last() {
        outs = Some(vec![(fact.visit.rig, set(vec![one(fact.visit.times.out)]))]);
    }
    for step in own.facts.len()..own.wanted {
        let after_fact = step == own.facts.len();
        let pin = own.pins.iter().find(|pin| pin.step == step);
        let mut reached = Vec::new();
        for (rig, exposure) in problem.rigs_for(&request.steps[step]) {
            if pin.is_some_and(|pin| pin.rig != *rig) {
                continue;
            }
            let mut loads = match &outs {
                None => set(vec![Span::new(floor, problem.end + Minutes::new(1))]),
                Some(outs) => set(outs
                    .iter()
                    .flat_map(|(before, outs)| {
                        let pad = own_changeover(problem, unit, step, *before, *rig);
                        let loads =
                            loads(problem, &request.steps[step], outs, floor, after_fact, pad);
                        loads.spans().to_vec()
                    })
                    .collect()),
            };
            if let Some(pin) = pin {
                loads = both(&loads, &set(vec![one(pin.load)]));
            }
            let mut next = Vec::new();
            outs_on(
                problem,
                &request.steps[step],
                *rig,
                *exposure,
                &loads,
                &mut next,
            );
            if !next.is_empty() {
                reached.push((*rig, set(next)));
            }
        }
        if reached.is_empty() {
            return false;
        }
        outs = Some(reached);
    }
    true
}

/// The changeover that a step must leave after the unit's own step before it: on one rig whose place they
/// share, where they differ in fixture or condition.
fn own_changeover(
    problem: &Problem,
    unit: UnitIx,
    step: usize,
    before: RigIx,
    rig: RigIx,
) -> Minutes {
    let own = &problem.rigs[rig.ix()];
    let (first, second) = (problem.step(unit, step - 1), problem.step(unit, step));
    let binds = match own.loading {
        Loading::Each => own.positions == 1 && first.fixture != second.fixture,
        Loading::Together | Loading::Held => first.condition != second.condition,
    };
    if before == rig && binds {
        own.changeover
    } else {
        Minutes::ZERO
    }
}

fn set(spans: Vec<Span>) -> OnTime {
    OnTime::new(spans)
}

fn one(at: Minute) -> Span {
    Span::new(at, at + Minutes::new(1))
}

fn both(a: &OnTime, b: &OnTime) -> OnTime {
    set(a.spans().iter().flat_map(|span| b.within(*span)).collect())
}

fn moved(a: &OnTime, by: Minutes) -> OnTime {
    set(a
        .spans()
        .iter()
        .map(|span| Span::new(span.start + by, span.end + by))
        .collect())
}

/// Minutes from which `length` minutes lie in one span of `on`.
fn begins(on: &OnTime, length: Minutes) -> OnTime {
    let long = on.spans().iter().filter(|span| span.length() >= length);
    set(long
        .map(|span| Span::new(span.start, span.end - length + Minutes::new(1)))
        .collect())
}

/// Minutes at which the step may load.
fn loads(
    problem: &Problem,
    step: &Step,
    outs: &OnTime,
    floor: Minute,
    after_fact: bool,
    pad: Minutes,
) -> OnTime {
    let ahead = set(vec![Span::new(floor, problem.end + Minutes::new(1))]);
    let reach = |span: &Span| {
        let missed = after_fact && span.start + step.rest_max < problem.now;
        let until = if missed {
            problem.end
        } else {
            (span.end + step.rest_max).min(problem.end + Minutes::new(1))
        };
        Span::new(span.start + step.rest_min.max(pad), until)
    };
    both(&set(outs.spans().iter().map(reach).collect()), &ahead)
}

/// Adds the minutes at which the step can come out of the rig.
fn outs_on(
    problem: &Problem,
    step: &Step,
    rig: RigIx,
    exposure: Minutes,
    loads: &OnTime,
    outs: &mut Vec<Span>,
) {
    let own = &problem.rigs[rig.ix()];
    let condition = problem.condition(step);
    let on = &problem.crews[condition.crew.ix()].on;
    let watch = problem.watch(condition);
    let pauses = problem.pauses(condition, rig);
    let load_starts = begins(on, own.load);
    let unload_starts = begins(on, own.unload);
    for usable in &own.usable {
        let room = usable.meet(Span::new(problem.now, problem.end));
        let mut fit = both(loads, &set(vec![room]));
        if own.load > Minutes::ZERO {
            fit = both(&fit, &load_starts);
        }
        let mut starts = moved(&fit, own.load);
        if let Some(watch) = watch.filter(|_| !pauses) {
            starts = both(&starts, &begins(watch, exposure));
        }
        let ends = match watch {
            Some(watch) if pauses => paused_ends(watch, &starts, exposure),
            _ => moved(&starts, exposure),
        };
        let mut unloads = set(ends
            .spans()
            .iter()
            .map(|span| waiting(condition, span, room))
            .collect());
        if own.unload > Minutes::ZERO {
            unloads = both(&unloads, &unload_starts);
        }
        let last = Span::new(room.start, room.end - own.unload + Minutes::new(1));
        let unloads = both(&unloads, &set(vec![last]));
        outs.extend(moved(&unloads, own.unload).spans());
    }
    debug_assert!(
        condition.watch != Watch::None || watch.is_none(),
        "no watch asks for nobody"
    );
}

/// From the earliest end to the latest at which the unit may still be in the rig.
fn waiting(condition: &Condition, ends: &Span, room: Span) -> Span {
    Span::new(
        ends.start,
        (ends.end + condition.max_wait).min(room.end + Minutes::new(1)),
    )
}

/// Ends of a pausing exposure: minute by minute of the watch, from the first possible to the last.
fn paused_ends(watch: &OnTime, starts: &OnTime, exposure: Minutes) -> OnTime {
    let mut ends = Vec::new();
    for span in starts.spans() {
        let minute = Minutes::new(1);
        let Some(first) = watch.advance(span.start, exposure) else {
            continue;
        };
        let last = watch
            .advance(span.end - minute, exposure)
            .or(watch.spans().last().map(|s| s.end));
        let active = watch.within(Span::new(first - minute, last.unwrap_or(first)));
        ends.extend(active.map(|piece| Span::new(piece.start + minute, piece.end + minute)));
    }
    set(ends)
}
