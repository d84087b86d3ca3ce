//! The judge of a solution: slow, obvious, and from the network's data alone.

use rigday::planner::sequencing::Placed;
use rigday::problem::network::{NEVER, Network, Place};
use std::collections::BTreeMap;

/// The cost of a solution that breaks nothing, or what it breaks.
pub(crate) fn cost(net: &Network, placed: &[Placed]) -> Result<i64, String> {
    if placed.len() != net.tasks.len() {
        return Err(format!(
            "{} of {} tasks are placed",
            placed.len(),
            net.tasks.len()
        ));
    }
    for (task, own) in placed.iter().enumerate() {
        one_task(net, placed, task, own)?;
    }
    for rig in 0..net.rigs.len() {
        one_rig(net, placed, rig)?;
    }
    for crew in 0..net.crews.len() {
        one_crew(net, placed, crew)?;
    }
    let finish = |group: usize| {
        let own = net
            .tasks
            .iter()
            .zip(placed)
            .filter(|(task, _)| task.group as usize == group);
        own.map(|(_, placed)| placed.end).max()
    };
    let costs = net
        .groups
        .iter()
        .enumerate()
        .filter_map(|(ix, group)| Some(group.cost(finish(ix)?)));
    Ok(costs.sum())
}

fn one_task(net: &Network, placed: &[Placed], task: usize, own: &Placed) -> Result<(), String> {
    if own.start < net.tasks[task].ready {
        return Err(format!("task {task} starts before it is ready"));
    }
    let fits = |mode: &&rigday::problem::network::Mode| {
        mode.rig == own.rig && own.start + mode.length == own.end
    };
    if !net.modes(task).iter().any(|mode| fits(&mode)) {
        return Err(format!(
            "task {task} is on a rig that does not take it, or for another time"
        ));
    }
    for link in net.before(task) {
        let other = &placed[link.task as usize];
        let gap = own.start
            - if link.from_end {
                other.end
            } else {
                other.start
            };
        if (link.least > -NEVER && gap < link.least) || (link.most < NEVER && gap > link.most) {
            return Err(format!("task {task} starts {gap} after task {}", link.task));
        }
    }
    Ok(())
}

fn one_rig(net: &Network, placed: &[Placed], rig: usize) -> Result<(), String> {
    let mut runs: BTreeMap<u32, Vec<usize>> = BTreeMap::new();
    for (task, own) in placed
        .iter()
        .enumerate()
        .filter(|(_, own)| own.rig as usize == rig)
    {
        runs.entry(own.run).or_default().push(task);
    }
    let (room, lanes) = match net.rigs[rig] {
        Place::Each(positions) => (1, positions as usize),
        Place::Together(positions) => (positions as usize, 1),
        Place::Open => return Ok(()),
    };
    for tasks in runs.values() {
        let first = &placed[tasks[0]];
        let alike = |task: &usize| {
            net.tasks[*task].family == net.tasks[tasks[0]].family
                && placed[*task].start == first.start
                && placed[*task].end == first.end
        };
        if tasks.len() > room || !tasks.iter().all(alike) {
            return Err(format!("a run on rig {rig} is too full or mixed"));
        }
    }
    let mut runs: Vec<(i32, i32, u32)> = runs
        .values()
        .map(|tasks| {
            (
                placed[tasks[0]].start,
                placed[tasks[0]].end,
                net.tasks[tasks[0]].family,
            )
        })
        .collect();
    runs.sort_unstable();
    let mut free: Vec<(i32, Option<u32>)> = vec![(0, None); lanes];
    for (start, end, family) in runs {
        let ready = |lane: &&mut (i32, Option<u32>)| {
            lane.0 + lane.1.map_or(0, |before| net.setup(before, family)) <= start
        };
        let Some(lane) = free.iter_mut().filter(ready).max_by_key(|lane| lane.0) else {
            return Err(format!(
                "rig {rig} has more than {lanes} at {start}, or too short a setup"
            ));
        };
        *lane = (end, Some(family));
    }
    Ok(())
}

fn one_crew(net: &Network, placed: &[Placed], crew: usize) -> Result<(), String> {
    let mut change: BTreeMap<i32, i32> = BTreeMap::new();
    let mut before = 0;
    for (tick, number) in &net.crews[crew].steps {
        *change.entry(*tick).or_default() += number - before;
        before = *number;
    }
    for (task, own) in placed.iter().enumerate() {
        for used in net
            .uses(task)
            .iter()
            .filter(|used| used.crew as usize == crew)
        {
            *change.entry(own.start).or_default() -= used.number;
            *change.entry(own.end).or_default() += used.number;
        }
    }
    let mut left = 0;
    for (tick, number) in change {
        left += number;
        if left < 0 {
            return Err(format!("supply {crew} is overdrawn at {tick}"));
        }
    }
    Ok(())
}
