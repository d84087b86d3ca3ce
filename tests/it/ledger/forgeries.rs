//! What somebody with a tool of their own can do to the file: what its guards refuse, and what is found.

use super::{Place, stranger};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::Seq;
use rigday::ledger::{Head, Ledger, LedgerError, Outcome, SqliteLedger, create};
use rusqlite::Connection;
use sha2::{Digest, Sha256};

/// All columns but `seq`, for taking a row as a pattern.
const OTHERS: &str = "ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, person, host, session, program, clock_back, kind, ver, body, leaf, link";

/// Plain SQL against the guards, and what they say.
fn guarded() -> Vec<(String, &'static str)> {
    let insert = |how: &str, seq: &str, id: &str, from: u32| {
        format!(
            "{how} INTO event (seq, id, {OTHERS}) SELECT {seq}, {id}, {OTHERS} FROM event WHERE seq = {from}"
        )
    };
    let (gap, changed) = ("without a gap", "not changed");
    let (removed, twice) = ("not removed", "recorded once");
    vec![
        ("UPDATE event SET body = '{}' WHERE seq = 2".into(), changed),
        (
            "UPDATE OR REPLACE event SET seq = 1 WHERE seq = 2".into(),
            changed,
        ),
        ("UPDATE event SET person = 'Ravi'".into(), changed),
        ("DELETE FROM event WHERE seq = 2".into(), removed),
        ("DELETE FROM event WHERE seq = 3".into(), removed),
        ("DELETE FROM event".into(), removed),
        (insert("INSERT", "5", "randomblob(16)", 1), gap),
        (insert("INSERT", "0", "randomblob(16)", 1), gap),
        (insert("INSERT", "-1", "randomblob(16)", 1), gap),
        (insert("INSERT OR REPLACE", "2", "randomblob(16)", 1), gap),
        (insert("REPLACE", "3", "randomblob(16)", 1), gap),
        // The next place, but the id of event 2: replacing would remove that event.
        (
            insert(
                "INSERT OR REPLACE",
                "4",
                "(SELECT id FROM event WHERE seq = 2)",
                1,
            ),
            twice,
        ),
        (insert("INSERT OR IGNORE", "2", "randomblob(16)", 1), gap),
    ]
}

#[test]
fn l04_the_guards_in_the_file_refuse_plain_sql() {
    let (place, ledger) = Place::with_notes(3);
    let events = ledger.read(Seq(0), 99).expect("events");
    let connection = stranger(&place.path());
    for (sql, why) in guarded() {
        let said = match connection.execute(&sql, ()) {
            Ok(rows) => panic!("{rows} rows were changed by {sql}"),
            Err(error) => error.to_string(),
        };
        assert!(said.contains(why), "{sql}: {said}");
        assert_eq!(ledger.read(Seq(0), 99).expect("events"), events, "{sql}");
    }
    assert_eq!(ledger.verify(&[]).faults, []);
}

/// Drops the guards, runs the SQL, and puts the guards back, word by word.
pub(super) fn forge(connection: &Connection, sql: &str) {
    forge_and(connection, sql, |_| {});
}

/// The same, with more done before the guards come back.
pub(super) fn forge_and(connection: &Connection, sql: &str, more: impl FnOnce(&Connection)) {
    let mut guards = connection
        .prepare("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger' ORDER BY rowid")
        .expect("a statement");
    let guards = guards.query_map((), |row| Ok((row.get(0)?, row.get(1)?)));
    let guards: Vec<(String, String)> = guards.and_then(Iterator::collect).expect("the guards");
    for (name, _) in &guards {
        connection
            .execute_batch(&format!("DROP TRIGGER {name}"))
            .expect("no guard");
    }
    connection.execute_batch(sql).expect("the forgery");
    more(connection);
    for (_, text) in &guards {
        connection.execute_batch(text).expect("the guard");
    }
}

/// Forgeries of a chain of six notes, and the first event at which they show.
const FORGERIES: &[(&str, u64)] = &[
    (
        "UPDATE event SET body = replace(body, 'note 3', 'note 8') WHERE seq = 3",
        3,
    ),
    ("UPDATE event SET person = 'Ravi' WHERE seq = 4", 4),
    ("UPDATE event SET uid = 0 WHERE seq = 4", 4),
    (
        "UPDATE event SET happened_ms = happened_ms + 60000 WHERE seq = 1",
        1,
    ),
    (
        "UPDATE event SET recorded_ms = recorded_ms + 1 WHERE seq = 6",
        6,
    ),
    ("UPDATE event SET zone = 'Etc/UTC' WHERE seq = 2", 2),
    ("UPDATE event SET offset_min = 60 WHERE seq = 2", 2),
    ("UPDATE event SET site = 'Elsewhere' WHERE seq = 2", 2),
    (
        "UPDATE event SET session = 's-2', host = 'bench-2' WHERE seq = 5",
        5,
    ),
    ("UPDATE event SET program = 'rigday 9.9' WHERE seq = 5", 5),
    ("UPDATE event SET clock_back = 1 WHERE seq = 5", 5),
    ("UPDATE event SET ver = 2 WHERE seq = 5", 5),
    ("UPDATE event SET kind = 'rig_up' WHERE seq = 5", 5),
    ("UPDATE event SET id = randomblob(16) WHERE seq = 5", 5),
    ("UPDATE event SET ledger = randomblob(16) WHERE seq = 5", 5),
    ("UPDATE event SET leaf = zeroblob(32) WHERE seq = 3", 3),
    ("UPDATE event SET link = zeroblob(32) WHERE seq = 3", 3),
    // One word moved from a field to the next.
    (
        "UPDATE event SET login = 'benc', person = 'hInes' WHERE seq = 2",
        2,
    ),
    ("DELETE FROM event WHERE seq = 3", 3),
    ("DELETE FROM event WHERE seq = 1", 1),
    (
        "UPDATE event SET seq = 7 WHERE seq = 2; UPDATE event SET seq = 2 WHERE seq = 3; UPDATE event SET seq = 3 WHERE seq = 7",
        2,
    ),
    ("UPDATE ledger SET id = randomblob(16)", 0),
];

#[test]
fn l06_a_forged_event_is_reported_with_its_seq() {
    for (sql, seq) in FORGERIES {
        let (place, ledger) = Place::with_notes(6);
        assert_eq!(ledger.verify(&[]).faults, []);
        forge(&stranger(&place.path()), sql);
        if *seq > 0 {
            let faults = ledger.verify(&[]).faults;
            assert_eq!(
                faults.first().map(|fault| fault.0),
                Some(Some(Seq(*seq))),
                "{sql}"
            );
        }
        drop(ledger);
        let at = (*seq).max(1);
        match rigday::ledger::open(&place.path(), still_env(9).0).map(drop) {
            Err(LedgerError::Damaged { seq: found, .. }) => assert_eq!(found, at, "{sql}"),
            other => panic!("{sql}: {other:?}"),
        }
    }
}

#[test]
fn l06_what_is_altered_says_so_in_words() {
    let (place, ledger) = Place::with_notes(6);
    forge(&stranger(&place.path()), FORGERIES[0].0);
    let report = ledger.verify(&[]);
    assert_eq!(
        report.faults,
        [(Some(Seq(3)), "its content was altered".to_owned())]
    );
}

/// The fault of a head that is not on the chain.
fn strange(head: &Head) -> (Option<Seq>, String) {
    let why = "a remembered head is not on this chain: events were cut off or replaced";
    (Some(head.seq), why.to_owned())
}

#[test]
fn l06_a_cut_tail_is_found_by_a_remembered_head() {
    let (place, ledger) = Place::with_notes(6);
    let head = ledger.head().expect("a head");
    forge(&stranger(&place.path()), "DELETE FROM event WHERE seq > 4");
    assert_eq!(ledger.verify(&[]).faults, [], "the rest is a good chain");
    assert_eq!(
        ledger.verify(std::slice::from_ref(&head)).faults,
        [strange(&head)]
    );
    let left = ledger.head().expect("a head");
    assert_eq!(left.seq, Seq(4));
    assert_eq!(ledger.verify(&[left]).faults, []);
}

#[test]
fn l06_a_whole_new_chain_is_found_by_a_remembered_head() {
    let (_place, ledger) = Place::with_notes(3);
    let head = ledger.head().expect("a head");
    let place = Place::new();
    let mut other = create(&place.path(), still_env(9).0).expect("a new ledger");
    for id in 1..=4 {
        let outcome = other.append(&[], &[new_event(id, note("another story"))]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    assert_eq!(
        other.head().expect("a head").ledger,
        head.ledger,
        "it even has the same id"
    );
    assert_eq!(other.verify(&[]).faults, []);
    assert_eq!(
        other.verify(std::slice::from_ref(&head)).faults,
        [strange(&head)]
    );

    let twin = Head {
        ledger: [7; 16],
        ..other.head().expect("a head")
    };
    assert_eq!(
        other.verify(std::slice::from_ref(&twin)).faults,
        [strange(&twin)]
    );
}

/// The columns that are hashed, in order, as bytes; and the version, leaf and link as stored.
fn plain_row(connection: &Connection, seq: i64) -> (Vec<Vec<u8>>, i64, [u8; 32], [u8; 32]) {
    let sql = "SELECT CAST(seq AS TEXT), id, ledger, site, CAST(happened_ms AS TEXT), CAST(recorded_ms AS TEXT), zone, CAST(offset_min AS TEXT), CAST(uid AS TEXT), login, person, host, session, program, CAST(clock_back AS TEXT), kind, body, ver, leaf, link FROM event WHERE seq = ?1";
    let row = connection.query_row(sql, [seq], |row| {
        let bytes = |ix| Ok(row.get_ref(ix)?.as_bytes()?.to_vec());
        let fields: rusqlite::Result<Vec<Vec<u8>>> = (0..17).map(bytes).collect();
        Ok((fields?, row.get(17)?, row.get(18)?, row.get(19)?))
    });
    row.expect("the row")
}

/// The chain as its rule is written, worked out from nothing but the columns.
fn by_hand(ledger: &SqliteLedger, connection: &Connection) {
    let last = ledger.head().expect("a head");
    let mut link = [0_u8; 32];
    for seq in 1..=i64::try_from(last.seq.0).expect("a small number") {
        let (fields, ver, stored_leaf, stored_link) = plain_row(connection, seq);
        let mut bytes = vec![0_u8];
        bytes.extend(ver.to_be_bytes());
        for field in &fields {
            bytes.extend((field.len() as u64).to_be_bytes());
            bytes.extend(field);
        }
        let leaf: [u8; 32] = Sha256::digest(&bytes).into();
        assert_eq!(leaf, stored_leaf, "leaf of {seq}");
        link = Sha256::digest([&[1_u8][..], &link, &leaf].concat()).into();
        assert_eq!(link, stored_link, "link of {seq}");
    }
    assert_eq!(link, last.link);
}

#[test]
fn the_chain_can_be_worked_out_by_hand() {
    let (place, mut ledger) = Place::with_notes(4);
    let outcome = ledger.append(
        &[],
        &[
            new_event(50, note("a \"quoted\" word, ü and 漢")),
            new_event(51, note("two in one append")),
        ],
    );
    assert_eq!(outcome, Outcome::Recorded { first: Seq(5) });
    by_hand(&ledger, &stranger(&place.path()));
}

/// Seals a chain anew from an event on, as whoever forged it would.
pub(super) fn seal_anew(connection: &Connection, from: i64) {
    let last: i64 = connection
        .query_row("SELECT max(seq) FROM event", (), |row| row.get(0))
        .expect("an event");
    let mut link = match from {
        1 => [0_u8; 32],
        _ => plain_row(connection, from - 1).3,
    };
    for seq in from..=last {
        let (fields, ver, _, _) = plain_row(connection, seq);
        let mut bytes = vec![0_u8];
        bytes.extend(ver.to_be_bytes());
        for field in &fields {
            bytes.extend((field.len() as u64).to_be_bytes());
            bytes.extend(field);
        }
        let leaf: [u8; 32] = Sha256::digest(&bytes).into();
        link = Sha256::digest([&[1_u8][..], &link, &leaf].concat()).into();
        connection
            .execute(
                "UPDATE event SET leaf = ?1, link = ?2 WHERE seq = ?3",
                (&leaf[..], &link[..], seq),
            )
            .expect("a seal");
    }
}

/// How a forgery is found.
enum Found {
    /// By the chain, at this event.
    At(u64),
    /// By a remembered head alone, which is that of event 6.
    ByHead,
    /// When it is opened, in these words.
    Opening(&'static str),
}

/// A forgery: its name, what is done with plain SQL, from where the chain is sealed anew, how it is found.
type Forgery = (&'static str, &'static str, Option<i64>, Found);

const SIXTEEN: [Forgery; 15] = [
    (
        "update",
        "UPDATE event SET body = replace(body, 'note 3', 'note 8') WHERE seq = 3",
        None,
        Found::At(3),
    ),
    (
        "delete middle",
        "DELETE FROM event WHERE seq = 3",
        None,
        Found::At(3),
    ),
    (
        "delete tail",
        "DELETE FROM event WHERE seq > 4",
        None,
        Found::ByHead,
    ),
    (
        "insert",
        "UPDATE event SET seq = seq + 100 WHERE seq > 3; UPDATE event SET seq = seq - 99 WHERE seq > 100; INSERT INTO event SELECT 4, randomblob(16), ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, person, host, session, program, clock_back, kind, ver, body, leaf, link FROM event WHERE seq = 3",
        None,
        Found::At(4),
    ),
    (
        "replace",
        "INSERT OR REPLACE INTO event SELECT seq, randomblob(16), ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, 'Ravi', host, session, program, clock_back, kind, ver, body, leaf, link FROM event WHERE seq = 5",
        None,
        Found::At(5),
    ),
    (
        "swap two",
        "UPDATE event SET seq = 99 WHERE seq = 2; UPDATE event SET seq = 2 WHERE seq = 5; UPDATE event SET seq = 5 WHERE seq = 99",
        None,
        Found::At(2),
    ),
    (
        "change who",
        "UPDATE event SET uid = 0, person = 'Ravi' WHERE seq = 4",
        None,
        Found::At(4),
    ),
    (
        "change time",
        "UPDATE event SET happened_ms = happened_ms - 60000 WHERE seq = 6",
        None,
        Found::At(6),
    ),
    (
        "change id",
        "UPDATE event SET id = randomblob(16) WHERE seq = 1",
        None,
        Found::At(1),
    ),
    (
        "chained anew from 4",
        "UPDATE event SET person = 'Ravi' WHERE seq = 4",
        Some(4),
        Found::ByHead,
    ),
    (
        "whole new chain",
        "UPDATE event SET body = replace(body, 'note', 'mote')",
        Some(1),
        Found::ByHead,
    ),
    (
        "guard dropped",
        "DROP TRIGGER event_is_not_changed",
        None,
        Found::Opening("`event_is_not_changed` is missing"),
    ),
    (
        "view added",
        "CREATE VIEW newest AS SELECT * FROM event",
        None,
        Found::Opening("`newest` in its schema is not ours"),
    ),
    (
        "application id changed",
        "PRAGMA application_id = 1",
        None,
        Found::Opening("application id is 1"),
    ),
    (
        "version lowered",
        "PRAGMA user_version = 1",
        None,
        Found::Opening("`event_roles` in its schema is not ours"),
    ),
];

#[test]
fn f09_sixteen_forgeries_are_named() {
    let mut named = 0;
    for (name, sql, anew, found) in &SIXTEEN {
        let (place, ledger) = Place::with_notes(6);
        let head = ledger.head().expect("a head");
        drop(ledger);
        let other = stranger(&place.path());
        match (found, anew) {
            (Found::Opening(_), _) => other.execute_batch(sql).expect("the forgery"),
            (_, None) => forge(&other, sql),
            (_, Some(from)) => forge_and(&other, sql, |other| seal_anew(other, *from)),
        }
        drop(other);
        named += u32::from(is_named(&place, &head, found, name));
    }
    // The sixteenth: an old copy is put back.
    let (place, mut ledger) = Place::with_notes(4);
    let copy = place.folder.path().join("copy.db");
    ledger.copy_to(&copy).expect("a copy");
    for id in [5, 6] {
        let outcome = ledger.append(&[], &[new_event(id, note("later"))]);
        assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    }
    let head = ledger.head().expect("a head");
    drop(ledger);
    std::fs::rename(copy, place.path()).expect("the old copy");
    named += u32::from(is_named(
        &place,
        &head,
        &Found::ByHead,
        "an old copy put back",
    ));
    assert_eq!(named, 16);
    println!("f09: {named} of 16 forgeries named");
}

/// Looks at a forged file; it must be found just so.
fn is_named(place: &Place, head: &Head, found: &Found, name: &str) -> bool {
    let opened = rigday::ledger::inspect(&place.path(), still_env(9).0);
    match (found, opened) {
        (Found::Opening(words), Err(error)) => error.to_string().contains(words),
        (Found::At(seq), Ok(ledger)) => {
            let faults = ledger.verify(&[]).faults;
            assert_eq!(
                faults.first().and_then(|own| own.0),
                Some(Seq(*seq)),
                "{name}"
            );
            true
        }
        (Found::ByHead, Ok(ledger)) => {
            assert_eq!(
                ledger.verify(&[]).faults,
                [],
                "{name}: the chain alone is good"
            );
            let faults = ledger.verify(std::slice::from_ref(head)).faults;
            assert_eq!(faults, [strange(head)], "{name}");
            true
        }
        (_, opened) => panic!("{name}: {:?}", opened.err().map(|error| error.to_string())),
    }
}
