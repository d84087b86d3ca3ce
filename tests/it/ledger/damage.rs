//! A file that its own check finds damaged: nothing more is written to it, and the way back is named.

use super::{Place, open, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::{Minutes, Seq};
use rigday::ledger::{Env, Heads, Ledger, Outcome, SqliteLedger};
use std::io::{Seek, SeekFrom, Write};
use std::path::Path;
use std::time::Duration;

/// Wipes the page from which ids are looked up; the events themselves stay readable.
fn wipe_a_page(path: &Path) {
    let root: i64 = stranger(path)
        .query_row(
            "SELECT rootpage FROM sqlite_schema WHERE name = 'sqlite_autoindex_event_1'",
            (),
            |row| row.get(0),
        )
        .expect("the index of ids");
    let mut file = std::fs::OpenOptions::new()
        .write(true)
        .open(path)
        .expect("the file");
    let page = u64::try_from(root - 1).expect("pages count from 1");
    let at = SeekFrom::Start(page * 4096);
    file.seek(at).expect("a place in the file");
    file.write_all(&[0; 4096]).expect("zeros");
}

#[track_caller]
fn records_nothing(ledger: &mut SqliteLedger) -> String {
    match ledger.append(&[], &[new_event(99, note("one more"))]) {
        Outcome::NotRecorded { why } => why,
        other => panic!("{other:?}"),
    }
}

#[test]
fn l09_a_file_found_damaged_while_writing_is_written_no_more() {
    let (place, ledger) = Place::with_notes(60);
    drop(ledger);
    wipe_a_page(&place.path());
    let before = std::fs::read(place.path()).expect("the file");
    let mut ledger = open(&place.path(), still_env(9).0);
    let why = records_nothing(&mut ledger);
    assert!(
        why.contains("damaged") && why.contains("rigday doctor"),
        "{why}"
    );
    records_nothing(&mut ledger);
    assert_eq!(ledger.read(Seq(0), 99).expect("events").len(), 60);
    drop(ledger);
    assert!(std::fs::read(place.path()).expect("the file") == before);
}

/// A ledger in a program that runs for long, whose user has a state folder.
fn at_work(place: &Place, env: &Env) -> SqliteLedger {
    let mut ledger = open(&place.path(), env.clone());
    ledger.hurry().expect("a good ledger");
    ledger
}

/// Looks for what is new until the answer is as wanted; false where it never is.
fn comes(wanted: impl Fn() -> bool) -> bool {
    for _ in 0..200 {
        if wanted() {
            return true;
        }
        std::thread::sleep(Duration::from_millis(50));
    }
    false
}

#[test]
fn the_file_is_checked_once_a_day_beside_the_work() {
    let (place, ledger) = Place::with_notes(60);
    drop(ledger);
    let state = tempfile::tempdir().expect("a state folder");
    let (mut env, clock) = still_env(9);
    env.heads = Some(Heads::new(state.path().to_owned()));
    let is_checked = || {
        let entries = state.path().read_dir().expect("the state folder");
        let mut names = entries.map(|entry| entry.expect("an entry").file_name());
        names.any(|name| name.to_string_lossy().starts_with("checked-"))
    };
    let at_end = |ledger: &SqliteLedger| ledger.read(Seq(60), 9).map(|events| events.len());

    let short = open(&place.path(), env.clone());
    assert_eq!(at_end(&short).expect("nothing new"), 0);
    drop(short);
    let first = at_work(&place, &env);
    assert_eq!(at_end(&first).expect("nothing new"), 0);
    assert!(comes(is_checked), "it is kept when the file was checked");
    drop(first);

    wipe_a_page(&place.path());
    clock.advance(Minutes::hours(23));
    let early = at_work(&place, &env);
    for _ in 0..10 {
        assert_eq!(at_end(&early).expect("nothing new"), 0);
        std::thread::sleep(Duration::from_millis(20));
    }
    clock.advance(Minutes::hours(2));
    assert!(
        comes(|| at_end(&early).is_err()),
        "the next day it is found"
    );
    let said = at_end(&early).expect_err("damage").to_string();
    assert!(
        said.contains("damaged") && said.contains("rigday doctor"),
        "{said}"
    );
    drop(early);
    let mut late = at_work(&place, &env);
    assert!(comes(|| at_end(&late).is_err()), "and at each start");
    records_nothing(&mut late);
}
