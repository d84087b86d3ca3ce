//! A ledger in memory: the same answers as the file, for tests and for trying things out.

use super::chain::{Hash, NO_LINK, leaf, link};
use super::env::Env;
use super::history::Gathered;
use super::permit::{Asked, Decision, Rows, unknown_heads};
use super::record::Row;
use super::{Expect, Head, Ledger, LedgerError, Outcome, Report};
use crate::domain::event::Subject;
use crate::domain::roles::Roles;
use crate::domain::{Event, NewEvent, Seq};
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Events in memory; gone with the program.
pub struct MemoryLedger {
    env: Env,
    id: [u8; 16],
    rows: Vec<(Row, Hash)>,
    roles: Roles,
}

impl MemoryLedger {
    /// An empty ledger.
    pub fn new(env: Env) -> Self {
        let id = env.ids.next().0;
        Self {
            env,
            id,
            rows: Vec::new(),
            roles: Roles::default(),
        }
    }

    /// Adds an event at the end.
    fn push(&mut self, event: &NewEvent) -> Result<(), LedgerError> {
        let last = self.rows.last();
        let last_ms = last.map_or(i64::MIN, |(row, _)| row.recorded_ms);
        let before = last.map_or(NO_LINK, |(_, link)| *link);
        let seq = (self.rows.len() as u64).saturating_add(1);
        let row = Row::of(event, seq, self.id, last_ms, &self.env);
        self.roles.take(&row.event()?);
        let sealed = link(&before, &leaf(&row));
        self.rows.push((row, sealed));
        Ok(())
    }

    fn try_append(
        &mut self,
        expect: &[Expect],
        events: &[NewEvent],
    ) -> Result<Outcome, LedgerError> {
        let asked = Asked {
            rows: self,
            roles: &self.roles,
            env: &self.env,
            expect,
            events,
        };
        match asked.decide()? {
            Decision::Answer(outcome) => Ok(outcome),
            Decision::Forbidden { attempt, why } => {
                if let Some(attempt) = attempt {
                    self.push(&attempt)?;
                }
                Ok(Outcome::Refused { why })
            }
            Decision::Go => {
                let first = Seq((self.rows.len() as u64).saturating_add(1));
                for event in events {
                    self.push(event)?;
                }
                Ok(Outcome::Recorded { first })
            }
        }
    }
}

impl Rows for MemoryLedger {
    fn by_id(&self, id: [u8; 16]) -> Result<Option<Row>, LedgerError> {
        Ok(self
            .rows
            .iter()
            .map(|(row, _)| row)
            .find(|row| row.id == id)
            .cloned())
    }

    fn by_seq(&self, seq: u64) -> Result<Option<Row>, LedgerError> {
        Ok(self
            .rows
            .iter()
            .map(|(row, _)| row)
            .find(|row| row.seq == seq)
            .cloned())
    }

    fn after(&self, seq: u64) -> Result<Vec<Row>, LedgerError> {
        Ok(self
            .rows
            .iter()
            .map(|(row, _)| row)
            .filter(|row| row.seq > seq)
            .cloned()
            .collect())
    }

    fn last_row(&self) -> Result<Option<Row>, LedgerError> {
        Ok(self.rows.last().map(|(row, _)| row.clone()))
    }
}

impl Ledger for MemoryLedger {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        self.try_append(expect, events)
            .unwrap_or_else(|error| Outcome::NotRecorded {
                why: error.to_string(),
            })
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        let rows = self
            .rows
            .iter()
            .map(|(row, _)| row)
            .filter(|row| row.seq > after.0);
        rows.take(limit as usize).map(Row::event).collect()
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        let mut gathered = Gathered::new(of);
        for (row, _) in &self.rows {
            gathered.take(row.event()?);
        }
        Ok(gathered.all())
    }

    fn head(&self) -> Result<Head, LedgerError> {
        let seq = Seq(self.rows.len() as u64);
        let link = self.rows.last().map_or(NO_LINK, |(_, link)| *link);
        Ok(Head {
            ledger: self.id,
            seq,
            link,
        })
    }

    fn wait(&self, _after: Seq, _at_most: Duration) -> Result<Head, LedgerError> {
        self.head()
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        let path = dest.display().to_string();
        Err(LedgerError::Unsafe {
            path,
            why: "a ledger in memory has no file to copy".to_owned(),
        })
    }

    fn verify(&self, known: &[Head]) -> Report {
        let mut report = Report {
            events: self.rows.len() as u64,
            faults: Vec::new(),
        };
        let mut before = NO_LINK;
        for (row, sealed) in &self.rows {
            let right = link(&before, &leaf(row));
            if right != *sealed {
                report
                    .faults
                    .push((Some(Seq(row.seq)), "it does not fit its link".to_owned()));
            }
            before = *sealed;
        }
        let link_at = |seq: u64| match seq.checked_sub(1) {
            None => Some(NO_LINK),
            Some(ix) => self
                .rows
                .get(usize::try_from(ix).ok()?)
                .map(|(_, link)| *link),
        };
        report.faults.extend(unknown_heads(self.id, known, link_at));
        report
    }
}

/// A ledger that several desks in one process share, for tests and plays.
#[derive(Clone)]
pub struct Shared(Arc<Mutex<Box<dyn Ledger>>>);

impl Shared {
    /// Shares a ledger.
    pub fn new(ledger: Box<dyn Ledger>) -> Self {
        Self(Arc::new(Mutex::new(ledger)))
    }

    fn own(&self) -> MutexGuard<'_, Box<dyn Ledger>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Ledger for Shared {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        self.own().append(expect, events)
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        self.own().read(after, limit)
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        self.own().history(of)
    }

    fn head(&self) -> Result<Head, LedgerError> {
        self.own().head()
    }

    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError> {
        self.own().wait(after, at_most)
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        self.own().copy_to(dest)
    }

    fn verify(&self, known: &[Head]) -> Report {
        self.own().verify(known)
    }

    fn warnings(&self) -> Vec<String> {
        self.own().warnings()
    }
}
