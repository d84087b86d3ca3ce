//! Many processes at one ledger: marks, undos, corrections and conflicts, somebody who looks, and backups.

use super::kill::{say, system_env, worker};
use super::{Place, open, seed, size, stranger};
use crate::support::events::{actor, note, void};
use crate::support::random::Random;
use rigday::clock::{Clock, SystemClock};
use rigday::domain::event::Subject;
use rigday::domain::{EventBody, EventId, NewEvent, Seq, UnitId, Verdict};
use rigday::ledger::{Expect, Head, Ledger, Outcome, create, inspect, open_read_only};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::Child;
use std::time::Duration;

/// How many events each worker records, and which worker it is; read by the processes below.
const TASK: &str = "RIGDAY_TEST_TASK";

fn task() -> (u64, u64) {
    let text = super::variable(TASK).unwrap_or_else(|| "5 1".to_owned());
    let (count, number) = text.split_once(' ').expect("two numbers");
    (
        count.parse().expect("a count"),
        number.parse().expect("a number"),
    )
}

/// One of few units, which the workers contend for.
fn unit(random: &mut Random) -> UnitId {
    UnitId::new(&format!("R-1/{}", random.range(1, 4)))
}

/// What a worker has recorded.
#[derive(Default)]
struct Own {
    recorded: Vec<(Seq, EventId)>,
    last_mark: Option<Seq>,
    conflicts: u64,
    busy: u64,
    waits: Vec<Duration>,
}

impl Own {
    /// Records one event; whatever it expects is looked at again until nobody comes between.
    fn record(&mut self, ledger: &mut impl Ledger, body: EventBody, about: Option<&Subject>) {
        let clock = SystemClock::default();
        let id = rigday::ledger::Ids::System.next();
        let event = NewEvent {
            id,
            happened: clock.now(),
            actor: actor("Ines"),
            body,
        };
        // At first it expects what it saw last, which others may have changed since.
        let mut seen = self.recorded.last().map_or(Seq(0), |(seq, _)| *seq);
        loop {
            let expect: Vec<Expect> = about
                .iter()
                .map(|about| Expect {
                    about: (*about).clone(),
                    seen,
                })
                .collect();
            let begun = clock.elapsed();
            let outcome = ledger.append(&expect, std::slice::from_ref(&event));
            self.waits.push(clock.elapsed().saturating_sub(begun));
            match outcome {
                Outcome::Recorded { first } => {
                    self.recorded.push((first, id));
                    return;
                }
                Outcome::Conflict { by } => {
                    assert!(by.seq > seen, "it came between");
                    self.conflicts += 1;
                    seen = ledger.head().expect("a head").seq;
                }
                // Nothing has happened: it is said again, with the same id.
                Outcome::NotRecorded { .. } => self.busy += 1,
                other => panic!("nothing else keeps it from being recorded: {other:?}"),
            }
        }
    }

    fn step(&mut self, ledger: &mut impl Ledger, random: &mut Random) {
        match random.range(0, 9) {
            0..=4 => {
                let unit = unit(random);
                let verdict = Verdict::Pass;
                let step = random.count(1, 9);
                let about = Subject::Unit(unit.clone());
                let body = EventBody::VerdictGiven {
                    unit,
                    step,
                    verdict,
                };
                self.record(ledger, body, Some(&about));
                self.last_mark = self.recorded.last().map(|(seq, _)| *seq);
            }
            5 | 6 if self.last_mark.is_some() => {
                let mark = self.last_mark.take().expect("just looked");
                self.record(ledger, void(mark), None);
            }
            _ => self.record(
                ledger,
                note(&format!("note {}", random.range(1, 1_000_000))),
                None,
            ),
        }
    }
}

/// One of the workers, as a process of its own.
#[test]
fn a_worker_records_marks_undos_and_notes() {
    let (count, number) = task();
    let (place, path) = worker();
    let mut ledger = match &place {
        Some(place) => create(&place.path(), system_env()).expect("a new ledger"),
        None => open(&path, system_env()),
    };
    let mut random = Random::new(number);
    let mut own = Own::default();
    for _ in 0..count {
        own.step(&mut ledger, &mut random);
    }
    // Its own history is there, each event at the place that was answered.
    for (seq, id) in &own.recorded {
        let event = ledger.read(Seq(seq.0 - 1), 1).expect("events").remove(0);
        assert_eq!((event.seq, event.id), (*seq, *id));
    }
    for wait in &own.waits {
        say(&format!("wait {}", wait.as_micros()));
    }
    say(&format!("conflicts {}", own.conflicts));
    say(&format!("busy {}", own.busy));
    say(&format!("recorded {}", own.recorded.len()));
}

/// Somebody who only looks, as a process of its own: every event comes by in order, until there are enough.
#[test]
fn a_viewer_sees_every_event_in_order() {
    let (count, _) = task();
    let (place, path) = worker();
    if let Some(place) = &place {
        let mut ledger = create(&place.path(), system_env()).expect("a new ledger");
        let mut own = Own::default();
        for _ in 0..count {
            own.step(&mut ledger, &mut Random::new(1));
        }
    }
    let ledger = open_read_only(&path, system_env()).expect("a good ledger");
    let mut seen = Seq(0);
    while seen.0 < count {
        let head = ledger
            .wait(seen, Duration::from_millis(200))
            .expect("a head");
        assert!(head.seq >= seen, "it never goes back");
        for event in ledger.read(seen, 500).expect("events") {
            assert_eq!(event.seq, Seq(seen.0 + 1), "none is left out");
            seen = event.seq;
        }
    }
    say(&format!("recorded {}", seen.0));
}

/// Who writes rows of the same size with the database's own ways alone, as a process of its own: what this disk
/// and this machine give.
#[test]
fn a_bare_writer_writes_rows() {
    let (count, _) = task();
    let (place, path) = worker();
    if let Some(place) = &place {
        bare(&place.path());
    }
    let connection = stranger(&path);
    let settings = "PRAGMA synchronous = FULL; PRAGMA busy_timeout = 60000";
    connection.execute_batch(settings).expect("settings");
    let clock = SystemClock::default();
    for _ in 0..count {
        let begun = clock.elapsed();
        connection.execute_batch("BEGIN IMMEDIATE").expect("a turn");
        let row = "INSERT INTO event (body) VALUES (?1)";
        connection.execute(row, ["x".repeat(600)]).expect("a row");
        connection.execute_batch("COMMIT").expect("on disk");
        let wait = clock.elapsed().saturating_sub(begun);
        say(&format!("wait {}", wait.as_micros()));
    }
}

/// A file for the bare writers.
fn bare(path: &Path) {
    let connection = stranger(path);
    let sql = "PRAGMA journal_mode = WAL; CREATE TABLE event (seq INTEGER PRIMARY KEY, body TEXT)";
    connection.execute_batch(sql).expect("a new file");
}

/// How long most waited, nearly all, and the one that waited longest, in microseconds.
fn figures(said: &[(String, u64)]) -> [u64; 3] {
    let waits = said.iter().filter(|(word, _)| word == "wait");
    let mut waits: Vec<u64> = waits.map(|(_, n)| *n).collect();
    waits.sort_unstable();
    let last = waits.len() - 1;
    [waits[last / 2], waits[last * 99 / 100], waits[last]]
}

/// The same number of bare writers, one after the other run on the same disk.
fn bare_figures(workers: u64, each: u64) -> [u64; 3] {
    let place = Place::new();
    bare(&place.path());
    let start = |number| start("a_bare_writer_writes_rows", &place.path(), each, number);
    let children: Vec<Child> = (1..=workers).map(start).collect();
    let said: Vec<(String, u64)> = children.into_iter().flat_map(ended).collect();
    figures(&said)
}

fn start(test: &str, path: &Path, count: u64, number: u64) -> Child {
    let name = format!("ledger::crowd::{test}");
    super::kill::start(&name, path, &[(TASK, &format!("{count} {number}"))])
}

/// What a process said, once it has ended well.
fn ended(mut child: Child) -> Vec<(String, u64)> {
    let said = BufReader::new(child.stdout.take().expect("a pipe")).lines();
    let said: Vec<String> = said.map(|line| line.expect("text")).collect();
    let status = child.wait().expect("it ends");
    assert!(status.success(), "{}", said.join("\n"));
    let number = |line: &String| {
        let line = line.rsplit("... ").next().unwrap_or(line);
        let (word, number) = line.split_once(' ')?;
        Some((word.to_owned(), number.parse().ok()?))
    };
    said.iter().filter_map(number).collect()
}

/// Backups while others write: each is whole, and the beginning of the chain as it is afterwards.
fn backups(path: &Path, count: u64, pause: Duration) -> Vec<Head> {
    let folder = path.parent().expect("a folder");
    let copy = |number: u64| {
        std::thread::sleep(pause);
        let dest = folder.join(format!("backup-{number}.db"));
        let ledger = open_read_only(path, system_env()).expect("a good ledger");
        let head = ledger.copy_to(&dest).expect("a copy");
        let twin = inspect(&dest, system_env()).expect("a good copy");
        assert_eq!(twin.head().expect("a head"), head);
        assert_eq!(twin.verify(std::slice::from_ref(&head)).faults, []);
        head
    };
    (0..count).map(copy).collect()
}

#[test]
fn f05_f16_many_at_once_lose_nothing_and_can_be_backed_up() {
    // The last size is that of a whole lab in a hurry.
    let (workers, each) = (size(3, 8, 16), size(60, 1_000, 5_000));
    let place = Place::new();
    drop(create(&place.path(), system_env()).expect("a new ledger"));
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let all = workers * each;
    let viewer = start("a_viewer_sees_every_event_in_order", &place.path(), all, 0);
    let children: Vec<Child> = (1..=workers)
        .map(|number| {
            let name = "a_worker_records_marks_undos_and_notes";
            start(name, &place.path(), each, own_seed.wrapping_add(number))
        })
        .collect();
    let heads = backups(&place.path(), size(3, 20, 100), Duration::from_millis(30));
    let said: Vec<(String, u64)> = children.into_iter().flat_map(ended).collect();
    let sum = |what: &str| -> u64 {
        said.iter()
            .filter(|(word, _)| word == what)
            .map(|(_, n)| n)
            .sum()
    };
    let [half, p99, worst] = figures(&said);
    let [bare_half, bare_p99, bare_worst] = bare_figures(workers, each.min(1_000));
    println!(
        "f05: {workers} x {each}, {} conflicts, {} busy, p50 {half} us, p99 {p99} us, worst {worst} us; f16: {} backups",
        sum("conflicts"),
        sum("busy"),
        heads.len()
    );
    println!("f05: bare writers: p50 {bare_half} us, p99 {bare_p99} us, worst {bare_worst} us");
    assert_eq!(sum("recorded"), all, "each worker recorded all of its own");
    assert_eq!(ended(viewer).last(), Some(&("recorded".to_owned(), all)));
    let ledger = open(&place.path(), system_env());
    assert_eq!(
        ledger.head().expect("a head").seq,
        Seq(all),
        "nothing more, nothing less"
    );
    assert_eq!(ledger.verify(&heads).faults, []);
    // No event was recorded twice.
    let events = ledger.read(Seq(0), u32::MAX).expect("events");
    let ids: std::collections::BTreeSet<EventId> = events.iter().map(|event| event.id).collect();
    assert_eq!(ids.len() as u64, all);
    // On a machine that does much else nothing is quick: whoever asks by name wants the figures themselves,
    // and else the ledger is not slower than bare writers, who do not let each other go first.
    if std::env::var_os("TEST_TIMES").is_some() {
        assert!(
            p99 <= 150_000 && worst <= 1_000_000,
            "p99 {p99} us, worst {worst} us"
        );
    } else if each >= 1_000 {
        assert!(
            p99 <= bare_p99.max(150_000),
            "p99 {p99} us, bare {bare_p99} us"
        );
    }
}
