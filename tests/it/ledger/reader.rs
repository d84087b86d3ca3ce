//! A second reader of the chain, in another language: it says the same.

use super::forgeries::forge;
use super::{Place, stranger};
use crate::support::events::{new_event, note};
use rigday::ledger::{Ledger, Outcome, hex};
use std::path::Path;
use std::process::Command;

/// What the other program says of a file: its words, and whether it finds it good.
fn said(path: &Path) -> Option<(bool, String)> {
    let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger_check.py");
    let output = Command::new("python3")
        .arg(script)
        .arg(path)
        .output()
        .ok()?;
    let words = [output.stdout, output.stderr].concat();
    let words = String::from_utf8(words).expect("text");
    Some((output.status.success(), words.trim().to_owned()))
}

#[test]
fn another_program_finds_the_same_chain() {
    let (place, mut ledger) = Place::with_notes(4);
    let outcome = ledger.append(&[], &[new_event(50, note("a \"quoted\" word, ü and 漢"))]);
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
    let head = ledger.head().expect("a head");
    drop(ledger);
    let Some(answer) = said(&place.path()) else {
        println!("skipped: there is no python3");
        return;
    };
    assert_eq!(
        answer,
        (true, format!("{} {}", head.seq.0, hex(&head.link)))
    );
    forge(
        &stranger(&place.path()),
        "UPDATE event SET person = 'Ravi' WHERE seq = 3",
    );
    let (good, words) = said(&place.path()).expect("it ran before");
    assert!(!good && words.contains("event 3"), "{words}");
    let text = std::fs::read_to_string(
        Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/ledger_check.py"),
    );
    assert!(
        text.expect("the script").lines().count() <= 40,
        "it stays short"
    );
}
