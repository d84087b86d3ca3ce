//! The planner: a problem, a seed and a budget in; a plan, a bound and reasons out.
//!
//! Pure: no clock, no file, no ledger, and no checker. It is anytime: the first valid plan comes at
//! once, better ones as long as the budget lasts, and the best so far is what it returns.

pub mod budget;

pub use budget::{Budget, Rounds};

use crate::problem::{Plan, Problem};

/// What the planner found.
#[derive(Clone, Debug)]
pub struct Solved {
    /// The best plan found.
    pub plan: Plan,
    /// Its cost.
    pub cost: i64,
    /// No plan can cost less.
    pub bound: i64,
    /// Why each visit of the plan is not earlier, in words; in the order of `plan.visits`.
    pub because: Vec<String>,
    /// Rounds of work done.
    pub rounds: u64,
}

/// News while the planner works.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Progress {
    /// Rounds of work done.
    pub rounds: u64,
    /// Cost of the best plan so far.
    pub cost: i64,
    /// The bound, once it is known.
    pub bound: Option<i64>,
}

/// Plans `problem` until `budget` is used up; the same problem, seed and number of rounds give the same
/// plan. A budget that is used up from the start gives the first valid plan.
pub fn solve(
    _problem: &Problem,
    _seed: u64,
    _budget: &mut dyn Budget,
    _progress: &mut dyn FnMut(Progress),
) -> Solved {
    todo!()
}
