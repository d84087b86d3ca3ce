//! Backward information: everything as late as it can be, and from there forward again.
//!
//! Forward-backward improvement after Li and Willis (1992) and Valls, Ballestin and Quintanilla (2005): what is
//! placed backwards, the latest first, gives an order in which each task starts as late as the
//! others let it; placed forwards in that order it is often shorter and rarely longer.

use super::state::State;
use crate::problem::network::{NEVER, Network, Supply, Task};

/// The same tasks with time running backwards. Ready times and calendars are left out: only an order is wanted.
pub(super) fn reversed(net: &Network) -> Network {
    let most = |crew: &Supply| crew.steps.iter().map(|step| step.1).max().unwrap_or(0);
    let mut back = Network::default();
    back.rigs.clone_from(&net.rigs);
    back.groups.clone_from(&net.groups);
    back.setup = transposed(&net.setup);
    back.crews = net
        .crews
        .iter()
        .map(|crew| Supply {
            steps: vec![(0, most(crew))],
        })
        .collect();
    let mut links = Vec::new();
    for task in 0..net.tasks.len() {
        let own = &net.tasks[task];
        let number = back.add_task(
            Task::new(own.group, 0, own.family),
            net.modes(task),
            net.uses(task),
        );
        for link in net.after(task).iter().filter(|link| link.orders()) {
            let least = link.least - link.origin(net.longest(task), 0);
            links.push((link.task, number, true, least.max(0), NEVER));
        }
    }
    back.link(&links);
    back
}

fn transposed(rows: &[Vec<i32>]) -> Vec<Vec<i32>> {
    (0..rows.len())
        .map(|column| rows.iter().map(|row| row[column]).collect())
        .collect()
}

/// Sorts the nodes of `state` by a key, the least first; ties as they are.
pub(super) fn sort_by_key(state: &mut State, key: impl Fn(&State, u32) -> i32) {
    let mut order = std::mem::take(&mut state.order);
    order.sort_by_key(|node| key(state, *node));
    state.order = order;
    state.number(0, state.order.len());
}
