//! Ledgers of versions before this one: they read the same, and are brought forward whole or not at all.

use super::power::{cut, files_of};
use super::tap::{self, Disks};
use super::{Place, alone, open, size, stranger};
use crate::support::events::{new_event, note, still_env};
use crate::support::random::Random;
use rigday::domain::{Event, Seq};
use rigday::ledger::{Ledger, Outcome, inspect, open_read_only};
use rusqlite::types::Value;
use std::path::{Path, PathBuf};

fn data(name: &str) -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR"))
        .join("tests/data/ledger")
        .join(name)
}

/// A place with the ledger that version 1 has left.
fn older() -> Place {
    let place = Place::new();
    std::fs::copy(data("v1.db"), place.path()).expect("the older ledger");
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
    let place = older();
    let before = std::fs::read(place.path()).expect("the file");
    let ledger = open_read_only(&place.path(), still_env(1).0).expect("a good ledger");
    assert_eq!(ledger.verify(&[]).faults, []);
    assert_eq!(ledger.read(Seq(0), 99).expect("events").len(), 13);
    drop(ledger);
    assert!(std::fs::read(place.path()).expect("the file") == before);
    assert_eq!(version(&place.path()), 1);
}

#[test]
fn f15_an_older_ledger_is_brought_forward_with_its_events_as_they_were() {
    let place = older();
    let (rows, told) = (stored(&place.path()), events(&place.path()));
    let mut ledger = open(&place.path(), still_env(1).0);
    assert_eq!(ledger.read(Seq(0), 99).expect("events"), told);
    let outcome = ledger.append(
        &[],
        &[{
            let mut event = new_event(1, note("the first of the new version"));
            event.actor = told[0].actor.clone();
            event
        }],
    );
    assert_eq!(outcome, Outcome::Recorded { first: Seq(14) });
    assert_eq!(ledger.verify(&[]).faults, []);
    drop(ledger);
    assert_eq!(version(&place.path()), 2);
    assert_eq!(stored(&place.path())[..13], rows[..]);
    let before = place.folder.path().join("rigday.db.version-1");
    assert_eq!((version(&before), events(&before)), (1, told));
    // The copy is not made again, nor touched.
    let bytes = std::fs::read(&before).expect("the copy");
    drop(open(&place.path(), still_env(1).0));
    assert!(std::fs::read(&before).expect("the copy") == bytes);
}

/// The power goes at every step of bringing it forward: afterwards it is of one version or the other, whole.
#[test]
fn f15_a_power_cut_on_the_way_leaves_one_version_or_the_other() {
    let name = "ledger::migration::f15_a_power_cut_on_the_way_leaves_one_version_or_the_other";
    alone(name, |seed| {
        tap::install();
        let place = older();
        let told = events(&place.path());
        let [file, log] = files_of(&place);
        let disks = Disks::of_files(&[&file, &log]);
        tap::record();
        drop(open(&place.path(), still_env(1).0));
        let only_ours: Vec<_> = tap::recorded()
            .into_iter()
            .filter(|op| op.path().is_none_or(|path| path == file || path == log))
            .collect();
        assert_eq!(version(&place.path()), 2);
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
