//! Eligible rigs by what they have in common.

use crate::domain::Minutes;
use crate::domain::lab::Loading;
use crate::problem::{Problem, RigIx, shortest_stay};

/// Rigs of one list of eligible rigs that are loaded alike and take the same times.
#[derive(Clone, Debug)]
pub(in crate::planner) struct Alike {
    pub(in crate::planner) times: RigTimes,
    /// In the order of the lab.
    pub(in crate::planner) rigs: Vec<RigIx>,
}

/// What a rig must share with others to be alike for a step.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(in crate::planner) struct RigTimes {
    pub(in crate::planner) loading: Loading,
    pub(in crate::planner) load: Minutes,
    /// Without pauses.
    pub(in crate::planner) exposure: Minutes,
    pub(in crate::planner) unload: Minutes,
}

impl RigTimes {
    /// The stay that neither waits nor pauses.
    pub(in crate::planner) fn shortest(self) -> Minutes {
        self.load + self.exposure + self.unload
    }
}

/// One list of eligible rigs.
#[derive(Clone, Debug)]
pub(super) struct Eligible {
    pub(super) alike: Vec<Alike>,
    /// The shortest stay on any of them; zero where there are none.
    pub(super) shortest: Minutes,
}

/// The lists of eligible rigs of the problem, in its order.
pub(super) fn eligible(problem: &Problem) -> Vec<Eligible> {
    let lists = problem.eligible.iter();
    lists.map(|rigs| Eligible::new(problem, rigs)).collect()
}

impl Eligible {
    fn new(problem: &Problem, rigs: &[(RigIx, Minutes)]) -> Self {
        let mut alike: Vec<Alike> = Vec::new();
        let mut shortest: Option<Minutes> = None;
        for (rig, exposure) in rigs {
            let own = &problem.rigs[rig.ix()];
            let times = RigTimes {
                loading: own.loading,
                load: own.load,
                exposure: *exposure,
                unload: own.unload,
            };
            let stay = shortest_stay(own, *exposure);
            shortest = Some(shortest.map_or(stay, |known| known.min(stay)));
            match alike.iter_mut().find(|known| known.times == times) {
                Some(known) => known.rigs.push(*rig),
                None => alike.push(Alike {
                    times,
                    rigs: vec![*rig],
                }),
            }
        }
        let shortest = shortest.unwrap_or(Minutes::ZERO);
        Self { alike, shortest }
    }
}
