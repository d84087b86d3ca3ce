//! A plan in indexes: what the planner yields and the checker judges.

use super::{Problem, RequestIx, RigIx, UnitIx};
use crate::domain::plan::Times;
use crate::domain::{Minute, Minutes};

/// Where a visit stands in its rig.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Place {
    /// Position from 1, on rigs loaded each.
    Position(u32),
    /// Number of the run, on rigs loaded together; no two runs of a rig share it.
    Run(u32),
    /// Anywhere inside, on rigs that are held at a condition.
    Held,
}

/// A visit: one unit's stay on a rig for one step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Visit {
    /// The unit.
    pub unit: UnitIx,
    /// The step, from 0.
    pub step: usize,
    /// The rig.
    pub rig: RigIx,
    /// Where in the rig.
    pub place: Place,
    /// When.
    pub times: Times,
}

/// A request that was left out.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Left {
    /// The request.
    pub request: RequestIx,
    /// The step that stands in the way, from 0.
    pub step: usize,
    /// Why, in words.
    pub reason: String,
}

/// All visits of a plan, facts included, sorted by (load, rig, unit), and what was left out.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Plan {
    /// The visits.
    pub visits: Vec<Visit>,
    /// Requests without any visit, sorted by request.
    pub left: Vec<Left>,
}

impl Plan {
    /// When each request finishes: the end of the last unload of its last unit; `None` where it has
    /// no visit. One entry a request of the problem.
    pub fn finishes(&self, problem: &Problem) -> Vec<Option<Minute>> {
        let mut finishes = vec![None; problem.requests.len()];
        for visit in &self.visits {
            let request = problem.units[visit.unit.ix()].request;
            let finish: &mut Option<Minute> = &mut finishes[request.ix()];
            *finish = (*finish).max(Some(visit.times.out));
        }
        finishes
    }

    /// The cost: `Σ priority × (10 × late + flow)` over the requests that are planned; those left out
    /// cost nothing, even where visits of theirs have started.
    pub fn cost(&self, problem: &Problem) -> i64 {
        let finishes = self.finishes(problem);
        let requests = (0..problem.requests.len()).map(RequestIx::from);
        requests
            .filter(|ix| self.left.iter().all(|left| left.request != *ix))
            .filter_map(|ix| Some(problem.cost_at(ix, finishes[ix.ix()]?)))
            .sum()
    }

    /// Late minutes of a request that finishes at `finish`.
    pub fn late(problem: &Problem, request: RequestIx, finish: Minute) -> Minutes {
        let due = problem.requests[request.ix()].due;
        due.map_or(Minutes::ZERO, |due| (finish - due).at_least_zero())
    }
}
