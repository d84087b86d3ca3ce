//! **Own path.** A unit is no faster beside others than alone.
//!
//! Let `C_u` be the earliest minute at which unit `u` comes out of its last step when it
//! is alone in the lab: fastest eligible rigs, calendars, outages, calibration, rests and pins kept,
//! at least one person wherever hands are needed, and nobody in its way. Every valid plan restricted
//! to `u` is such a walk, so `u` comes out no earlier, and a request finishes no earlier than the
//! latest `C_u` of its units. The cost of a request does not decrease with its finish, so the sum of
//! the costs at those finishes is a lower bound.
//!
//! Example: one unit, ready at 08:00, a step of 30 minutes, priority 5, no due date: bound 150.

use crate::domain::Minute;
use crate::planner::alone::Alone;
use crate::problem::RequestIx;

/// The request finishes no earlier; `None` where it cannot be planned, or nothing of it is left to do.
pub(super) fn finish(alone: &Alone, request: RequestIx) -> Option<Minute> {
    alone.finish(request)
}
