//! Ledgers of versions before this one: they read the same, and are brought forward whole or not at all.

use super::kill::{say, worker};
use super::power::{cut, files_of};
use super::tap::{self, Disks};
use super::{Place, alone, open, seed, size, stranger};
use crate::support::events::{new_event, note, still_env};
use crate::support::random::Random;
use rigday::domain::event::Subject;
use rigday::domain::{Event, Seq};
use rigday::ledger::{Ledger, Outcome, inspect, open_read_only};
use rusqlite::types::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::time::Duration;

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/ledger")
        .join(name)
}

/// The version of the file that this program writes.
const NOW: i64 = 3;
/// Those before it, each with a file that its program has left: the same events in all of them.
const BEFORE: [i64; 2] = [1, 2];

/// A place with the ledger that the program of a version has left.
fn older(version: i64) -> Place {
    let place = Place::new();
    let from = data(&format!("v{version}.db"));
    std::fs::copy(from, place.path()).expect("the older ledger");
    place
}

/// Every column of every event, as stored.
fn stored(path: &Path) -> Vec<Vec<Value>> {
    let connection = stranger(path);
    let mut rows = connection
        .prepare("SELECT * FROM event ORDER BY seq")
        .expect("a statement");
    let rows = rows.query_map((), |row| (0..20).map(|ix| row.get(ix)).collect());
    rows.and_then(Iterator::collect).expect("the rows")
}

fn version(path: &Path) -> i64 {
    let version = stranger(path).pragma_query_value(None, "user_version", |row| row.get(0));
    version.expect("a version")
}

fn events(path: &Path) -> Vec<Event> {
    let ledger = inspect(path, still_env(1).0).expect("a good ledger");
    assert_eq!(ledger.verify(&[]).faults, []);
    ledger.read(Seq(0), u32::MAX).expect("events")
}

#[test]
fn l10_looking_at_an_older_ledger_changes_nothing() {
    for own in BEFORE {
        let place = older(own);
        let before = std::fs::read(place.path()).expect("the file");
        let ledger = open_read_only(&place.path(), still_env(1).0).expect("a good ledger");
        assert_eq!(ledger.verify(&[]).faults, []);
        assert_eq!(ledger.read(Seq(0), 99).expect("events").len(), 13);
        let told = history(&ledger);
        drop(ledger);
        assert!(std::fs::read(place.path()).expect("the file") == before);
        assert_eq!(version(&place.path()), own);
        assert_eq!(history(&open(&place.path(), still_env(1).0)), told);
    }
}

/// What the ledger tells of a unit of it, however it finds that.
fn history(ledger: &impl Ledger) -> Vec<Event> {
    let events = ledger.read(Seq(0), 99).expect("events");
    let of = |event: &Event| match event.body.tells_of() {
        Some(unit @ Subject::Unit(_)) => Some(unit),
        _ => None,
    };
    let unit = events.iter().find_map(of).expect("a visit of a unit");
    let told = ledger.history(&unit).expect("events");
    assert!(told.len() > 2, "{told:?}");
    told
}

#[test]
fn f15_an_older_ledger_is_brought_forward_with_its_events_as_they_were() {
    for own in BEFORE {
        let place = older(own);
        let (rows, told) = (stored(&place.path()), events(&place.path()));
        let mut ledger = open(&place.path(), still_env(1).0);
        assert_eq!(ledger.read(Seq(0), 99).expect("events"), told);
        let mut first = new_event(1, note("the first of the new version"));
        first.actor = (*told[0].actor).clone();
        let outcome = ledger.append(&[], &[first]);
        assert_eq!(outcome, Outcome::Recorded { first: Seq(14) });
        assert_eq!(ledger.verify(&[]).faults, []);
        drop(ledger);
        assert_eq!(version(&place.path()), NOW);
        assert_eq!(stored(&place.path())[..13], rows[..]);
        let before = format!("rigday.db.version-{own}");
        let before = place.folder.path().join(before);
        assert_eq!((version(&before), events(&before)), (own, told));
        // The copy is not made again, nor touched.
        let bytes = std::fs::read(&before).expect("the copy");
        drop(open(&place.path(), still_env(1).0));
        assert!(std::fs::read(&before).expect("the copy") == bytes);
    }
}

/// Brings a ledger forward, as a process of its own that another kills.
#[test]
fn somebody_brings_an_older_ledger_forward() {
    let (place, path) = worker();
    if let Some(place) = &place {
        std::fs::copy(data("v1.db"), place.path()).expect("the older ledger");
    }
    say("begins");
    drop(open(&path, still_env(1).0));
    assert_eq!(version(&path), NOW);
}

/// Killed at any moment of it, the ledger is of one version or the other, whole, and is brought forward by
/// whoever opens it next.
#[test]
fn f15_a_kill_on_the_way_leaves_one_version_or_the_other() {
    let own_seed = seed();
    println!("TEST_SEED={own_seed}");
    let mut random = Random::new(own_seed);
    let mut found = [0_u64; 2];
    for round in 0..size(12, 60, 200) {
        let from = if round % 2 == 0 { 1 } else { 2 };
        let place = older(from);
        let told = events(&place.path());
        let name = "ledger::migration::somebody_brings_an_older_ledger_forward";
        let mut child = super::kill::start(name, &place.path(), &[]);
        let mut said = BufReader::new(child.stdout.take().expect("a pipe")).lines();
        let begun = said.find(|line| line.as_ref().is_ok_and(|line| line.ends_with("begins")));
        assert!(begun.is_some(), "it begins");
        std::thread::sleep(Duration::from_micros(
            random.range(0, 30_000).unsigned_abs(),
        ));
        child.kill().expect("it runs, or has ended");
        child.wait().expect("it ends");
        let left = version(&place.path());
        assert!([from, NOW].contains(&left), "it is of version {left}");
        found[usize::from(left == NOW)] += 1;
        assert_eq!(events(&place.path()), told);
        let ledger = open(&place.path(), still_env(1).0);
        assert_eq!(ledger.verify(&[]).faults, []);
        drop(ledger);
        assert_eq!((version(&place.path()), events(&place.path())), (NOW, told));
    }
    println!(
        "f15: killed before {} times, after {} times",
        found[0], found[1]
    );
}

/// The power goes at every step of bringing it forward: afterwards it is of one version or the other, whole.
#[test]
fn f15_a_power_cut_on_the_way_leaves_one_version_or_the_other() {
    let name = "ledger::migration::f15_a_power_cut_on_the_way_leaves_one_version_or_the_other";
    alone(name, |seed| {
        tap::install();
        let place = older(1);
        let told = events(&place.path());
        let [file, log] = files_of(&place);
        let disks = Disks::of_files(&[&file, &log]);
        tap::record();
        drop(open(&place.path(), still_env(1).0));
        let only_ours: Vec<_> = tap::recorded()
            .into_iter()
            .filter(|op| op.path().is_none_or(|path| path == file || path == log))
            .collect();
        assert_eq!(version(&place.path()), NOW);
        let wanted = size(200, 400, 2_000);
        let look = |path: &Path, _: &_| {
            let found = inspect(path, still_env(1).0).map_err(|error| error.to_string())?;
            assert_eq!(found.verify(&[]).faults, []);
            drop(found);
            let ledger = rigday::ledger::open(path, still_env(1).0);
            let ledger = ledger.map_err(|error| error.to_string())?;
            Ok(ledger.read(Seq(0), 99).map_err(|e| e.to_string())? == told)
        };
        let tally = cut(disks, &only_ours, wanted, &mut Random::new(seed), look);
        println!("f15: {tally:?}");
        assert!(tally.images >= wanted);
        assert_eq!((tally.lost, tally.broken), (0, 0));
    });
}
