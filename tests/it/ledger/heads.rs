//! The remembered head, where it cannot be kept or read: work goes on, and it is told.

use super::{Place, open};
use crate::support::events::{new_event, note, still_env};
use rigday::domain::Seq;
use rigday::ledger::{Env, Heads, Ledger, Outcome, SqliteLedger, hex};
use std::path::{Path, PathBuf};
use tempfile::TempDir;

/// A ledger of three notes, its user's state folder, and how they open it.
fn seated() -> (Place, TempDir, Env) {
    let (place, ledger) = Place::with_notes(3);
    drop(ledger);
    let state = tempfile::tempdir().expect("a state folder");
    let (mut env, _) = still_env(9);
    env.heads = Some(Heads::new(state.path().join("heads")));
    (place, state, env)
}

/// Where the head of a ledger is kept.
fn kept_at(state: &TempDir, ledger: &SqliteLedger) -> PathBuf {
    let id = ledger.head().expect("a head").ledger;
    state
        .path()
        .join("heads")
        .join(format!("head-{}", hex(&id)))
}

fn records(ledger: &mut SqliteLedger, id: u128) {
    let outcome = ledger.append(&[], &[new_event(id, note("one more"))]);
    assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
}

/// The names in a folder.
fn names(folder: &Path) -> Vec<String> {
    let entries = folder.read_dir().expect("a folder");
    let name = |entry: std::io::Result<std::fs::DirEntry>| entry.expect("an entry").file_name();
    let names = entries.map(|entry| name(entry).to_string_lossy().into_owned());
    names.collect()
}

#[test]
fn what_is_no_head_in_its_place_is_told() {
    let (place, state, env) = seated();
    let mut ledger = open(&place.path(), env.clone());
    records(&mut ledger, 11);
    let kept = kept_at(&state, &ledger);
    let head = ledger.head().expect("a head");
    drop(ledger);
    assert_eq!(
        open(&place.path(), env.clone()).remembered_head(),
        Some(head)
    );
    assert_eq!(open(&place.path(), env.clone()).warnings(), [""; 0]);

    let of_another = format!("rigday {} 4 {}\n", "07".repeat(16), "a5".repeat(32));
    for text in ["", "a letter\n", of_another.as_str()] {
        std::fs::write(&kept, text).expect("the place of the head");
        let mut ledger = open(&place.path(), env.clone());
        assert_eq!(ledger.remembered_head(), None);
        assert!(ledger.accept_head().is_err());
        let said = ledger.warnings().join("\n");
        assert!(said.contains("no remembered head"), "{text:?}: {said}");
        assert!(said.contains(&kept.display().to_string()), "{said}");
        drop(ledger);
        let left = std::fs::read_to_string(&kept).expect("what was there");
        assert_eq!(left, text, "it stays for whoever looks what happened");
    }
    for make in [
        |kept: &Path| std::fs::write(kept, b"rigday \xff"),
        |kept: &Path| std::os::unix::fs::symlink("/etc/hostname", kept),
    ] {
        let _gone = std::fs::remove_file(&kept);
        make(&kept).expect("the place of the head");
        let ledger = open(&place.path(), env.clone());
        assert_eq!(ledger.remembered_head(), None);
        assert_eq!(ledger.warnings().len(), 1, "{:?}", ledger.warnings());
    }
}

#[test]
fn a_head_that_cannot_be_kept_keeps_nobody_from_recording() {
    let (place, state, env) = seated();
    std::fs::write(state.path().join("heads"), "a file").expect("a file");
    let mut ledger = open(&place.path(), env.clone());
    records(&mut ledger, 11);
    let said = ledger.warnings().join("\n");
    assert!(said.contains("seen the ledger could not be kept"), "{said}");
    assert!(ledger.accept_head().is_err());

    // Once it can be kept again it is, and nothing more is said.
    std::fs::remove_file(state.path().join("heads")).expect("the file");
    records(&mut ledger, 12);
    assert_eq!(ledger.warnings(), [""; 0]);
    assert!(kept_at(&state, &ledger).is_file());
    assert_eq!(ledger.remembered_head().map(|head| head.seq), Some(Seq(5)));
}

#[test]
fn a_head_is_kept_whole_or_not_at_all() {
    let (place, state, env) = seated();
    let mut ledger = open(&place.path(), env);
    let kept = kept_at(&state, &ledger);
    std::fs::create_dir_all(kept.join("mine")).expect("a folder in its place");
    records(&mut ledger, 11);
    let said = ledger.warnings().join("\n");
    assert!(said.contains("could not be kept"), "{said}");
    let name = kept.file_name().expect("a name").to_string_lossy();
    assert_eq!(
        names(&state.path().join("heads")),
        [name],
        "no half is left"
    );
}

#[test]
fn without_a_folder_no_head_is_accepted() {
    let (place, ledger) = Place::with_notes(3);
    drop(ledger);
    let mut ledger = open(&place.path(), still_env(9).0);
    let said = ledger.accept_head().expect_err("there is no folder");
    assert!(said.to_string().contains("set HOME"), "{said}");
    assert_eq!(ledger.remembered_head(), None);
}
