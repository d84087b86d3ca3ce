//! Bits that turn over on the disk, in the file and in its log.

use super::{Place, open, seed, size};
use crate::support::events::{body, new_event, note, still_env};
use crate::support::random::Random;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::TestRunner;
use rigday::domain::{Event, Seq};
use rigday::ledger::{Head, Ledger, Outcome, create, inspect};
use std::path::Path;

/// A ledger with events of every kind.
fn of_all_kinds(count: u64) -> (Place, Head, Vec<Event>, rigday::ledger::SqliteLedger) {
    let place = Place::new();
    let mut ledger = create(&place.path(), still_env(9).0).expect("a new ledger");
    let mut runner = TestRunner::deterministic();
    for id in 1..=count {
        let body = body(id).new_tree(&mut runner).expect("a body").current();
        let outcome = ledger.append(&[], &[new_event(u128::from(id), body)]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    let head = ledger.head().expect("a head");
    let events = ledger.read(Seq(0), u32::MAX).expect("events");
    (place, head, events, ledger)
}

/// What became of the flips.
#[derive(Debug, Default)]
struct Tally {
    refused: u64,
    reported: u64,
    without_effect: u64,
}

impl Tally {
    /// Looks at a file with a bit turned over: what anybody would read of it is as it was, or it is
    /// reported.
    fn look(&mut self, path: &Path, head: &Head, events: &[Event], what: &str) {
        let Ok(ledger) = inspect(path, still_env(9).0) else {
            self.refused += 1;
            return;
        };
        let report = ledger.verify(std::slice::from_ref(head));
        let read = ledger.read(Seq(0), u32::MAX);
        if report.faults.is_empty() {
            assert_eq!(read.expect("events"), events, "{what}: unseen");
            self.without_effect += 1;
            return;
        }
        self.reported += 1;
        if let Ok(read) = read
            && let Some(first) = events.iter().zip(&read).find(|(was, is)| was != is)
        {
            let told = report.faults.iter().filter_map(|(seq, _)| *seq).min();
            assert_eq!(told, Some(first.0.seq), "{what}: {:?}", report.faults);
        }
    }
}

fn flipped(bytes: &[u8], random: &mut Random) -> (Vec<u8>, String) {
    let (at, bit) = (random.below(bytes.len()), random.below(8));
    let mut own = bytes.to_vec();
    own[at] ^= 1 << bit;
    (own, format!("byte {at}, bit {bit}"))
}

#[test]
fn f08_a_bit_that_turned_over_in_the_file_is_reported() {
    let (place, head, events, ledger) = of_all_kinds(60);
    drop(ledger);
    let bytes = std::fs::read(place.path()).expect("the file");
    let scratch = Place::new();
    let own_seed = seed();
    let mut random = Random::new(own_seed);
    let mut tally = Tally::default();
    for _ in 0..size(300, 1_000, 10_000) {
        let (own, what) = flipped(&bytes, &mut random);
        std::fs::write(scratch.path(), own).expect("a file");
        tally.look(&scratch.path(), &head, &events, &what);
        for ending in ["db-wal", "db-shm"] {
            // There is one only where it was opened.
            let _gone = std::fs::remove_file(scratch.path().with_extension(ending));
        }
    }
    println!("f08 file, TEST_SEED={own_seed}: {tally:?}");
    // About half of the file is room for what is to come.
    assert!(tally.reported * 4 > tally.without_effect, "{tally:?}");
}

/// What lies in the log behind the bit is gone without a word; the remembered head shows it.
#[test]
fn f08_a_tail_that_a_bit_in_the_log_cut_off_is_reported() {
    let (place, head, events, ledger) = of_all_kinds(60);
    let log = place.path().with_extension("db-wal");
    let (bytes, log_bytes) = (
        std::fs::read(place.path()).expect("the file"),
        std::fs::read(log).expect("the log"),
    );
    drop(ledger);
    let scratch = Place::new();
    let scratch_log = scratch.path().with_extension("db-wal");
    let own_seed = seed();
    let mut random = Random::new(own_seed);
    let mut tally = Tally::default();
    for _ in 0..size(300, 1_000, 10_000) {
        let (own, what) = flipped(&log_bytes, &mut random);
        std::fs::write(scratch.path(), &bytes).expect("a file");
        std::fs::write(&scratch_log, own).expect("a log");
        let _gone = std::fs::remove_file(scratch.path().with_extension("db-shm"));
        tally.look(&scratch.path(), &head, &events, &what);
    }
    println!("f08 log, TEST_SEED={own_seed}: {tally:?}");
    assert!(tally.reported > 0, "{tally:?}");
}

/// The control: without the head a cut tail is a good chain, and nobody would know.
#[test]
fn f08_without_the_head_a_cut_tail_is_not_seen() {
    let (place, ledger) = Place::with_notes(20);
    let head = ledger.head().expect("a head");
    let log = place.path().with_extension("db-wal");
    let mut log_bytes = std::fs::read(&log).expect("the log");
    let bytes = std::fs::read(place.path()).expect("the file");
    drop(ledger);
    let last = log_bytes.len() - 100;
    log_bytes[last] ^= 1;
    let scratch = Place::new();
    std::fs::write(scratch.path(), bytes).expect("a file");
    std::fs::write(scratch.path().with_extension("db-wal"), log_bytes).expect("a log");
    let mut ledger = open(&scratch.path(), still_env(9).0);
    assert!(
        ledger.head().expect("a head").seq < head.seq,
        "the tail is gone"
    );
    assert_eq!(ledger.verify(&[]).faults, []);
    assert_eq!(ledger.verify(&[head]).faults.len(), 1);
    let outcome = ledger.append(&[], &[new_event(99, note("later"))]);
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
}
