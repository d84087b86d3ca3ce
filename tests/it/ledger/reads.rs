//! Disks that fail to read: the n-th read of whatever a ledger is asked, once or for ever. The answer is right
//! or an error, never a panic and never a part taken for the whole; and once the disk is good again so is the
//! answer.

use super::tap::{self, ReadFault};
use super::{Place, alone, open};
use crate::support::events::{new_event, note, still_env, void};
use rigday::domain::event::Subject;
use rigday::domain::roles::{Holder, Role};
use rigday::domain::{Event, EventBody, NewEvent, RequestId, RigId, Seq, UnitId};
use rigday::ledger::{
    Expect, Finding, Ledger, Outcome, SqliteLedger, create, inspect, open_read_only,
};
use std::fs::DirEntry;
use std::path::{Path, PathBuf};

/// A ledger that was just opened; since then somebody else has recorded, so that what it has read is stale.
struct Setting {
    place: Place,
    ledger: SqliteLedger,
    _other: SqliteLedger,
    told: Vec<Event>,
}

/// Where the unit and the rig of the tests are told of.
fn unit() -> UnitId {
    UnitId::new("R-1/1")
}

fn about_dh_1() -> Subject {
    Subject::Rig(RigId::new("dh-1"))
}

/// A ledger of some pages, with a role, a visit, a rig that was down and a correction.
fn pattern() -> Place {
    let place = Place::new();
    let mut ledger = create(&place.path(), still_env(9).0).expect("a new ledger");
    let mut bodies = vec![
        note("the first, by the first manager"),
        EventBody::RoleGranted {
            holder: Holder::Person("Kim".to_owned()),
            role: Role::Viewer,
        },
        EventBody::VisitStarted {
            unit: unit(),
            step: 1,
            rig: RigId::new("dh-1"),
            position: None,
            run: None,
        },
        EventBody::RigDown {
            rig: RigId::new("dh-1"),
            reason: "fan".to_owned(),
            until: None,
        },
        void(Seq(4)),
    ];
    bodies.extend((0..60).map(|_| note(&"x".repeat(500))));
    for (body, id) in bodies.into_iter().zip(1..) {
        let outcome = ledger.append(&[], &[new_event(id, body)]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    drop(ledger);
    let older = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/ledger/v1.db");
    std::fs::copy(older, place.folder.path().join("older.db")).expect("the older ledger");
    place
}

impl Setting {
    fn new(pattern: &Place) -> Self {
        let place = Place::new();
        for name in ["rigday.db", "older.db"] {
            let from = pattern.folder.path().join(name);
            std::fs::copy(from, place.folder.path().join(name)).expect("a copy");
        }
        let ledger = open(&place.path(), still_env(9).0);
        let mut other = open(&place.path(), still_env(8).0);
        let outcome = other.append(&[], &[new_event(1_000, note("by another"))]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        let told = other.read(Seq(0), u32::MAX).expect("events");
        Self {
            place,
            ledger,
            _other: other,
            told,
        }
    }

    /// A file that is not there yet.
    fn new_file(&self, name: &str) -> PathBuf {
        let free = (1..).map(|number| format!("{name}-{number}.db"));
        let mut paths = free.map(|name| self.place.folder.path().join(name));
        paths
            .find(|path| !path.exists())
            .expect("there are numbers")
    }

    /// Nothing half made is left in the folder.
    fn holds_no_half(&self) {
        let entries = self.place.folder.path().read_dir().expect("the folder");
        let name = |entry: std::io::Result<DirEntry>| entry.expect("an entry").file_name();
        let names = entries.map(|entry| name(entry).to_string_lossy().into_owned());
        let is_half = |name: &String| name.contains(".new-") || name.contains(".half");
        let halves: Vec<String> = names.filter(is_half).collect();
        assert_eq!(halves, [""; 0]);
    }

    /// What was copied is the same chain, whole in one file.
    fn holds_good_copies(&self) {
        for number in 1..=2 {
            let path = self.place.folder.path().join(format!("copy-{number}.db"));
            let Ok(bytes) = std::fs::read(&path) else {
                return;
            };
            // Bytes 18 and 19 say whether a log belongs to the file.
            assert_eq!(bytes[18..20], [1, 1], "a log belongs to the copy");
            let twin = inspect(&path, still_env(6).0).expect("a good ledger");
            assert_eq!(twin.verify(&[]).faults, []);
            assert_eq!(twin.read(Seq(0), u32::MAX).expect("events"), self.told);
        }
    }

    /// Records; what was said to be recorded is there, and once.
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Result<(), String> {
        match self.ledger.append(expect, events) {
            Outcome::Recorded { first } | Outcome::AlreadyRecorded { first } => {
                let last = self.told.last().expect("an event").seq.0;
                assert_eq!(first, Seq(last + 1));
                Ok(())
            }
            Outcome::NotRecorded { why } | Outcome::Unknown { why } => Err(why),
            other => panic!("{other:?}"),
        }
    }
}

/// The error's words, for an answer that was none.
fn words<T>(answer: Result<T, impl ToString>) -> Result<T, String> {
    answer.map_err(|error| error.to_string())
}

/// Asks for something; an answer that is given is right.
type Ask = fn(&mut Setting) -> Result<(), String>;

const LOOKING: [(&str, Ask); 8] = [
    ("read", |own| {
        let events = words(own.ledger.read(Seq(0), u32::MAX))?;
        assert_eq!(events, own.told);
        Ok(())
    }),
    ("read on", |own| {
        let mut all = Vec::new();
        words(own.ledger.read_on(Seq(0), &mut |events| {
            all.extend(events);
            Ok(())
        }))?;
        assert_eq!(all, own.told);
        Ok(())
    }),
    ("head", |own| {
        let head = words(own.ledger.wait(Seq(0), std::time::Duration::ZERO))?;
        assert_eq!(head.seq, own.told.last().expect("an event").seq);
        Ok(())
    }),
    ("history of a rig", |own| {
        let found = words(own.ledger.history(&about_dh_1()))?;
        assert_eq!(found, own.told[3..5]);
        Ok(())
    }),
    ("history of a request", |own| {
        let of = Subject::Request(RequestId::new("R-1"));
        assert_eq!(words(own.ledger.history(&of))?, []);
        Ok(())
    }),
    ("verify", |own| {
        let report = own.ledger.verify(&[]);
        if let Some((_, why)) = report.faults.first() {
            return Err(why.clone());
        }
        assert_eq!(tap::failed_reads(), 0, "what was not read is not good");
        assert_eq!(report.events, own.told.len() as u64);
        Ok(())
    }),
    ("health", |own| {
        let all = own.ledger.health();
        let bad = all.iter().find_map(|found| match found {
            Finding::Bad(why) => Some(why.clone()),
            Finding::Good(_) | Finding::Warning(_) => None,
        });
        bad.map_or(Ok(()), Err)
    }),
    ("open for looking", |own| {
        let path = own.place.path();
        let ledger = words(open_read_only(&path, still_env(7).0))?;
        drop(ledger);
        drop(words(inspect(&path, still_env(7).0))?);
        Ok(())
    }),
];

const WRITING: [(&str, Ask); 7] = [
    ("open", |own| {
        drop(words(rigday::ledger::open(
            &own.place.path(),
            still_env(7).0,
        ))?);
        Ok(())
    }),
    ("create", |own| {
        let path = own.new_file("new");
        let made = words(create(&path, still_env(7).0));
        own.holds_no_half();
        made.map(drop)
    }),
    ("copy", |own| {
        let path = own.new_file("copy");
        let copied = words(own.ledger.copy_to(&path));
        assert_eq!(copied.is_ok(), path.exists(), "whole or not at all");
        own.holds_no_half();
        copied.map(drop)
    }),
    ("bring forward", |own| {
        let path = own.place.folder.path().join("older.db");
        let ledger = words(rigday::ledger::open(&path, still_env(7).0))?;
        let events = words(ledger.read(Seq(0), 99))?;
        assert_eq!(events.len(), 13);
        Ok(())
    }),
    ("correct what was seen", |own| {
        let expect = Expect {
            about: Subject::Unit(UnitId::new("R-9/9")),
            seen: Seq(1),
        };
        let events = [new_event(70, void(Seq(3))), new_event(71, void(Seq(5)))];
        own.append(&[expect], &events)
    }),
    ("grant a role", |own| {
        let body = EventBody::RoleGranted {
            holder: Holder::User(7),
            role: Role::Manager,
        };
        own.append(&[], &[new_event(72, body)])
    }),
    ("attempt what is not allowed", |own| {
        let mut event = new_event(73, note("mine"));
        event.actor.uid = 7;
        "Kim".clone_into(&mut event.actor.person);
        match own.ledger.append(&[], &[event]) {
            Outcome::Refused { .. } => Ok(()),
            Outcome::NotRecorded { why } | Outcome::Unknown { why } => Err(why),
            other => panic!("{other:?}"),
        }
    }),
];

/// Lets one read after the other of an answer fail; how many there were.
fn each_read(pattern: &Place, name: &str, ask: Ask, for_ever: bool) -> u64 {
    for at in 1.. {
        let mut own = Setting::new(pattern);
        tap::fail_reads(Some(ReadFault { at, for_ever }));
        let answer = ask(&mut own);
        let failed = tap::failed_reads();
        tap::fail_reads(None);
        if failed == 0 {
            assert_eq!(answer, Ok(()), "{name} on a good disk");
            return at - 1;
        }
        assert_eq!(ask(&mut own), Ok(()), "{name} after read {at} failed");
        own.holds_good_copies();
        assert_eq!(own.ledger.verify(&[]).faults, [], "{name}, read {at}");
    }
    unreachable!("some read is the last")
}

#[test]
fn f03_a_disk_that_fails_to_read_is_told_and_forgotten() {
    let name = "ledger::reads::f03_a_disk_that_fails_to_read_is_told_and_forgotten";
    alone(name, |_| {
        tap::install();
        let pattern = pattern();
        for (name, ask) in LOOKING.into_iter().chain(WRITING) {
            let reads = [false, true].map(|for_ever| each_read(&pattern, name, ask, for_ever));
            println!("f03: {name}: {reads:?} reads failed");
            assert!(reads[0] > 0, "{name} reads from the disk");
        }
    });
}
