//! Why a request that finds a place alone finds none beside the others.

use crate::domain::{Minute, Minutes, Span};
use crate::planner::construct::{Builder, Fixed};
use crate::planner::words::{self, clock, name};
use crate::problem::{Pin, Problem, RequestIx, RigIx, UnitIx, shortest_stay};

/// The pin that clashes with what is booked, else where the longest free time is too short.
pub(in crate::planner) fn beside(builder: &Builder<'_>, request: RequestIx, step: usize) -> String {
    let problem = builder.problem;
    pin_in_the_way(builder, request)
        .or_else(|| too_short(builder, request, step))
        .unwrap_or_else(|| words::no_room(problem, request, step))
}

/// A pin of the request without which it finds a place.
fn pin_in_the_way(builder: &Builder<'_>, request: RequestIx) -> Option<String> {
    let problem = builder.problem;
    for unit in problem.units_of(request) {
        for pin in &problem.units[unit.ix()].pins {
            let mut free = builder.clone();
            let mut kept = Fixed::pins(&problem.units[unit.ix()]);
            kept.retain(|own| own.step != pin.step);
            free.fix(unit, &kept);
            if free.put(request).is_ok() {
                let load = free
                    .lines
                    .placed(unit, pin.step)
                    .map(|own| (own.rig, own.times.load));
                return Some(pin_words(builder, unit, pin, load));
            }
        }
    }
    None
}

/// Two pins, or a pin and what is there, with where the one could go.
fn pin_words(
    builder: &Builder<'_>,
    unit: UnitIx,
    pin: &Pin,
    free: Option<(RigIx, Minute)>,
) -> String {
    let problem = builder.problem;
    let mut text = format!(
        "R10: step {} of {} is pinned to {} at {}",
        pin.step + 1,
        problem.units[unit.ix()].id,
        name(problem, pin.rig),
        clock(problem, pin.load, problem.now)
    );
    text.push_str(&in_its_place(builder, unit, pin));
    if let Some((rig, load)) = free {
        text.push_str(&format!(
            "; move one of them: it could load on {} at {}",
            name(problem, rig),
            clock(problem, load, pin.load)
        ));
    }
    text
}

/// Who is where the pin wants to be: on the rig, or with the crew.
fn in_its_place(builder: &Builder<'_>, unit: UnitIx, pin: &Pin) -> String {
    let problem = builder.problem;
    let step = problem.step(unit, pin.step);
    let rig = &problem.rigs[pin.rig.ix()];
    let exposure = problem.exposure(step, pin.rig).unwrap_or(Minutes::ZERO);
    let stay = Span::new(pin.load, pin.load + shortest_stay(rig, exposure));
    let widened = Span::new(stay.start - rig.changeover, stay.end + rig.changeover);
    let others = on_rig(builder, pin.rig, widened);
    let named: Vec<String> = others
        .iter()
        .take(3)
        .map(|(other, at, span)| {
            let own = &problem.units[other.ix()];
            let how = if *at < own.facts.len() {
                "has been"
            } else if own.pins.iter().any(|pin| pin.step == *at) {
                "is pinned"
            } else {
                "is booked"
            };
            format!(
                "{} step {} {how} from {} to {}",
                own.id,
                at + 1,
                clock(problem, span.start, pin.load),
                clock(problem, span.end, pin.load)
            )
        })
        .collect();
    let crew = problem.condition(step).crew;
    let load = Span::new(pin.load, pin.load + rig.load);
    let free = builder.lines.free_people(crew, load);
    if !load.is_empty() && !free.iter().any(|own| own.covers(load)) {
        return format!(
            ", R6: nobody of crew {} is free to load it then",
            problem.crews[crew.ix()].id
        );
    }
    if named.is_empty() {
        return ", which the other bookings do not allow".to_owned();
    }
    format!(
        ", R4: the rig holds {} at once and {}",
        rig.positions,
        named.join(", ")
    )
}

/// Who is on a rig in a span.
fn on_rig(builder: &Builder<'_>, rig: RigIx, within: Span) -> Vec<(UnitIx, usize, Span)> {
    let problem = builder.problem;
    let mut found = Vec::new();
    for (ix, own) in problem.units.iter().enumerate() {
        let unit = UnitIx::from(ix);
        for step in 0..own.wanted.max(own.facts.len()) {
            if let Some(placed) = builder.lines.placed(unit, step)
                && placed.rig == rig
                && placed.times.stay().overlaps(within)
            {
                found.push((unit, step, placed.times.stay()));
            }
        }
    }
    found
}

/// The longest time free on the rigs of a step, where it is too short for it on all of them.
fn too_short(builder: &Builder<'_>, request: RequestIx, step: usize) -> Option<String> {
    let problem: &Problem = builder.problem;
    let own = &problem.requests[request.ix()];
    let what = &own.steps[step];
    let window = Span::new(problem.now.max(own.ready), problem.end);
    let mut best: Option<(Minutes, Span, RigIx, Minutes)> = None;
    for (rig, exposure) in problem.rigs_for(what) {
        let line = &problem.rigs[rig.ix()];
        let need = shortest_stay(line, *exposure);
        let mut longest = Span::new(window.start, window.start);
        let fixture = (what.fixture, what.condition);
        builder.lines.rigs[rig.ix()].gaps(line, fixture.0, fixture.1, window, &mut |_, gap| {
            for usable in &line.usable {
                let free = usable.meet(gap);
                if free.length() > longest.length() {
                    longest = free;
                }
            }
            true
        });
        if longest.length() >= need {
            return None;
        }
        let lacks = need - longest.length();
        if best.is_none_or(|(least, ..)| lacks < least) {
            best = Some((lacks, longest, *rig, need));
        }
    }
    let (lacks, longest, rig, need) = best?;
    Some(format!(
        "R4: it needs {need} on end on {}; the longest time free within the horizon is {} from {}, {lacks} \
         too short",
        name(problem, rig),
        longest.length(),
        clock(problem, longest.start, problem.now)
    ))
}
