//! A unit's walk as lines, and events in words: what screens and commands both show.

use crate::domain::event::{Change, Subject};
use crate::domain::lab::Lab;
use crate::domain::steps::Walks;
use crate::domain::{Event, EventBody, MethodId, Minute, RigId, UnitId, Verdict};
use crate::floor::{Floor, RigState, Task, UnitState};

/// How far a step of a walk has come.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum StepProgress {
    /// Over.
    Done,
    /// On a rig now.
    Running,
    /// In the plan in force.
    Booked,
    /// Not planned yet.
    Open,
    /// Will not be done.
    Dropped,
}

impl StepProgress {
    /// Its word.
    pub const fn word(self) -> &'static str {
        match self {
            Self::Done => "done",
            Self::Running => "running",
            Self::Booked => "booked",
            Self::Open => "open",
            Self::Dropped => "dropped",
        }
    }
}

/// One step of a unit's walk, as it happened or as it is booked.
#[derive(Clone, Debug)]
pub struct WalkLine {
    /// The step, from 1.
    pub step: u32,
    /// Its method.
    pub method: MethodId,
    /// Where.
    pub rig: Option<RigId>,
    /// When it loaded or will load.
    pub load: Option<Minute>,
    /// When it came or will come out.
    pub out: Option<Minute>,
    /// Its verdict.
    pub verdict: Option<Verdict>,
    /// Who gave it.
    pub who: Option<String>,
    /// How far it has come.
    pub progress: StepProgress,
    /// Why its booking is not earlier.
    pub because: String,
}

impl WalkLine {
    /// `pass`, `fail`, `hold` or nothing.
    pub fn verdict_word(&self) -> &'static str {
        self.verdict.as_ref().map_or("", verdict_word)
    }
}

/// `pass`, `fail` or `hold`.
pub fn verdict_word(verdict: &Verdict) -> &'static str {
    match verdict {
        Verdict::Pass => "pass",
        Verdict::Fail { .. } => "fail",
        Verdict::Hold { .. } => "hold",
    }
}

/// The word of a task.
pub const fn task_word(task: Task) -> &'static str {
    match task {
        Task::Load => "load",
        Task::Unload => "unload",
        Task::Verdict => "verdict",
        Task::Decide => "decide",
    }
}

/// The whole walk of a unit; empty where the lab does not have it.
pub fn walk_of(lab: &Lab, walks: &Walks, floor: &Floor, unit: &UnitId) -> Vec<WalkLine> {
    let Some(request) = walks.request(lab, unit) else {
        return Vec::new();
    };
    let record = floor.now.units.get(unit);
    let state = floor.unit_state(lab, walks, unit, Minute::FIRST);
    let stopped = matches!(state, UnitState::Failed | UnitState::Out);
    let line = |(ix, own): (usize, &crate::domain::steps::WalkStep)| {
        let step = u32::try_from(ix + 1).unwrap_or(u32::MAX);
        let visit = record.and_then(|record| record.visits.get(&step));
        let booking = floor.booking(unit, step);
        let given = record.and_then(|record| record.verdicts.get(&step));
        let progress = match (visit, booking) {
            (Some(visit), _) if visit.out.is_some() => StepProgress::Done,
            (Some(_), _) => StepProgress::Running,
            _ if stopped => StepProgress::Dropped,
            (None, Some(_)) => StepProgress::Booked,
            (None, None) => StepProgress::Open,
        };
        let ahead = booking.filter(|_| progress == StepProgress::Booked);
        WalkLine {
            step,
            method: own.method.clone(),
            rig: visit
                .map(|visit| visit.rig.clone())
                .or(ahead.map(|own| own.rig.clone())),
            load: visit
                .map(|visit| visit.loaded)
                .or(ahead.map(|own| own.times.load)),
            out: match visit {
                Some(visit) => visit.out,
                None => ahead.map(|own| own.times.out),
            },
            verdict: given.map(|given| given.verdict.clone()),
            who: given.map(|given| given.person.clone()),
            progress,
            because: ahead.map_or(String::new(), |own| own.because.clone()),
        }
    };
    walks.steps(request).iter().enumerate().map(line).collect()
}

/// The word of a unit's state.
pub const fn state_word(state: UnitState) -> &'static str {
    match state {
        UnitState::Waiting => "waiting",
        UnitState::Booked => "booked",
        UnitState::Running => "running",
        UnitState::Due => "due",
        UnitState::Late => "late",
        UnitState::Held => "held",
        UnitState::Passed => "passed",
        UnitState::Failed => "failed",
        UnitState::Out => "out",
        UnitState::Unknown => "unknown",
    }
}

/// The word of a rig's state.
pub const fn rig_word(state: RigState) -> &'static str {
    match state {
        RigState::Idle => "idle",
        RigState::Busy => "busy",
        RigState::Service => "service",
        RigState::Down => "down",
        RigState::Closed => "closed",
    }
}

/// What an event says, in a line.
#[expect(clippy::too_many_lines, reason = "one arm a kind of event")]
pub fn event_words(event: &Event) -> String {
    match &event.body {
        EventBody::RequestTaken { request, units } => {
            format!("request {request} taken in, {} units", units.len())
        }
        EventBody::PlanPublished {
            plan,
            bookings,
            cost,
            ..
        } => {
            format!("plan {plan} published, {bookings} bookings, cost {cost}")
        }
        EventBody::PlanBookings { plan, bookings } => {
            format!("{} bookings of plan {plan}", bookings.len())
        }
        EventBody::VisitStarted {
            unit, step, rig, ..
        } => {
            format!("{unit} loaded on {rig} for step {step}")
        }
        EventBody::VisitEnded { unit, step, rig } => {
            format!("{unit} came out of {rig}, step {step}")
        }
        EventBody::VerdictGiven {
            unit,
            step,
            verdict,
        } => {
            let why = match verdict {
                Verdict::Fail { reason } | Verdict::Hold { reason } if !reason.is_empty() => {
                    format!(": {reason}")
                }
                _ => String::new(),
            };
            format!("{unit} step {step} {}{why}", verdict_word(verdict))
        }
        EventBody::UnitWithdrawn { unit, reason } => format!("{unit} withdrawn: {reason}"),
        EventBody::RigDown { rig, reason, .. } => format!("{rig} down: {reason}"),
        EventBody::RigUp { rig } => format!("{rig} back"),
        EventBody::Note { subject, text } => match subject {
            Subject::Unit(id) => format!("note on {id}: {text}"),
            Subject::Rig(id) => format!("note on {id}: {text}"),
            Subject::Request(id) => format!("note on {id}: {text}"),
            Subject::Lab => format!("note: {text}"),
        },
        EventBody::Correction {
            corrects,
            change,
            reason,
        } => match change {
            Change::Void => format!("event {} {reason}", corrects.0),
            Change::Restore => format!("event {} counts again: {reason}", corrects.0),
            Change::Field { field, old, new } => {
                format!(
                    "event {} corrected, {field} from {old} to {new}: {reason}",
                    corrects.0
                )
            }
        },
        EventBody::FileTaken {
            file,
            sha256,
            requests,
            units,
        } => format!("file {file} taken in: {requests} requests, {units} units, SHA-256 {sha256}"),
        EventBody::LateEntry { events, reason } => {
            format!("the last {events} entered late: {reason}")
        }
        EventBody::RoleGranted { holder, role } => format!("{holder} is {} now", role.word()),
        EventBody::RoleRevoked { holder } => format!("{holder} has no role any more"),
        EventBody::AttemptRefused { what, why } => format!("refused, {what}: {why}"),
        EventBody::Signed {
            meaning,
            shown,
            upto,
        } => format!("{} up to event {}: {shown}", meaning.word(), upto.0),
    }
}
