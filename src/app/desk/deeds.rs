//! What people do: load, unload, verdict, withdrawal, rigs down and up, notes.

use super::undo::Deed;
use super::{Desk, DeskError};
use crate::app::dates::Dates;
use crate::app::walk::verdict_word;
use crate::domain::event::Subject;
use crate::domain::lab::{Loading, Pin, Rig};
use crate::domain::steps::step_of;
use crate::domain::{Booking, EventBody, Minute, RigId, Seq, UnitId, Verdict};
use crate::floor::{Down, RigState, UnitRecord, UnitState, VisitRecord};
use crate::ledger::{Expect, Outcome};
use crate::planner::first_free;
use crate::problem::{RigIx, UnitIx};

impl Desk {
    /// Gives the verdict on the checkpoint of `unit` that is running or over without one; a visit that
    /// still runs is ended with it. A hold may be lifted by a later pass or fail.
    pub fn mark(&mut self, unit: &UnitId, verdict: Verdict) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Unit(unit.clone()))? {
            return Ok(conflict);
        }
        if let Verdict::Fail { reason } = &verdict
            && reason.trim().is_empty()
        {
            return not_now("a fail needs a reason".to_owned());
        }
        let record = self.record_of(unit)?;
        self.can_have_happened(unit, &record)?;
        let (step, running) = self.checkpoint(unit, &record)?;
        let mut bodies = Vec::new();
        if let Some(rig) = running {
            bodies.push(EventBody::VisitEnded {
                unit: unit.clone(),
                step,
                rig,
            });
        }
        let word = verdict_word(&verdict);
        bodies.push(EventBody::VerdictGiven {
            unit: unit.clone(),
            step,
            verdict,
        });
        self.deed(
            format!("{unit} {word} at step {step}"),
            Subject::Unit(unit.clone()),
            bodies,
        )
    }

    /// The step whose verdict is due, and the rig where its visit still runs.
    pub(super) fn checkpoint(
        &self,
        unit: &UnitId,
        record: &UnitRecord,
    ) -> Result<(u32, Option<RigId>), DeskError> {
        let request = self
            .walks
            .request(&self.lab, unit)
            .ok_or_else(|| unknown(unit))?;
        let steps = self.walks.steps(request);
        let (step, running) = match record.running() {
            Some((step, visit)) => (step, Some(visit.rig.clone())),
            None => (record.steps_done(), None),
        };
        if step == 0 {
            return not_now(format!("{unit} has not been on any rig yet; load it first"));
        }
        if let Some(given) = record.verdicts.get(&step)
            && !matches!(given.verdict, Verdict::Hold { .. })
        {
            let when = Dates::default().short(self.lab.zone.local(given.at));
            let word = verdict_word(&given.verdict);
            let given = format!(
                "{unit} step {step} was given {word} by {} at {when}",
                given.person
            );
            let next = steps.get(step as usize).filter(|_| running.is_none());
            let next = next.map_or(String::new(), |next| {
                format!(", or load it for step {} ({})", step + 1, next.method)
            });
            return not_now(format!("{given}; undo it first{next}"));
        }
        let method = &steps[step as usize - 1].method;
        if !self.lab.methods[method].verdict {
            return not_now(format!(
                "{unit} step {step} ({method}) is no checkpoint; unload it instead"
            ));
        }
        Ok((step, running))
    }

    /// Starts the next visit of `unit` as booked; on `rig` where one is named.
    pub fn start(&mut self, unit: &UnitId, rig: Option<&RigId>) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Unit(unit.clone()))? {
            return Ok(conflict);
        }
        let record = self.record_of(unit)?;
        self.can_have_happened(unit, &record)?;
        let step = self.next_step(unit, &record)?;
        let booking = self.floor.booking(unit, step).cloned();
        let rig = match (rig, &booking) {
            (Some(rig), _) => rig.clone(),
            (None, Some(booking)) => booking.rig.clone(),
            (None, None) => {
                return not_now(format!(
                    "{unit} step {step} has no booking; name a rig, or plan and publish first"
                ));
            }
        };
        let own = self.rig(&rig)?.clone();
        self.can_load(unit, step, &own)?;
        let booked = booking.filter(|booking| booking.rig == rig);
        let (position, run) = self.place_in(unit, step, &own, booked.as_ref())?;
        let body = EventBody::VisitStarted {
            unit: unit.clone(),
            step,
            rig: rig.clone(),
            position,
            run,
        };
        self.deed(
            format!("{unit} loaded on {rig}"),
            Subject::Unit(unit.clone()),
            vec![body],
        )
    }

    /// The step that the unit walks next, if it may.
    fn next_step(&self, unit: &UnitId, record: &UnitRecord) -> Result<u32, DeskError> {
        let request = self
            .walks
            .request(&self.lab, unit)
            .ok_or_else(|| unknown(unit))?;
        let steps = self.walks.steps(request);
        if let Some((step, visit)) = record.running() {
            return not_now(format!(
                "{unit} is on {} for step {step}; unload it first",
                visit.rig
            ));
        }
        let done = record.steps_done();
        if done as usize >= steps.len() {
            return not_now(format!("{unit} has walked all its {} steps", steps.len()));
        }
        match self
            .floor
            .unit_state(&self.lab, &self.walks, unit, self.moment())
        {
            UnitState::Failed => return not_now(format!("{unit} has failed and walks no further")),
            UnitState::Held => {
                return not_now(format!("{unit} is on hold; give it a pass or a fail first"));
            }
            UnitState::Out => return not_now(format!("{unit} was withdrawn")),
            _ => {}
        }
        if done > 0 && record.verdict_missing(&self.lab, steps, done) {
            return not_now(format!(
                "{unit} step {done} has no verdict yet; give it first"
            ));
        }
        Ok(done + 1)
    }

    /// The pin that puts a unit's next step on a rig: at `start`, or as early as the rig is free beside the
    /// plan in force.
    pub fn assignment(
        &self,
        unit: &UnitId,
        rig: &RigId,
        start: Option<Minute>,
    ) -> Result<Pin, DeskError> {
        let record = self.record_of(unit)?;
        self.rig(rig)?;
        let step = match record.running() {
            Some((step, _)) => step + 1,
            None => self.next_step(unit, &record)?,
        };
        let problem = self.planning().problem();
        let index = problem.units.iter().position(|own| own.id == *unit);
        let index = UnitIx::from(index.ok_or_else(|| unknown(unit))?);
        if step as usize > problem.units[index.ix()].wanted {
            return not_now(format!("{unit} has no step {step}"));
        }
        let rig_ix = problem.rigs.iter().position(|own| own.id == *rig);
        let rig_ix =
            RigIx::from(rig_ix.ok_or_else(|| DeskError::NotNow(format!("there is no rig {rig}")))?);
        if problem
            .exposure(problem.step(index, step as usize - 1), rig_ix)
            .is_none()
        {
            return not_now(format!("{rig} cannot do step {step} of {unit}"));
        }
        let start = if let Some(start) = start {
            start
        } else {
            let bookings = self
                .floor
                .now
                .published
                .as_ref()
                .map_or(&[][..], |plan| &plan.bookings[..]);
            let (visits, _) = problem.resolve(bookings);
            let plan = crate::problem::Plan {
                visits,
                left: Vec::new(),
            };
            let free = first_free(&problem, &plan, index, step as usize - 1, rig_ix);
            free.ok_or_else(|| {
                DeskError::NotNow(format!("{rig} has no place for {unit} within the horizon"))
            })?
        };
        Ok(Pin {
            unit: unit.clone(),
            step,
            rig: rig.clone(),
            start,
        })
    }

    /// The rig can do the step, is in use and not down.
    fn can_load(&self, unit: &UnitId, step: u32, rig: &Rig) -> Result<(), DeskError> {
        let now = self.moment();
        match self.floor.rig_state(&self.lab, &rig.id, now) {
            RigState::Down => return not_now(format!("{} is down", rig.id)),
            RigState::Service => {
                return not_now(format!("{} is out of use now", rig.id));
            }
            RigState::Closed => {
                return not_now(format!("the calibration of {} has run out", rig.id));
            }
            _ => {}
        }
        let problem = self.planning().problem();
        let index = problem.units.iter().position(|own| own.id == *unit);
        let index = index.ok_or_else(|| unknown(unit))?;
        let rigs = problem.rigs_for(problem.step(UnitIx::from(index), step as usize - 1));
        if rigs
            .iter()
            .any(|(ix, _)| problem.rigs[ix.ix()].id == rig.id)
        {
            return Ok(());
        }
        let names: Vec<String> = rigs
            .iter()
            .map(|(ix, _)| problem.rigs[ix.ix()].id.to_string())
            .collect();
        not_now(format!(
            "{} cannot do step {step} of {unit}; {} can",
            rig.id,
            names.join(", ")
        ))
    }

    /// Units on a rig, and, where the next deed happened earlier than now, those that have left it since.
    fn inside<'f>(&'f self, rig: &'f RigId) -> Vec<(&'f UnitId, u32, &'f VisitRecord)> {
        let Some(at) = self.at else {
            return self.floor.on_rig(rig).collect();
        };
        let units = self.floor.now.units.iter();
        let visits = units.flat_map(|(unit, record)| {
            let visits = record.visits.iter();
            visits.map(move |(step, visit)| (unit, *step, visit))
        });
        let since = |visit: &VisitRecord| visit.rig == *rig && visit.out.is_none_or(|out| out > at);
        visits.filter(|(_, _, visit)| since(visit)).collect()
    }

    /// What is said to have happened earlier than now is not to come, and not before what is known of the unit.
    fn can_have_happened(&self, unit: &UnitId, record: &UnitRecord) -> Result<(), DeskError> {
        let Some(at) = self.at else {
            return Ok(());
        };
        let told = |at| Dates::default().short(self.lab.zone.local(at));
        if at > self.now() {
            return not_now(format!("{} is still to come", told(at)));
        }
        let visits = record.visits.values();
        let instants = visits.flat_map(|own| [Some(own.loaded), own.out]).flatten();
        let given = record.verdicts.values().map(|own| own.at);
        match instants.chain(given).max() {
            Some(last) if at < last => not_now(format!(
                "something is known of {unit} at {}, which is later than {}",
                told(last),
                told(at)
            )),
            _ => Ok(()),
        }
    }

    /// The booked position if it is free, else the first that is.
    fn free_position(&self, rig: &Rig, booked: Option<u32>) -> Result<u32, DeskError> {
        let inside = self.inside(&rig.id);
        let taken: Vec<u32> = inside
            .iter()
            .filter_map(|(_, _, visit)| visit.position)
            .collect();
        let free = |position: &u32| !taken.contains(position);
        let found = booked
            .filter(free)
            .or_else(|| (1..=rig.positions).find(free));
        found.ok_or_else(|| {
            DeskError::NotNow(format!(
                "all {} positions of {} are taken",
                rig.positions, rig.id
            ))
        })
    }

    /// Position and run for a unit that is put in now, or why the rig does not take it now.
    fn place_in(
        &self,
        unit: &UnitId,
        step: u32,
        rig: &Rig,
        booked: Option<&Booking>,
    ) -> Result<(Option<u32>, Option<u32>), DeskError> {
        if rig.loading == Loading::Each {
            let position = self.free_position(rig, booked.and_then(|own| own.position))?;
            return Ok((Some(position), None));
        }
        let inside = self.inside(&rig.id);
        if inside.len() >= rig.positions as usize {
            return not_now(format!(
                "all {} positions of {} are taken",
                rig.positions, rig.id
            ));
        }
        if let Some((other, at, _)) = inside
            .iter()
            .find(|(other, at, _)| !self.same_condition(unit, step, other, *at))
        {
            return not_now(format!(
                "{other} is in {} for its step {at}, at another condition",
                rig.id
            ));
        }
        if rig.loading == Loading::Held {
            return Ok((None, None));
        }
        let now = self.moment();
        if let Some((_, _, visit)) = inside
            .iter()
            .find(|(_, _, visit)| now > visit.loaded + rig.load)
        {
            let since = Dates::default().short(self.lab.zone.local(visit.loaded));
            return not_now(format!(
                "the run in {} began at {since}; its door is shut",
                rig.id
            ));
        }
        let running = inside.iter().find_map(|(_, _, visit)| visit.run);
        Ok((
            None,
            Some(
                running
                    .or(booked.and_then(|own| own.run))
                    .unwrap_or_else(|| self.next_run(rig)),
            ),
        ))
    }

    /// True where both steps ask for the same method, severity and length.
    fn same_condition(&self, unit: &UnitId, step: u32, other: &UnitId, at: u32) -> bool {
        let walk = |unit: &UnitId, step: u32| {
            let request = self.walks.request(&self.lab, unit)?;
            step_of(self.walks.steps(request), step)
        };
        match (walk(unit, step), walk(other, at)) {
            (Some(a), Some(b)) => {
                (&a.method, &a.severity, a.amount) == (&b.method, &b.severity, b.amount)
            }
            _ => false,
        }
    }

    /// A number that no run of the rig has had or is booked for.
    fn next_run(&self, rig: &Rig) -> u32 {
        let visits = self
            .floor
            .now
            .units
            .values()
            .flat_map(|own| own.visits.values());
        let used = visits
            .filter(|visit| visit.rig == rig.id)
            .filter_map(|visit| visit.run);
        let bookings = self.floor.now.booked();
        let booked = bookings
            .filter(|own| own.rig == rig.id)
            .filter_map(|own| own.run);
        used.chain(booked).max().unwrap_or(0) + 1
    }

    /// Ends the running visit of `unit`.
    pub fn end(&mut self, unit: &UnitId) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Unit(unit.clone()))? {
            return Ok(conflict);
        }
        let record = self.record_of(unit)?;
        self.can_have_happened(unit, &record)?;
        let Some((step, visit)) = record.running() else {
            return not_now(format!("{unit} is on no rig"));
        };
        let rig = visit.rig.clone();
        let what = format!("{unit} unloaded from {rig}");
        let body = EventBody::VisitEnded {
            unit: unit.clone(),
            step,
            rig,
        };
        self.deed(what, Subject::Unit(unit.clone()), vec![body])
    }

    /// Withdraws a unit.
    pub fn withdraw(&mut self, unit: &UnitId, reason: &str) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Unit(unit.clone()))? {
            return Ok(conflict);
        }
        let record = self.record_of(unit)?;
        if record.withdrawn.is_some() {
            return not_now(format!("{unit} was withdrawn already"));
        }
        let mut bodies = Vec::new();
        if let Some((step, visit)) = record.running() {
            bodies.push(EventBody::VisitEnded {
                unit: unit.clone(),
                step,
                rig: visit.rig.clone(),
            });
        }
        bodies.push(EventBody::UnitWithdrawn {
            unit: unit.clone(),
            reason: reason.to_owned(),
        });
        self.deed(
            format!("{unit} withdrawn"),
            Subject::Unit(unit.clone()),
            bodies,
        )
    }

    /// Reports a rig down. One that is down already may have another fault, which is over by itself; the same
    /// reason twice is taken for the same fault and refused.
    pub fn rig_down(
        &mut self,
        rig: &RigId,
        reason: &str,
        until: Option<Minute>,
    ) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Rig(rig.clone()))? {
            return Ok(conflict);
        }
        self.rig(rig)?;
        let known = |own: &Down| own.reason.trim().eq_ignore_ascii_case(reason.trim());
        if self.faults(rig).iter().any(known) {
            return not_now(format!("{rig} is down already: {reason}"));
        }
        let body = EventBody::RigDown {
            rig: rig.clone(),
            reason: reason.to_owned(),
            until,
        };
        self.deed(format!("{rig} down"), Subject::Rig(rig.clone()), vec![body])
    }

    /// Faults of a rig that were reported and are not over.
    fn faults(&self, rig: &RigId) -> &[Down] {
        let record = self.floor.now.rigs.get(rig);
        record.map_or(&[], |record| &record.faults)
    }

    /// What there is to say after a rig was reported back: other faults may keep it down.
    pub fn back_words(&self, rig: &RigId) -> String {
        let faults = self.faults(rig).iter().map(|own| own.reason.as_str());
        let faults: Vec<&str> = faults.collect();
        if faults.is_empty() {
            return format!("{rig} back");
        }
        format!("{rig}: one fault less, still down: {}", faults.join("; "))
    }

    /// Reports a rig back; of several faults the oldest is over, and it stays down for the others.
    pub fn rig_up(&mut self, rig: &RigId) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&Subject::Rig(rig.clone()))? {
            return Ok(conflict);
        }
        self.rig(rig)?;
        if self.faults(rig).is_empty() {
            return not_now(format!("{rig} is not down"));
        }
        let body = EventBody::RigUp { rig: rig.clone() };
        self.deed(format!("{rig} back"), Subject::Rig(rig.clone()), vec![body])
    }

    /// Adds a note.
    pub fn note(&mut self, subject: Subject, text: &str) -> Result<Outcome, DeskError> {
        if let Some(conflict) = self.look_again(&subject)? {
            return Ok(conflict);
        }
        let body = EventBody::Note {
            subject: subject.clone(),
            text: text.to_owned(),
        };
        self.deed("note".to_owned(), subject, vec![body])
    }

    /// Records a deed, expecting that nobody comes between, and remembers it for undoing.
    pub(super) fn deed(
        &mut self,
        what: String,
        subject: Subject,
        bodies: Vec<EventBody>,
    ) -> Result<Outcome, DeskError> {
        let count = bodies.len() as u64;
        let expect = Expect {
            about: subject.clone(),
            seen: self.floor.seen(),
        };
        let outcome = self.record(&[expect], bodies)?;
        if let Outcome::Recorded { first } = &outcome {
            let seqs = (first.0..first.0 + count).map(Seq).collect();
            let after = self.floor.seen();
            self.done.push(Deed {
                what,
                subject,
                seqs,
                after,
            });
            self.undone.clear();
        }
        Ok(outcome)
    }

    pub(super) fn record_of(&self, unit: &UnitId) -> Result<UnitRecord, DeskError> {
        match self.floor.now.units.get(unit) {
            Some(record) => Ok(record.clone()),
            None if self.walks.request(&self.lab, unit).is_some() => Ok(UnitRecord::default()),
            None => Err(unknown(unit)),
        }
    }

    fn rig(&self, rig: &RigId) -> Result<&Rig, DeskError> {
        let found = self.lab.rigs.iter().find(|own| own.id == *rig);
        found.ok_or_else(|| {
            let names: Vec<&str> = self.lab.rigs.iter().map(|own| own.id.as_str()).collect();
            DeskError::NotNow(format!(
                "there is no rig {rig}; rigs are {}",
                names.join(", ")
            ))
        })
    }
}

fn unknown(unit: &UnitId) -> DeskError {
    DeskError::UnknownUnit {
        serial: unit.to_string(),
        nearest: Vec::new(),
    }
}

fn not_now<T>(why: String) -> Result<T, DeskError> {
    Err(DeskError::NotNow(why))
}
