//! Reading the ledger: what is new, and what was.

use super::{Desk, DeskError};
use crate::domain::event::Subject;
use crate::domain::{Event, Seq};
use crate::floor::Past;
use crate::ledger::{Ledger, LedgerError};

/// Events read at a time.
const BATCH: u32 = 5_000;

/// The ledger as the past of the floor.
struct Read<'l>(&'l dyn Ledger);

impl Past for Read<'_> {
    type Error = LedgerError;

    fn event(&self, seq: Seq) -> Result<Option<Event>, LedgerError> {
        let Some(before) = seq.0.checked_sub(1) else {
            return Ok(None);
        };
        let found = self.0.read(Seq(before), 1)?.into_iter().next();
        Ok(found.filter(|event| event.seq == seq))
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        self.0.history(of)
    }

    fn after(&self, seq: Seq) -> Result<Vec<Event>, LedgerError> {
        self.0.read(seq, BATCH)
    }
}

impl Desk {
    /// Reads what others have recorded; true where there was anything.
    pub fn refresh(&mut self) -> Result<bool, DeskError> {
        Ok(self.read_new()?)
    }

    pub(super) fn read_new(&mut self) -> Result<bool, LedgerError> {
        let (ledger, floor, mut any) = (&*self.ledger, &mut self.floor, false);
        ledger.read_on(floor.seen(), &mut |events| {
            any = true;
            floor.apply(events, &Read(ledger))
        })?;
        Ok(any)
    }

    /// The next events after `seq`, in order; none at the end.
    pub fn events_after(&self, seq: Seq) -> Result<Vec<Event>, DeskError> {
        Ok(Read(&*self.ledger).after(seq)?)
    }

    /// The event of that seq.
    pub fn event(&self, seq: Seq) -> Result<Option<Event>, DeskError> {
        Ok(Read(&*self.ledger).event(seq)?)
    }

    /// Everything that tells of a subject, with its corrections, in order.
    pub fn history(&self, of: &Subject) -> Result<Vec<Event>, DeskError> {
        Ok(self.ledger.history(of)?)
    }

    /// Every event after `seq` up to what the floor has seen, in order.
    pub fn each_after(&self, seq: Seq, mut take: impl FnMut(&Event)) -> Result<(), DeskError> {
        let mut at = seq;
        while at < self.floor.seen() {
            let batch = self.events_after(at)?;
            let Some(last) = batch.last() else {
                break;
            };
            at = last.seq;
            let seen = self.floor.seen();
            batch
                .iter()
                .filter(|event| event.seq <= seen)
                .for_each(&mut take);
        }
        Ok(())
    }
}
