//! What happened, as it is stored: frozen forms with their own encoding.
//!
//! The words of the trade may change; what was written stays readable, because these structs do not. A
//! new kind of event is a new variant; one that exists is never changed.

use crate::domain::event::{Change, Meaning, Subject};
use crate::domain::plan::{Booking, Finish, Times, Unplannable};
use crate::domain::roles::{Holder, Role};
use crate::domain::{
    EventBody, MethodId, Minute, Minutes, PlanId, RequestId, RigId, Seq, UnitId, Verdict,
};
use serde::{Deserialize, Serialize};

/// Version 1 of what happened. Instants are whole minutes since 1970-01-01T00:00Z.
#[derive(Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
pub(super) enum Body {
    RequestTaken {
        request: String,
        units: Vec<String>,
    },
    PlanPublished {
        plan: String,
        cost: i64,
        bound: Option<i64>,
        bookings: u32,
        finishes: Vec<(String, i64, i64, i64)>,
        unplannable: Vec<(String, u32, String)>,
    },
    PlanBookings {
        plan: String,
        bookings: Vec<BookingV1>,
    },
    VisitStarted {
        unit: String,
        step: u32,
        rig: String,
        position: Option<u32>,
        run: Option<u32>,
    },
    VisitEnded {
        unit: String,
        step: u32,
        rig: String,
    },
    VerdictGiven {
        unit: String,
        step: u32,
        verdict: String,
        reason: String,
    },
    UnitWithdrawn {
        unit: String,
        reason: String,
    },
    RigDown {
        rig: String,
        reason: String,
        until: Option<i64>,
    },
    RigUp {
        rig: String,
    },
    Note {
        about: String,
        name: String,
        text: String,
    },
    Correction {
        corrects: u64,
        change: String,
        field: String,
        old: String,
        new: String,
        reason: String,
    },
    FileTaken {
        file: String,
        sha256: String,
        requests: u32,
        units: u32,
    },
    LateEntry {
        events: u32,
        reason: String,
    },
    RoleGranted {
        uid: Option<u32>,
        person: String,
        role: String,
    },
    RoleRevoked {
        uid: Option<u32>,
        person: String,
    },
    AttemptRefused {
        what: String,
        why: String,
    },
    Signed {
        meaning: String,
        shown: String,
        upto: u64,
    },
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct BookingV1 {
    request: String,
    unit: String,
    step: u32,
    method: String,
    rig: String,
    position: Option<u32>,
    run: Option<u32>,
    times: [i64; 5],
    because: String,
}

impl From<&EventBody> for Body {
    #[expect(clippy::too_many_lines, reason = "one arm a kind of event")]
    fn from(body: &EventBody) -> Self {
        match body {
            EventBody::RequestTaken { request, units } => Self::RequestTaken {
                request: request.to_string(),
                units: units.iter().map(ToString::to_string).collect(),
            },
            EventBody::PlanPublished {
                plan,
                cost,
                bound,
                bookings,
                finishes,
                unplannable,
            } => {
                let finish = |f: &Finish| {
                    (
                        f.request.to_string(),
                        f.finish.get(),
                        f.late.get(),
                        f.flow.get(),
                    )
                };
                let left = |u: &Unplannable| (u.request.to_string(), u.step, u.reason.clone());
                Self::PlanPublished {
                    plan: plan.to_string(),
                    cost: *cost,
                    bound: *bound,
                    bookings: *bookings,
                    finishes: finishes.iter().map(finish).collect(),
                    unplannable: unplannable.iter().map(left).collect(),
                }
            }
            EventBody::PlanBookings { plan, bookings } => Self::PlanBookings {
                plan: plan.to_string(),
                bookings: bookings.iter().map(BookingV1::from).collect(),
            },
            EventBody::VisitStarted {
                unit,
                step,
                rig,
                position,
                run,
            } => Self::VisitStarted {
                unit: unit.to_string(),
                step: *step,
                rig: rig.to_string(),
                position: *position,
                run: *run,
            },
            EventBody::VisitEnded { unit, step, rig } => Self::VisitEnded {
                unit: unit.to_string(),
                step: *step,
                rig: rig.to_string(),
            },
            EventBody::VerdictGiven {
                unit,
                step,
                verdict,
            } => {
                let (verdict, reason) = match verdict {
                    Verdict::Pass => ("pass", ""),
                    Verdict::Fail { reason } => ("fail", reason.as_str()),
                    Verdict::Hold { reason } => ("hold", reason.as_str()),
                };
                let (verdict, reason) = (verdict.to_owned(), reason.to_owned());
                Self::VerdictGiven {
                    unit: unit.to_string(),
                    step: *step,
                    verdict,
                    reason,
                }
            }
            EventBody::UnitWithdrawn { unit, reason } => Self::UnitWithdrawn {
                unit: unit.to_string(),
                reason: reason.clone(),
            },
            EventBody::RigDown { rig, reason, until } => Self::RigDown {
                rig: rig.to_string(),
                reason: reason.clone(),
                until: until.map(Minute::get),
            },
            EventBody::RigUp { rig } => Self::RigUp {
                rig: rig.to_string(),
            },
            EventBody::Note { subject, text } => {
                let (about, name) = subject_words(subject);
                Self::Note {
                    about: about.to_owned(),
                    name,
                    text: text.clone(),
                }
            }
            EventBody::Correction {
                corrects,
                change,
                reason,
            } => {
                let (change, field, old, new) = match change {
                    Change::Void => ("void", "", "", ""),
                    Change::Restore => ("restore", "", "", ""),
                    Change::Field { field, old, new } => {
                        ("field", field.as_str(), old.as_str(), new.as_str())
                    }
                };
                Self::Correction {
                    corrects: corrects.0,
                    change: change.to_owned(),
                    field: field.to_owned(),
                    old: old.to_owned(),
                    new: new.to_owned(),
                    reason: reason.clone(),
                }
            }
            EventBody::FileTaken {
                file,
                sha256,
                requests,
                units,
            } => Self::FileTaken {
                file: file.clone(),
                sha256: sha256.clone(),
                requests: *requests,
                units: *units,
            },
            EventBody::LateEntry { events, reason } => Self::LateEntry {
                events: *events,
                reason: reason.clone(),
            },
            EventBody::RoleGranted { holder, role } => {
                let (uid, person) = holder_words(holder);
                Self::RoleGranted {
                    uid,
                    person,
                    role: role.word().to_owned(),
                }
            }
            EventBody::RoleRevoked { holder } => {
                let (uid, person) = holder_words(holder);
                Self::RoleRevoked { uid, person }
            }
            EventBody::AttemptRefused { what, why } => Self::AttemptRefused {
                what: what.clone(),
                why: why.clone(),
            },
            EventBody::Signed {
                meaning,
                shown,
                upto,
            } => Self::Signed {
                meaning: meaning.word().to_owned(),
                shown: shown.clone(),
                upto: upto.0,
            },
        }
    }
}

impl From<Body> for EventBody {
    #[expect(clippy::too_many_lines, reason = "one arm a kind of event")]
    fn from(body: Body) -> Self {
        match body {
            Body::RequestTaken { request, units } => Self::RequestTaken {
                request: RequestId::new(&request),
                units: units.iter().map(|unit| UnitId::new(unit)).collect(),
            },
            Body::PlanPublished {
                plan,
                cost,
                bound,
                bookings,
                finishes,
                unplannable,
            } => {
                let finish = |(request, finish, late, flow): (String, i64, i64, i64)| Finish {
                    request: RequestId::new(&request),
                    finish: Minute::new(finish),
                    late: Minutes::new(late),
                    flow: Minutes::new(flow),
                };
                let left = |(request, step, reason): (String, u32, String)| Unplannable {
                    request: RequestId::new(&request),
                    step,
                    reason,
                };
                Self::PlanPublished {
                    plan: PlanId::new(&plan),
                    cost,
                    bound,
                    bookings,
                    finishes: finishes.into_iter().map(finish).collect(),
                    unplannable: unplannable.into_iter().map(left).collect(),
                }
            }
            Body::PlanBookings { plan, bookings } => Self::PlanBookings {
                plan: PlanId::new(&plan),
                bookings: bookings.into_iter().map(Booking::from).collect(),
            },
            Body::VisitStarted {
                unit,
                step,
                rig,
                position,
                run,
            } => Self::VisitStarted {
                unit: UnitId::new(&unit),
                step,
                rig: RigId::new(&rig),
                position,
                run,
            },
            Body::VisitEnded { unit, step, rig } => Self::VisitEnded {
                unit: UnitId::new(&unit),
                step,
                rig: RigId::new(&rig),
            },
            Body::VerdictGiven {
                unit,
                step,
                verdict,
                reason,
            } => {
                let verdict = match verdict.as_str() {
                    "pass" => Verdict::Pass,
                    "fail" => Verdict::Fail { reason },
                    _ => Verdict::Hold { reason },
                };
                Self::VerdictGiven {
                    unit: UnitId::new(&unit),
                    step,
                    verdict,
                }
            }
            Body::UnitWithdrawn { unit, reason } => Self::UnitWithdrawn {
                unit: UnitId::new(&unit),
                reason,
            },
            Body::RigDown { rig, reason, until } => Self::RigDown {
                rig: RigId::new(&rig),
                reason,
                until: until.map(Minute::new),
            },
            Body::RigUp { rig } => Self::RigUp {
                rig: RigId::new(&rig),
            },
            Body::Note { about, name, text } => Self::Note {
                subject: subject(&about, &name),
                text,
            },
            Body::Correction {
                corrects,
                change,
                field,
                old,
                new,
                reason,
            } => {
                let change = match change.as_str() {
                    "void" => Change::Void,
                    "restore" => Change::Restore,
                    _ => Change::Field { field, old, new },
                };
                Self::Correction {
                    corrects: Seq(corrects),
                    change,
                    reason,
                }
            }
            Body::FileTaken {
                file,
                sha256,
                requests,
                units,
            } => Self::FileTaken {
                file,
                sha256,
                requests,
                units,
            },
            Body::LateEntry { events, reason } => Self::LateEntry { events, reason },
            Body::RoleGranted { uid, person, role } => Self::RoleGranted {
                holder: holder(uid, person),
                // A word that this program does not know gives no right.
                role: Role::of_word(&role).unwrap_or_default(),
            },
            Body::RoleRevoked { uid, person } => Self::RoleRevoked {
                holder: holder(uid, person),
            },
            Body::AttemptRefused { what, why } => Self::AttemptRefused { what, why },
            Body::Signed {
                meaning,
                shown,
                upto,
            } => Self::Signed {
                meaning: match meaning.as_str() {
                    "approved" => Meaning::Approved,
                    "released" => Meaning::Released,
                    _ => Meaning::Reviewed,
                },
                shown,
                upto: Seq(upto),
            },
        }
    }
}

fn holder_words(holder: &Holder) -> (Option<u32>, String) {
    match holder {
        Holder::User(uid) => (Some(*uid), String::new()),
        Holder::Person(name) => (None, name.clone()),
    }
}

fn holder(uid: Option<u32>, person: String) -> Holder {
    uid.map_or(Holder::Person(person), Holder::User)
}

fn subject_words(subject: &Subject) -> (&'static str, String) {
    match subject {
        Subject::Unit(id) => ("unit", id.to_string()),
        Subject::Rig(id) => ("rig", id.to_string()),
        Subject::Request(id) => ("request", id.to_string()),
        Subject::Lab => ("lab", String::new()),
    }
}

fn subject(about: &str, name: &str) -> Subject {
    match about {
        "unit" => Subject::Unit(UnitId::new(name)),
        "rig" => Subject::Rig(RigId::new(name)),
        "request" => Subject::Request(RequestId::new(name)),
        _ => Subject::Lab,
    }
}

impl From<&Booking> for BookingV1 {
    fn from(own: &Booking) -> Self {
        let times = &own.times;
        Self {
            request: own.request.to_string(),
            unit: own.unit.to_string(),
            step: own.step,
            method: own.method.to_string(),
            rig: own.rig.to_string(),
            position: own.position,
            run: own.run,
            times: [times.load, times.start, times.end, times.unload, times.out].map(Minute::get),
            because: own.because.clone(),
        }
    }
}

impl From<BookingV1> for Booking {
    fn from(own: BookingV1) -> Self {
        let [load, start, end, unload, out] = own.times.map(Minute::new);
        Self {
            request: RequestId::new(&own.request),
            unit: UnitId::new(&own.unit),
            step: own.step,
            method: MethodId::new(&own.method),
            rig: RigId::new(&own.rig),
            position: own.position,
            run: own.run,
            times: Times {
                load,
                start,
                end,
                unload,
                out,
            },
            because: own.because,
        }
    }
}
