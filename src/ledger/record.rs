//! An event as it is stored: frozen forms of version 1 with their own encoding.
//!
//! The words of the trade may change; what was written stays readable, because these structs do not.

use super::LedgerError;
use super::env::Env;
use crate::domain::event::{Change, Subject};
use crate::domain::plan::{Booking, Finish, Times, Unplannable};
use crate::domain::text::{ID_MAX, NOTE_MAX, id_fault, line_fault};
use crate::domain::{
    Actor, Event, EventBody, EventId, MethodId, Minute, Minutes, NewEvent, PlanId, RequestId,
    RigId, Seq, UnitId, Verdict,
};
use serde::{Deserialize, Serialize};

/// The version that this program writes.
pub(super) const VERSION: i64 = 1;

/// One row of the table of events, but for its hashes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Row {
    pub(super) seq: u64,
    pub(super) id: [u8; 16],
    pub(super) ledger: [u8; 16],
    pub(super) site: String,
    pub(super) happened_ms: i64,
    pub(super) recorded_ms: i64,
    pub(super) zone: String,
    pub(super) offset_min: i64,
    pub(super) uid: i64,
    pub(super) login: String,
    pub(super) person: String,
    pub(super) host: String,
    pub(super) session: String,
    pub(super) program: String,
    pub(super) clock_back: i64,
    pub(super) kind: String,
    pub(super) ver: i64,
    pub(super) body: String,
}

impl Row {
    /// The row of a new event.
    pub(super) fn of(
        event: &NewEvent,
        seq: u64,
        ledger: [u8; 16],
        last_ms: i64,
        env: &Env,
    ) -> Self {
        let recorded_ms = env.clock.now_ms();
        let body = Body::from(&event.body);
        Self {
            seq,
            id: event.id.0,
            ledger,
            site: env.site.clone(),
            happened_ms: event.happened.get() * 60_000,
            recorded_ms,
            zone: env.zone.name().to_owned(),
            offset_min: env.zone.offset(event.happened).get(),
            uid: i64::from(event.actor.uid),
            login: event.actor.login.clone(),
            person: event.actor.person.clone(),
            host: event.actor.host.clone(),
            session: event.actor.session.clone(),
            program: concat!("rigday ", env!("CARGO_PKG_VERSION")).to_owned(),
            clock_back: i64::from(recorded_ms < last_ms),
            kind: kind(&event.body).to_owned(),
            ver: VERSION,
            body: serde_json::to_string(&body).expect("strings and numbers have a JSON form"),
        }
    }

    /// Every field in the order in which it is hashed.
    pub(super) fn fields(&self) -> Vec<Vec<u8>> {
        let number = |n: i64| n.to_string().into_bytes();
        let text = |t: &str| t.as_bytes().to_vec();
        vec![
            self.seq.to_string().into_bytes(),
            self.id.to_vec(),
            self.ledger.to_vec(),
            text(&self.site),
            number(self.happened_ms),
            number(self.recorded_ms),
            text(&self.zone),
            number(self.offset_min),
            number(self.uid),
            text(&self.login),
            text(&self.person),
            text(&self.host),
            text(&self.session),
            text(&self.program),
            number(self.clock_back),
            text(&self.kind),
            text(&self.body),
        ]
    }

    /// The event that the row holds.
    pub(super) fn event(&self) -> Result<Event, LedgerError> {
        let damaged = |why: String| LedgerError::Damaged { seq: self.seq, why };
        if self.ver != VERSION {
            return Err(damaged(format!("version {} is not known", self.ver)));
        }
        let body: Body =
            serde_json::from_str(&self.body).map_err(|error| damaged(error.to_string()))?;
        let body = EventBody::from(body);
        if kind(&body) != self.kind {
            return Err(damaged(format!(
                "it says {}, and holds {}",
                self.kind,
                kind(&body)
            )));
        }
        Ok(Event {
            seq: Seq(self.seq),
            id: EventId(self.id),
            happened: Minute::new(self.happened_ms.div_euclid(60_000)),
            recorded_ms: self.recorded_ms,
            actor: Actor {
                uid: u32::try_from(self.uid).unwrap_or(u32::MAX),
                login: self.login.clone(),
                person: self.person.clone(),
                host: self.host.clone(),
                session: self.session.clone(),
            },
            body,
        })
    }

    /// True where the row says what the event says; for telling a retry from a second meaning.
    pub(super) fn says(&self, event: &NewEvent) -> bool {
        let body = serde_json::to_string(&Body::from(&event.body));
        body.is_ok_and(|body| body == self.body)
            && self.happened_ms == event.happened.get() * 60_000
            && self.person == event.actor.person
            && self.uid == i64::from(event.actor.uid)
    }
}

/// Largest body in bytes; a row may not be larger than a million.
const LARGEST_BODY: usize = 900_000;

/// Why an event may not be recorded, or `None`.
pub(super) fn event_fault(event: &NewEvent) -> Option<String> {
    text_fault(event).or_else(|| match serde_json::to_string(&Body::from(&event.body)) {
        Ok(body) if body.len() <= LARGEST_BODY => None,
        Ok(body) => Some(format!(
            "the event has {} bytes, at most {LARGEST_BODY} are taken",
            body.len()
        )),
        Err(error) => Some(error.to_string()),
    })
}

fn text_fault(event: &NewEvent) -> Option<String> {
    let id = |what: &str, id: &str| id_fault(id).map(|why| format!("{what}: {why}"));
    let line =
        |what: &str, text: &str| line_fault(text, NOTE_MAX).map(|why| format!("{what}: {why}"));
    let actor = &event.actor;
    let named = [&actor.login, &actor.person, &actor.host, &actor.session];
    if let Some(why) = named.iter().find_map(|text| line_fault(text, 4 * ID_MAX)) {
        return Some(format!("who says so: {why}"));
    }
    if step_zero(&event.body) {
        return Some("steps count from 1".to_owned());
    }
    match &event.body {
        EventBody::RequestTaken { request, units } => id("request", request.as_str())
            .or_else(|| units.iter().find_map(|unit| id("unit", unit.as_str()))),
        EventBody::PlanPublished { plan, .. } | EventBody::PlanBookings { plan, .. } => {
            id("plan", plan.as_str())
        }
        EventBody::VisitStarted { unit, rig, .. } | EventBody::VisitEnded { unit, rig, .. } => {
            id("unit", unit.as_str()).or_else(|| id("rig", rig.as_str()))
        }
        EventBody::VerdictGiven { unit, verdict, .. } => {
            id("unit", unit.as_str()).or_else(|| match verdict {
                Verdict::Fail { reason } => line("reason of the failure", reason),
                Verdict::Hold { reason } if !reason.is_empty() => {
                    line("reason of the hold", reason)
                }
                Verdict::Pass | Verdict::Hold { .. } => None,
            })
        }
        EventBody::UnitWithdrawn { unit, reason } => {
            id("unit", unit.as_str()).or_else(|| line("reason", reason))
        }
        EventBody::RigDown { rig, reason, .. } => {
            id("rig", rig.as_str()).or_else(|| line("reason", reason))
        }
        EventBody::RigUp { rig } => id("rig", rig.as_str()),
        EventBody::Note { subject, text } => match subject {
            Subject::Unit(own) => id("unit", own.as_str()),
            Subject::Rig(own) => id("rig", own.as_str()),
            Subject::Request(own) => id("request", own.as_str()),
            Subject::Lab => None,
        }
        .or_else(|| line("note", text)),
        EventBody::Correction { change, reason, .. } => {
            line("reason", reason).or_else(|| match change {
                Change::Field { field, old, new } => line("field", field)
                    .or_else(|| [old, new].into_iter().find_map(|text| line("value", text))),
                Change::Void | Change::Restore => None,
            })
        }
    }
}

/// True where a step is zero.
fn step_zero(body: &EventBody) -> bool {
    match body {
        EventBody::VisitStarted { step, .. }
        | EventBody::VisitEnded { step, .. }
        | EventBody::VerdictGiven { step, .. } => *step == 0,
        EventBody::PlanBookings { bookings, .. } => {
            bookings.iter().any(|booking| booking.step == 0)
        }
        _ => false,
    }
}

/// The name of a kind of event.
pub(super) fn kind(body: &EventBody) -> &'static str {
    match body {
        EventBody::RequestTaken { .. } => "request_taken",
        EventBody::PlanPublished { .. } => "plan_published",
        EventBody::PlanBookings { .. } => "plan_bookings",
        EventBody::VisitStarted { .. } => "visit_started",
        EventBody::VisitEnded { .. } => "visit_ended",
        EventBody::VerdictGiven { .. } => "verdict_given",
        EventBody::UnitWithdrawn { .. } => "unit_withdrawn",
        EventBody::RigDown { .. } => "rig_down",
        EventBody::RigUp { .. } => "rig_up",
        EventBody::Note { .. } => "note",
        EventBody::Correction { .. } => "correction",
    }
}

/// Version 1 of what happened. Instants are whole minutes since 1970-01-01T00:00Z.
#[derive(Serialize, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case", deny_unknown_fields)]
enum Body {
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
}

#[derive(Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
struct BookingV1 {
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
        }
    }
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
