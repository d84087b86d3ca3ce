//! How units and rigs stand at a moment.

use super::{Floor, RigState, UnitRecord, UnitState, VerdictRecord, VisitRecord};
use crate::domain::lab::{Lab, OnFailure, Request};
use crate::domain::steps::{WalkStep, Walks, step_of};
use crate::domain::{Booking, Minute, RigId, UnitId, Verdict};

impl Floor {
    /// How a unit stands at `now`.
    pub fn unit_state(&self, lab: &Lab, walks: &Walks, unit: &UnitId, now: Minute) -> UnitState {
        let Some(request) = walks.request(lab, unit) else {
            return UnitState::Unknown;
        };
        let Some(record) = self.now.units.get(unit) else {
            return UnitState::Waiting;
        };
        let steps = walks.steps(request);
        if record.withdrawn.is_some() {
            return UnitState::Out;
        }
        if let Some(state) = stopped(record, request) {
            return state;
        }
        if let Some((step, visit)) = record.running() {
            return self.running_state(lab, unit, step, visit, steps, now);
        }
        let done = record.steps_done();
        if done > 0 && record.verdict_missing(lab, steps, done) {
            return if window_closed(record, steps, done, now) {
                UnitState::Late
            } else {
                UnitState::Due
            };
        }
        if done as usize >= steps.len() {
            let failed = record
                .verdicts
                .values()
                .any(|own| matches!(own.verdict, Verdict::Fail { .. }));
            return if failed {
                UnitState::Failed
            } else {
                UnitState::Passed
            };
        }
        if window_closed(record, steps, done, now) {
            return UnitState::Late;
        }
        match self.booking(unit, done + 1) {
            Some(_) => UnitState::Booked,
            None => UnitState::Waiting,
        }
    }

    fn running_state(
        &self,
        lab: &Lab,
        unit: &UnitId,
        step: u32,
        visit: &VisitRecord,
        steps: &[WalkStep],
        now: Minute,
    ) -> UnitState {
        let Some(end) = self.exposure_end(unit, step, visit) else {
            return UnitState::Running;
        };
        let method = step_of(steps, step).and_then(|own| lab.methods.get(&own.method));
        let checkpoint = method.is_some_and(|method| method.verdict);
        let closes = method
            .and_then(|method| method.max_wait)
            .map(|wait| end + wait);
        match (
            now >= end,
            closes.is_some_and(|closes| now > closes),
            checkpoint,
        ) {
            (true, true, _) => UnitState::Late,
            (true, false, true) => UnitState::Due,
            _ => UnitState::Running,
        }
    }

    /// When the exposure of a running visit ends, by the plan in force.
    pub fn exposure_end(&self, unit: &UnitId, step: u32, visit: &VisitRecord) -> Option<Minute> {
        let booking = self
            .booking(unit, step)
            .filter(|booking| booking.rig == visit.rig)?;
        Some(booking.times.end + (visit.loaded - booking.times.load))
    }

    /// The booking of a step in the plan in force.
    pub fn booking(&self, unit: &UnitId, step: u32) -> Option<&Booking> {
        let published = self.now.published.as_ref()?;
        let place = published.by_step.get(&(unit.clone(), step))?;
        published.bookings.get(*place)
    }

    /// How a rig stands at `now`.
    pub fn rig_state(&self, lab: &Lab, rig: &RigId, now: Minute) -> RigState {
        let Some(own) = lab.rigs.iter().find(|own| own.id == *rig) else {
            return RigState::Closed;
        };
        if self
            .now
            .rigs
            .get(rig)
            .is_some_and(super::RigRecord::is_down)
        {
            return RigState::Down;
        }
        if lab
            .outages
            .iter()
            .any(|outage| outage.rig == *rig && outage.span.contains(now))
        {
            return RigState::Service;
        }
        if own
            .calibration_due
            .is_some_and(|date| now >= lab.zone.end_of_day(date))
        {
            return RigState::Closed;
        }
        if self.on_rig(rig).next().is_some() {
            RigState::Busy
        } else {
            RigState::Idle
        }
    }

    /// Units on a rig, with the step and the visit.
    pub fn on_rig<'f>(
        &'f self,
        rig: &'f RigId,
    ) -> impl Iterator<Item = (&'f UnitId, u32, &'f VisitRecord)> {
        self.now.running.iter().filter_map(move |unit| {
            let (step, visit) = self.now.units.get(unit)?.running()?;
            (visit.rig == *rig).then_some((unit, step, visit))
        })
    }
}

/// A unit that walks no further for a verdict's sake.
fn stopped(record: &UnitRecord, request: &Request) -> Option<UnitState> {
    let failed = record
        .verdicts
        .values()
        .any(|own| matches!(own.verdict, Verdict::Fail { .. }));
    if failed && request.on_failure == OnFailure::Stop {
        return Some(UnitState::Failed);
    }
    let held = record
        .verdicts
        .values()
        .any(|own| matches!(own.verdict, Verdict::Hold { .. }));
    held.then_some(UnitState::Held)
}

/// The largest rest before the step after `done` has passed.
fn window_closed(record: &UnitRecord, steps: &[WalkStep], done: u32, now: Minute) -> bool {
    window_end(record, steps, done).is_some_and(|closes| now > closes)
}

/// When the largest rest before the step after `done` ends; `None` where there is no limit.
pub(super) fn window_end(record: &UnitRecord, steps: &[WalkStep], done: u32) -> Option<Minute> {
    let out = record.visits.get(&done)?.out?;
    Some(out + steps.get(done as usize)?.rest.max?)
}

impl UnitRecord {
    /// Says anew since when nothing of it goes on.
    pub(super) fn settle(&mut self) {
        let on_hold = |own: &VerdictRecord| matches!(own.verdict, Verdict::Hold { .. });
        let goes_on = self.running().is_some() || self.verdicts.values().any(on_hold);
        let outs = self.visits.values().filter_map(|own| own.out);
        let last = outs.chain(self.holds.iter().map(|own| own.end)).max();
        self.over = last.filter(|_| !goes_on);
    }

    /// True where nothing of it reaches to `at`.
    pub fn was_over_by(&self, at: Minute) -> bool {
        self.over.is_some_and(|over| over < at)
    }

    /// The visit that it is on now, with its step.
    pub fn running(&self) -> Option<(u32, &VisitRecord)> {
        self.visits
            .iter()
            .find(|(_, visit)| visit.out.is_none())
            .map(|(step, visit)| (*step, visit))
    }

    /// How many steps from the first on are over.
    pub fn steps_done(&self) -> u32 {
        let over = (1..).take_while(|step| self.visits.get(step).is_some_and(|v| v.out.is_some()));
        u32::try_from(over.count()).unwrap_or(u32::MAX)
    }

    /// True where the step is a checkpoint without a verdict.
    pub fn verdict_missing(&self, lab: &Lab, steps: &[WalkStep], step: u32) -> bool {
        let method = step_of(steps, step).and_then(|own| lab.methods.get(&own.method));
        method.is_some_and(|method| method.verdict) && !self.verdicts.contains_key(&step)
    }
}
