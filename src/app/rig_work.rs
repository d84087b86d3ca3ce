//! What goes on and comes off each rig now: the lists by which somebody walks the floor.

use super::desk::Desk;
use crate::domain::lab::{Loading, Rig};
use crate::domain::{Minute, RigId, UnitId};
use crate::floor::{Due, Task};

/// A rig at which something is due.
#[derive(Clone, Debug)]
pub struct RigWork {
    /// The rig.
    pub rig: RigId,
    /// What people call it.
    pub name: String,
    /// How it takes units in.
    pub loading: Loading,
    /// Units it holds at once.
    pub positions: u32,
    /// Units on it now.
    pub inside: Vec<UnitId>,
    /// What is due there: first what comes off, then what goes on, each by closing window.
    pub tasks: Vec<RigTask>,
}

/// Something to do at a rig.
#[derive(Clone, Debug)]
pub struct RigTask {
    /// What.
    pub task: Task,
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// From when.
    pub from: Minute,
    /// Until when, where that matters.
    pub closes: Option<Minute>,
    /// Its position, on rigs loaded each.
    pub position: Option<u32>,
    /// Who shares the chamber with it: of its run, or all that are inside.
    pub with: Vec<UnitId>,
}

/// The rigs at which something of `due` is to be done, in the order of what is due first.
pub fn rig_work(desk: &Desk, due: &[Due]) -> Vec<RigWork> {
    let mut rigs: Vec<&RigId> = Vec::new();
    for own in due {
        if !rigs.contains(&&own.rig) {
            rigs.push(&own.rig);
        }
    }
    let rigs = rigs.into_iter().filter_map(|id| {
        let rig = desk.lab.rigs.iter().find(|rig| rig.id == *id)?;
        Some(work_at(desk, rig, due))
    });
    rigs.collect()
}

fn work_at(desk: &Desk, rig: &Rig, due: &[Due]) -> RigWork {
    let inside = desk.floor.on_rig(&rig.id).map(|(unit, _, _)| unit.clone());
    let mut tasks: Vec<RigTask> = due
        .iter()
        .filter(|own| own.rig == rig.id)
        .map(|own| task(desk, rig, own))
        .collect();
    tasks.sort_by_key(|own| own.task == Task::Load);
    RigWork {
        rig: rig.id.clone(),
        name: rig.name.clone(),
        loading: rig.loading,
        positions: rig.positions,
        inside: inside.collect(),
        tasks,
    }
}

fn task(desk: &Desk, rig: &Rig, due: &Due) -> RigTask {
    let record = desk.floor.now.units.get(&due.unit);
    let visit = record.and_then(|record| record.visits.get(&due.step));
    let booking = desk.floor.booking(&due.unit, due.step);
    let position = match visit {
        Some(visit) => visit.position,
        None => booking.and_then(|own| own.position),
    };
    RigTask {
        task: due.task,
        unit: due.unit.clone(),
        step: due.step,
        from: due.from,
        closes: due.closes,
        position,
        with: with(desk, rig, &due.unit, due.step),
    }
}

/// Who is or will be in the chamber with a unit: those of its run that are inside or booked; on a rig held at
/// one condition all that are inside. Nobody on rigs whose positions are independent.
pub fn with(desk: &Desk, rig: &Rig, unit: &UnitId, step: u32) -> Vec<UnitId> {
    if rig.loading == Loading::Each {
        return Vec::new();
    }
    let record = desk.floor.now.units.get(unit);
    let visit = record.and_then(|record| record.visits.get(&step));
    let booked = desk
        .floor
        .booking(unit, step)
        .filter(|own| own.rig == rig.id);
    let run = match visit {
        Some(visit) => visit.run,
        None => booked.and_then(|own| own.run),
    };
    let shares = |own: Option<u32>| rig.loading == Loading::Held || (run.is_some() && own == run);
    let inside = desk.floor.on_rig(&rig.id);
    let inside = inside.filter(|(_, _, visit)| shares(visit.run));
    let mut all: Vec<UnitId> = inside.map(|(unit, _, _)| unit.clone()).collect();
    if rig.loading == Loading::Together {
        let now = &desk.floor.now;
        let ahead = now
            .booked()
            .filter(|own| own.rig == rig.id && shares(own.run));
        let not_begun = ahead.filter(|own| !now.has_begun(own));
        all.extend(not_begun.map(|own| own.unit.clone()));
    }
    all.retain(|own| own != unit);
    all.sort();
    all.dedup();
    all
}
