//! The record of what happened: append-only, and the only path to its file.
//!
//! Everybody else sees the [`Ledger`] trait; SQL, rows, paths and connections stay in here.

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

    /// The last event and the link that seals everything up to it.
    fn head(&self) -> Result<Head, LedgerError>;

    /// Waits until there is an event after `after`, for at most `at_most`; polling is enough.
    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError>;

    /// Copies the ledger, consistent, to a new file.
    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError>;

    /// Checks the whole chain and compares it with heads that somebody remembered.
    fn verify(&self, known: &[Head]) -> Report;
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
    /// To be replaced by the cases that the store really has.
    #[error("{0}")]
    Other(String),
}
