//! A plan in the words of the lab: what a plan file, a published event and a screen hold.
//!
//! The planner's own form, with indexes instead of names, is [`crate::problem::Plan`].

use super::ids::{MethodId, RequestId, RigId, UnitId};
use super::time::{Minute, Minutes, Span};

/// The five instants of a visit: load, exposure, its end, unload, out.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Times {
    /// Load starts.
    pub load: Minute,
    /// Exposure starts; load is over.
    pub start: Minute,
    /// Exposure ends.
    pub end: Minute,
    /// Unload starts; the unit may have waited.
    pub unload: Minute,
    /// Unload is over; the position is free.
    pub out: Minute,
}

impl Times {
    /// From the start of load to the end of unload: the time it holds its position.
    pub fn stay(&self) -> Span {
        Span::new(self.load, self.out)
    }
}

/// A planned visit.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Booking {
    /// The request.
    pub request: RequestId,
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1, after `every` has been expanded.
    pub step: u32,
    /// The method of the step.
    pub method: MethodId,
    /// The rig.
    pub rig: RigId,
    /// Position from 1 on rigs loaded each, else none.
    pub position: Option<u32>,
    /// The run on rigs loaded together, else none.
    pub run: Option<u32>,
    /// When.
    pub times: Times,
    /// The binding reason why it is not earlier, in words.
    pub because: String,
}

/// When a request finishes by the plan.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Finish {
    /// The request.
    pub request: RequestId,
    /// End of the last unload of its last unit.
    pub finish: Minute,
    /// Minutes after the due date; zero without one.
    pub late: Minutes,
    /// From ready to finish.
    pub flow: Minutes,
}

/// A request that cannot be planned, and why.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Unplannable {
    /// The request.
    pub request: RequestId,
    /// The step that stands in the way, from 1.
    pub step: u32,
    /// Why, in words.
    pub reason: String,
}

/// How much better any plan could be, in words; the share of the cost is rounded up. `None` where
/// there is no cost.
pub fn at_most_better(cost: i64, bound: i64) -> Option<String> {
    let gap = (cost - bound).max(0);
    match (cost > 0, gap) {
        (false, _) => None,
        (true, 0) => Some("no plan is better".to_owned()),
        (true, gap) => {
            let percent = (i128::from(gap) * 100 + i128::from(cost) - 1) / i128::from(cost);
            Some(format!("no plan can be more than {percent} % better"))
        }
    }
}

/// All bookings, what they cost, and what had to be left out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Plan {
    /// The lab's name.
    pub lab: String,
    /// The instant it was planned from.
    pub now: Minute,
    /// Its cost: the lower the better.
    pub cost: i64,
    /// No plan can cost less; `None` where none was computed.
    pub bound: Option<i64>,
    /// How long the planner worked, in milliseconds.
    pub milliseconds: u64,
    /// The seed it worked with.
    pub seed: u64,
    /// Bookings, ordered by load, rig, unit.
    pub bookings: Vec<Booking>,
    /// Planned requests in the order of the lab.
    pub requests: Vec<Finish>,
    /// Requests left out, in the order of the lab.
    pub unplannable: Vec<Unplannable>,
}

#[cfg(test)]
mod tests {
    use super::at_most_better;

    #[test]
    fn the_share_that_a_plan_could_be_better_is_rounded_up() {
        let words = |cost, bound| at_most_better(cost, bound).unwrap_or_default();
        assert_eq!(words(1000, 940), "no plan can be more than 6 % better");
        assert_eq!(words(1000, 939), "no plan can be more than 7 % better");
        assert_eq!(
            words(1_000_000, 999_999),
            "no plan can be more than 1 % better"
        );
        assert_eq!(words(1000, 1000), "no plan is better");
        assert_eq!(words(1000, 0), "no plan can be more than 100 % better");
        assert_eq!(at_most_better(0, 0), None);
    }
}
