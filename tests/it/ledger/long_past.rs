//! A past of many thousand events, which is read ahead: the same events in the same order, and an end where
//! something is wrong.

use super::forgeries::forge;
use super::{Place, open, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::{Event, NewEvent, Seq};
use rigday::ledger::{Ledger, LedgerError, Outcome, SqliteLedger, create};

/// Longer than what is read by whoever asks, and no whole number of pieces.
const COUNT: u64 = 21_700;

/// A place with a ledger of [`COUNT`] notes, and the ledger, open.
fn long_past() -> (Place, SqliteLedger) {
    let place = Place::new();
    let mut ledger = create(&place.path(), still_env(9).0).expect("a new ledger");
    let numbers: Vec<u64> = (1..=COUNT).collect();
    for some in numbers.chunks(1_000) {
        let new = |id: &u64| new_event(u128::from(*id), note(&format!("note {id}")));
        let events: Vec<NewEvent> = some.iter().map(new).collect();
        let outcome = ledger.append(&[], &events);
        let first = Seq(some[0]);
        assert_eq!(outcome, Outcome::Recorded { first });
    }
    (place, ledger)
}

/// Everything that is handed out after an event, and how it ended.
fn handed_out(ledger: &SqliteLedger, after: u64) -> (Vec<Event>, Result<(), LedgerError>) {
    let mut all = Vec::new();
    let ended = ledger.read_on(Seq(after), &mut |events| {
        assert!(!events.is_empty(), "nothing is no news");
        all.extend(events);
        Ok(())
    });
    (all, ended)
}

/// The numbers of events, without a gap from the first that is wanted.
#[track_caller]
fn follow(events: &[Event], after: u64) {
    for (event, seq) in events.iter().zip(after + 1..) {
        assert_eq!(event.seq, Seq(seq));
    }
}

#[test]
fn a_long_past_reads_as_it_does_in_one_go() {
    let (_place, ledger) = long_past();
    let told = ledger.read(Seq(0), u32::MAX).expect("events");
    assert_eq!(told.len() as u64, COUNT);
    for after in [0, 1, 777, 1_700, 1_701, COUNT - 1, COUNT] {
        let (all, ended) = handed_out(&ledger, after);
        ended.expect("a good ledger");
        follow(&all, after);
        let from = usize::try_from(after).expect("a small number");
        assert!(all == told[from..], "after {after}");
    }
}

#[test]
fn who_takes_in_a_long_past_may_stop() {
    let (_place, ledger) = long_past();
    let mut pieces = 0;
    let ended = ledger.read_on(Seq(0), &mut |_| {
        pieces += 1;
        match pieces {
            3 => Err(std::io::Error::other("enough").into()),
            _ => Ok(()),
        }
    });
    let said = ended.expect_err("it was stopped").to_string();
    assert!(said.contains("enough"), "{said}");
    assert_eq!(pieces, 3, "nothing is handed out afterwards");
}

#[test]
fn what_is_damaged_in_a_long_past_ends_it_there() {
    let (place, ledger) = long_past();
    for (seq, before) in [(16_500, 15_000), (6, 0)] {
        let sql = format!("UPDATE event SET body = '{{}}' WHERE seq = {seq}");
        forge(&stranger(&place.path()), &sql);
        let (all, ended) = handed_out(&ledger, 0);
        match ended {
            Err(LedgerError::Damaged { seq: found, .. }) => assert_eq!(found, seq),
            other => panic!("{other:?}"),
        }
        follow(&all, 0);
        assert_eq!(all.len(), before, "whole pieces before it");
    }
}

#[test]
fn a_long_past_that_nobody_else_can_open_is_told_and_not_cut_short() {
    let (place, ledger) = long_past();
    let away = place.folder.path().join("away.db");
    std::fs::rename(place.path(), &away).expect("another name");
    let (all, ended) = handed_out(&ledger, 0);
    assert!(ended.is_err(), "{} events were taken for all", all.len());
    std::fs::rename(&away, place.path()).expect("its name");
    drop(ledger);
    let (all, ended) = handed_out(&open(&place.path(), still_env(9).0), 0);
    ended.expect("a good ledger");
    assert_eq!(all.len() as u64, COUNT);
}
