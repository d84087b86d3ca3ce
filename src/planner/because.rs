//! Why a booking is not earlier: the rule that would break if its load moved one minute forward.
//!
//! Reasons are found in the finished plan, by taking the visit off (with its whole run, where it shares
//! one) and asking what stands in the way of the minute before; [`super::words`] puts them in words.

use super::construct::Builder;
use super::reach::{Link, Outs, RunRule};
use super::timeline::{Placed, RigLine, Slot, Stay};
use crate::domain::lab::Watch;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{CrewIx, RigIx, UnitIx};
use std::collections::BTreeMap;

/// The binding reason of a booking.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Because {
    /// It has started already.
    Fact,
    /// The user fixed it there.
    Pinned,
    /// It starts within freeze of now in the plan in force.
    Frozen,
    /// It starts now.
    Now,
    /// Its request is not ready before.
    Ready,
    /// The step before comes out then, and a rest may follow.
    After {
        /// The step before, from 0.
        step: usize,
        /// When it comes out.
        out: Minute,
        /// The smallest rest after it.
        rest: Minutes,
    },
    /// Its run waits for another unit.
    RunWaits {
        /// That unit.
        unit: UnitIx,
        /// When it is free, where a step before holds it up.
        out: Option<Minute>,
    },
    /// Its run holds a booking that is fixed.
    RunFixed {
        /// The unit of that booking.
        unit: UnitIx,
    },
    /// The rig cannot be used before.
    RigOut {
        /// The rig.
        rig: RigIx,
        /// When it can be used again.
        until: Minute,
    },
    /// Begun earlier it would run into a time when the rig cannot be used.
    RigOutAhead {
        /// The rig.
        rig: RigIx,
        /// From when it cannot be used.
        from: Minute,
    },
    /// No place in the rig before.
    Taken {
        /// The rig.
        rig: RigIx,
        /// Who leaves the place last; nobody on rigs loaded together.
        by: Option<UnitIx>,
        /// When.
        until: Minute,
        /// True where a changeover follows.
        changeover: bool,
    },
    /// A place is free before, but not for as long as the visit takes.
    GapTooShort {
        /// The rig.
        rig: RigIx,
    },
    /// Nobody of the crew is on shift.
    NoShift {
        /// The crew.
        crew: CrewIx,
        /// To watch it, else to load it.
        for_watch: bool,
    },
    /// Everybody of the crew is busy.
    CrewBusy {
        /// The crew.
        crew: CrewIx,
        /// With watching in mind, else with loading.
        for_watch: bool,
    },
    /// Nobody at all is on shift through the exposure.
    NoSite,
    /// Begun earlier it would have to come out when nobody can unload it.
    NoUnload {
        /// The crew.
        crew: CrewIx,
    },
    /// Begun earlier it could not be followed in time by its next step.
    NextStep {
        /// The largest rest before that step.
        rest_max: Minutes,
    },
    /// It could begin earlier, but would not come out earlier.
    OnlyWaits,
    /// It could begin earlier; the plan leaves it so because its request would not finish earlier.
    Slack,
}

/// The reason of every booking in `visits`, in their order.
pub(super) fn reasons(builder: &mut Builder<'_>, visits: &[(UnitIx, usize)]) -> Vec<Because> {
    let mut members: BTreeMap<(RigIx, Minute), Vec<(UnitIx, usize)>> = BTreeMap::new();
    for (unit, step) in visits {
        let placed = booked(builder, *unit, *step);
        if placed.slot == Slot::Run {
            members
                .entry((placed.rig, placed.times.load))
                .or_default()
                .push((*unit, *step));
        }
    }
    let mut of_run: BTreeMap<(RigIx, Minute), Because> = BTreeMap::new();
    let mut reasons = Vec::with_capacity(visits.len());
    for (unit, step) in visits {
        let own = own_reason(builder, *unit, *step);
        reasons.push(own.unwrap_or_else(|| {
            let placed = booked(builder, *unit, *step);
            let alone = [(*unit, *step)];
            let key = (placed.rig, placed.times.load);
            if let Some(known) = of_run.get(&key) {
                return known.clone();
            }
            let run = members.get(&key).map_or(&alone[..], Vec::as_slice);
            let because = shared_reason(builder, &placed, run);
            if placed.slot == Slot::Run {
                of_run.insert(key, because.clone());
            }
            because
        }));
    }
    reasons
}

/// What keeps the visits of one run, or one visit, from an earlier minute beside their own ready dates, rests
/// and fixed places: the rig, or people.
pub(super) fn beyond_own(builder: &mut Builder<'_>, run: &[(UnitIx, usize)]) -> Because {
    let (unit, step) = run[0];
    let placed = booked(builder, unit, step);
    lifted(builder, &placed, run)
}

fn booked(builder: &Builder<'_>, unit: UnitIx, step: usize) -> Placed {
    *builder
        .lines
        .placed(unit, step)
        .expect("reasons are asked for bookings only")
}

/// A reason that lies in the unit itself.
fn own_reason(builder: &Builder<'_>, unit: UnitIx, step: usize) -> Option<Because> {
    let problem = builder.problem;
    let own = &problem.units[unit.ix()];
    if step < own.facts.len() {
        return Some(Because::Fact);
    }
    if let Some(fixed) = builder.fixed_at(unit, step) {
        let pinned = own.pins.iter().any(|pin| pin.step == step);
        let kept = booked(builder, unit, step).times.load == fixed.load;
        return kept.then_some(if pinned {
            Because::Pinned
        } else {
            Because::Frozen
        });
    }
    let load = booked(builder, unit, step).times.load;
    if load > builder.first_loads(unit, step).start {
        return None;
    }
    if let Some(before) = step.checked_sub(1) {
        let (out, rest) = (
            booked(builder, unit, before).times.out,
            problem.step(unit, step).rest_min,
        );
        if load == out + rest {
            return Some(Because::After {
                step: before,
                out,
                rest,
            });
        }
    }
    Some(if load == problem.now {
        Because::Now
    } else {
        Because::Ready
    })
}

/// A reason that lies in the rig, the run or the people.
fn shared_reason(builder: &mut Builder<'_>, placed: &Placed, run: &[(UnitIx, usize)]) -> Because {
    if let [_, _, ..] = run
        && let Some(because) = member_reason(builder, run)
    {
        return because;
    }
    lifted(builder, placed, run)
}

/// What stands in the way once the run itself is taken off; it is put back.
fn lifted(builder: &mut Builder<'_>, placed: &Placed, run: &[(UnitIx, usize)]) -> Because {
    let taken: Vec<(UnitIx, usize, Placed)> = run
        .iter()
        .filter_map(|(unit, step)| Some((*unit, *step, builder.lines.remove(*unit, *step)?)))
        .collect();
    let because = blocked(builder, placed, run);
    builder.put_back(&taken);
    because
}

/// A unit of the run that could not load a minute earlier, whatever the rig.
fn member_reason(builder: &Builder<'_>, run: &[(UnitIx, usize)]) -> Option<Because> {
    run.iter()
        .find_map(|(unit, step)| match own_reason(builder, *unit, *step)? {
            Because::Pinned | Because::Frozen | Because::Fact => {
                Some(Because::RunFixed { unit: *unit })
            }
            Because::After { out, .. } => Some(Because::RunWaits {
                unit: *unit,
                out: Some(out),
            }),
            _ => Some(Because::RunWaits {
                unit: *unit,
                out: None,
            }),
        })
}

/// What stands in the way of loading one minute earlier on the same rig, the visit itself taken off.
fn blocked(builder: &Builder<'_>, placed: &Placed, run: &[(UnitIx, usize)]) -> Because {
    let (unit, step) = run[0];
    let problem = builder.problem;
    let at = placed.times.load - Minutes::new(1);
    let mut link = Link::free(step);
    link.fixed = Some((placed.rig, at));
    let window = Span::new(at, placed.times.out);
    let first = Span::new(at, placed.times.load);
    let open = RunRule {
        join: false,
        open_from: Some(Minute::FIRST),
        room: 1,
    };
    if let Ok(reaches) = builder
        .lines
        .forward(unit, &[link], first, window, open, Outs::First)
    {
        let out = reaches[0].outs[0].start;
        return after_earlier(builder, placed, run, out);
    }
    let rig = &problem.rigs[placed.rig.ix()];
    let exposure = problem
        .exposure(problem.step(unit, step), placed.rig)
        .unwrap_or(Minutes::ZERO);
    let shortest = Span::new(at, at + rig.load + exposure + rig.unload);
    let usable = rig.usable.iter().find(|span| span.end > at);
    match usable {
        Some(span) if span.start > at => Because::RigOut {
            rig: placed.rig,
            until: span.start,
        },
        Some(span) if shortest.end > span.end => Because::RigOutAhead {
            rig: placed.rig,
            from: span.end,
        },
        _ => no_room(builder, placed, unit, step, shortest)
            .unwrap_or_else(|| no_people(builder, unit, step, placed.rig, shortest)),
    }
}

/// The minute before is possible: then the next step or the finish is what decides.
fn after_earlier(
    builder: &Builder<'_>,
    placed: &Placed,
    run: &[(UnitIx, usize)],
    out: Minute,
) -> Because {
    if out >= placed.times.out {
        return Because::OnlyWaits;
    }
    for (unit, step) in run {
        let next = step + 1;
        if let Some(after) = builder.lines.placed(*unit, next) {
            let rest_max = builder.problem.step(*unit, next).rest_max;
            if after.times.load - out > rest_max {
                return Because::NextStep { rest_max };
            }
        }
    }
    Because::Slack
}

/// The rig has no place from the minute before on.
fn no_room(
    builder: &Builder<'_>,
    placed: &Placed,
    unit: UnitIx,
    step: usize,
    stay: Span,
) -> Option<Because> {
    let problem = builder.problem;
    let rig = &problem.rigs[placed.rig.ix()];
    let what = problem.step(unit, step);
    let line = &builder.lines.rigs[placed.rig.ix()];
    let (mut here, mut long_enough) = (false, false);
    line.gaps(rig, what.fixture, what.condition, stay, &mut |_, gap| {
        here |= gap.contains(stay.start);
        long_enough |= gap.covers(stay);
        true
    });
    if long_enough {
        return None;
    }
    if here {
        return Some(Because::GapTooShort { rig: placed.rig });
    }
    let (by, until) = last_leaver(line, placed.slot, stay.start + Minutes::new(1));
    let changeover = until.is_some_and(|until| until < placed.times.load);
    let until = until.unwrap_or(placed.times.load);
    Some(Because::Taken {
        rig: placed.rig,
        by,
        until,
        changeover,
    })
}

/// Who came out of the place last, at or before `by`; with whom for single units only.
fn last_leaver(line: &RigLine, slot: Slot, by: Minute) -> (Option<UnitIx>, Option<Minute>) {
    let latest = |stays: &[Stay]| {
        let begun = stays.partition_point(|stay| stay.span.start < by);
        let gone = stays[..begun].iter().rev().find(|stay| stay.span.end <= by);
        gone.map(|stay| (Some(stay.unit), stay.span.end))
    };
    let last = match (line, slot) {
        (RigLine::Each(lanes), Slot::Lane(lane)) => latest(&lanes[lane as usize]),
        (RigLine::Held(stays, longest), _) => latest_of(stays, *longest, by),
        (RigLine::Together(runs), _) => {
            let begun = runs.partition_point(|run| run.times.load < by);
            let gone = runs[..begun].iter().rev();
            let mut outs = gone.map(|run| run.times.out).filter(|out| *out <= by);
            outs.next().map(|out| (None, out))
        }
        _ => None,
    };
    (last.and_then(|(unit, _)| unit), last.map(|(_, out)| out))
}

/// Who came out last of stays that may overlap, none of them longer than `longest`.
fn latest_of(stays: &[Stay], longest: Minutes, by: Minute) -> Option<(Option<UnitIx>, Minute)> {
    let begun = stays.partition_point(|stay| stay.span.start < by);
    let mut last: Option<&Stay> = None;
    for stay in stays[..begun].iter().rev() {
        if last.is_some_and(|last| stay.span.start + longest <= last.span.end) {
            break;
        }
        let later = last.is_none_or(|last| stay.span.end > last.span.end);
        if stay.span.end <= by && later {
            last = Some(stay);
        }
    }
    last.map(|stay| (Some(stay.unit), stay.span.end))
}

/// The rig is free: then somebody is missing, for the load, the watch or the unload.
fn no_people(builder: &Builder<'_>, unit: UnitIx, step: usize, rig: RigIx, stay: Span) -> Because {
    let problem = builder.problem;
    let condition = problem.condition(problem.step(unit, step));
    let crew = condition.crew;
    let own = &problem.rigs[rig.ix()];
    let pauses = problem.pauses(condition, rig);
    let exposure = Span::new(stay.start + own.load, stay.end - own.unload);
    if let Some(because) = missing(builder, crew, Span::new(stay.start, exposure.start), false) {
        return because;
    }
    match condition.watch {
        Watch::Full if !pauses => {
            if let Some(because) = missing(builder, crew, exposure, true) {
                return because;
            }
        }
        Watch::Full => {
            let end = problem.exposure_end(condition, rig, exposure.start, exposure.length());
            let exposure = Span::new(exposure.start, end.unwrap_or(exposure.end));
            let on = &problem.crews[crew.ix()].on;
            if on
                .within(exposure)
                .any(|piece| missing(builder, crew, piece, true).is_some())
            {
                return Because::CrewBusy {
                    crew,
                    for_watch: true,
                };
            }
        }
        Watch::Site if !pauses && !problem.site.covers(exposure) => return Because::NoSite,
        _ => {}
    }
    Because::NoUnload { crew }
}

/// The first minute of `span` in which nobody of the crew is free, and whether anybody is on shift then.
fn missing(builder: &Builder<'_>, crew: CrewIx, span: Span, for_watch: bool) -> Option<Because> {
    if span.is_empty() {
        return None;
    }
    let free = builder.lines.free_people(crew, span);
    let first_free = free.first().copied();
    let at = match first_free {
        Some(free) if free.start > span.start => span.start,
        Some(free) if free.end >= span.end => return None,
        Some(free) => free.end,
        None => span.start,
    };
    let on_shift = builder.problem.crews[crew.ix()].people.at(at) > 0;
    Some(if on_shift {
        Because::CrewBusy { crew, for_watch }
    } else {
        Because::NoShift { crew, for_watch }
    })
}
