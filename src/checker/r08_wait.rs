//! R8: after its exposure a unit waits no longer in the rig than its method allows.

use super::{Court, Rule};

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        let condition = court
            .problem
            .condition(court.problem.step(visit.unit, visit.step));
        let wait = visit.times.unload - visit.times.end;
        if wait > condition.max_wait {
            let why = format!(
                "waits {wait} in the rig; at most {} are allowed",
                condition.max_wait
            );
            court.against(Rule::Wait, visit, &why);
        }
    }
}
