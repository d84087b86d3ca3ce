//! Entries of the ledger: what happened, who said so and when.

use super::ids::{PlanId, RequestId, RigId, UnitId};
use super::plan::{Booking, Finish, Unplannable};
use super::roles::{Holder, Role};
use super::time::Minute;
use std::sync::Arc;

/// Place of an event in its ledger: 1, 2, 3, … without gaps.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Seq(pub u64);

/// Identity of an event: made before the first attempt and kept for every retry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct EventId(pub [u8; 16]);

/// Who acts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Actor {
    /// The user id that the kernel gives.
    pub uid: u32,
    /// The login name of that user id.
    pub login: String,
    /// The acting person, where a badge or a name was given; else the login.
    pub person: String,
    /// The host.
    pub host: String,
    /// One run of the program, as a short text.
    pub session: String,
}

/// An event before it is recorded.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NewEvent {
    /// Its identity.
    pub id: EventId,
    /// When it happened, by whoever says so.
    pub happened: Minute,
    /// Who says so.
    pub actor: Actor,
    /// What happened.
    pub body: EventBody,
}

/// A recorded event.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Event {
    /// Its place.
    pub seq: Seq,
    /// Its identity.
    pub id: EventId,
    /// When it happened.
    pub happened: Minute,
    /// When it was recorded, in milliseconds since 1970-01-01T00:00Z.
    pub recorded_ms: i64,
    /// True where the host's clock then stood before the time of the event before it.
    pub clock_back: bool,
    /// Who said so; events of one session share it.
    pub actor: Arc<Actor>,
    /// What happened.
    pub body: EventBody,
}

/// The answer of a checkpoint.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Verdict {
    /// Good.
    Pass,
    /// Bad.
    Fail {
        /// Why; never empty.
        reason: String,
    },
    /// Stopped until somebody decides.
    Hold {
        /// Why; may be empty.
        reason: String,
    },
}

/// What happened.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum EventBody {
    /// A request of the lab folder was taken in.
    RequestTaken {
        /// The request.
        request: RequestId,
        /// Its units.
        units: Vec<UnitId>,
    },
    /// A plan was published; its bookings follow in [`EventBody::PlanBookings`] of the same append.
    PlanPublished {
        /// The plan.
        plan: PlanId,
        /// Its cost.
        cost: i64,
        /// The proven bound, where there is one.
        bound: Option<i64>,
        /// How many bookings follow.
        bookings: u32,
        /// When the requests finish.
        finishes: Vec<Finish>,
        /// Requests that were left out.
        unplannable: Vec<Unplannable>,
    },
    /// A part of a published plan, small enough for one row.
    PlanBookings {
        /// The plan.
        plan: PlanId,
        /// Bookings that are not over yet, in the order of the plan.
        bookings: Vec<Booking>,
    },
    /// Loading of a visit began.
    VisitStarted {
        /// The unit.
        unit: UnitId,
        /// The step, from 1.
        step: u32,
        /// The rig.
        rig: RigId,
        /// Position on rigs loaded each.
        position: Option<u32>,
        /// Run on rigs loaded together.
        run: Option<u32>,
    },
    /// A visit ended: unloading is over.
    VisitEnded {
        /// The unit.
        unit: UnitId,
        /// The step, from 1.
        step: u32,
        /// The rig.
        rig: RigId,
    },
    /// A checkpoint has its verdict.
    VerdictGiven {
        /// The unit.
        unit: UnitId,
        /// The step, from 1.
        step: u32,
        /// The verdict.
        verdict: Verdict,
    },
    /// A unit leaves the lab before its end.
    UnitWithdrawn {
        /// The unit.
        unit: UnitId,
        /// Why; never empty.
        reason: String,
    },
    /// A rig broke or was taken out of use.
    RigDown {
        /// The rig.
        rig: RigId,
        /// Why; never empty.
        reason: String,
        /// When it is expected back, where somebody knows.
        until: Option<Minute>,
    },
    /// A rig is back.
    RigUp {
        /// The rig.
        rig: RigId,
    },
    /// A remark.
    Note {
        /// What it is about.
        subject: Subject,
        /// The remark; never empty.
        text: String,
    },
    /// An earlier event is corrected; both stay visible.
    Correction {
        /// The event that it corrects.
        corrects: Seq,
        /// How.
        change: Change,
        /// Why; never empty.
        reason: String,
    },
    /// Requests came in by a file; what it held follows in the same append.
    FileTaken {
        /// Its name, without its folder.
        file: String,
        /// SHA-256 of its bytes, in hexadecimal.
        sha256: String,
        /// How many requests it held.
        requests: u32,
        /// How many units they have.
        units: u32,
    },
    /// The events before it in the same append were entered long after they happened.
    LateEntry {
        /// How many events.
        events: u32,
        /// Why so late; never empty.
        reason: String,
    },
    /// Somebody may do something from now on.
    RoleGranted {
        /// Who.
        holder: Holder,
        /// What.
        role: Role,
    },
    /// Somebody has no role of their own any more.
    RoleRevoked {
        /// Who.
        holder: Holder,
    },
    /// Somebody tried what their role does not allow.
    AttemptRefused {
        /// The kind of event that was tried.
        what: String,
        /// The rule.
        why: String,
    },
    /// A manager has looked at what happened and signs for it.
    Signed {
        /// What the signature means.
        meaning: Meaning,
        /// SHA-256 of what was shown, in hexadecimal.
        shown: String,
        /// The last event that was shown.
        upto: Seq,
    },
}

/// What a signature means.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Meaning {
    /// Looked at.
    Reviewed,
    /// Found good.
    Approved,
    /// Given out.
    Released,
}

impl Meaning {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Reviewed, Self::Approved, Self::Released];

    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Reviewed => "reviewed",
            Self::Approved => "approved",
            Self::Released => "released",
        }
    }
}

/// Most bookings in one event, so that it stays well below the largest row.
const BOOKINGS_A_PART: usize = 500;

impl EventBody {
    /// The events that publish a plan: its head, and its bookings that are not over at `now` in parts.
    pub fn publish(id: &PlanId, plan: &super::plan::Plan, now: Minute) -> Vec<Self> {
        let ahead: Vec<Booking> = plan
            .bookings
            .iter()
            .filter(|booking| booking.times.out > now)
            .cloned()
            .collect();
        let head = Self::PlanPublished {
            plan: id.clone(),
            cost: plan.cost,
            bound: plan.bound,
            bookings: u32::try_from(ahead.len()).unwrap_or(u32::MAX),
            finishes: plan.requests.clone(),
            unplannable: plan.unplannable.clone(),
        };
        let parts = ahead
            .chunks(BOOKINGS_A_PART)
            .map(|part| Self::PlanBookings {
                plan: id.clone(),
                bookings: part.to_vec(),
            });
        std::iter::once(head).chain(parts).collect()
    }

    /// The event that it corrects, if it is a correction.
    pub fn corrects(&self) -> Option<Seq> {
        match self {
            Self::Correction { corrects, .. } => Some(*corrects),
            _ => None,
        }
    }

    /// What the event tells of first: of a visit that is the unit, not the rig; of a plan the lab.
    pub fn tells_of(&self) -> Option<Subject> {
        self.subjects().into_iter().next()
    }

    /// What the event is about; a plan is about the lab.
    pub fn subjects(&self) -> Vec<Subject> {
        match self {
            Self::RequestTaken { request, .. } => vec![Subject::Request(request.clone())],
            Self::PlanPublished { .. } | Self::PlanBookings { .. } => vec![Subject::Lab],
            Self::VisitStarted { unit, rig, .. } | Self::VisitEnded { unit, rig, .. } => {
                vec![Subject::Unit(unit.clone()), Subject::Rig(rig.clone())]
            }
            Self::VerdictGiven { unit, .. } | Self::UnitWithdrawn { unit, .. } => {
                vec![Subject::Unit(unit.clone())]
            }
            Self::RigDown { rig, .. } | Self::RigUp { rig } => vec![Subject::Rig(rig.clone())],
            Self::Note { subject, .. } => vec![subject.clone()],
            Self::Correction { .. }
            | Self::FileTaken { .. }
            | Self::LateEntry { .. }
            | Self::RoleGranted { .. }
            | Self::RoleRevoked { .. }
            | Self::AttemptRefused { .. }
            | Self::Signed { .. } => Vec::new(),
        }
    }
}

/// What a note is about.
#[derive(Clone, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Subject {
    /// A unit.
    Unit(UnitId),
    /// A rig.
    Rig(RigId),
    /// A request.
    Request(RequestId),
    /// The lab as a whole.
    Lab,
}

/// What a correction does to the event that it names.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Change {
    /// As if it had not been said: how a mark is undone.
    Void,
    /// As if the void correction that it names had not been said: how an undo is redone.
    Restore,
    /// One of its fields was wrong.
    Field {
        /// The field, by its name in the record.
        field: String,
        /// What was recorded, copied by the program.
        old: String,
        /// What is right.
        new: String,
    },
}
