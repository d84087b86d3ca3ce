//! Power cuts: images of the disk at every write and sync, with any part of what was not synced.

use super::tap::{self, Disks, Left, Op};
use super::{Place, alone, open, size, stranger};
use crate::support::events::{new_event, note, still_env};
use crate::support::random::Random;
use rigday::domain::{Minutes, Seq};
use rigday::ledger::{Ledger, Outcome, create};
use rusqlite::Connection;
use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

/// The files that a ledger consists of; what stands in the third follows from them.
pub(super) fn files_of(place: &Place) -> [PathBuf; 2] {
    let log = place.folder.path().join("rigday.db-wal");
    [place.path(), log]
}

/// The disk as it is, from which on everything is written down.
fn begin(place: &Place) -> Disks {
    let [file, log] = files_of(place);
    let disks = Disks::of_files(&[&file, &log]);
    tap::record();
    disks
}

/// How many days the images are spread over.
const DAYS: u64 = 3;

/// How the cut images of a run came out.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Tally {
    pub(super) images: u64,
    /// Images that lack an event of which somebody was told.
    pub(super) lost: u64,
    /// Images that cannot be opened, or whose check says that they are damaged.
    pub(super) broken: u64,
}

/// Cuts the power at every step, often enough for that many images, and looks at what is left.
pub(super) fn cut(
    mut disks: Disks,
    ops: &[Op],
    images: u64,
    random: &mut Random,
    look: impl Fn(&Path, &BTreeSet<u128>) -> Result<bool, String>,
) -> Tally {
    let scratch = tempfile::tempdir().expect("a temporary folder");
    let each = images.div_ceil(ops.len() as u64);
    let (mut told, mut tally) = (BTreeSet::new(), Tally::default());
    for op in ops {
        disks.take(op);
        if let Op::Told(id) = op {
            told.insert(*id);
        }
        for _ in 0..each {
            let left = match random.below(8) {
                0 => Left::Nothing,
                1 => Left::All,
                _ => Left::Some,
            };
            let share = [10, 50, 90][random.below(3)];
            for (path, bytes) in disks.image(left, &mut || random.chance(share)) {
                let name = path.file_name().expect("a name");
                std::fs::write(scratch.path().join(name), bytes).expect("an image");
            }
            let path = scratch.path().join("rigday.db");
            tally.images += 1;
            match look(&path, &told) {
                Ok(whole) => tally.lost += u64::from(!whole),
                Err(_) => tally.broken += 1,
            }
            for entry in scratch.path().read_dir().expect("the images") {
                std::fs::remove_file(entry.expect("an image").path()).expect("an image");
            }
        }
    }
    tally
}

/// Opens an image as the program does: true where all that was told is there, once; the fault where the
/// ledger is not good.
fn by_ledger(path: &Path, told: &BTreeSet<u128>) -> Result<bool, String> {
    let ledger = rigday::ledger::open(path, still_env(1).0).map_err(|error| error.to_string())?;
    let report = ledger.verify(&[]);
    if let Some((_, why)) = report.faults.first() {
        return Err(why.clone());
    }
    let events = ledger.read(Seq(0), u32::MAX).map_err(|e| e.to_string())?;
    let ids: BTreeSet<u128> = events
        .iter()
        .map(|own| u128::from_be_bytes(own.id.0))
        .collect();
    assert_eq!(ids.len(), events.len(), "none twice");
    Ok(told.is_subset(&ids))
}

/// Records notes as people do, one or a few at a time, with the ledger closed now and then.
fn a_day(place: &Place, random: &mut Random) {
    let (env, clock) = still_env(9);
    let mut next = 1_u128;
    for _ in 0..6 {
        let mut ledger = open(&place.path(), env.clone());
        for _ in 0..random.range(3, 12) {
            let count = u128::try_from(random.range(1, 3)).expect("a small number");
            let events: Vec<_> = (next..next + count)
                .map(|id| new_event(id, note(&format!("note {id}"))))
                .collect();
            next += count;
            let outcome = ledger.append(&[], &events);
            assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
            for event in &events {
                tap::told(u128::from_be_bytes(event.id.0));
            }
            if random.chance(20) {
                clock.advance(Minutes::new(1));
                let last = ledger.head().expect("a head").seq;
                assert_eq!(ledger.read(last, 1).expect("nothing more").len(), 0);
            }
        }
    }
}

#[test]
fn f02_what_was_acknowledged_outlives_a_power_cut() {
    alone(
        "ledger::power::f02_what_was_acknowledged_outlives_a_power_cut",
        |seed| {
            tap::install();
            let mut random = Random::new(seed);
            let mut all = Tally::default();
            let wanted = size(1_500, 9_000, 100_000);
            for _ in 0..DAYS {
                let place = Place::new();
                drop(create(&place.path(), still_env(9).0).expect("a new ledger"));
                let disks = begin(&place);
                a_day(&place, &mut random);
                let tally = cut(
                    disks,
                    &tap::recorded(),
                    wanted / DAYS,
                    &mut random,
                    by_ledger,
                );
                all.images += tally.images;
                all.lost += tally.lost;
                all.broken += tally.broken;
            }
            println!("f02: {all:?}");
            assert!(all.images >= wanted);
            assert_eq!((all.lost, all.broken), (0, 0));
        },
    );
}

/// Adds rows with a connection of somebody who does not care for the disk as the ledger does.
fn careless(place: &Place, how: &str) {
    const COPIED: &str = "ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, person, host, session, program, clock_back, kind, ver, body, leaf, link";
    let other = stranger(&place.path());
    other
        .execute_batch(&format!(
            "PRAGMA journal_mode = WAL; PRAGMA synchronous = {how}; PRAGMA wal_autocheckpoint = 12;"
        ))
        .expect("settings");
    for id in 100..160_u128 {
        let sql = format!(
            "INSERT INTO event (seq, id, {COPIED}) SELECT max(seq) + 1, ?1, {COPIED} FROM event"
        );
        other
            .execute(&sql, [&id.to_be_bytes()[..]])
            .expect("a row more");
        tap::told(id);
    }
}

/// Looks at an image with plain SQL.
fn by_sql(path: &Path, told: &BTreeSet<u128>) -> Result<bool, String> {
    let look = |connection: &Connection| -> rusqlite::Result<(String, BTreeSet<u128>)> {
        let said = connection.query_row("PRAGMA integrity_check(1)", (), |row| {
            row.get::<_, String>(0)
        })?;
        let mut ids = connection.prepare("SELECT id FROM event")?;
        let ids = ids.query_map((), |row| Ok(u128::from_be_bytes(row.get(0)?)))?;
        Ok((said, ids.collect::<Result<_, _>>()?))
    };
    let (said, ids) = look(&stranger(path)).map_err(|error| error.to_string())?;
    if said == "ok" {
        Ok(told.is_subset(&ids))
    } else {
        Err(said)
    }
}

/// The images find what is lost: without waiting for the disk events are lost, and files are damaged.
#[test]
fn f02_a_careless_writer_does_lose() {
    alone("ledger::power::f02_a_careless_writer_does_lose", |seed| {
        tap::install();
        for how in ["FULL", "NORMAL", "OFF"] {
            let mut random = Random::new(seed);
            let (place, ledger) = Place::with_notes(3);
            drop(ledger);
            let disks = begin(&place);
            careless(&place, how);
            let wanted = size(600, 2_000, 20_000);
            let tally = cut(disks, &tap::recorded(), wanted, &mut random, by_sql);
            println!("f02 {how}: {tally:?}");
            match how {
                "FULL" => assert_eq!((tally.lost, tally.broken), (0, 0)),
                "NORMAL" => {
                    assert!(tally.lost > 0, "it loses what was told");
                    assert_eq!(tally.broken, 0);
                }
                _ => assert!(tally.broken > 0 && tally.lost > 0, "it damages the file"),
            }
        }
    });
}
