//! Undo and redo: opposite records; what was said stays in the history.

use super::{Desk, DeskError};
use crate::app::walk::event_words;
use crate::domain::event::{Change, Subject};
use crate::domain::{Event, EventBody, Seq};
use crate::ledger::Outcome;

/// Something a person did, with the events that say so.
#[derive(Clone, Debug)]
pub(super) struct Deed {
    pub(super) what: String,
    pub(super) subject: Subject,
    pub(super) seqs: Vec<Seq>,
    /// The last event that was known when it was done.
    pub(super) after: Seq,
}

impl Desk {
    /// Undoes the last deed of this session that is not undone yet; the answer says what.
    pub fn undo(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let Some(deed) = self.done.pop() else {
            return Err(DeskError::NotNow(
                "there is nothing to undo in this session".to_owned(),
            ));
        };
        let session = self.actor.session.clone();
        let others = |event: &Event| event.actor.session != session;
        if let Some(outcome) = self.changed_since(&deed, others) {
            self.done.push(deed);
            return Ok((outcome, String::new()));
        }
        let bodies = correction(&deed.seqs, &Change::Void, "undone");
        let (outcome, seqs) = self.correct(bodies)?;
        let words = format!("Undid: {} (U redoes)", deed.what);
        if let Some(seqs) = seqs {
            let after = self.floor.seen();
            self.undone.push(Deed {
                seqs,
                after,
                ..deed
            });
        }
        Ok((outcome, words))
    }

    /// Redoes the last deed that was undone.
    pub fn redo(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let Some(deed) = self.undone.pop() else {
            return Err(DeskError::NotNow("there is nothing to redo".to_owned()));
        };
        let session = self.actor.session.clone();
        let others = |event: &Event| event.actor.session != session;
        if let Some(outcome) = self.changed_since(&deed, others) {
            self.undone.push(deed);
            return Ok((outcome, String::new()));
        }
        let bodies = correction(&deed.seqs, &Change::Restore, "redone");
        let (outcome, _) = self.correct(bodies)?;
        let words = format!("Redid: {} (u undoes)", deed.what);
        // What was voided counts again: its own events are what a further undo voids.
        let events = deed.seqs.iter().filter_map(|seq| self.floor.event(*seq));
        let seqs = events.filter_map(|event| match &event.body {
            EventBody::Correction { corrects, .. } => Some(*corrects),
            _ => None,
        });
        let seqs: Vec<Seq> = seqs.collect();
        let after = self.floor.seen();
        self.done.push(Deed {
            seqs,
            after,
            ..deed
        });
        Ok((outcome, words))
    }

    /// Voids the last deed that this person recorded, in whatever session.
    pub fn undo_last_of_person(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let person = self.actor.person.clone();
        let own = |event: &&Event| {
            undoable(&event.body)
                && event.actor.person == person
                && !self.floor.voided.contains(&event.seq)
        };
        let Some(last) = self.floor.events.iter().rev().find(own) else {
            return Err(DeskError::NotNow(format!("{person} has nothing to undo")));
        };
        // One deed may be several events of one append, such as an end with its verdict.
        let subject = last
            .body
            .subjects()
            .into_iter()
            .next()
            .unwrap_or(Subject::Lab);
        let same = |event: &&Event| {
            event.actor.session == last.actor.session
                && event.happened == last.happened
                && event.body.subjects().contains(&subject)
                && own(event)
        };
        let before = self
            .floor
            .events
            .iter()
            .rev()
            .skip_while(|event| event.seq > last.seq);
        let events: Vec<&Event> = before.take_while(same).collect();
        let what = event_words(last);
        let seqs = events.iter().rev().map(|event| event.seq).collect();
        let deed = Deed {
            what: what.clone(),
            subject,
            seqs,
            after: last.seq,
        };
        if let Some(outcome) = self.changed_since(&deed, |event| event.actor.person != person) {
            return Ok((outcome, format!("undo of: {what}")));
        }
        let (outcome, _) = self.correct(correction(&deed.seqs, &Change::Void, "undone"))?;
        Ok((outcome, format!("Undid: {what}")))
    }

    /// A conflict where one of the `others` changed the deed's subject since.
    fn changed_since(&self, deed: &Deed, others: impl Fn(&Event) -> bool) -> Option<Outcome> {
        let counts = |event: &&Event| {
            event.seq > deed.after && !self.floor.voided.contains(&event.seq) && others(event)
        };
        let history = self.floor.history(&deed.subject);
        let by = history.into_iter().rev().find(counts)?;
        Some(Outcome::Conflict {
            by: Box::new(by.clone()),
        })
    }

    /// Records corrections; their seqs where they were recorded.
    fn correct(
        &mut self,
        bodies: Vec<EventBody>,
    ) -> Result<(Outcome, Option<Vec<Seq>>), DeskError> {
        let count = bodies.len() as u64;
        let outcome = self.record(&[], bodies)?;
        let seqs = match &outcome {
            Outcome::Recorded { first } => Some((first.0..first.0 + count).map(Seq).collect()),
            _ => None,
        };
        Ok((outcome, seqs))
    }
}

/// Marks can be undone; plans, notes and corrections have their own ways.
fn undoable(body: &EventBody) -> bool {
    matches!(
        body,
        EventBody::VisitStarted { .. }
            | EventBody::VisitEnded { .. }
            | EventBody::VerdictGiven { .. }
            | EventBody::UnitWithdrawn { .. }
            | EventBody::RigDown { .. }
            | EventBody::RigUp { .. }
    )
}

fn correction(seqs: &[Seq], change: &Change, reason: &str) -> Vec<EventBody> {
    let body = |seq: &Seq| EventBody::Correction {
        corrects: *seq,
        change: change.clone(),
        reason: reason.to_owned(),
    };
    seqs.iter().rev().map(body).collect()
}
