//! The record of what happened: append-only, and the only path to its file.
//!
//! Everybody else sees the [`Ledger`] trait; SQL, rows, paths and connections stay in here.
//!
//! A column of the file may hold anything: nothing here is indexed or added up without looking.

#![cfg_attr(
    not(test),
    deny(clippy::indexing_slicing, clippy::arithmetic_side_effects)
)]

mod ahead;
mod chain;
mod copy;
mod daily;
mod env;
mod form;
mod heads;
mod health;
mod history;
mod memory;
mod migrate;
mod open;
mod permit;
mod quick;
mod record;
mod rows;
mod sqlite;
mod told;
mod verify;

pub use env::{Env, Ids};
pub use heads::{Heads, hex};
pub use health::{Finding, WAY_BACK};
pub use memory::{MemoryLedger, Shared};
pub use open::{Readers, create, create_for, inspect, open, open_read_only};
pub use sqlite::SqliteLedger;

use crate::domain::event::Subject;
use crate::domain::{Event, NewEvent, Seq};
use std::path::Path;
use std::time::Duration;

/// A store of events.
pub trait Ledger: Send {
    /// Records all of `events`, or none of them; `expect` names what the caller last saw.
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome;

    /// Events after `after`, strictly by seq, at most `limit`.
    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError>;

    /// Hands out every event after `after` in order, many at a time, until there is none or `take` has an error.
    fn read_on(
        &self,
        after: Seq,
        take: &mut dyn FnMut(Vec<Event>) -> Result<(), LedgerError>,
    ) -> Result<(), LedgerError> {
        read_in_batches(self, after, take)
    }

    /// Everything that tells of a subject (`EventBody::tells_of`), with its corrections and theirs, strictly
    /// by seq. Of units and rigs it is found at once; else every event is read.
    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError>;

    /// The last event and the link that seals everything up to it.
    fn head(&self) -> Result<Head, LedgerError>;

    /// Waits until there is an event after `after`, for at most `at_most`; polling is enough.
    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError>;

    /// Copies the ledger, consistent, to a new file.
    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError>;

    /// Checks the whole chain and compares it with heads that somebody remembered.
    fn verify(&self, known: &[Head]) -> Report;

    /// What whoever works with it should be told now, such as a clock that was set back.
    fn warnings(&self) -> Vec<String> {
        Vec::new()
    }

    /// From now on a store that others are at is not waited for: the answer is that it is busy.
    fn hurry(&mut self) -> Result<(), LedgerError> {
        Ok(())
    }
}

/// Reads on as [`Ledger::read_on`] says, a batch after the other.
fn read_in_batches<L: Ledger + ?Sized>(
    ledger: &L,
    after: Seq,
    take: &mut dyn FnMut(Vec<Event>) -> Result<(), LedgerError>,
) -> Result<(), LedgerError> {
    const BATCH: u32 = 5_000;
    let mut at = after;
    loop {
        let events = ledger.read(at, BATCH)?;
        let Some(last) = events.last() else {
            return Ok(());
        };
        at = last.seq;
        take(events)?;
    }
}

/// What the caller last saw of something that it is about to change.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Expect {
    /// The thing.
    pub about: Subject,
    /// The last event about it that the caller has seen; zero where there was none.
    pub seen: Seq,
}

/// The answer to an append. None of these is an error of the program.
#[derive(Clone, Debug, PartialEq, Eq)]
#[must_use]
pub enum Outcome {
    /// On disk; `first` is the seq of the first event.
    Recorded {
        /// Seq of the first event of the append.
        first: Seq,
    },
    /// These ids were recorded before, with the same content.
    AlreadyRecorded {
        /// Seq of the first event of that append.
        first: Seq,
    },
    /// Somebody else changed it since.
    Conflict {
        /// The event that came between.
        by: Box<Event>,
    },
    /// Not allowed, with the rule in words.
    Refused {
        /// Why.
        why: String,
    },
    /// Nothing happened: busy, full or read-only.
    NotRecorded {
        /// Why.
        why: String,
    },
    /// It may or may not have been recorded: try again with the same ids.
    Unknown {
        /// Why.
        why: String,
    },
}

/// Why nothing was recorded where others were at it.
const BUSY: &str = "the ledger is busy; try again";

impl Outcome {
    /// True where nothing was recorded because others were at it: trying again helps.
    pub fn is_busy(&self) -> bool {
        matches!(self, Self::NotRecorded { why } if why == BUSY)
    }
}

/// The end of the chain.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Head {
    /// Which ledger.
    pub ledger: [u8; 16],
    /// The last event; zero in an empty ledger.
    pub seq: Seq,
    /// Seals everything up to it.
    pub link: [u8; 32],
}

/// What verification found.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Report {
    /// Events read.
    pub events: u64,
    /// What is wrong, each with the seq it was found at where there is one; empty is good.
    pub faults: Vec<(Option<Seq>, String)>,
}

/// What nobody planned for.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum LedgerError {
    /// There is no ledger file.
    #[error("{path}: there is no ledger; `rigday init` makes one")]
    Missing {
        /// The file.
        path: String,
    },
    /// The file is not one that may be opened.
    #[error("{path}: {why}")]
    Unsafe {
        /// The file.
        path: String,
        /// Why.
        why: String,
    },
    /// The file is no ledger of this program.
    #[error("{path}: this is no rigday ledger: {why}; it was left as it is")]
    Foreign {
        /// The file.
        path: String,
        /// Why.
        why: String,
    },
    /// The file was written by a newer program.
    #[error(
        "{path}: written in version {found}, this program knows up to {known}; use a newer rigday"
    )]
    Newer {
        /// The file.
        path: String,
        /// Its version.
        found: i64,
        /// The version of this program.
        known: i64,
    },
    /// An event cannot be what this program wrote.
    #[error(
        "event {seq}: {why}; run `rigday verify`, then `rigday doctor` for the way back to a backup"
    )]
    Damaged {
        /// Where.
        seq: u64,
        /// Why.
        why: String,
    },
    /// Events that this user has seen are not on the chain.
    #[error(
        "ALARM: {path}: event {seq}, which you have seen before, is not in the ledger any more: events were cut off, or an old copy was put back. It is open for reading only. `rigday verify` says more, `rigday doctor` has the way back; where you know why, `rigday head --accept`"
    )]
    CutOff {
        /// The file.
        path: String,
        /// The event that was remembered.
        seq: u64,
    },
    /// The store failed.
    #[error("the ledger cannot be read: {0}")]
    Store(#[from] rusqlite::Error),
    /// The file system failed.
    #[error("the ledger cannot be reached: {0}")]
    Io(#[from] std::io::Error),
}

impl LedgerError {
    /// True where others were at it: trying again helps.
    pub fn is_busy(&self) -> bool {
        let Self::Store(rusqlite::Error::SqliteFailure(failure, _)) = self else {
            return false;
        };
        matches!(
            failure.code,
            rusqlite::ErrorCode::DatabaseBusy | rusqlite::ErrorCode::DatabaseLocked
        )
    }
}
