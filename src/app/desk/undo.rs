//! Undo and redo: opposite records; what was said stays in the history.

use super::{Desk, DeskError};
use crate::app::walk::event_words;
use crate::domain::event::{Change, Subject};
use crate::domain::{Event, EventBody, Seq};
use crate::ledger::{Expect, Outcome};

/// How far back from the end a person's last deed is looked for, in events.
const FAR_BACK: u64 = 20_000;
/// Events read at a time on the way back.
const STRIDE: u64 = 500;

/// Something a person did, with the events that say so: one step of undoing, however many they are.
#[derive(Clone, Debug)]
pub(super) struct Deed {
    pub(super) what: String,
    pub(super) subject: Subject,
    pub(super) seqs: Vec<Seq>,
    /// The last event that was known when it was done.
    pub(super) after: Seq,
}

impl Desk {
    /// Undoes the last deed of this session that is not undone yet; the answer says what. Refused where
    /// another session has changed its subject since.
    pub fn undo(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let Some(deed) = self.done.last().cloned() else {
            return Err(DeskError::NotNow(
                "there is nothing to undo in this session".to_owned(),
            ));
        };
        let bodies = correction(&deed.seqs, &Change::Void, "undone");
        let (outcome, seqs) = self.correct(&deed, bodies)?;
        if let Some(seqs) = seqs {
            self.done.pop();
            let after = self.floor.seen();
            let words = format!("Undid: {} (U redoes)", deed.what);
            self.undone.push(Deed {
                seqs,
                after,
                ..deed
            });
            return Ok((outcome, words));
        }
        Ok((outcome, format!("undo of: {}", deed.what)))
    }

    /// Redoes the last deed that was undone; refused as [`Desk::undo`] is.
    pub fn redo(&mut self) -> Result<(Outcome, String), DeskError> {
        self.refresh()?;
        let Some(deed) = self.undone.last().cloned() else {
            return Err(DeskError::NotNow("there is nothing to redo".to_owned()));
        };
        let bodies = correction(&deed.seqs, &Change::Restore, "redone");
        let (outcome, seqs) = self.correct(&deed, bodies)?;
        if seqs.is_none() {
            return Ok((outcome, format!("redo of: {}", deed.what)));
        }
        self.undone.pop();
        let words = format!("Redid: {} (u undoes)", deed.what);
        // What was voided counts again: its own events are what a further undo voids.
        let mut seqs = Vec::new();
        for seq in &deed.seqs {
            let event = self.event(*seq)?;
            seqs.extend(event.and_then(|event| event.body.corrects()));
        }
        seqs.sort_unstable();
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
        let Some((what, deed)) = self.last_deed_of(&person)? else {
            return Err(DeskError::NotNow(format!(
                "{person} has nothing to undo among the last {FAR_BACK} events"
            )));
        };
        let others = |event: &Event| event.actor.person != person;
        if let Some(conflict) = self.changed_by(&deed.subject, deed.after, others)? {
            return Ok((conflict, format!("undo of: {what}")));
        }
        let bodies = correction(&deed.seqs, &Change::Void, "undone");
        let (outcome, _) = self.record_corrections(&deed, bodies)?;
        Ok((outcome, format!("Undid: {what}")))
    }

    /// A person's last deed that still counts. It may be several events of one append, such as an end with
    /// its verdict.
    fn last_deed_of(&self, person: &str) -> Result<Option<(String, Deed)>, DeskError> {
        let own = |event: &Event| {
            undoable(&event.body)
                && event.actor.person == person
                && !self.floor.voided.contains(&event.seq)
        };
        let end = self.floor.seen().0;
        let mut to = end;
        while to > end.saturating_sub(FAR_BACK) {
            let from = to.saturating_sub(STRIDE);
            // A deed that began before the stretch is read whole: nothing has more events than a stride.
            let before = from.saturating_sub(STRIDE);
            let few = u32::try_from(to - before).unwrap_or(u32::MAX);
            let events = self.ledger.read(Seq(before), few)?;
            let last = events.iter().rposition(own);
            if let Some(at) = last.filter(|at| events[*at].seq.0 > from || from == 0) {
                return Ok(Some(deed_at(&events, at, own)));
            }
            to = from;
        }
        Ok(None)
    }

    /// A conflict where one of the `others` changed the subject after `seen`; what they have said since and
    /// taken back is no change.
    pub(super) fn changed_by(
        &self,
        subject: &Subject,
        seen: Seq,
        others: impl Fn(&Event) -> bool,
    ) -> Result<Option<Outcome>, DeskError> {
        let mut since = Vec::new();
        self.each_after(seen, |event| {
            let taken_back = self.floor.voided.contains(&event.seq)
                || event.body.corrects().is_some_and(|own| own > seen);
            if others(event) && !taken_back {
                since.push(event.clone());
            }
        })?;
        for event in since.into_iter().rev() {
            if self.is_about(&event, subject)? {
                let by = Box::new(event);
                return Ok(Some(Outcome::Conflict { by }));
            }
        }
        Ok(None)
    }

    /// True where an event, or what it corrects, is about the subject.
    fn is_about(&self, event: &Event, subject: &Subject) -> Result<bool, DeskError> {
        let mut body = event.body.clone();
        let mut seq = event.seq;
        loop {
            if body.subjects().contains(subject) {
                return Ok(true);
            }
            let Some(earlier) = body.corrects().filter(|own| *own < seq) else {
                return Ok(false);
            };
            let Some(found) = self.event(earlier)? else {
                return Ok(false);
            };
            (seq, body) = (earlier, found.body);
        }
    }

    /// Records corrections of a deed of this session; their seqs where they were recorded.
    fn correct(
        &mut self,
        deed: &Deed,
        bodies: Vec<EventBody>,
    ) -> Result<(Outcome, Option<Vec<Seq>>), DeskError> {
        let session = self.actor.session.clone();
        let others = |event: &Event| event.actor.session != session;
        if let Some(conflict) = self.changed_by(&deed.subject, deed.after, others)? {
            return Ok((conflict, None));
        }
        self.record_corrections(deed, bodies)
    }

    /// Records corrections unless somebody comes between.
    fn record_corrections(
        &mut self,
        deed: &Deed,
        bodies: Vec<EventBody>,
    ) -> Result<(Outcome, Option<Vec<Seq>>), DeskError> {
        let count = bodies.len() as u64;
        let expect = Expect {
            about: deed.subject.clone(),
            seen: self.floor.seen(),
        };
        let outcome = self.record(&[expect], bodies)?;
        let seqs = match &outcome {
            Outcome::Recorded { first } => Some((first.0..first.0 + count).map(Seq).collect()),
            _ => None,
        };
        Ok((outcome, seqs))
    }
}

/// The deed that the event at `at` belongs to, and its words.
fn deed_at(events: &[Event], at: usize, own: impl Fn(&Event) -> bool) -> (String, Deed) {
    let last = &events[at];
    let subject = last.body.tells_of().unwrap_or(Subject::Lab);
    let same = |event: &&Event| {
        event.actor.session == last.actor.session
            && event.happened == last.happened
            && event.body.subjects().contains(&subject)
            && own(event)
    };
    let deed: Vec<&Event> = events[..=at].iter().rev().take_while(same).collect();
    let what = event_words(last);
    let deed = Deed {
        what: what.clone(),
        seqs: deed.iter().rev().map(|event| event.seq).collect(),
        after: last.seq,
        subject,
    };
    (what, deed)
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
