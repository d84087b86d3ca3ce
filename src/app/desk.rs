//! The desk: one lab folder with its ledger, and everything a person can do there.
//!
//! Commands and screens both act through [`Desk`], so that they cannot differ. Whatever the planner
//! yields passes the checker in here before anyone sees it.

use crate::checker::Clash;
use crate::clock::Clock;
use crate::domain::event::Subject;
use crate::domain::plan::Booking;
use crate::domain::{Actor, Event, Lab, Minute, Minutes, Plan, RigId, Seq, UnitId, Verdict};
use crate::floor::Floor;
use crate::ledger::{Ledger, Outcome};
use crate::planner::{Budget, Progress};
use std::sync::Arc;

/// A lab at work.
pub struct Desk {
    /// The checked lab.
    pub lab: Lab,
    /// What the ledger says.
    pub floor: Floor,
    /// Every event read so far, in order.
    pub events: Vec<Event>,
    ledger: Box<dyn Ledger>,
    clock: Arc<dyn Clock>,
    actor: Actor,
}

/// A checked plan that is not in force yet, beside the one that is.
#[derive(Clone, Debug)]
pub struct Proposal {
    /// The plan.
    pub plan: Plan,
    /// Every way in which it differs from the plan in force.
    pub changes: Vec<PlanChange>,
    /// Clashes that the checker found; the planner's own plans have none.
    pub clashes: Vec<Clash>,
    /// The last event that the plan knows of; publishing is refused once there is a newer one that
    /// matters.
    pub seen: Seq,
}

/// How a booking differs from the plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct PlanChange {
    /// What kind of difference.
    pub kind: ChangeKind,
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// The booking in force, if any.
    pub before: Option<Booking>,
    /// The booking proposed, if any.
    pub after: Option<Booking>,
    /// By how much its load moves; negative is earlier.
    pub shift: Minutes,
}

/// Kinds of difference between two plans.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ChangeKind {
    /// Booked for the first time.
    New,
    /// No longer booked.
    Dropped,
    /// On another rig, whatever the time.
    Moved,
    /// Same rig, later.
    Later,
    /// Same rig, earlier.
    Earlier,
}

/// A deed at the desk that is not possible, in words, before anything was written.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// No unit of that serial; the nearest ones are named.
    #[error("no unit {serial}{}", nearest_words(.nearest))]
    UnknownUnit {
        /// What was asked for.
        serial: String,
        /// Serials like it, nearest first.
        nearest: Vec<String>,
    },
    /// The deed does not fit how things stand.
    #[error("{0}")]
    NotNow(String),
    /// The ledger could not be read.
    #[error(transparent)]
    Ledger(#[from] crate::ledger::LedgerError),
}

fn nearest_words(nearest: &[String]) -> String {
    if nearest.is_empty() {
        String::new()
    } else {
        format!("; nearest: {}", nearest.join(", "))
    }
}

impl Desk {
    /// Opens the desk: reads every event and takes in requests of the folder that are new.
    pub fn open(
        lab: Lab,
        ledger: Box<dyn Ledger>,
        clock: Arc<dyn Clock>,
        actor: Actor,
    ) -> Result<Self, DeskError> {
        let _ = (&lab, &ledger, &clock, &actor);
        todo!()
    }

    /// The lab's time now.
    pub fn now(&self) -> Minute {
        self.clock.now()
    }

    /// Who acts.
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// Says who acts from now on (a badge at a shared bench).
    pub fn set_person(&mut self, person: &str) {
        person.clone_into(&mut self.actor.person);
    }

    /// Reads what others have recorded; true where there was anything.
    pub fn refresh(&mut self) -> Result<bool, DeskError> {
        todo!()
    }

    /// Plans from now within the budget, checks the plan, and compares it with the one in force.
    pub fn propose(
        &self,
        _seed: u64,
        _budget: &mut dyn Budget,
        _progress: &mut dyn FnMut(Progress),
    ) -> Proposal {
        todo!()
    }

    /// The plan in force with bookings of the user's own put in their place (rig and start of load),
    /// and everything that depends on them planned anew; clashes are shown, not hidden.
    pub fn propose_with(
        &self,
        _fixed: &[Booking],
        _seed: u64,
        _budget: &mut dyn Budget,
    ) -> Proposal {
        todo!()
    }

    /// Puts a proposal in force.
    pub fn publish(&mut self, _proposal: &Proposal) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// The unit of that serial, exact first, else the only one that matches without regard to case.
    pub fn find_unit(&self, _serial: &str) -> Result<UnitId, DeskError> {
        todo!()
    }

    /// Gives the verdict on the checkpoint that is due for `unit` (running, or over without a verdict).
    /// A visit that still runs on a rig for the checkpoint is ended with it.
    pub fn mark(&mut self, _unit: &UnitId, _verdict: Verdict) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Starts the next visit of `unit` as booked; on `rig` where it is named.
    pub fn start(&mut self, _unit: &UnitId, _rig: Option<&RigId>) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Ends the running visit of `unit`.
    pub fn end(&mut self, _unit: &UnitId) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Withdraws a unit.
    pub fn withdraw(&mut self, _unit: &UnitId, _reason: &str) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Reports a rig down.
    pub fn rig_down(
        &mut self,
        _rig: &RigId,
        _reason: &str,
        _until: Option<Minute>,
    ) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Reports a rig back.
    pub fn rig_up(&mut self, _rig: &RigId) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Adds a note.
    pub fn note(&mut self, _subject: Subject, _text: &str) -> Result<Outcome, DeskError> {
        todo!()
    }

    /// Undoes the last mark of this session that is not undone yet, by an opposite record; the answer
    /// says in words what it undid. Refused where somebody else changed the unit since.
    pub fn undo(&mut self) -> Result<(Outcome, String), DeskError> {
        todo!()
    }

    /// Redoes the last undone mark.
    pub fn redo(&mut self) -> Result<(Outcome, String), DeskError> {
        todo!()
    }
}
