//! How much of a rule stands in the way, and what would be enough.

use super::{Rule, Stuck, set_people, shifts_of, walks};
use crate::domain::lab::Watch;
use crate::domain::{Minute, Minutes, Span};
use crate::planner::timeline::Placed;
use crate::planner::words::{clock, day, name};
use crate::problem::{CrewIx, Pin, Problem, UnitIx, shortest_stay};

/// Where the steps of the unit that was stuck go once the rule is lifted.
type Walk = [Option<Placed>];

/// The rule with what would be enough.
pub(super) fn words(problem: &Problem, rule: Rule, stuck: Stuck, walk: &Walk) -> String {
    let found = match rule {
        Rule::Pins => Some(pins(problem, stuck.0)),
        Rule::Calibration => calibration(problem, walk),
        Rule::Outages => outages(problem, stuck, walk),
        Rule::MaxWait => max_wait(problem, stuck.0, walk),
        Rule::RestMax => rest_max(problem, stuck.0, walk),
        Rule::People(crew) => Some(people(problem, stuck, crew)),
        Rule::Horizon => horizon(problem, walk),
    };
    found.unwrap_or_else(|| format!("{} leaves no place", rule.name(problem)))
}

/// The pin that alone stands in the way.
fn pins(problem: &Problem, unit: UnitIx) -> String {
    let own = &problem.units[unit.ix()];
    for pin in &own.pins {
        let mut lifted = problem.clone();
        lifted.units[unit.ix()].pins.retain(|other| other != pin);
        if let Ok(walks) = walks(&lifted) {
            return pin_words(problem, unit, pin, &walks[unit.ix()]);
        }
    }
    let steps: Vec<String> = own
        .pins
        .iter()
        .map(|pin| (pin.step + 1).to_string())
        .collect();
    format!(
        "R10: the pins of {} on steps {} cannot all be kept; move or drop them",
        own.id,
        steps.join(", ")
    )
}

fn pin_words(problem: &Problem, unit: UnitIx, pin: &Pin, walk: &Walk) -> String {
    let own = &problem.units[unit.ix()];
    let rig = name(problem, pin.rig);
    let mut text = format!(
        "R10: step {} of {} is pinned to {rig} at {}: {}",
        pin.step + 1,
        own.id,
        clock(problem, pin.load, problem.now),
        pin_fault(problem, unit, pin, walk)
    );
    if let Some(free) = walk.get(pin.step).copied().flatten() {
        text.push_str(&format!(
            "; without the pin it could load on {} at {}",
            name(problem, free.rig),
            clock(problem, free.times.load, problem.now)
        ));
    }
    text
}

/// Why a pin cannot be kept.
fn pin_fault(problem: &Problem, unit: UnitIx, pin: &Pin, walk: &Walk) -> String {
    let step = problem.step(unit, pin.step);
    let rig = &problem.rigs[pin.rig.ix()];
    let Some(exposure) = problem.exposure(step, pin.rig) else {
        let able: Vec<String> = problem
            .rigs_for(step)
            .iter()
            .take(4)
            .map(|(rig, _)| name(problem, *rig))
            .collect();
        return format!("{} cannot do it, {} can", rig.id, able.join(", "));
    };
    if pin.load < problem.now {
        return "that time has passed".to_owned();
    }
    let ready = problem.request_of(unit).ready;
    if pin.load < ready {
        return format!(
            "its request is ready at {}",
            clock(problem, ready, pin.load)
        );
    }
    let before = pin
        .step
        .checked_sub(1)
        .and_then(|before| walk.get(before).copied().flatten());
    if let Some(before) = before
        && before.times.out + step.rest_min > pin.load
    {
        let out = clock(problem, before.times.out, pin.load);
        let rest = if step.rest_min > Minutes::ZERO {
            format!(" and a rest of {} follows", step.rest_min)
        } else {
            String::new()
        };
        return format!("step {} is not out before {out}{rest}", pin.step);
    }
    let stay = Span::new(pin.load, pin.load + shortest_stay(rig, exposure));
    if !rig.usable.iter().any(|span| span.covers(stay)) {
        return format!("{} cannot be used for {} from then", rig.id, stay.length());
    }
    let crew = &problem.crews[problem.condition(step).crew.ix()];
    if !crew.on.covers(Span::new(pin.load, pin.load + rig.load)) {
        return format!("nobody of crew {} is on shift to load it then", crew.id);
    }
    "the rules that follow from it leave no place".to_owned()
}

/// The date that a calibration would have to have.
fn calibration(problem: &Problem, walk: &Walk) -> Option<String> {
    let late = walk
        .iter()
        .flatten()
        .filter(|own| own.times.out > problem.rigs[own.rig.ix()].calibrated_until);
    let last = late.max_by_key(|own| own.times.out)?;
    let rig = &problem.rigs[last.rig.ix()];
    let minute = Minutes::new(1);
    Some(format!(
        "R5: {} may be used until {} and would be needed until {}; calibration_due = {} would do",
        rig.id,
        day(problem, rig.calibrated_until - minute),
        clock(problem, last.times.out, problem.now),
        problem
            .zone
            .local(last.times.out - minute)
            .format("%Y-%m-%d")
    ))
}

/// The outage in the way, and the longest time between outages where that is too short.
fn outages(problem: &Problem, stuck: Stuck, walk: &Walk) -> Option<String> {
    let hit = walk.iter().flatten().find_map(|own| {
        let outages = &problem.rigs[own.rig.ix()].outages;
        let stay = own.times.stay();
        let outage = outages.iter().find(|(span, _)| span.overlaps(stay))?;
        Some((own, outage))
    });
    let (placed, (span, reason)) = hit?;
    let rig = &problem.rigs[placed.rig.ix()];
    let reason = if reason.is_empty() {
        String::new()
    } else {
        format!(" ({reason})")
    };
    let mut text = format!(
        "R5: {} is out of use from {} to {}{reason}; without that it could be planned",
        rig.id,
        clock(problem, span.start, problem.now),
        clock(problem, span.end, problem.now)
    );
    let step = problem.step(stuck.0, stuck.1);
    if let Some(exposure) = problem.exposure(step, placed.rig) {
        let need = shortest_stay(rig, exposure);
        let window = Span::new(problem.now, problem.end);
        let longest = rig.usable.iter().map(|own| own.meet(window).length()).max();
        let longest = longest.unwrap_or(Minutes::ZERO);
        if longest < need {
            text.push_str(&format!(
                ": it needs {need} on end, the longest time free is {longest}"
            ));
        }
    }
    Some(text)
}

/// The longest wait in the rig that would be enough.
fn max_wait(problem: &Problem, unit: UnitIx, walk: &Walk) -> Option<String> {
    let step_of = |step: usize| problem.condition(problem.step(unit, step));
    let (step, placed) = walk.iter().enumerate().find_map(|(step, own)| {
        let own = (*own)?;
        (own.times.unload - own.times.end > step_of(step).max_wait).then_some((step, own))
    })?;
    let condition = problem.step(unit, step).condition;
    let (now, found) = (
        step_of(step).max_wait,
        placed.times.unload - placed.times.end,
    );
    let enough = Minutes::least(now, found, |wait| {
        let mut lifted = problem.clone();
        lifted.conditions[condition.ix()].max_wait = wait;
        walks(&lifted).is_ok()
    })?;
    Some(format!(
        "R8: step {} may wait {now} in the rig, and nobody of crew {} is there to unload it in \
         that time; max_wait = \"{enough}\" would do",
        step + 1,
        problem.crews[step_of(step).crew.ix()].id
    ))
}

/// The largest rest that would be enough.
fn rest_max(problem: &Problem, unit: UnitIx, walk: &Walk) -> Option<String> {
    let gap = |step: usize| {
        let (before, own) = (walk[step - 1]?, walk[step]?);
        Some(own.times.load - before.times.out)
    };
    let step = (1..walk.len())
        .find(|step| gap(*step).is_some_and(|gap| gap > problem.step(unit, *step).rest_max))?;
    let own = problem.step(unit, step);
    let enough = Minutes::least(own.rest_max, gap(step)?, |rest| {
        let mut lifted = problem.clone();
        lifted.requests[0].steps[step].rest_max = rest;
        walks(&lifted).is_ok()
    })?;
    Some(format!(
        "R1: the rest before step {} is at most {}, and no rig and crew can take it in that time; \
         rest = \"{}..{enough}\" would do",
        step + 1,
        own.rest_max,
        own.rest_min
    ))
}

/// How much longer a crew would have to be there.
fn people(problem: &Problem, stuck: Stuck, crew: CrewIx) -> String {
    let id = &problem.crews[crew.ix()].id;
    let own = problem.condition(problem.step(stuck.0, stuck.1));
    let rigs = problem.rigs_for(problem.step(stuck.0, stuck.1));
    let spans = problem.crews[crew.ix()].on.spans();
    let longest = spans
        .iter()
        .map(|span| span.length())
        .max()
        .unwrap_or(Minutes::ZERO);
    let shortest = rigs
        .iter()
        .map(|(_, exposure)| *exposure)
        .min()
        .unwrap_or(Minutes::ZERO);
    let why = if spans.is_empty() {
        format!("crew {id} has no shift")
    } else if own.crew == crew && own.watch == Watch::Full && !own.pausable && shortest > longest {
        format!(
            "crew {id} must watch for {shortest} on end, its longest time on shift is {longest}"
        )
    } else {
        format!("crew {id} is not on shift when it would be needed")
    };
    let rule = if why.contains("must watch") {
        "R7"
    } else {
        "R6"
    };
    match longer(problem, crew) {
        Some(remedy) => format!("{rule}: {why}; {remedy} would do"),
        None => format!("{rule}: {why}; with crew {id} always there it could be planned"),
    }
}

/// The smallest lengthening of every shift that is enough.
fn longer(problem: &Problem, crew: CrewIx) -> Option<String> {
    let shifts = shifts_of(problem, crew);
    for hours in [1, 2, 3, 4, 6, 8, 10, 12, 16, 24, 48, 64] {
        let by = Minutes::hours(hours);
        let after = |span: Span| Span::new(span.end, span.end + by);
        let before = |span: Span| Span::new(span.start - by, span.start);
        let ways: [(&dyn Fn(Span) -> Span, &str); 2] = [(&after, "later"), (&before, "earlier")];
        for (more, word) in ways {
            let mut lifted = problem.clone();
            let extra = problem.crews[crew.ix()].on.spans().iter();
            let extra = extra.map(|span| (more(*span), 1));
            let all: Vec<(Span, u32)> = shifts.iter().copied().chain(extra).collect();
            set_people(&mut lifted, crew, &all);
            if walks(&lifted).is_ok() {
                let what = if word == "later" {
                    "ending"
                } else {
                    "beginning"
                };
                return Some(format!("its shifts {what} {by} {word}"));
            }
        }
    }
    None
}

/// The horizon that would be enough.
fn horizon(problem: &Problem, walk: &Walk) -> Option<String> {
    let out: Minute = walk.iter().flatten().map(|own| own.times.out).max()?;
    let days = (out - problem.now).get().div_euclid(1440) + 1;
    Some(format!(
        "R11: the plan reaches to {}, it would finish {}; horizon = \"{days}d\" would do",
        clock(problem, problem.end, problem.now),
        clock(problem, out, problem.now)
    ))
}
