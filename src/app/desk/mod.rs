//! The desk: one lab folder with its ledger, and everything a person can do there.
//!
//! Commands and screens both act through [`Desk`], so that they cannot differ. Whatever the planner
//! yields passes the checker in here before anyone sees it.

mod deeds;
mod duties;
mod past;
mod proposal;
mod sessions;
mod undo;

pub use duties::FileOfRequests;
pub use proposal::{ChangeKind, PlanChange, Planning, Proposal, changes};

use crate::app::dates::Dates;
use crate::clock::Clock;
use crate::domain::steps::Walks;
use crate::domain::{Actor, EventBody, Lab, Minute, NewEvent, Seq, UnitId};
use crate::floor::Floor;
use crate::ledger::{Expect, Head, Ids, Ledger, LedgerError, Outcome};
use std::sync::Arc;

/// A lab at work.
pub struct Desk {
    /// The checked lab.
    pub lab: Arc<Lab>,
    /// What its units walk.
    pub walks: Arc<Walks>,
    /// What the ledger says.
    pub floor: Floor,
    ledger: Box<dyn Ledger>,
    clock: Arc<dyn Clock>,
    ids: Ids,
    actor: Actor,
    /// Why what is recorded now is entered late.
    late: Option<String>,
    /// When the next deed happened, where that was earlier than now.
    at: Option<Minute>,
    /// The last event that whoever acts next was shown; without it, the last that was read.
    looked_at: Option<Seq>,
    /// Deeds of this session that can be undone, the last at the end.
    done: Vec<undo::Deed>,
    /// Deeds of this session that were undone, the last at the end.
    undone: Vec<undo::Deed>,
}

/// A deed at the desk that is not possible, in words, before anything was written.
#[derive(Debug, thiserror::Error)]
pub enum DeskError {
    /// No unit of that serial; the nearest ones are named.
    #[error("no unit {}{}", crate::domain::text::shown(.serial), nearest_words(.nearest))]
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
    Ledger(#[from] LedgerError),
}

fn nearest_words(nearest: &[String]) -> String {
    if nearest.is_empty() {
        String::new()
    } else {
        format!("; nearest: {}", nearest.join(", "))
    }
}

/// What a desk is opened with.
pub struct Opening {
    /// The checked lab.
    pub lab: Lab,
    /// Its ledger.
    pub ledger: Box<dyn Ledger>,
    /// The lab's clock.
    pub clock: Arc<dyn Clock>,
    /// Where new ids come from.
    pub ids: Ids,
    /// Who acts.
    pub actor: Actor,
}

impl Desk {
    /// Opens the desk: reads every event.
    pub fn open(with: Opening) -> Result<Self, DeskError> {
        let Opening {
            lab,
            ledger,
            clock,
            ids,
            actor,
        } = with;
        let walks = Arc::new(Walks::new(&lab));
        let mut desk = Self {
            lab: Arc::new(lab),
            walks,
            floor: Floor::default(),
            ledger,
            clock,
            ids,
            actor,
            late: None,
            at: None,
            looked_at: None,
            done: Vec::new(),
            undone: Vec::new(),
        };
        desk.read_new()?;
        Ok(desk)
    }

    /// How many requests of the folder the ledger does not know yet.
    pub fn not_taken_in(&self) -> usize {
        let known = &self.floor.now.requests;
        let all = &self.lab.requests;
        all.iter()
            .filter(|own| !known.contains_key(&own.id))
            .count()
    }

    /// Takes in every request of the folder that the ledger does not know yet; how many there were, or
    /// the answer where they could not be recorded.
    pub fn take_in(&mut self) -> Result<Result<usize, Outcome>, DeskError> {
        let known = &self.floor.now.requests;
        let fresh = self
            .lab
            .requests
            .iter()
            .filter(|own| !known.contains_key(&own.id));
        let bodies: Vec<EventBody> = fresh
            .map(|own| EventBody::RequestTaken {
                request: own.id.clone(),
                units: own.units.clone(),
            })
            .collect();
        if bodies.is_empty() {
            return Ok(Ok(0));
        }
        let count = bodies.len();
        match self.record(&[], bodies)? {
            Outcome::Recorded { .. } | Outcome::AlreadyRecorded { .. } => Ok(Ok(count)),
            other => Ok(Err(other)),
        }
    }

    /// The lab's time now.
    pub fn now(&self) -> Minute {
        self.clock.now()
    }

    /// The clock.
    pub fn clock(&self) -> &Arc<dyn Clock> {
        &self.clock
    }

    /// Who acts.
    pub fn actor(&self) -> &Actor {
        &self.actor
    }

    /// Says who acts from now on.
    pub fn set_person(&mut self, person: &str) {
        person.clone_into(&mut self.actor.person);
    }

    /// Says why everything that is recorded from now on is entered late.
    pub fn set_late(&mut self, reason: &str) {
        self.late = Some(reason.to_owned());
    }

    /// Says when the next load, unload or verdict happened, where that was earlier than now; the deed is then
    /// entered late. `None`: now.
    pub fn happened_at(&mut self, at: Option<Minute>) {
        self.at = at;
    }

    /// When what is recorded next happened: now, unless somebody said otherwise.
    pub(super) fn moment(&self) -> Minute {
        self.at.unwrap_or_else(|| self.now())
    }

    /// The end of the ledger's chain, after reading everything up to it.
    pub fn head(&mut self) -> Result<Head, DeskError> {
        loop {
            let head = self.ledger.head()?;
            if head.seq <= self.floor.seen() {
                return Ok(head);
            }
            self.refresh()?;
        }
    }

    /// What whoever works here should be told now.
    pub fn warnings(&self) -> Vec<String> {
        self.ledger.warnings()
    }

    /// From now on a ledger that others are at is not waited for: whoever asks tries again.
    pub fn hurry(&mut self) -> Result<(), DeskError> {
        Ok(self.ledger.hurry()?)
    }

    /// Takes another form of the same lab, such as one with more requests.
    pub fn set_lab(&mut self, lab: Lab) {
        self.walks = Arc::new(Walks::new(&lab));
        self.lab = Arc::new(lab);
    }

    /// The unit of that serial: exact first, else the only one that is equal but for case.
    pub fn find_unit(&self, serial: &str) -> Result<UnitId, DeskError> {
        let serial = crate::domain::text::normal(serial.trim());
        let units = || self.lab.requests.iter().flat_map(|request| &request.units);
        if let Some(unit) = units().find(|unit| unit.as_str() == serial) {
            return Ok(unit.clone());
        }
        let lower = serial.to_lowercase();
        let mut alike = units().filter(|unit| unit.as_str().to_lowercase() == lower);
        if let (Some(unit), None) = (alike.next(), alike.next()) {
            return Ok(unit.clone());
        }
        let mut near: Vec<(usize, &str)> = units()
            .map(|unit| {
                (
                    strsim::damerau_levenshtein(&lower, &unit.as_str().to_lowercase()),
                    unit.as_str(),
                )
            })
            .filter(|(far, unit)| *far * 2 <= unit.chars().count().max(2))
            .collect();
        near.sort_unstable();
        let nearest = near
            .into_iter()
            .take(3)
            .map(|(_, unit)| unit.to_owned())
            .collect();
        Err(DeskError::UnknownUnit { serial, nearest })
    }

    /// Records events that happen now, or at the moment that was said, all or none, and reads them back. Where the disk failed while it was
    /// recorded, it is said once more with the same ids, which cannot record it twice.
    fn record(
        &mut self,
        expect: &[Expect],
        mut bodies: Vec<EventBody>,
    ) -> Result<Outcome, DeskError> {
        let happened = self.moment();
        let earlier = self.at.take().map(|_| "entered afterwards".to_owned());
        if let Some(reason) = self.late.clone().or(earlier) {
            let events = u32::try_from(bodies.len()).unwrap_or(u32::MAX);
            bodies.push(EventBody::LateEntry { events, reason });
        }
        let new = |body| NewEvent {
            id: self.ids.next(),
            happened,
            actor: self.actor.clone(),
            body,
        };
        let events: Vec<NewEvent> = bodies.into_iter().map(new).collect();
        let mut outcome = self.ledger.append(expect, &events);
        if matches!(outcome, Outcome::Unknown { .. }) {
            outcome = self.ledger.append(expect, &events);
        }
        match self.refresh() {
            // What is recorded is recorded; whoever looks next reads it.
            Err(_) if matches!(outcome, Outcome::Recorded { .. }) => Ok(outcome),
            read => read.map(|_| outcome),
        }
    }
}

/// The answer in words, and whether it is a success.
pub fn outcome_words(outcome: &Outcome, zone: &crate::domain::Zone) -> (bool, String) {
    match outcome {
        Outcome::Recorded { first } => (true, format!("recorded as event {}", first.0)),
        Outcome::AlreadyRecorded { first } => {
            (true, format!("was recorded already as event {}", first.0))
        }
        Outcome::Conflict { by } => {
            let when = Dates::default().short(zone.local(by.happened));
            let who = crate::domain::text::shown(&by.actor.person);
            (
                false,
                format!(
                    "not recorded: {who} changed it at {when} (event {}); look again",
                    by.seq.0
                ),
            )
        }
        Outcome::Refused { why } => (false, format!("refused: {why}")),
        Outcome::NotRecorded { why } => (false, format!("not recorded, nothing happened: {why}")),
        Outcome::Unknown { why } => (
            false,
            format!("unknown whether it was recorded: {why}; start rigday anew and look"),
        ),
    }
}
