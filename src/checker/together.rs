//! Can the units of a request stay together at all? Beside a run that they must share they queue for the step before
//! or after it: each in turn takes whoever, or whatever place, is free first.

use crate::domain::Minutes;
use crate::domain::lab::{Loading, Watch};
use crate::problem::{Problem, Request, RequestIx, RigIx, shortest_stay};
use std::cmp::Reverse;
use std::collections::BinaryHeap;

/// True where the last of them would break the rest that is prescribed, whoever else is in the lab.
pub(super) fn cannot_stay_together(problem: &Problem, request: RequestIx) -> bool {
    let own = &problem.requests[request.ix()];
    let too_long = |step: usize| {
        let rest = &own.steps[step];
        let last =
            last_turn(problem, own, step - 1, step).max(last_turn(problem, own, step, step - 1));
        rest.rest_min + last > rest.rest_max
    };
    own.keep_together && (1..own.steps.len()).any(too_long)
}

/// How long after the first unit the last one begins the step beside a run; for a step before the run, how long after
/// the first the last one ends it. Zero where they need not queue.
fn last_turn(problem: &Problem, own: &Request, run: usize, beside: usize) -> Minutes {
    let is_chamber = |rig: RigIx| problem.rigs[rig.ix()].loading == Loading::Together;
    let units = own.units.clone().map(|unit| &problem.units[unit as usize]);
    let must_share = problem
        .rigs_for(&own.steps[run])
        .iter()
        .all(|(rig, _)| is_chamber(*rig));
    let rigs = problem.rigs_for(&own.steps[beside]);
    let may_share_again = rigs.iter().any(|(rig, _)| is_chamber(*rig));
    if !must_share || may_share_again || units.clone().any(|unit| unit.facts.len() > run) {
        return Minutes::ZERO;
    }
    let both = run.max(beside);
    let in_queue = units
        .filter(|unit| unit.facts.len() <= beside && unit.wanted > both)
        .count();
    let condition = problem.condition(&own.steps[beside]);
    let people = problem.crews[condition.crew.ix()].people.most() as usize;
    let busy = |(rig, exposure): &(RigIx, Minutes)| {
        let own = &problem.rigs[rig.ix()];
        let watches = condition.watch == Watch::Full && !problem.pauses(condition, *rig);
        match (beside > run, watches) {
            (true, true) => own.load + *exposure,
            (true, false) => own.load,
            (false, true) if condition.max_wait == Minutes::ZERO => *exposure + own.unload,
            (false, _) => own.unload,
        }
    };
    let hands = rigs.iter().map(busy).min().unwrap_or(Minutes::ZERO);
    let people = vec![hands; people.min(in_queue)];
    let places = rigs.iter().flat_map(|(rig, exposure)| {
        let own = &problem.rigs[rig.ix()];
        let stay = shortest_stay(own, *exposure);
        std::iter::repeat_n(stay, (own.positions as usize).min(in_queue))
    });
    queue(in_queue, &people).max(queue(in_queue, &places.collect::<Vec<_>>()))
}

/// When the last of so many has a turn, if each server is busy for its own time with each; zero without servers.
fn queue(units: usize, servers: &[Minutes]) -> Minutes {
    let mut free: BinaryHeap<Reverse<(Minutes, Minutes)>> = servers
        .iter()
        .map(|busy| Reverse((Minutes::ZERO, *busy)))
        .collect();
    let mut last = Minutes::ZERO;
    for _ in 0..units {
        let Some(Reverse((at, busy))) = free.pop() else {
            break;
        };
        last = at;
        free.push(Reverse((at + busy, busy)));
    }
    last
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_last_of_a_queue_waits_for_whoever_is_free_first() {
        let minutes = |all: &[i64]| all.iter().map(|own| Minutes::new(*own)).collect::<Vec<_>>();
        assert_eq!(queue(4, &minutes(&[70])), Minutes::new(210));
        // The quick one takes the first, third, fourth and fifth: at 0, 10, 20 and 30; the slow one the second.
        assert_eq!(queue(5, &minutes(&[10, 35])), Minutes::new(30));
        assert_eq!(queue(6, &minutes(&[10, 35])), Minutes::new(35));
        assert_eq!(queue(3, &[]), Minutes::ZERO);
        assert_eq!(queue(1, &minutes(&[50])), Minutes::ZERO);
    }
}
