//! The file itself: what is opened, what is refused, what is copied.

use super::forgeries::forge;
use super::{Place, open, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::Seq;
use rigday::ledger::{Env, Ledger, LedgerError, create, open_read_only};
use rusqlite::Connection;
use rusqlite::config::DbConfig;
use std::path::Path;

fn env() -> Env {
    still_env(9).0
}

/// Neither way of opening takes the file, both say these words, and no byte of it changes.
#[track_caller]
fn refused(path: &Path, words: &[&str]) {
    let log = path.with_extension("db-wal");
    let bytes = || {
        (
            std::fs::read(path).expect("the file"),
            std::fs::read(&log).ok(),
        )
    };
    let before = bytes();
    let ways = [
        rigday::ledger::open(path, env()),
        open_read_only(path, env()),
    ];
    for opened in ways {
        let said = match opened {
            Ok(_) => panic!("it was opened"),
            Err(error) => error.to_string(),
        };
        for word in words {
            assert!(said.contains(word), "{word} is not in: {said}");
        }
        let after = bytes();
        assert!(after.0 == before.0, "the file was written: {said}");
        let unmerged = before.1.as_ref().is_some_and(|log| !log.is_empty());
        assert!(
            !unmerged || after.1 == before.1,
            "its log was written: {said}"
        );
    }
}

/// A ledger of three notes that somebody else's SQL has changed.
fn changed_by(sql: &str) -> Place {
    let (place, ledger) = Place::with_notes(3);
    drop(ledger);
    stranger(&place.path())
        .execute_batch(sql)
        .expect("plain SQL");
    place
}

#[test]
fn l01_what_was_recorded_is_there_after_opening_anew() {
    let (place, ledger) = Place::with_notes(20);
    let (head, events) = (
        ledger.head().expect("a head"),
        ledger.read(Seq(0), 99).expect("events"),
    );
    drop(ledger);
    for _ in 0..3 {
        let ledger = open(&place.path(), env());
        assert_eq!(ledger.head().expect("a head"), head);
        assert_eq!(ledger.read(Seq(0), 99).expect("events"), events);
    }
    assert_eq!(events.len(), 20);
}

#[test]
fn l09_files_of_others_are_refused_and_stay_as_they_are() {
    let place = Place::new();
    for text in [
        "",
        "a letter\n",
        &"no database, but long enough for a page\n".repeat(200),
    ] {
        std::fs::write(place.path(), text).expect("a file");
        refused(&place.path(), &["no rigday ledger", "left as it is"]);
    }
    std::fs::remove_file(place.path()).expect("the letter");
    stranger(&place.path())
        .execute_batch("CREATE TABLE birds (name TEXT); INSERT INTO birds VALUES ('wren');")
        .expect("a database of somebody else");
    refused(&place.path(), &["application id is 0"]);
}

#[test]
fn l09_newer_and_unknown_versions_are_refused() {
    let place = changed_by("PRAGMA user_version = 4");
    refused(&place.path(), &["version 4", "up to 3", "newer rigday"]);
    let place = changed_by("PRAGMA user_version = 0");
    refused(&place.path(), &["version is 0"]);
    let place = changed_by("PRAGMA application_id = 7");
    refused(&place.path(), &["application id is 7"]);
}

/// A ledger of three notes that a program has changed and was killed: the change is in the log only.
fn changed_and_killed(change: impl Fn(&Connection)) -> Place {
    let (place, ledger) = Place::with_notes(3);
    drop(ledger);
    let other = stranger(&place.path());
    other
        .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, true)
        .expect("a setting");
    change(&other);
    drop(other);
    let log = std::fs::metadata(place.path().with_extension("db-wal"));
    assert!(log.expect("a log").len() > 0, "the change is in the log");
    place
}

#[test]
fn l09_the_log_of_a_refused_file_is_not_merged_into_it() {
    let newer = changed_and_killed(|other| {
        other
            .execute_batch("PRAGMA user_version = 4")
            .expect("plain SQL");
    });
    refused(&newer.path(), &["version 4"]);
    let damaged = changed_and_killed(|other| {
        forge(other, "UPDATE event SET person = 'Ravi' WHERE seq = 2");
    });
    refused(&damaged.path(), &["event 2", "altered", "backup"]);
}

#[test]
fn closing_leaves_one_file_that_holds_everything() {
    let (place, ledger) = Place::with_notes(3);
    drop(ledger);
    let log = std::fs::metadata(place.path().with_extension("db-wal"));
    assert_eq!(log.expect("the log stays, for who may only read").len(), 0);
    let alone = Place::new();
    std::fs::copy(place.path(), alone.path()).expect("a copy");
    let ledger = open_read_only(&alone.path(), env()).expect("a good ledger");
    assert_eq!(ledger.read(Seq(0), 99).expect("events").len(), 3);
}

#[test]
fn l09_a_schema_that_is_not_ours_is_refused_by_name() {
    for guard in [
        "event_is_not_changed",
        "event_is_not_removed",
        "event_follows",
        "event_is_new",
    ] {
        let place = changed_by(&format!("DROP TRIGGER {guard}"));
        refused(&place.path(), &[&format!("`{guard}` is missing")]);
        let weak = format!(
            "DROP TRIGGER {guard}; CREATE TRIGGER {guard} BEFORE DELETE ON event BEGIN SELECT 1; END"
        );
        refused(
            &changed_by(&weak).path(),
            &[&format!("`{guard}` in its schema is not ours")],
        );
    }
    let view = changed_by("CREATE VIEW latest AS SELECT * FROM event");
    refused(&view.path(), &["`latest` in its schema is not ours"]);
    let table = changed_by("CREATE TABLE birds (name TEXT)");
    refused(&table.path(), &["`birds` in its schema is not ours"]);
    let column = changed_by("ALTER TABLE ledger ADD COLUMN colour TEXT");
    refused(&column.path(), &["`ledger` in its schema is not ours"]);
}

#[test]
fn only_a_plain_file_of_its_own_is_opened() {
    let (place, ledger) = Place::with_notes(1);
    drop(ledger);
    let beside = |name: &str| place.folder.path().join(name);
    std::os::unix::fs::symlink(place.path(), beside("link.db")).expect("a link");
    refused(&beside("link.db"), &["no regular file"]);
    std::fs::hard_link(place.path(), beside("second.db")).expect("a second name");
    refused(&beside("second.db"), &["second name"]);
    let missing = rigday::ledger::open(&beside("missing.db"), env());
    assert!(matches!(missing, Err(LedgerError::Missing { .. })));
    assert!(!beside("missing.db").exists());
}

#[test]
fn what_everybody_may_write_is_not_opened() {
    use std::os::unix::fs::PermissionsExt;
    let (place, ledger) = Place::with_notes(1);
    drop(ledger);
    let mode = |path: &Path, mode| {
        let mode = std::fs::Permissions::from_mode(mode);
        std::fs::set_permissions(path, mode).expect("its mode");
    };
    mode(&place.path(), 0o666);
    refused(&place.path(), &["everybody may write it", "chmod o-w"]);
    mode(&place.path(), 0o660);
    mode(place.folder.path(), 0o777);
    let said = rigday::ledger::open(&place.path(), env()).map(drop);
    let said = said.expect_err("not for writing").to_string();
    assert!(said.contains("everybody may write its folder"), "{said}");
    let new = place.folder.path().join("new.db");
    assert!(create(&new, env()).is_err() && !new.exists());
    // As in /tmp: there everybody may write, but not rename what others have.
    mode(place.folder.path(), 0o1777);
    drop(open(&place.path(), env()));
}

#[test]
fn no_path_is_no_ledger() {
    let (_place, ledger) = Place::with_notes(1);
    let nowhere = Path::new("");
    assert!(create(nowhere, env()).is_err());
    assert!(rigday::ledger::open(nowhere, env()).is_err());
    assert!(open_read_only(nowhere, env()).is_err());
    assert!(ledger.copy_to(nowhere).is_err());
    let place = Place::new();
    let deep = place.folder.path().join("no/folder/rigday.db");
    assert!(create(&deep, env()).is_err());
    assert!(ledger.copy_to(&deep).is_err());
    assert!(!place.folder.path().join("no").exists());
}

#[test]
fn a_ledger_is_never_made_over_a_file() {
    let place = Place::new();
    std::fs::write(place.path(), "mine").expect("a file");
    assert!(create(&place.path(), env()).is_err());
    assert_eq!(std::fs::read(place.path()).expect("the file"), b"mine");
    let names = place.folder.path().read_dir().expect("the folder").count();
    assert_eq!(names, 1, "nothing half made is left");
}

#[test]
fn who_only_looks_cannot_write() {
    let (place, ledger) = Place::with_notes(2);
    drop(ledger);
    let mut ledger = open_read_only(&place.path(), env()).expect("a good ledger");
    let outcome = ledger.append(&[], &[new_event(9, note("mine"))]);
    assert!(
        matches!(outcome, rigday::ledger::Outcome::NotRecorded { .. }),
        "{outcome:?}"
    );
    assert_eq!(ledger.read(Seq(0), 99).expect("events").len(), 2);
}

#[test]
fn a_copy_is_the_same_chain_and_goes_over_nothing() {
    let (place, mut ledger) = Place::with_notes(5);
    let copy = place.folder.path().join("copy.db");
    let head = ledger.copy_to(&copy).expect("a copy");
    assert_eq!(head, ledger.head().expect("a head"));
    let twin = open_read_only(&copy, env()).expect("a good ledger");
    assert_eq!(
        twin.read(Seq(0), 99).expect("events"),
        ledger.read(Seq(0), 99).expect("events")
    );
    assert_eq!(twin.verify(std::slice::from_ref(&head)).faults, []);
    drop(twin);

    let bytes = std::fs::read(&copy).expect("the copy");
    let outcome = ledger.append(&[], &[new_event(9, note("later"))]);
    assert_eq!(outcome, rigday::ledger::Outcome::Recorded { first: Seq(6) });
    assert!(ledger.copy_to(&copy).is_err());
    assert!(std::fs::read(&copy).expect("the copy") == bytes);
    assert_eq!(
        ledger.verify(&[head]).faults,
        [],
        "the copy's head is on the chain"
    );
}
