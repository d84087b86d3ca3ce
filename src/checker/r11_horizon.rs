//! R11: everything ends within the horizon.

use super::{Court, Rule};

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        if visit.times.out > court.problem.end {
            let why = format!(
                "ends {} after the horizon",
                visit.times.out - court.problem.end
            );
            court.against(Rule::Horizon, visit, &why);
        }
    }
}
