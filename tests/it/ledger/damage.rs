//! A file that its own check finds damaged: nothing more is written to it, and the way back is named.

use super::forgeries::{forge, forge_and, seal_anew};
use super::{Place, open, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::{Minutes, Seq};
use rigday::ledger::{Env, Finding, Heads, Ledger, Outcome, SqliteLedger, inspect, open_read_only};
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
        names.any(|name| {
            // A half one has not taken its place yet.
            let name = name.to_string_lossy();
            name.starts_with("checked-") && !name.ends_with(".half")
        })
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

/// Columns that hold text, and whether an event is told with them.
const TEXTS: [(&str, bool); 9] = [
    ("site", false),
    ("zone", false),
    ("login", true),
    ("person", true),
    ("host", true),
    ("session", true),
    ("program", false),
    ("kind", true),
    ("body", true),
];

/// Whoever forges the seals too can put bytes into the file that are no text.
#[test]
fn text_that_is_no_text_is_an_error_and_nothing_is_built_on_it() {
    for (column, is_told) in TEXTS {
        let (place, mut ledger) = Place::with_notes(3);
        let other = stranger(&place.path());
        // `{"k":"` and `"}`, so that even the index of what a body says takes it, and between them a byte that no
        // text has.
        let bytes = "x'7b226b223a22ff227d'";
        let sql = format!("UPDATE event SET {column} = CAST({bytes} AS TEXT) WHERE seq = 3");
        forge_and(&other, &sql, |own| seal_anew(own, 3));
        let read = ledger.read(Seq(2), 9);
        assert_eq!(read.is_err(), is_told, "{column}: {read:?}");
        assert!(ledger.head().is_err(), "{column}");
        let why = records_nothing(&mut ledger);
        assert!(!why.is_empty(), "{column}");
        drop(ledger);
        let count: i64 = other
            .query_row("SELECT count(*) FROM event", (), |row| row.get(0))
            .expect("a count");
        assert_eq!(count, 3, "{column}");
        for opened in [
            rigday::ledger::open(&place.path(), still_env(9).0).map(drop),
            open_read_only(&place.path(), still_env(9).0).map(drop),
        ] {
            assert!(opened.is_err(), "{column}");
        }
    }
}

/// A value of another kind for each column, and whether an event is told with it.
const OF_ANOTHER_KIND: [(&str, &str, bool); 20] = [
    ("id", "x'01'", true),
    ("ledger", "x'01'", false),
    ("site", "NULL", false),
    ("happened_ms", "1.5", true),
    ("recorded_ms", "'soon'", true),
    ("zone", "NULL", false),
    ("offset_min", "1.5", false),
    ("uid", "x'01'", true),
    ("login", "NULL", true),
    ("person", "x'01'", true),
    ("host", "NULL", true),
    ("session", "x'01'", true),
    ("program", "NULL", false),
    ("clock_back", "NULL", true),
    ("kind", "NULL", true),
    ("ver", "1.5", true),
    ("ver", "'one'", true),
    ("body", "NULL", true),
    ("leaf", "x'01'", false),
    ("link", "x'01'", false),
];

/// Puts a value of any kind into the third event, past the types of the table: these are taken out of the
/// schema for so long, and put back word by word.
fn forge_past_types(path: &Path, column: &str, value: &str) {
    let is = "SELECT sql FROM sqlite_schema WHERE name = 'event'";
    let strict: String = stranger(path)
        .query_row(is, (), |row| row.get(0))
        .expect("the table");
    let loose = strict
        .replace(" NOT NULL", "")
        .replace(" STRICT", "")
        .replace(" CHECK (length(id) = 16)", "")
        .replace(" CHECK (length(ledger) = 16)", "")
        .replace(" CHECK (length(leaf) = 32)", "")
        .replace(" CHECK (length(link) = 32)", "");
    let put = |sql: &str| {
        let other = stranger(path);
        other
            .execute_batch("PRAGMA writable_schema = ON")
            .expect("a setting");
        other
            .execute(
                "UPDATE sqlite_schema SET sql = ?1 WHERE name = 'event'",
                [sql],
            )
            .expect("another schema");
    };
    put(&loose);
    let sql = format!("UPDATE event SET {column} = {value} WHERE seq = 3");
    forge(&stranger(path), &sql);
    put(&strict);
}

#[test]
fn a_value_of_another_kind_is_reported_and_nothing_is_built_on_it() {
    for (column, value, is_told) in OF_ANOTHER_KIND {
        let (place, ledger) = Place::with_notes(3);
        drop(ledger);
        let mut ledger = open(&place.path(), still_env(9).0);
        forge_past_types(&place.path(), column, value);
        let faults = ledger.verify(&[]).faults;
        assert_eq!(faults[0].0, Some(Seq(3)), "{column}: {faults:?}");
        let read = ledger.read(Seq(2), 9);
        assert_eq!(read.is_err(), is_told, "{column}: {read:?}");
        // A new event is built on the link alone.
        if column != "leaf" {
            assert!(ledger.head().is_err(), "{column}");
            let why = records_nothing(&mut ledger);
            assert!(!why.is_empty(), "{column}");
        }
        drop(ledger);
        let opened = rigday::ledger::open(&place.path(), still_env(9).0);
        assert!(opened.is_err(), "{column}");
    }
}

#[test]
fn a_form_of_a_later_program_is_not_guessed_at() {
    let (place, ledger) = Place::with_notes(3);
    forge(
        &stranger(&place.path()),
        "UPDATE event SET ver = 2 WHERE seq = 2",
    );
    let said = ledger.read(Seq(0), 9).expect_err("nobody knows it");
    let said = said.to_string();
    assert!(said.contains("event 2: version 2 is not known"), "{said}");
}

#[test]
fn no_copy_is_made_of_a_damaged_ledger() {
    let (place, ledger) = Place::with_notes(6);
    drop(ledger);
    let other = stranger(&place.path());
    forge(&other, "UPDATE event SET person = 'Ravi' WHERE seq = 4");
    drop(other);
    let ledger = inspect(&place.path(), still_env(9).0).expect("for looking only");
    let copy = place.folder.path().join("copy.db");
    let said = ledger.copy_to(&copy).expect_err("it is damaged");
    assert!(said.to_string().contains("event 4"), "{said}");
    let entries = place.folder.path().read_dir().expect("the folder");
    let halves = entries.filter(|entry| {
        let name = entry.as_ref().expect("an entry").file_name();
        name.to_string_lossy().starts_with("copy.db")
    });
    assert_eq!(halves.count(), 0, "nothing of it is left");
}

/// What was found that is not good, in words.
fn not_good(ledger: &SqliteLedger) -> Vec<String> {
    let words = |found| match found {
        Finding::Good(_) => None,
        Finding::Warning(why) => Some(format!("warning: {why}")),
        Finding::Bad(why) => Some(format!("bad: {why}")),
    };
    ledger.health().into_iter().filter_map(words).collect()
}

#[test]
fn whoever_looks_after_a_ledger_is_told_what_is_not_good() {
    let (place, ledger) = Place::with_notes(60);
    assert_eq!(not_good(&ledger), [""; 0]);
    // A log that was never merged, for all that its length says.
    let log = place.path().with_extension("db-wal");
    let long = std::fs::OpenOptions::new().append(true).open(log);
    long.expect("the log").set_len(65 << 20).expect("a hole");
    let said = not_good(&ledger);
    assert_eq!(said.len(), 1, "{said:?}");
    assert!(said[0].contains("the write-ahead log has 66560 kB: some program keeps"));
    drop(ledger);

    let mode = std::os::unix::fs::PermissionsExt::from_mode(0o777);
    std::fs::set_permissions(place.folder.path(), mode).expect("its mode");
    wipe_a_page(&place.path());
    let ledger = open_read_only(&place.path(), still_env(9).0).expect("events that are good");
    let said = not_good(&ledger);
    assert_eq!(said.len(), 2, "{said:?}");
    assert!(said[0].starts_with("bad: the file: "), "{said:?}");
    assert!(
        said[1].starts_with("warning: for reading only: ")
            && said[1].contains("everybody may write its folder"),
        "{said:?}"
    );
}
