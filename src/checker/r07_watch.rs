//! R7: somebody of any crew on site, or the crew itself on shift, through every exposure that asks for
//! it and may not pause.

use super::r03_eligible::pausing_watch;
use super::{Court, Rule};
use crate::domain::Span;
use crate::domain::lab::Watch;

pub(super) fn check(court: &mut Court<'_>) {
    for visit in court.planned() {
        let problem = court.problem;
        let condition = problem.condition(problem.step(visit.unit, visit.step));
        if pausing_watch(problem, condition, visit).is_some() {
            continue;
        }
        let Some(watch) = problem.watch(condition) else {
            continue;
        };
        if !watch.covers(Span::new(visit.times.start, visit.times.end)) {
            let who = match condition.watch {
                Watch::Site => "nobody is on site".to_owned(),
                _ => format!(
                    "nobody of crew {} is on shift",
                    problem.crews[condition.crew.ix()].id
                ),
            };
            let why = format!(
                "runs from {} to {}, but for a part of it {who}",
                court.when(visit.times.start),
                court.when(visit.times.end)
            );
            court.against(Rule::Watch, visit, &why);
        }
    }
}
