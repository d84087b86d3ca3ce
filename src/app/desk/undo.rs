//! Undo and redo: opposite records; what was said stays in the history.

use super::{Desk, DeskError};
use crate::domain::event::{Change, Subject};
use crate::domain::{EventBody, Seq};
use crate::ledger::Outcome;

/// Something a person did, with the events that say so.
#[derive(Clone, Debug)]
pub(super) struct Deed {
    pub(super) what: String,
    pub(super) subject: Subject,
    pub(super) seqs: Vec<Seq>,
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
        if let Some(outcome) = self.changed_since(&deed) {
            self.done.push(deed);
            return Ok((outcome, String::new()));
        }
        let bodies = correction(&deed.seqs, &Change::Void, "undone");
        let (outcome, seqs) = self.correct(bodies)?;
        let words = format!("Undid: {} (U redoes)", deed.what);
        if let Some(seqs) = seqs {
            self.undone.push(Deed { seqs, ..deed });
        }
        Ok((outcome, words))
    }

    /// Redoes the last deed that was undone.
    pub fn redo(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let Some(deed) = self.undone.pop() else {
            return Err(DeskError::NotNow("there is nothing to redo".to_owned()));
        };
        if let Some(outcome) = self.changed_since(&deed) {
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
        self.done.push(Deed { seqs, ..deed });
        Ok((outcome, words))
    }

    /// Voids the last mark that this person recorded, in whatever session.
    pub fn undo_last_of_person(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let own = |event: &&crate::domain::Event| {
            let undoable = matches!(
                event.body,
                EventBody::VisitStarted { .. }
                    | EventBody::VisitEnded { .. }
                    | EventBody::VerdictGiven { .. }
                    | EventBody::UnitWithdrawn { .. }
                    | EventBody::RigDown { .. }
                    | EventBody::RigUp { .. }
            );
            undoable
                && event.actor.person == self.actor.person
                && !self.floor.voided.contains(&event.seq)
        };
        let Some(event) = self.floor.events.iter().rev().find(own) else {
            return Err(DeskError::NotNow(format!(
                "{} has nothing to undo",
                self.actor.person
            )));
        };
        let subject = event
            .body
            .subjects()
            .into_iter()
            .next()
            .unwrap_or(Subject::Lab);
        let what = format!("event {}", event.seq.0);
        let deed = Deed {
            what: what.clone(),
            subject,
            seqs: vec![event.seq],
        };
        if let Some(outcome) = self.changed_since(&deed) {
            return Ok((outcome, String::new()));
        }
        let (outcome, _) = self.correct(correction(&deed.seqs, &Change::Void, "undone"))?;
        Ok((outcome, format!("Undid: {what}")))
    }

    /// A conflict where another session changed the deed's subject since.
    fn changed_since(&self, deed: &Deed) -> Option<Outcome> {
        let last = deed.seqs.iter().max().copied().unwrap_or_default();
        let others = self
            .floor
            .history(&deed.subject)
            .into_iter()
            .filter(|event| event.seq > last && event.actor.session != self.actor.session);
        let by = others.last()?;
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

fn correction(seqs: &[Seq], change: &Change, reason: &str) -> Vec<EventBody> {
    let body = |seq: &Seq| EventBody::Correction {
        corrects: *seq,
        change: change.clone(),
        reason: reason.to_owned(),
    };
    seqs.iter().rev().map(body).collect()
}
