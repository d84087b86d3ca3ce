//! A ledger in memory: the same answers as the file, for tests and for trying things out.

use super::chain::{Hash, NO_LINK, leaf, link};
use super::env::Env;
use super::record::{Row, event_fault};
use super::{Expect, Head, Ledger, LedgerError, Outcome, Report};
use crate::domain::event::Subject;
use crate::domain::{Event, EventId, NewEvent, Seq};
use std::collections::BTreeSet;
use std::path::Path;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

/// Events in memory; gone with the program.
pub struct MemoryLedger {
    env: Env,
    id: [u8; 16],
    rows: Vec<(Row, Hash)>,
}

impl MemoryLedger {
    /// An empty ledger.
    pub fn new(env: Env) -> Self {
        let id = env.ids.next().0;
        Self {
            env,
            id,
            rows: Vec::new(),
        }
    }
}

/// What a store can say about rows it has, for deciding an append.
pub(super) trait Rows {
    /// The row of that id.
    fn by_id(&self, id: [u8; 16]) -> Result<Option<Row>, LedgerError>;
    /// The row of that seq.
    fn by_seq(&self, seq: u64) -> Result<Option<Row>, LedgerError>;
    /// The rows after that one.
    fn after(&self, seq: u64) -> Result<Vec<Row>, LedgerError>;
}

/// Everything that may keep an append from being made; `None` where nothing does.
pub(super) fn objection(
    rows: &dyn Rows,
    expect: &[Expect],
    events: &[NewEvent],
) -> Result<Option<Outcome>, LedgerError> {
    let refused = |why: String| Ok(Some(Outcome::Refused { why }));
    if events.is_empty() {
        return refused("there is nothing to record".to_owned());
    }
    if let Some(why) = events.iter().find_map(event_fault) {
        return refused(why);
    }
    let ids: BTreeSet<EventId> = events.iter().map(|event| event.id).collect();
    if ids.len() < events.len() {
        return refused("two events of one append have the same id".to_owned());
    }
    let known: Vec<Option<Row>> = events
        .iter()
        .map(|event| rows.by_id(event.id.0))
        .collect::<Result<_, _>>()?;
    if let Some(first) = &known[0] {
        let same = known
            .iter()
            .zip(events)
            .all(|(row, event)| row.as_ref().is_some_and(|row| row.says(event)));
        return if same {
            Ok(Some(Outcome::AlreadyRecorded {
                first: Seq(first.seq),
            }))
        } else {
            refused(format!(
                "the id of event {} is taken by another content",
                first.seq
            ))
        };
    }
    if let Some(row) = known.iter().flatten().next() {
        return refused(format!(
            "the id of event {} is taken by another content",
            row.seq
        ));
    }
    for own in expect {
        for row in rows.after(own.seen.0)? {
            let event = row.event()?;
            if subjects(rows, &event)?.contains(&own.about) {
                return Ok(Some(Outcome::Conflict {
                    by: Box::new(event),
                }));
            }
        }
    }
    Ok(None)
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
}

impl Ledger for MemoryLedger {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        match objection(self, expect, events) {
            Ok(Some(outcome)) => return outcome,
            Err(error) => {
                return Outcome::NotRecorded {
                    why: error.to_string(),
                };
            }
            Ok(None) => {}
        }
        let first = self.rows.len() as u64 + 1;
        for event in events {
            let last = self.rows.last();
            let last_ms = last.map_or(i64::MIN, |(row, _)| row.recorded_ms);
            let before = last.map_or(NO_LINK, |(_, link)| *link);
            let row = Row::of(
                event,
                self.rows.len() as u64 + 1,
                self.id,
                last_ms,
                &self.env,
            );
            let sealed = link(&before, &leaf(&row));
            self.rows.push((row, sealed));
        }
        Outcome::Recorded { first: Seq(first) }
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        let rows = self
            .rows
            .iter()
            .map(|(row, _)| row)
            .filter(|row| row.seq > after.0);
        rows.take(limit as usize).map(Row::event).collect()
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
}
