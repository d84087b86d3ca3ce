//! R1: a unit's steps run in order; the gap between two lies within the rest.

use super::{Court, Rule};
use crate::domain::Minutes;

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        let Some(before) = visit.step.checked_sub(1) else {
            continue;
        };
        let Some(before) = court.by_step.get(&(visit.unit, before)).copied() else {
            continue;
        };
        let step = court.problem.step(visit.unit, visit.step);
        let gap = visit.times.load - before.times.out;
        // After a fact whose window had closed before now the step follows late, as soon as it can.
        let missed = court.is_fact(before) && before.times.out + step.rest_max < court.problem.now;
        if gap < Minutes::ZERO {
            let why = format!(
                "loads {} before step {} has come out",
                -gap,
                before.step + 1
            );
            court.against(Rule::Order, visit, &why);
        } else if gap < step.rest_min {
            let why = format!(
                "follows step {} after {gap}; its rest is at least {}",
                before.step + 1,
                step.rest_min
            );
            court.against(Rule::Order, visit, &why);
        } else if gap > step.rest_max && !missed {
            let why = format!(
                "follows step {} after {gap}; its rest is at most {}",
                before.step + 1,
                step.rest_max
            );
            court.against(Rule::Order, visit, &why);
        }
    }
}
