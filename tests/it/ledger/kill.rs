//! Writers that are killed, and writers side by side.

use super::{Place, open, seed, size};
use crate::support::events::{actor, note, still_env};
use crate::support::random::Random;
use rigday::clock::SystemClock;
use rigday::domain::event::Subject;
use rigday::domain::{Event, EventBody, EventId, Minute, NewEvent, Seq};
use rigday::ledger::{Env, Ids, Ledger, Outcome, create};
use std::collections::BTreeMap;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

/// Tells the test below which ledger to write; without it, it writes one of its own.
pub(super) const LEDGER: &str = "RIGDAY_TEST_LEDGER";

pub(super) fn system_env() -> Env {
    let (still, _) = still_env(1);
    Env {
        clock: Arc::new(SystemClock::default()),
        ids: Ids::System,
        ..still
    }
}

/// The note that an id stands for, so that whoever knows the id can say it again.
fn note_of(id: EventId) -> NewEvent {
    NewEvent {
        id,
        happened: Minute::new(0),
        actor: actor("Ines"),
        body: note(&name(id)),
    }
}

fn name(id: EventId) -> String {
    format!("{:032x}", u128::from_be_bytes(id.0))
}

/// Records `count` notes; says the id before, and again once it is on disk.
#[expect(clippy::print_stdout, reason = "the process that kills it reads along")]
fn write_notes(ledger: &mut impl Ledger, ids: &Ids, count: usize) {
    for _ in 0..count {
        let id = ids.next();
        println!("try {}", name(id));
        let outcome = ledger.append(&[], &[note_of(id)]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        println!("ack {}", name(id));
    }
}

/// The writer that the test below starts as a process of its own and kills.
#[test]
fn a_writer_records_notes_until_it_is_stopped() {
    let env = system_env();
    let ids = env.ids.clone();
    if let Some(path) = std::env::var_os(LEDGER) {
        let mut ledger = open(path.as_ref(), env);
        return write_notes(&mut ledger, &ids, 100_000);
    }
    let place = Place::new();
    let mut ledger = create(&place.path(), env).expect("a new ledger");
    write_notes(&mut ledger, &ids, 3);
    assert_eq!(ledger.head().expect("a head").seq, Seq(3));
}

/// The ledger that this process was started for; where none was named, one of its own.
pub(super) fn worker() -> (Option<Place>, PathBuf) {
    if let Some(path) = std::env::var_os(LEDGER) {
        return (None, path.into());
    }
    let place = Place::new();
    let path = place.path();
    (Some(place), path)
}

/// Tells whoever started this process.
#[expect(clippy::print_stdout, reason = "another process reads along")]
pub(super) fn say(line: &str) {
    println!("{line}");
}

fn start_writer(place: &Place) -> Child {
    let name = "ledger::kill::a_writer_records_notes_until_it_is_stopped";
    start(name, &place.path(), &[])
}

/// Starts one of these tests as a process of its own, for a ledger.
pub(super) fn start(name: &str, path: &Path, with: &[(&str, &str)]) -> Child {
    let own = std::env::current_exe().expect("this test");
    Command::new(own)
        .args(["--exact", name, "--nocapture"])
        .env(LEDGER, path)
        .envs(with.iter().copied())
        .stdout(Stdio::piped())
        .stderr(Stdio::inherit())
        .spawn()
        .expect("a writer")
}

/// The ids that the killed writers named: true where they had their answer.
#[derive(Default)]
struct Named(BTreeMap<u128, bool>);

impl Named {
    /// Lets a writer begin, kills it after that time, and reads all that it said.
    fn kill(&mut self, mut writer: Child, after: Duration) {
        let mut said = BufReader::new(writer.stdout.take().expect("a pipe")).lines();
        for line in said.by_ref() {
            if self.hear(&line.expect("text")) {
                break;
            }
        }
        std::thread::sleep(after);
        writer.kill().expect("it runs");
        writer.wait().expect("it ends");
        for line in said {
            self.hear(&line.expect("text"));
        }
    }

    /// Takes a line; true where it is an answer. A line that the kill cut short names no id.
    fn hear(&mut self, line: &str) -> bool {
        // The test runner may leave its own words before the first.
        let line = line.rsplit("... ").next().unwrap_or(line);
        let Some((word, id)) = line.split_once(' ').filter(|(_, id)| id.len() == 32) else {
            return false;
        };
        let Ok(id) = u128::from_str_radix(id, 16) else {
            return false;
        };
        let answered = word == "ack";
        *self.0.entry(id).or_default() |= answered;
        answered
    }
}

/// How often each id is in the ledger.
fn times_recorded(events: &[Event]) -> BTreeMap<u128, u32> {
    let mut times = BTreeMap::new();
    for event in events {
        let EventBody::Note { subject, text } = &event.body else {
            panic!("only notes were written: {event:?}");
        };
        assert_eq!(
            (subject, text),
            (&Subject::Lab, &name(event.id)),
            "its own content"
        );
        *times.entry(u128::from_be_bytes(event.id.0)).or_default() += 1;
    }
    times
}

#[test]
fn f01_what_was_acknowledged_outlives_a_kill() {
    let place = Place::new();
    drop(create(&place.path(), system_env()).expect("a new ledger"));
    let seed = seed();
    println!("TEST_SEED={seed}");
    let mut random = Random::new(seed);
    let mut named = Named::default();
    let kills = size(51, 1_000, 10_000);
    for _ in 0..kills.div_ceil(3) {
        let writers = [(); 3].map(|()| start_writer(&place));
        for writer in writers {
            let micros = u64::try_from(random.range(0, 25_000)).expect("not negative");
            named.kill(writer, Duration::from_micros(micros));
        }
    }
    let acknowledged = named.0.values().filter(|answered| **answered).count();
    assert!(
        acknowledged as u64 >= kills,
        "each writer had an answer: {acknowledged}"
    );
    println!(
        "f01: {kills} kills, {acknowledged} acknowledged of {}",
        named.0.len()
    );

    let mut ledger = open(&place.path(), system_env());
    let recorded = times_recorded(&ledger.read(Seq(0), u32::MAX).expect("events"));
    for (id, answered) in &named.0 {
        assert!(
            !answered || recorded.contains_key(id),
            "{id:032x} was acknowledged and is lost"
        );
        // Whoever had no answer says it again with the same id; of the others a few do so too.
        if *answered && !random.chance(5) {
            continue;
        }
        let event = note_of(EventId(id.to_be_bytes()));
        let again = ledger.append(&[], &[event]);
        let there = recorded.contains_key(id);
        assert_eq!(
            matches!(again, Outcome::AlreadyRecorded { .. }),
            there,
            "{again:?}"
        );
        assert_eq!(
            matches!(again, Outcome::Recorded { .. }),
            !there,
            "{again:?}"
        );
    }
    let events = ledger.read(Seq(0), u32::MAX).expect("events");
    let recorded = times_recorded(&events);
    assert!(recorded.values().all(|times| *times == 1), "none twice");
    assert!(
        recorded.keys().eq(named.0.keys()),
        "nothing that nobody said"
    );
    assert!(
        events
            .iter()
            .map(|event| event.seq.0)
            .eq(1..=events.len() as u64)
    );
    assert_eq!(ledger.verify(&[]).faults, []);
}

#[test]
fn l03_writers_side_by_side_lose_nothing_and_leave_no_gap() {
    const EACH: u64 = 60;
    let place = Place::new();
    drop(create(&place.path(), system_env()).expect("a new ledger"));
    let writer = || {
        let mut ledger = open(&place.path(), system_env());
        let record = |_| {
            let id = Ids::System.next();
            match ledger.append(&[], &[note_of(id)]) {
                Outcome::Recorded { first } => (first, id),
                other => panic!("{other:?}"),
            }
        };
        (0..EACH).map(record).collect::<Vec<(Seq, EventId)>>()
    };
    let answers: Vec<Vec<(Seq, EventId)>> = std::thread::scope(|scope| {
        let both = [scope.spawn(writer), scope.spawn(writer)];
        both.map(|one| one.join().expect("a writer that ends well"))
            .into()
    });
    for own in &answers {
        assert!(own.is_sorted(), "each sees its own in order");
    }
    let mut answers: Vec<(Seq, EventId)> = answers.concat();
    answers.sort();
    let ledger = open(&place.path(), system_env());
    let events = ledger.read(Seq(0), u32::MAX).expect("events");
    let there: Vec<(Seq, EventId)> = events.iter().map(|event| (event.seq, event.id)).collect();
    assert_eq!(there, answers, "just what was answered");
    assert!(
        there.iter().map(|(seq, _)| seq.0).eq(1..=2 * EACH),
        "no gap"
    );
    assert_eq!(ledger.verify(&[]).faults, []);
}
