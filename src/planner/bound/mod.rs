//! What no plan can beat, from the compiled problem alone, an argument a file.
//!
//! Two arguments say when a request can finish at the earliest, whatever the others do: its units each
//! for themselves ([`path`]), and side by side ([`crowd`], with [`hands`] for their crew and [`seats`] for
//! the runs that they share). The sum of the costs at the later of the two is a bound. A third lets all requests compete
//! for rigs and people at once ([`prices`]), and never falls below that sum.
//!
//! Every argument relaxes the rules and never tightens one, so the bound holds for each valid plan. Nothing
//! here knows a plan, and what is published binds nobody.

mod ahead;
mod crowd;
mod grid;
mod hands;
mod path;
mod prices;
mod seats;
mod shares;
mod stops;
mod supply;
#[cfg(test)]
mod tests;
mod walks;

use super::alone::Alone;
use crate::problem::{Problem, RequestIx};
use ahead::Ahead;
use prices::Bounded;

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
pub(super) fn lower(problem: &Problem, alone: &Alone, left: &[RequestIx]) -> i64 {
    let ahead = Ahead::new(problem);
    let requests = (0..problem.requests.len()).map(RequestIx::from);
    let planned = requests.filter(|request| !left.contains(request));
    let bounded: Vec<Bounded> = planned
        .filter_map(|request| bounded(&ahead, alone, request))
        .collect();
    prices::bound(&ahead, &bounded)
}

fn bounded(ahead: &Ahead<'_>, alone: &Alone, request: RequestIx) -> Option<Bounded> {
    let path = path::finish(alone, request)?;
    let walked = crowd::walk(ahead, request);
    let least = walked.finish.map_or(path, |crowd| path.max(crowd));
    Some(Bounded {
        request,
        walked,
        least,
    })
}
