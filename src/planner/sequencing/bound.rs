//! What no order of a network can beat.
//!
//! **Own path**: each group's longest path alone. **One rig**: where one group is all there is and its cost grows
//! with its finish alone, the tasks that only one rig of one position can do form a problem with heads and
//! tails whose best preemptive finish (Jackson 1955; Carlier 1982) no plan beats; and what all tasks take
//! of a supply cannot be had faster than the supply gives it.

use super::shape::Shape;
use crate::problem::network::{NEVER, Network, Place, Tick};
use std::collections::BinaryHeap;

/// A lower bound on the cost.
pub(super) fn lower(shape: &Shape<'_>) -> i64 {
    let mut bound = shape.floor_cost();
    if let [group] = &shape.net.groups[..] {
        let finishes = one_rigs(shape).into_iter().chain(supplies(shape.net));
        bound = finishes
            .map(|finish| group.cost(finish))
            .fold(bound, i64::max);
    }
    bound
}

fn one_rigs(shape: &Shape<'_>) -> Vec<Tick> {
    let mut own: Vec<Vec<(Tick, Tick, Tick)>> = vec![Vec::new(); shape.net.rigs.len()];
    for task in 0..shape.net.tasks.len() {
        if let [mode] = shape.net.modes(task)
            && shape.net.rigs[mode.rig as usize] == Place::Each(1)
        {
            own[mode.rig as usize].push((shape.head[task], mode.length(), shape.tail[task]));
        }
    }
    own.into_iter().map(preemptive).collect()
}

/// The preemptive finish of (head, length, tail) on one machine: always the longest tail first.
fn preemptive(mut tasks: Vec<(Tick, Tick, Tick)>) -> Tick {
    tasks.sort_unstable();
    let mut waiting: BinaryHeap<(Tick, Tick)> = BinaryHeap::new();
    let (mut now, mut finish, mut next) = (0, 0, 0);
    while next < tasks.len() || !waiting.is_empty() {
        if waiting.is_empty() {
            now = now.max(tasks[next].0);
        }
        while next < tasks.len() && tasks[next].0 <= now {
            waiting.push((tasks[next].2, tasks[next].1));
            next += 1;
        }
        let (tail, left) = waiting.pop().expect("something has come in");
        let until = tasks.get(next).map_or(NEVER, |task| task.0);
        let done = left.min(until - now);
        now += done;
        if done < left {
            waiting.push((tail, left - done));
        } else {
            finish = finish.max(now + tail);
        }
    }
    finish
}

/// When each supply of one size throughout could have given all that is taken of it.
fn supplies(net: &Network) -> Vec<Tick> {
    let energy = |crew: usize| {
        let takes = |task: usize| {
            let used = net
                .uses(task)
                .iter()
                .filter(|used| used.crew as usize == crew);
            used.map(|used| i64::from(used.number)).sum::<i64>() * i64::from(net.shortest(task))
        };
        (0..net.tasks.len()).map(takes).sum::<i64>()
    };
    let most = |crew: usize| {
        net.crews[crew]
            .steps
            .iter()
            .map(|step| step.1)
            .max()
            .unwrap_or(0)
    };
    (0..net.crews.len())
        .filter(|crew| most(*crew) > 0)
        .map(|crew| {
            let most = i64::from(most(crew));
            let ticks = (energy(crew) + most - 1) / most;
            Tick::try_from(ticks).unwrap_or(NEVER)
        })
        .collect()
}
