//! What is due at the bench.

use super::state::window_end;
use super::{Due, Floor, Task, UnitRecord, UnitState, VisitRecord};
use crate::domain::lab::{Lab, Method};
use crate::domain::steps::{WalkStep, Walks, step_of};
use crate::domain::{Minute, UnitId, Verdict};

impl Floor {
    /// What is due from now until `until`: by closing window, then by time; what has no window comes last.
    pub fn due(&self, lab: &Lab, walks: &Walks, now: Minute, until: Minute) -> Vec<Due> {
        let units = self.known(lab);
        let due =
            units.filter_map(|(unit, record)| self.due_of(lab, walks, unit, record, now, until));
        let mut all: Vec<Due> = due.collect();
        all.sort_by_key(|own| {
            let closes = (own.closes.is_none(), own.closes);
            (closes, own.from, own.unit.clone())
        });
        all
    }

    /// Units of the lab to which something has happened: those of a long past are left alone.
    pub fn known<'f>(&'f self, lab: &'f Lab) -> impl Iterator<Item = (&'f UnitId, &'f UnitRecord)> {
        let units = lab.requests.iter().flat_map(|own| &own.units);
        units.filter_map(|unit| Some((unit, self.now.units.get(unit)?)))
    }

    /// What is due for one unit from now until `until`.
    pub fn due_for(
        &self,
        lab: &Lab,
        walks: &Walks,
        unit: &UnitId,
        now: Minute,
        until: Minute,
    ) -> Option<Due> {
        let record = self.now.units.get(unit)?;
        self.due_of(lab, walks, unit, record, now, until)
    }

    /// The one thing that is due for a unit.
    fn due_of(
        &self,
        lab: &Lab,
        walks: &Walks,
        unit: &UnitId,
        record: &UnitRecord,
        now: Minute,
        until: Minute,
    ) -> Option<Due> {
        let steps = walks.steps(walks.request(lab, unit)?);
        if let Some((step, visit)) = record.running() {
            return self.due_running(lab, unit, record, step, visit, steps, until);
        }
        let done = record.steps_done();
        let closes = window_end(record, steps, done);
        if done > 0 && record.withdrawn.is_none() && record.verdict_missing(lab, steps, done) {
            let visit = record.visits.get(&done)?;
            let (rig, from) = (visit.rig.clone(), visit.out.unwrap_or(now));
            return Some(Due {
                task: Task::Verdict,
                unit: unit.clone(),
                step: done,
                rig,
                from,
                closes,
            });
        }
        match self.unit_state(lab, walks, unit, now) {
            UnitState::Failed | UnitState::Out => return None,
            UnitState::Held => return decision(unit, record, closes),
            _ => {}
        }
        let next = self
            .booking(unit, done + 1)
            .filter(|own| own.times.load <= until)?;
        let (rig, from) = (next.rig.clone(), next.times.load);
        Some(Due {
            task: Task::Load,
            unit: unit.clone(),
            step: next.step,
            rig,
            from,
            closes,
        })
    }

    /// A unit on a rig: its verdict or its unload, once its exposure is over.
    #[expect(
        clippy::too_many_arguments,
        reason = "all of them are what is known of one visit"
    )]
    fn due_running(
        &self,
        lab: &Lab,
        unit: &UnitId,
        record: &UnitRecord,
        step: u32,
        visit: &VisitRecord,
        steps: &[WalkStep],
        until: Minute,
    ) -> Option<Due> {
        let from = self
            .exposure_end(unit, step, visit)
            .filter(|end| *end <= until)?;
        let method: Option<&Method> =
            step_of(steps, step).and_then(|own| lab.methods.get(&own.method));
        let task = if record.verdict_missing(lab, steps, step) {
            Task::Verdict
        } else {
            Task::Unload
        };
        let closes = method
            .and_then(|method| method.max_wait)
            .map(|wait| from + wait);
        Some(Due {
            task,
            unit: unit.clone(),
            step,
            rig: visit.rig.clone(),
            from,
            closes,
        })
    }
}

/// A unit on hold, since its last hold.
fn decision(unit: &UnitId, record: &UnitRecord, closes: Option<Minute>) -> Option<Due> {
    let held = |verdict: &Verdict| matches!(verdict, Verdict::Hold { .. });
    let mut verdicts = record.verdicts.iter().rev();
    let (step, given) = verdicts.find(|(_, given)| held(&given.verdict))?;
    Some(Due {
        task: Task::Decide,
        unit: unit.clone(),
        step: *step,
        rig: record.visits.get(step)?.rig.clone(),
        from: given.at,
        closes,
    })
}
