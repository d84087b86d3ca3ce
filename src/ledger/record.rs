//! A row of the table of events: its fields in the order of their hashing, and what may stand in them.

use super::LedgerError;
use super::env::Env;
use super::form::Body;
use super::told::Told;
use crate::domain::event::{Change, Subject};
use crate::domain::roles::Holder;
use crate::domain::text::{ID_MAX, NOTE_MAX, id_fault, line_fault};
use crate::domain::{Event, EventBody, NewEvent, Verdict};

/// The version of the stored form of an event.
pub(super) const FORM: i64 = 1;

/// Columns of the table of events, in their order.
pub(super) const COLUMNS: &str = "seq, id, ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, person, host, session, program, clock_back, kind, ver, body, leaf, link";

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
            happened_ms: event.happened.get().saturating_mul(60_000),
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
            ver: FORM,
            body: serde_json::to_string(&body).expect("strings and numbers have a JSON form"),
        }
    }

    /// Hands out every field in the order in which it is hashed; numbers as decimal text.
    pub(super) fn each_field(&self, mut take: impl FnMut(&[u8])) {
        let number = |take: &mut dyn FnMut(&[u8]), n: i64| take(n.to_string().as_bytes());
        take(self.seq.to_string().as_bytes());
        take(&self.id);
        take(&self.ledger);
        take(self.site.as_bytes());
        number(&mut take, self.happened_ms);
        number(&mut take, self.recorded_ms);
        take(self.zone.as_bytes());
        number(&mut take, self.offset_min);
        number(&mut take, self.uid);
        for text in [
            &self.login,
            &self.person,
            &self.host,
            &self.session,
            &self.program,
        ] {
            take(text.as_bytes());
        }
        number(&mut take, self.clock_back);
        take(self.kind.as_bytes());
        take(self.body.as_bytes());
    }

    /// The event that the row holds.
    pub(super) fn event(&self) -> Result<Event, LedgerError> {
        let told = Told {
            seq: self.seq,
            id: self.id,
            happened_ms: self.happened_ms,
            recorded_ms: self.recorded_ms,
            uid: self.uid,
            login: &self.login,
            person: &self.person,
            host: &self.host,
            session: &self.session,
            clock_back: self.clock_back,
            kind: &self.kind,
            ver: self.ver,
            body: &self.body,
        };
        told.event(&mut None)
    }

    /// True where the row holds the same body.
    pub(super) fn body_says(&self, event: &NewEvent) -> bool {
        let body = serde_json::to_string(&Body::from(&event.body));
        body.is_ok_and(|body| body == self.body)
    }

    /// True where the row says what the event says; for telling a retry from a second meaning.
    pub(super) fn says(&self, event: &NewEvent) -> bool {
        self.body_says(event)
            && self.happened_ms == event.happened.get().saturating_mul(60_000)
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
        EventBody::LateEntry { reason, .. } => line("reason", reason),
        EventBody::FileTaken { file, .. } => line("file", file),
        EventBody::RoleGranted { holder, .. } | EventBody::RoleRevoked { holder } => match holder {
            Holder::User(_) => None,
            Holder::Person(name) => line("person", name),
        },
        EventBody::AttemptRefused { what, why } => line("what", what).or_else(|| line("why", why)),
        EventBody::Signed { shown, .. } => line("what was shown", shown),
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
        EventBody::FileTaken { .. } => "file_taken",
        EventBody::LateEntry { .. } => "late_entry",
        EventBody::RoleGranted { .. } => "role_granted",
        EventBody::RoleRevoked { .. } => "role_revoked",
        EventBody::AttemptRefused { .. } => "attempt_refused",
        EventBody::Signed { .. } => "signed",
    }
}
