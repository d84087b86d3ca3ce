//! R2: nothing starts before its request is ready, nor before now.

use super::{Court, Rule};

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        let ready = court.problem.request_of(visit.unit).ready;
        if visit.times.load < ready {
            let why = format!(
                "loads {} before its request is ready",
                ready - visit.times.load
            );
            court.against(Rule::Ready, visit, &why);
        }
        if visit.times.load < court.problem.now {
            let why = format!("loads {} before now", court.problem.now - visit.times.load);
            court.against(Rule::Ready, visit, &why);
        }
    }
}
