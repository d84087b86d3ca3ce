//! Loads as early as they can be, where that changes no way out.
//!
//! While a plan is sought a visit that waits in its rig loads as late as it can, so that others can have the rig.
//! In the finished plan nobody wants it any more: work that begins earlier leaves more room for mishaps.

use super::construct::Builder;
use super::timeline::Slot;
use crate::domain::{Minutes, Span};
use crate::problem::UnitIx;

/// Moves loads forward; bookings of the plan in force, and those that must stay, are left where they are.
pub(super) fn settle(builder: &mut Builder<'_>, booked: &[(UnitIx, usize)]) {
    for (unit, step) in booked {
        if may_wait(builder, *unit, *step) {
            load_earlier(builder, *unit, *step);
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
        && placed.slot != Slot::Run
        && condition.max_wait > Minutes::ZERO
        && builder.fixed_at(unit, step).is_none()
        && !as_published
}

fn load_earlier(builder: &mut Builder<'_>, unit: UnitIx, step: usize) {
    let from = builder.first_loads(unit, step).start;
    let Some(placed) = builder.lines.remove(unit, step) else {
        return;
    };
    let loads = Span::new(from, placed.times.load + Minutes::new(1));
    let earlier = builder.lines.first_load_of(unit, step, &placed, loads);
    builder.lines.place(unit, step, earlier.unwrap_or(placed));
}
