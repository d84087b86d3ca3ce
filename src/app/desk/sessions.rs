//! Several sessions at one ledger: a deed on a record that another session has changed since it was looked at
//! is refused, and may be said once more by somebody who has seen the change.

use super::{Desk, DeskError};
use crate::app::walk::verdict_word;
use crate::domain::event::{Change, Subject};
use crate::domain::{Event, EventBody, Seq, UnitId, Verdict};
use crate::ledger::Outcome;

impl Desk {
    /// Says what whoever does the next deed was shown: everything up to `seen`.
    pub fn looking_at(&mut self, seen: Seq) {
        self.looked_at = Some(seen);
    }

    /// Reads what is new; a conflict where another session has changed the subject since it was looked at.
    pub(super) fn look_again(&mut self, subject: &Subject) -> Result<Option<Outcome>, DeskError> {
        let seen = self.looked_at.take();
        let seen = seen.unwrap_or_else(|| self.floor.seen());
        self.refresh()?;
        let session = self.actor.session.clone();
        self.changed_by(subject, seen, |event: &Event| {
            event.actor.session != session
        })
    }

    /// Gives a verdict in place of one that stands: that one is voided in the same step, and both stay in the
    /// history. Where none stands it is given as usual.
    pub fn overrule(&mut self, unit: &UnitId, verdict: Verdict) -> Result<Outcome, DeskError> {
        let subject = Subject::Unit(unit.clone());
        if let Some(conflict) = self.look_again(&subject)? {
            return Ok(conflict);
        }
        let record = self.record_of(unit)?;
        let standing = record.verdicts.last_key_value();
        let (Err(_), Some((step, given))) = (self.checkpoint(unit, &record), standing) else {
            return self.mark(unit, verdict);
        };
        let what = format!("{unit} {} at step {step}", verdict_word(&verdict));
        let bodies = vec![
            EventBody::Correction {
                corrects: given.seq,
                change: Change::Void,
                reason: "overruled".to_owned(),
            },
            EventBody::VerdictGiven {
                unit: unit.clone(),
                step: *step,
                verdict,
            },
        ];
        self.deed(what, subject, bodies)
    }
}
