//! The floor: what is where, what is due, what failed, what is booked.
//!
//! A pure fold over the events of the ledger: [`Floor::apply`] takes one batch after another, and
//! the same events always give the same floor. A correction is an event too: what it voids is taken as
//! if it had not been said, and both stay in the history. What a correction changes is read again from the
//! [`Past`] and folded anew, a unit or a rig at a time. This room reads no clock: whoever asks says what time
//! it is.

mod corrections;
mod due;
mod facts;
mod fold;
mod outages;
mod past;
mod spread;
mod state;

pub use past::Past;

use corrections::Corrections;
use spread::Spread;

use crate::domain::Roles;
use crate::domain::plan::{Booking, Finish, Unplannable};
use crate::domain::{Event, Minute, Minutes, PlanId, RequestId, RigId, Seq, Span, UnitId, Verdict};
use std::collections::{BTreeMap, BTreeSet, HashMap};

/// What the ledger says, up to the last event applied.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Floor {
    /// Every event applied, in order.
    pub events: Vec<Event>,
    /// Events that a correction has voided and none has restored.
    pub voided: BTreeSet<Seq>,
    /// Who may do what.
    pub roles: Roles,
    /// The last event that somebody has signed for.
    pub signed: Seq,
    /// What follows from the events that count.
    pub now: Standing,
    /// What corrections say.
    corrections: Corrections,
    /// When the events happened, roughly.
    spread: Spread,
}

/// What follows from the events that count.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Standing {
    /// Requests that were taken in, with the event.
    pub requests: BTreeMap<RequestId, Seq>,
    /// Units of the requests that were taken in.
    pub units: BTreeMap<UnitId, UnitRecord>,
    /// Units that are on a rig.
    pub running: BTreeSet<UnitId>,
    /// Rigs that were reported down or back.
    pub rigs: BTreeMap<RigId, RigRecord>,
    /// The plan in force.
    pub published: Option<Published>,
}

impl Standing {
    /// The bookings of the plan in force, in the order of the plan; none where none is published.
    pub fn booked(&self) -> impl Iterator<Item = &Booking> {
        self.published.iter().flat_map(|plan| &plan.bookings)
    }

    /// True where the unit's visit for that booking has begun, or is over.
    pub fn has_begun(&self, booking: &Booking) -> bool {
        let record = self.units.get(&booking.unit);
        record.is_some_and(|own| own.visits.contains_key(&booking.step))
    }
}

/// The plan in force.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Published {
    /// Its id.
    pub plan: PlanId,
    /// The event that published it.
    pub seq: Seq,
    /// When.
    pub at: Minute,
    /// Its cost.
    pub cost: i64,
    /// The proven bound, where there was one.
    pub bound: Option<i64>,
    /// Its bookings, in the order of the plan.
    pub bookings: Vec<Booking>,
    /// The place of each unit's step in `bookings`.
    pub by_step: HashMap<(UnitId, u32), usize>,
    /// When requests finish by it.
    pub finishes: Vec<Finish>,
    /// Requests it left out.
    pub unplannable: Vec<Unplannable>,
}

/// What happened to a unit.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct UnitRecord {
    /// Its request, once taken in.
    pub request: Option<RequestId>,
    /// Visits that have started, by step (from 1).
    pub visits: BTreeMap<u32, VisitRecord>,
    /// Verdicts that count, by step (from 1).
    pub verdicts: BTreeMap<u32, VerdictRecord>,
    /// From a verdict of hold to the next verdict on that step; not those that stand.
    pub holds: Vec<Span>,
    /// When it came off its last rig and its last hold ended; `None` while it is on a rig or on hold, or has not
    /// begun.
    pub over: Option<Minute>,
    /// Set once it was withdrawn.
    pub withdrawn: Option<(Seq, Minute, String)>,
    /// Notes about it that count, in order.
    pub notes: Vec<String>,
}

/// A visit that has started.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VisitRecord {
    /// Where.
    pub rig: RigId,
    /// Position on rigs loaded each.
    pub position: Option<u32>,
    /// Run on rigs loaded together.
    pub run: Option<u32>,
    /// When loading began.
    pub loaded: Minute,
    /// When unloading was over; `None` while it is on the rig.
    pub out: Option<Minute>,
    /// The event that started it.
    pub started_by: Seq,
    /// The event that ended it.
    pub ended_by: Option<Seq>,
}

/// A verdict that counts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct VerdictRecord {
    /// The verdict.
    pub verdict: Verdict,
    /// When it was given.
    pub at: Minute,
    /// The acting person.
    pub person: String,
    /// The event.
    pub seq: Seq,
}

/// What happened to a rig.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct RigRecord {
    /// Faults that are not over, as they were reported: it is down while there is one.
    pub faults: Vec<Down>,
    /// Faults that are over, from when until when and why; they may overlap.
    pub repairs: Vec<(Minute, Minute, String)>,
}

/// A rig that is down.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Down {
    /// Since when.
    pub since: Minute,
    /// Why.
    pub reason: String,
    /// When it is expected back, where somebody knows.
    pub until: Option<Minute>,
    /// The event.
    pub seq: Seq,
}

impl Down {
    /// When the rig is back, as far as anybody can say at `now`: as expected, or, where nobody knows or the
    /// time has passed, a day from now, anew each time it is asked.
    pub fn back(&self, now: Minute) -> (Minute, bool) {
        match self.until.filter(|until| *until > now) {
            Some(until) => (until, true),
            None => (now + Minutes::DAY, false),
        }
    }
}

/// How a unit stands; the words and marks of the screens.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum UnitState {
    /// Received, no rig.
    Waiting,
    /// Has a rig and a start ahead.
    Booked,
    /// On the rig now.
    Running,
    /// A checkpoint reached, its verdict not recorded.
    Due,
    /// A checkpoint past its window.
    Late,
    /// Stopped on purpose.
    Held,
    /// Finished, all checkpoints good.
    Passed,
    /// A checkpoint bad; finished unless its request goes on after failures.
    Failed,
    /// Withdrawn before the end.
    Out,
    /// No record to tell.
    Unknown,
}

impl UnitState {
    /// All of them.
    pub const ALL: [Self; 10] = [
        Self::Waiting,
        Self::Booked,
        Self::Running,
        Self::Due,
        Self::Late,
        Self::Held,
        Self::Passed,
        Self::Failed,
        Self::Out,
        Self::Unknown,
    ];
}

/// How a rig stands now.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum RigState {
    /// Free.
    Idle,
    /// At least one unit is on it.
    Busy,
    /// In a planned outage of the lab folder.
    Service,
    /// Reported down.
    Down,
    /// Past its calibration date.
    Closed,
}

/// What a technician should do next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Task {
    /// Put the unit on the rig.
    Load,
    /// Take it off: its exposure is over.
    Unload,
    /// Say pass, fail or hold.
    Verdict,
    /// It is on hold: say pass or fail.
    Decide,
}

/// A thing to do at the bench.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Due {
    /// What.
    pub task: Task,
    /// The unit.
    pub unit: UnitId,
    /// The step, from 1.
    pub step: u32,
    /// Where; for a verdict the rig it was on.
    pub rig: RigId,
    /// From when it can be done.
    pub from: Minute,
    /// When its window closes (largest rest, longest wait), where it has one.
    pub closes: Option<Minute>,
}
