//! What others do to the file meanwhile: at it, with a newer program, or with another ledger in its place.

use super::tap::{self, Fault};
use super::{Place, alone, open, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::Seq;
use rigday::ledger::{Ledger, LedgerError, Outcome, SqliteLedger, create};
use rusqlite::Error::SqliteFailure;
use rusqlite::ffi;

fn one_more(ledger: &mut SqliteLedger) -> Outcome {
    ledger.append(&[], &[new_event(99, note("one more"))])
}

#[test]
fn a_ledger_that_others_are_at_is_busy_and_no_more() {
    let (place, mut ledger) = Place::with_notes(2);
    ledger.hurry().expect("a good ledger");
    let other = stranger(&place.path());
    other.execute_batch("BEGIN IMMEDIATE").expect("their turn");
    let outcome = one_more(&mut ledger);
    assert!(outcome.is_busy(), "{outcome:?}");
    let read = ledger.read(Seq(0), 99).expect("events");
    assert_eq!(read.len(), 2, "looking is not kept from anybody");
    other.execute_batch("ROLLBACK").expect("their end");
    let outcome = one_more(&mut ledger);
    assert_eq!(outcome, Outcome::Recorded { first: Seq(3) });
    assert!(!outcome.is_busy());
}

#[test]
fn only_what_helps_by_trying_again_is_called_busy() {
    let failed = |code| LedgerError::from(SqliteFailure(ffi::Error::new(code), None));
    for code in [
        ffi::SQLITE_BUSY,
        ffi::SQLITE_BUSY_SNAPSHOT,
        ffi::SQLITE_LOCKED,
    ] {
        assert!(failed(code).is_busy(), "{code}");
    }
    for code in [ffi::SQLITE_FULL, ffi::SQLITE_CORRUPT, ffi::SQLITE_IOERR] {
        assert!(!failed(code).is_busy(), "{code}");
    }
    let missing = LedgerError::Missing {
        path: "rigday.db".to_owned(),
    };
    assert!(!missing.is_busy());
    for why in ["the ledger may only be read", ""] {
        let why = why.to_owned();
        assert!(!Outcome::NotRecorded { why }.is_busy());
    }
}

#[test]
fn a_ledger_that_a_newer_program_has_taken_over_is_written_no_more() {
    let (place, mut ledger) = Place::with_notes(2);
    stranger(&place.path())
        .execute_batch("PRAGMA user_version = 4")
        .expect("plain SQL");
    match one_more(&mut ledger) {
        Outcome::Refused { why } => assert!(why.contains("version 4 meanwhile"), "{why}"),
        other => panic!("{other:?}"),
    }
    assert_eq!(ledger.head().expect("a head").seq, Seq(2));
}

/// After a failure of the disk the file is opened anew: it must be the same ledger still.
#[test]
fn another_ledger_in_its_place_is_not_written() {
    let name = "ledger::others::another_ledger_in_its_place_is_not_written";
    alone(name, |_| {
        tap::install();
        let (place, ledger) = Place::with_notes(2);
        drop(ledger);
        let other = Place::new();
        drop(create(&other.path(), still_env(8).0).expect("another ledger"));
        let mut ledger = open(&place.path(), still_env(9).0);
        tap::fail(Some(Fault {
            at: 1,
            for_ever: true,
            full: false,
            torn: false,
        }));
        let outcome = one_more(&mut ledger);
        assert!(!matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        tap::fail(None);
        for end in ["", "-wal", "-shm"] {
            let file = |place: &Place| place.folder.path().join(format!("rigday.db{end}"));
            std::fs::rename(file(&place), place.folder.path().join(format!("away{end}")))
                .expect("it goes");
            if file(&other).exists() {
                std::fs::copy(file(&other), file(&place)).expect("the other comes");
            }
        }
        match one_more(&mut ledger) {
            Outcome::NotRecorded { why } | Outcome::Unknown { why } => {
                assert!(why.contains("another ledger lies in its place"), "{why}");
            }
            other => panic!("{other:?}"),
        }
        drop(ledger);
        let there = open(&place.path(), still_env(8).0);
        assert_eq!(there.head().expect("a head").seq, Seq(0));
    });
}
