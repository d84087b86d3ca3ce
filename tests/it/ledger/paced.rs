//! A lab at its usual pace: a few desks that record now and then, and somebody who looks on.

use super::kill::system_env;
use super::{Place, open, size};
use crate::support::events::{actor, note};
use rigday::clock::{Clock, SystemClock};
use rigday::domain::{NewEvent, Seq};
use rigday::ledger::{Ids, Ledger, Outcome, create, open_read_only};
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::Duration;

/// Desks, and how often each records.
const DESKS: u32 = 4;
const PACE: Duration = Duration::from_millis(200);
/// The write-ahead log stays below this many bytes.
const LARGEST_LOG: u64 = 8 << 20;

/// Records at the pace until the time is over; how long each append took.
fn record(path: &Path, desk: u32, until: Duration, clock: &SystemClock) -> Vec<Duration> {
    let mut ledger = open(path, system_env());
    let mut waits = Vec::new();
    let mut next = clock.elapsed() + PACE * desk / DESKS;
    while next < until {
        std::thread::sleep(next.saturating_sub(clock.elapsed()));
        next += PACE;
        let event = NewEvent {
            id: Ids::System.next(),
            happened: clock.now(),
            actor: actor("Ines"),
            body: note(&format!("desk {desk}, note {}", waits.len())),
        };
        let begun = clock.elapsed();
        let outcome = ledger.append(&[], &[event]);
        waits.push(clock.elapsed().saturating_sub(begun));
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    waits
}

/// Reads on and on; the largest log that was seen.
fn look(path: &Path, over: &AtomicBool) -> u64 {
    let ledger = open_read_only(path, system_env()).expect("a good ledger");
    let log = path.with_extension("db-wal");
    let (mut seen, mut largest) = (Seq(0), 0);
    while !over.load(Ordering::Relaxed) {
        std::thread::sleep(Duration::from_millis(100));
        for event in ledger.read(seen, 500).expect("events") {
            assert_eq!(event.seq, Seq(seen.0 + 1), "none is left out");
            seen = event.seq;
        }
        largest = largest.max(std::fs::metadata(&log).map_or(0, |found| found.len()));
    }
    largest
}

/// What one commit of an otherwise idle ledger takes.
fn one_commit(clock: &SystemClock) -> Duration {
    let place = Place::new();
    drop(create(&place.path(), system_env()).expect("a new ledger"));
    let until = clock.elapsed() + Duration::from_secs(2);
    let mut alone = record(&place.path(), 0, until, clock);
    alone.sort_unstable();
    alone[alone.len() / 2]
}

#[test]
fn f06_at_the_pace_of_a_lab_nobody_waits_and_the_log_stays_small() {
    let seconds = size(2, 20, 600);
    let clock = SystemClock::default();
    let usual = one_commit(&clock);
    let place = Place::new();
    let path = place.path();
    drop(create(&path, system_env()).expect("a new ledger"));
    let over = AtomicBool::new(false);
    let until = clock.elapsed() + Duration::from_secs(seconds);
    let (mut waits, largest) = std::thread::scope(|scope| {
        let viewer = scope.spawn(|| look(&path, &over));
        let own = |desk| {
            let (path, clock) = (&path, &clock);
            scope.spawn(move || record(path, desk, until, clock))
        };
        let desks: Vec<_> = (0..DESKS).map(own).collect();
        let waits = desks
            .into_iter()
            .flat_map(|own| own.join().expect("a desk"));
        let waits: Vec<Duration> = waits.collect();
        over.store(true, Ordering::Relaxed);
        (waits, viewer.join().expect("a viewer"))
    });
    waits.sort_unstable();
    let p99 = waits[(waits.len() - 1) * 99 / 100];
    println!(
        "f06: {seconds} s, {} events, p99 {p99:.1?}, worst {:.1?}, one commit {usual:.1?}, log up to {} kB",
        waits.len(),
        waits[waits.len() - 1],
        largest / 1024
    );
    assert!(largest <= LARGEST_LOG, "the log had {largest} bytes");
    let ledger = open(&path, system_env());
    assert_eq!(ledger.head().expect("a head").seq, Seq(waits.len() as u64));
    assert_eq!(ledger.verify(&[]).faults, []);
    // How quick it is depends on what else the machine does; asked for by name it must be.
    if std::env::var_os("TEST_TIMES").is_some() {
        assert!(p99 <= Duration::from_millis(25) + usual, "p99 {p99:.1?}");
    }
}
