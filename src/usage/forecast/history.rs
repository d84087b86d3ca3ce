//! What a forecast takes from the ledger, as plain data that can be sent to a thread.

use crate::domain::plan::Times;
use crate::domain::{Booking, Event, EventBody, Minute, UnitId};
use crate::floor::{Floor, Standing};
use std::collections::HashMap;

/// How things stand, and what was planned for visits when they started.
#[derive(Clone, Debug, Default)]
pub struct History {
    /// When the ledger begins.
    pub(super) began: Option<Minute>,
    /// What follows from its events.
    pub(super) now: Standing,
    /// For a unit's step (from 1) that has started, its times by the plan that was then in force.
    pub(super) planned: HashMap<(UnitId, u32), Times>,
}

impl History {
    /// Of a floor.
    pub fn of(floor: &Floor) -> Self {
        Self {
            began: floor.events.first().map(|event| event.happened),
            now: floor.now.clone(),
            planned: planned(floor),
        }
    }
}

/// The times that were in force for each visit when it started.
fn planned(floor: &Floor) -> HashMap<(UnitId, u32), Times> {
    let mut in_force: HashMap<(&UnitId, u32), Times> = HashMap::new();
    let mut planned = HashMap::new();
    let counts = |event: &&Event| !floor.voided.contains(&event.seq);
    let times = |own| {
        let own: &Booking = own;
        ((&own.unit, own.step), own.times)
    };
    for event in floor.events.iter().filter(counts) {
        match &event.body {
            EventBody::PlanPublished { .. } => in_force.clear(),
            EventBody::PlanBookings { bookings, .. } => in_force.extend(bookings.iter().map(times)),
            EventBody::VisitStarted { unit, step, .. } => {
                if let Some(times) = in_force.get(&(unit, *step)) {
                    planned.insert((unit.clone(), *step), *times);
                }
            }
            _ => {}
        }
    }
    planned
}
