//! The ledger in memory, alone and shared: it answers as the one in a file does.

use super::Place;
use crate::support::events::{new_event, note, still_env};
use rigday::domain::event::{Meaning, Subject};
use rigday::domain::{EventBody, RigId, Seq};
use rigday::ledger::{Head, Ledger, MemoryLedger, Outcome, Shared, create};
use std::time::Duration;

/// The same ledger in memory and in a file.
fn both(place: &Place) -> [Box<dyn Ledger>; 2] {
    let file = create(&place.path(), still_env(9).0).expect("a new ledger");
    let memory = MemoryLedger::new(still_env(9).0);
    [Box::new(memory), Box::new(file)]
}

#[test]
fn who_share_a_ledger_see_what_the_others_record() {
    let mut ines = Shared::new(Box::new(MemoryLedger::new(still_env(9).0)));
    let mut ravi = ines.clone();
    let empty = ines.head().expect("a head");
    assert_eq!(empty.seq, Seq(0));
    let down = EventBody::RigDown {
        rig: RigId::new("dh-1"),
        reason: "fan".to_owned(),
        until: None,
    };
    let outcome = ines.append(&[], &[new_event(1, down)]);
    assert_eq!(outcome, Outcome::Recorded { first: Seq(1) });
    let outcome = ravi.append(&[], &[new_event(2, note("door open"))]);
    assert_eq!(outcome, Outcome::Recorded { first: Seq(2) });
    let head = ravi.wait(Seq(1), Duration::ZERO).expect("a head");
    assert_eq!(head, ines.head().expect("a head"));
    let told = ravi.history(&Subject::Rig(RigId::new("dh-1")));
    let told: Vec<Seq> = told.expect("events").iter().map(|own| own.seq).collect();
    assert_eq!(told, [Seq(1)]);
    let report = ines.verify(&[empty, head.clone()]);
    assert_eq!((report.events, report.faults), (2, vec![]));
    let strange = Head {
        seq: Seq(7),
        ..head
    };
    assert_eq!(ines.verify(&[strange]).faults.len(), 1);
}

#[test]
fn a_ledger_without_a_file_says_that_there_is_none_to_copy() {
    let place = Place::new();
    let shared = Shared::new(Box::new(MemoryLedger::new(still_env(9).0)));
    let said = shared.copy_to(&place.path()).expect_err("no file");
    assert!(said.to_string().contains("no file to copy"), "{said}");
    assert!(!place.path().exists());
}

#[test]
fn reading_on_hands_out_what_reading_does() {
    let place = Place::new();
    for mut ledger in both(&place) {
        for id in 1..=7 {
            let outcome = ledger.append(&[], &[new_event(id, note("seen"))]);
            assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        }
        for after in [0, 3, 6, 7, 9] {
            let mut all = Vec::new();
            let ended = ledger.read_on(Seq(after), &mut |events| {
                all.extend(events);
                Ok(())
            });
            ended.expect("a good ledger");
            assert_eq!(all, ledger.read(Seq(after), 99).expect("events"), "{after}");
            assert_eq!(all.len() as u64, 7_u64.saturating_sub(after));
        }
    }
}

#[test]
fn a_signature_reads_as_it_was_given() {
    let place = Place::new();
    for mut ledger in both(&place) {
        let mut bodies = Vec::new();
        for (meaning, id) in Meaning::ALL.into_iter().zip(1..) {
            let body = EventBody::Signed {
                meaning,
                shown: "ab".repeat(32),
                upto: Seq(0),
            };
            let outcome = ledger.append(&[], &[new_event(id, body.clone())]);
            assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
            bodies.push(body);
        }
        let read = ledger.read(Seq(0), 99).expect("events");
        let read: Vec<EventBody> = read.into_iter().map(|event| event.body).collect();
        assert_eq!(read, bodies);
    }
}

#[test]
fn nothing_is_recorded_of_somebody_whose_name_is_no_text() {
    let place = Place::new();
    for mut ledger in both(&place) {
        for name in ["", "Ines\u{7}", "In\nes", "\u{202e}senI"] {
            let mut event = new_event(1, note("seen"));
            event.actor.person = name.to_owned();
            match ledger.append(&[], &[event]) {
                Outcome::Refused { why } => assert!(why.starts_with("who says so: "), "{why}"),
                other => panic!("{name:?}: {other:?}"),
            }
        }
        assert_eq!(ledger.head().expect("a head").seq, Seq(0));
        let outcome = ledger.append(&[], &[new_event(1, note("seen"))]);
        assert_eq!(outcome, Outcome::Recorded { first: Seq(1) });
    }
}
