//! Loads as early as they can be, where that changes no way out.
//!
//! While a plan is sought a visit that waits in its rig loads as late as it can, so that others can have the rig.
//! In the finished plan nobody wants it any more: work that begins earlier leaves more room for mishaps.

use super::construct::Builder;
use super::timeline::Slot;
use crate::domain::{Minute, Minutes, Span};
use crate::problem::{RigIx, UnitIx};
use std::collections::BTreeMap;

/// Who loads on a rig at a minute: one visit, or all of a run.
type Loads = BTreeMap<(Minute, RigIx, Option<UnitIx>), Vec<(UnitIx, usize)>>;

/// Moves loads forward; bookings of the plan in force, and those that must stay, are left where they are.
pub(super) fn settle(builder: &mut Builder<'_>, booked: &[(UnitIx, usize)]) {
    let mut all = Loads::new();
    for (unit, step) in booked {
        if let Some(placed) = builder.lines.placed(*unit, *step) {
            let alone = Some(*unit).filter(|_| placed.slot != Slot::Run);
            let key = (placed.times.load, placed.rig, alone);
            all.entry(key).or_default().push((*unit, *step));
        }
    }
    for load in all.into_values() {
        if load
            .iter()
            .all(|(unit, step)| may_wait(builder, *unit, *step))
        {
            load_earlier(builder, &load);
        }
    }
}

/// True where a booking may wait in its rig and is neither past, nor fixed, nor that of the plan in force.
fn may_wait(builder: &Builder<'_>, unit: UnitIx, step: usize) -> bool {
    let problem = builder.problem;
    let own = &problem.units[unit.ix()];
    let condition = problem.condition(problem.step(unit, step));
    let Some(placed) = builder.lines.placed(unit, step) else {
        return false;
    };
    let as_published = own.published.iter().any(|visit| {
        visit.step == step && visit.rig == placed.rig && visit.times.load == placed.times.load
    });
    step >= own.facts.len()
        && condition.max_wait > Minutes::ZERO
        && builder.fixed_at(unit, step).is_none()
        && !as_published
}

/// The first load that comes out when this one does, in the same place.
fn load_earlier(builder: &mut Builder<'_>, load: &[(UnitIx, usize)]) {
    let (first, step) = load[0];
    let arrivals = load
        .iter()
        .map(|(unit, step)| builder.first_loads(*unit, *step).start);
    let from = arrivals.max().unwrap_or(builder.problem.now);
    let taken: Vec<_> = load
        .iter()
        .filter_map(|(unit, step)| builder.lines.remove(*unit, *step))
        .collect();
    let loads = Span::new(from, taken[0].times.load + Minutes::new(1));
    let earlier = builder.lines.first_load_of(first, step, &taken[0], loads);
    for ((unit, step), placed) in load.iter().zip(taken) {
        builder.lines.place(*unit, *step, earlier.unwrap_or(placed));
    }
}
