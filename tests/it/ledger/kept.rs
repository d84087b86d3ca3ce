//! The floor that is kept between two starts: a shortening that is never trusted over the events.

use super::{Place, size};
use crate::support::demo_lab;
use crate::support::events::{body, new_event, still_env};
use proptest::collection::vec;
use proptest::prelude::*;
use rigday::app::desk::{Desk, Opening};
use rigday::clock::FakeClock;
use rigday::domain::event::Subject;
use rigday::domain::{Event, EventBody, NewEvent, Seq};
use rigday::floor::Floor;
use rigday::ledger::{
    Env, Expect, Head, Heads, Ids, Ledger, LedgerError, Outcome, Report, SqliteLedger, create, open,
};
use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

/// A ledger that tells after which event it was read first: that is where a start begins to fold.
struct Watched {
    own: SqliteLedger,
    from: Arc<OnceLock<Seq>>,
}

impl Ledger for Watched {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        self.own.append(expect, events)
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        self.from.get_or_init(|| after);
        self.own.read(after, limit)
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        self.own.history(of)
    }

    fn head(&self) -> Result<Head, LedgerError> {
        self.own.head()
    }

    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError> {
        self.own.wait(after, at_most)
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        self.own.copy_to(dest)
    }

    fn verify(&self, known: &[Head]) -> Report {
        self.own.verify(known)
    }

    fn kept(&self) -> Option<(Seq, Vec<u8>)> {
        self.own.kept()
    }

    fn keep(&self, upto: Seq, bytes: &[u8]) -> Result<(), LedgerError> {
        self.own.keep(upto, bytes)
    }
}

/// One user's folders, and a ledger.
struct User {
    place: Place,
}

impl User {
    fn env(&self, state: &str) -> Env {
        let folder = |name: &str| self.place.folder.path().join(name);
        let heads = Heads::new(folder(state)).with_cache(folder("cache"));
        Env {
            heads: Some(heads),
            ..still_env(7).0
        }
    }

    /// The floor that a start comes to, and the event after which it began to fold.
    fn start(&self, path: &Path, state: &str) -> (Floor, u64) {
        let from = Arc::new(OnceLock::new());
        let ledger = Watched {
            own: open(path, self.env(state)).expect("a good ledger"),
            from: from.clone(),
        };
        let desk = Desk::open(Opening {
            lab: demo_lab(),
            ledger: Box::new(ledger),
            clock: Arc::new(FakeClock::at(crate::support::events::MORNING)),
            ids: Ids::System,
            actor: crate::support::events::actor("Ines"),
        });
        let floor = desk.expect("a desk").floor.clone();
        (floor, from.get().expect("it was read").0)
    }

    /// The one file that is kept.
    fn kept(&self) -> PathBuf {
        let cache = self.place.folder.path().join("cache");
        let files = cache.read_dir().expect("a folder of kept files");
        let files: Vec<PathBuf> = files.map(|own| own.expect("a file").path()).collect();
        assert_eq!(files.len(), 1, "{files:?}");
        files[0].clone()
    }
}

fn record(ledger: &mut SqliteLedger, bodies: &[EventBody]) {
    let from = ledger.head().expect("a head").seq.0;
    let events = (u128::from(from) + 1..).zip(bodies);
    let events: Vec<NewEvent> = events
        .map(|(id, body)| new_event(id, body.clone()))
        .collect();
    for events in events.chunks(200) {
        let outcome = ledger.append(&[], events);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
}

fn fold(path: &Path) -> Floor {
    let ledger = open(path, still_env(1).0).expect("a good ledger");
    Floor::fold(ledger.read(Seq(0), u32::MAX).expect("events"))
}

fn cases() -> ProptestConfig {
    ProptestConfig {
        max_shrink_iters: 0,
        ..ProptestConfig::with_cases(u32::try_from(size(2, 6, 40)).expect("few"))
    }
}

proptest! {
    #![proptest_config(cases())]

    #[test]
    fn a_kept_floor_is_the_one_that_is_folded_from_the_start(
        bodies in vec(body(2_400), 2_100..2_300),
        later in vec(body(2_400), 150),
    ) {
        let user = User { place: Place::new() };
        let path = user.place.path();
        let mut ledger = create(&path, user.env("state")).expect("a new ledger");
        record(&mut ledger, &bodies);
        let many = bodies.len() as u64;
        prop_assert_eq!(user.start(&path, "state"), (fold(&path), 0), "at first everything is read");
        prop_assert_eq!(user.start(&path, "state"), (fold(&path), many), "then nothing");
        record(&mut ledger, &later);
        let whole = fold(&path);
        prop_assert_eq!(user.start(&path, "state"), (whole.clone(), many), "then what is new");

        let good = std::fs::read(user.kept()).expect("a kept file");
        for bad in spoilt(&good) {
            std::fs::write(user.kept(), bad).expect("a spoilt file");
            prop_assert_eq!(user.start(&path, "state"), (whole.clone(), 0), "it is not trusted");
        }
        std::fs::remove_file(user.kept()).expect("it may be dropped at any time");
        prop_assert_eq!(user.start(&path, "state"), (whole, 0));
    }
}

/// A kept file with a bit turned over, cut short, emptied, and with the seq or the link of its first line
/// changed.
fn spoilt(good: &[u8]) -> Vec<Vec<u8>> {
    let mut flipped = good.to_vec();
    let middle = flipped.len() / 2;
    flipped[middle] ^= 0x10;
    let end = good.iter().position(|b| *b == b'\n').expect("a first line");
    let line = std::str::from_utf8(&good[..end]).expect("text");
    let words: Vec<&str> = line.split(' ').collect();
    let with = |at: usize, word: &str| {
        let mut words = words.clone();
        words[at] = word;
        [words.join(" ").as_bytes(), &good[end..]].concat()
    };
    vec![
        flipped,
        good[..middle].to_vec(),
        Vec::new(),
        with(2, "17"),
        with(3, &"ab".repeat(32)),
    ]
}

/// An older copy is put back, and goes another way: what was kept of the lost end does not count.
#[test]
fn what_was_kept_of_another_chain_is_not_taken() {
    let user = User {
        place: Place::new(),
    };
    let path = user.place.path();
    let mut ledger = create(&path, user.env("state")).expect("a new ledger");
    let marks = |from: u32, to: u32| -> Vec<EventBody> {
        let note = |n| crate::support::events::note(&format!("note {n}"));
        (from..to).map(note).collect()
    };
    record(&mut ledger, &marks(0, 2_100));
    let copy = user.place.folder.path().join("copy.db");
    ledger.copy_to(&copy).expect("a copy");
    record(&mut ledger, &marks(2_100, 2_110));
    assert_eq!(user.start(&path, "state").1, 0);
    drop(ledger);
    // Another state folder, so that the head is not missed; the same cache.
    assert_eq!(user.start(&copy, "other"), (fold(&copy), 0));
    let mut ledger = open(&path, user.env("state")).expect("a good ledger");
    record(&mut ledger, &marks(2_110, 2_120));
    let mut other = open(&copy, user.env("other")).expect("a good ledger");
    record(&mut other, &marks(5_000, 5_020));
    // What is kept now is of the copy's chain up to event 2100, which both chains have.
    assert_eq!(user.start(&path, "state"), (fold(&path), 2_100));
    std::fs::remove_file(user.kept()).expect("a kept file");
    assert_eq!(user.start(&path, "state").1, 0);
    assert_eq!(user.start(&copy, "other"), (fold(&copy), 0));
}
