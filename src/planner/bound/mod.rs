//! What no plan can beat, from the compiled problem alone, an argument a file.
//!
//! Two arguments say when a request can finish at the earliest, whatever the others do: its units each
//! for themselves ([`path`]), and side by side ([`crowd`], with [`hands`] for their crew and [`seats`] for
//! the runs that they share). Each request's cost is counted once, so the sum of the costs at the later of the two is
//! below the cost of any plan. What the requests do to each other adds to it ([`prices`]).
//!
//! Every argument relaxes the rules and never tightens one, so the bound holds for each valid plan. Nothing
//! here knows a plan, and what is published binds nobody.

mod ahead;
mod crowd;
mod hands;
mod path;
mod prices;
mod seats;
#[cfg(test)]
mod tests;

use super::alone::Alone;
use crate::domain::Minute;
use crate::problem::{Problem, RequestIx};
use ahead::Ahead;
use crowd::Walked;

/// The least finish of a request that is planned, and how its units get there if nobody else is in the way.
struct Least {
    request: RequestIx,
    /// The request does not finish before.
    finish: Minute,
    walked: Walked,
}

/// The own paths alone: weaker, and there at once.
pub(super) fn own_paths(problem: &Problem, alone: &Alone, left: &[RequestIx]) -> i64 {
    let requests = (0..problem.requests.len()).map(RequestIx::from);
    let planned = requests.filter(|request| !left.contains(request));
    let costs = planned.filter_map(|request| {
        let finish = path::finish(alone, request)?;
        Some(problem.cost_at(request, finish))
    });
    costs.sum()
}

/// No valid plan costs less that leaves out the requests in `left`, and those that cannot be planned.
///
/// `used` says which share of what may be spent on it is used up after so many rounds of prices; at 1 what is known by
/// then must do.
pub(super) fn lower(
    problem: &Problem,
    alone: &Alone,
    left: &[RequestIx],
    used: &dyn Fn(u64) -> f64,
) -> i64 {
    let ahead = Ahead::new(problem);
    let requests = (0..problem.requests.len()).map(RequestIx::from);
    let planned = requests.filter(|request| !left.contains(request));
    let all = planned.filter_map(|request| {
        let path = path::finish(alone, request)?;
        let walked = crowd::walk(&ahead, request);
        let finish = walked.finish.map_or(path, |crowd| path.max(crowd));
        Some(Least {
            request,
            finish,
            walked,
        })
    });
    prices::raise(&ahead, &all.collect::<Vec<_>>(), used)
}
