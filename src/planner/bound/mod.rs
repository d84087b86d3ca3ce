//! What no plan can beat.
//!
//! **Own path.** Let `C_u` be the earliest minute at which unit `u` comes out of its last step when it
//! is alone in the lab: fastest eligible rigs, calendars, outages, calibration, rests and pins kept,
//! at least one person wherever hands are needed, and nobody in its way. Every valid plan restricted
//! to `u` is such a walk, so `u` comes out no earlier, and a request finishes no earlier than the
//! latest `C_u` of its units. The cost of a request does not decrease with its finish, so the sum of
//! the costs at those finishes is a lower bound.
//!
//! Example: one unit, ready at 08:00, a step of 30 minutes, priority 5, no due date: bound 150.

mod ahead;
mod crowd;
mod hands;
mod seats;

use super::alone::Alone;
use crate::problem::{Problem, RequestIx};
use ahead::Ahead;

/// The sum of costs at the earliest finishes, over the requests that can be planned.
pub(super) fn lower(problem: &Problem, alone: &Alone) -> i64 {
    let ahead = Ahead::new(problem);
    let requests = (0..problem.requests.len()).map(RequestIx::from);
    requests
        .filter_map(|ix| {
            let path = alone.finish(ix)?;
            let crowd = crowd::walk(&ahead, ix).finish;
            Some(problem.cost_at(ix, path.max(crowd.unwrap_or(path))))
        })
        .sum()
}
