//! What may keep an append from being made: faults, ids, roles, and what others did meanwhile.
//!
//! Both stores ask here, inside their transaction, so that they cannot differ.

use super::chain::Hash;
use super::env::Env;
use super::record::{Row, event_fault, kind};
use super::{Expect, Head, LedgerError, Outcome};
use crate::domain::event::Subject;
use crate::domain::roles::{Role, Roles};
use crate::domain::{Actor, Event, EventBody, EventId, NewEvent, Seq};
use std::collections::BTreeSet;

/// How long a technician may correct an own mark: a day, in milliseconds.
const OWN_MARK_MS: i64 = 24 * 3_600_000;

/// What a store can say about rows it has, for deciding an append.
pub(super) trait Rows {
    /// The row of that id.
    fn by_id(&self, id: [u8; 16]) -> Result<Option<Row>, LedgerError>;
    /// The row of that seq.
    fn by_seq(&self, seq: u64) -> Result<Option<Row>, LedgerError>;
    /// The rows after that one.
    fn after(&self, seq: u64) -> Result<Vec<Row>, LedgerError>;
    /// The last row.
    fn last_row(&self) -> Result<Option<Row>, LedgerError>;
}

/// What becomes of an append.
pub(super) enum Decision {
    /// It is made.
    Go,
    /// It is not, and this is the answer.
    Answer(Outcome),
    /// The role does not allow it: the attempt is recorded where it was not just before.
    Forbidden {
        /// The record of the attempt.
        attempt: Option<Box<NewEvent>>,
        /// The rule.
        why: String,
    },
}

/// An append that is asked for.
pub(super) struct Asked<'a> {
    pub(super) rows: &'a dyn Rows,
    pub(super) roles: &'a Roles,
    pub(super) env: &'a Env,
    pub(super) expect: &'a [Expect],
    pub(super) events: &'a [NewEvent],
}

impl Asked<'_> {
    /// Everything that may keep it from being made.
    pub(super) fn decide(&self) -> Result<Decision, LedgerError> {
        if let Some(why) = faults(self.events) {
            return Ok(Decision::Answer(Outcome::Refused { why }));
        }
        if let Some(outcome) = self.known()? {
            return Ok(Decision::Answer(outcome));
        }
        if let Some((actor, what, why)) = self.forbidden()? {
            let attempt = self.attempt(actor, what, &why)?;
            return Ok(Decision::Forbidden { attempt, why });
        }
        if let Some(why) = self.without_manager() {
            return Ok(Decision::Answer(Outcome::Refused { why }));
        }
        Ok(match self.conflict()? {
            Some(by) => Decision::Answer(Outcome::Conflict { by: Box::new(by) }),
            None => Decision::Go,
        })
    }

    /// The answer to ids that are in the ledger already.
    fn known(&self) -> Result<Option<Outcome>, LedgerError> {
        let known: Vec<Option<Row>> = self
            .events
            .iter()
            .map(|event| self.rows.by_id(event.id.0))
            .collect::<Result<_, _>>()?;
        let Some(first) = known.iter().flatten().next() else {
            return Ok(None);
        };
        let same = known
            .iter()
            .zip(self.events)
            .all(|(row, event)| row.as_ref().is_some_and(|row| row.says(event)));
        Ok(Some(if same {
            Outcome::AlreadyRecorded {
                first: Seq(first.seq),
            }
        } else {
            let why = format!("the id of event {} is taken by another content", first.seq);
            Outcome::Refused { why }
        }))
    }

    /// Who tries what without the role for it, and the rule.
    fn forbidden(&self) -> Result<Option<(&Actor, &'static str, String)>, LedgerError> {
        for event in self.events {
            let what = kind(&event.body);
            let actor = &event.actor;
            let (needed, deed) = match &event.body {
                EventBody::Correction { corrects, .. } => self.correction(*corrects, actor)?,
                body => (Role::needed(body), what.replace('_', " ")),
            };
            let role = self.roles.of(actor);
            if role < needed {
                let why = format!(
                    "{deed} needs a {}; {} (user {}) is a {}; a manager grants roles: rigday role grant",
                    needed.word(),
                    actor.person,
                    actor.uid,
                    role.word()
                );
                return Ok(Some((actor, what, why)));
            }
        }
        Ok(None)
    }

    /// The role that a correction needs, and what it is called.
    fn correction(&self, corrects: Seq, actor: &Actor) -> Result<(Role, String), LedgerError> {
        let row = self.rows.by_seq(corrects.0)?;
        let own = match row {
            Some(row) => {
                let age = self.env.clock.now_ms().saturating_sub(row.recorded_ms);
                i64::from(actor.uid) == row.uid
                    && actor.person == row.person
                    && age <= OWN_MARK_MS
                    && Role::needed(&row.event()?.body) <= Role::Technician
            }
            None => false,
        };
        Ok(if own {
            (Role::Technician, "correcting an own mark".to_owned())
        } else {
            let deed = "correcting what is not an own mark of the last day";
            (Role::Coordinator, deed.to_owned())
        })
    }

    /// The record of a refused attempt; none where the last event says the same.
    fn attempt(
        &self,
        actor: &Actor,
        what: &str,
        why: &str,
    ) -> Result<Option<Box<NewEvent>>, LedgerError> {
        let body = EventBody::AttemptRefused {
            what: what.to_owned(),
            why: why.to_owned(),
        };
        let event = NewEvent {
            id: self.env.ids.next(),
            happened: self.env.clock.now(),
            actor: actor.clone(),
            body,
        };
        let last = self.rows.last_row()?;
        let said = last.is_some_and(|row| row.body_says(&event) && row.session == actor.session);
        Ok((!said && event_fault(&event).is_none()).then(|| Box::new(event)))
    }

    /// Why the roles may not change so, or `None`.
    fn without_manager(&self) -> Option<String> {
        let changes = |event: &&NewEvent| {
            matches!(
                event.body,
                EventBody::RoleGranted { .. } | EventBody::RoleRevoked { .. }
            )
        };
        let mut after = self.roles.clone();
        let mut any = false;
        for event in self.events.iter().filter(changes) {
            after.change(&event.body);
            any = true;
        }
        (any && !after.has_manager())
            .then(|| "the last manager keeps that role; grant it to somebody else first".to_owned())
    }

    /// The event that came between what the caller saw and now.
    fn conflict(&self) -> Result<Option<Event>, LedgerError> {
        for own in self.expect {
            for row in self.rows.after(own.seen.0)? {
                let event = row.event()?;
                if subjects(self.rows, &event)?.contains(&own.about) {
                    return Ok(Some(event));
                }
            }
        }
        Ok(None)
    }
}

/// What is wrong with the events themselves.
fn faults(events: &[NewEvent]) -> Option<String> {
    if events.is_empty() {
        return Some("there is nothing to record".to_owned());
    }
    let ids: BTreeSet<EventId> = events.iter().map(|event| event.id).collect();
    events.iter().find_map(event_fault).or_else(|| {
        (ids.len() < events.len()).then(|| "two events of one append have the same id".to_owned())
    })
}

/// What an event is about; a correction is about what it corrects is about.
fn subjects(rows: &dyn Rows, event: &Event) -> Result<Vec<Subject>, LedgerError> {
    let mut about = event.body.subjects();
    // Only an earlier event can be corrected, so this ends.
    let mut next = event.body.corrects().filter(|own| *own < event.seq);
    while let Some(seq) = next {
        let Some(row) = rows.by_seq(seq.0)? else {
            break;
        };
        let earlier = row.event()?;
        about.extend(earlier.body.subjects());
        next = earlier.body.corrects().filter(|own| *own < seq);
    }
    Ok(about)
}

/// Heads that somebody remembered and that are not on this chain.
pub(super) fn unknown_heads(
    ledger: [u8; 16],
    known: &[Head],
    link_at: impl Fn(u64) -> Option<Hash>,
) -> Vec<(Option<Seq>, String)> {
    let strange = known
        .iter()
        .filter(|head| head.ledger != ledger || link_at(head.seq.0) != Some(head.link));
    strange
        .map(|head| {
            let why = "a remembered head is not on this chain: events were cut off or replaced";
            (Some(head.seq), why.to_owned())
        })
        .collect()
}
