//! Inputs that nobody should send: each is refused for the stated reason, quickly, and nothing is taken of it.
//!
//! `tests/hostile/` holds one file a case; `expected.tsv` has a line for each part of what is said about
//! it. What cannot lie in a folder of files, such as a pipe, is made here.

use crate::support::program::Desk;
use rigday::lab::take;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/hostile")
}

/// What is to be said about each file.
fn expected() -> BTreeMap<String, Vec<String>> {
    let text = std::fs::read_to_string(data().join("expected.tsv")).expect("the list");
    let mut all: BTreeMap<String, Vec<String>> = BTreeMap::new();
    for line in text.lines() {
        let (name, said) = line.split_once('\t').expect("a name and words");
        all.entry(name.to_owned())
            .or_default()
            .push(said.to_owned());
    }
    all
}

#[test]
fn x_every_hostile_file_is_refused_for_its_reason() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let lab = desk.path("lab");
    let all = expected();
    let names: BTreeSet<String> = std::fs::read_dir(data())
        .expect("the folder")
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("a plain name")
        })
        .filter(|name| name != "expected.tsv")
        .collect();
    assert_eq!(
        names,
        all.keys().cloned().collect(),
        "each file is on the list"
    );
    let mut wrong = Vec::new();
    for (name, words) in &all {
        let said = match take(&lab, &data().join(name)) {
            Ok(_) => "it was taken".to_owned(),
            Err(faults) => faults.to_string(),
        };
        let clean = said
            .chars()
            .all(|c| c == '\n' || !rigday::domain::text::is_hidden(c));
        let named = said
            .lines()
            .all(|line| line.starts_with(name.as_str()) || line.starts_with('…'));
        if !clean || !named || !words.iter().all(|word| said.contains(word.as_str())) {
            wrong.push(format!("{name}: {words:?} is not in:\n{said}"));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    assert!(all.len() >= 150, "{} cases", all.len());
}

/// A case that is made on the spot: what is done, and what is said then.
fn made_on_the_spot(desk: &Desk) -> Vec<(&'static str, &'static str)> {
    let path = |name: &str| desk.path(name);
    let link = |to: &str, name: &str| std::os::unix::fs::symlink(to, path(name)).expect("a link");
    std::fs::create_dir(path("folder.csv")).expect("a folder");
    link("/dev/zero", "zero.csv");
    link("/dev/urandom", "random.toml");
    link("nowhere", "dangling.csv");
    link("round.csv", "round.csv");
    let made = std::process::Command::new("mkfifo")
        .arg(path("pipe.csv"))
        .status();
    assert!(made.expect("mkfifo").success());
    std::fs::write(path("large.csv"), "x,y\n".repeat(3 << 20)).expect("a file");
    std::fs::write(path("rows.csv"), "id\n".repeat(100_002)).expect("a file");
    let hole = std::fs::File::create(path("hole.toml")).expect("a file");
    hole.set_len(1 << 40).expect("a hole");
    vec![
        ("take folder.csv --lab lab", "no regular file"),
        ("take zero.csv --lab lab", "no regular file"),
        ("take random.toml --lab lab", "no regular file"),
        ("take dangling.csv --lab lab", "missing"),
        ("take round.csv --lab lab", "cannot be read"),
        ("take pipe.csv --lab lab", "no regular file"),
        ("take large.csv --lab lab", "larger than 8 MB"),
        ("take rows.csv --lab lab", "more than 100000 rows"),
        ("take hole.toml --lab lab", "larger than 8 MB"),
        ("take nothing.csv --lab lab", "missing"),
        (
            "note R-1/1 x --lab lab --ledger folder.csv",
            "no regular file",
        ),
        (
            "note R-1/1 x --lab lab --ledger zero.csv",
            "no regular file",
        ),
        (
            "note R-1/1 x --lab lab --ledger pipe.csv",
            "no regular file",
        ),
        (
            "note R-1/1 x --lab lab --ledger large.csv",
            "no rigday ledger",
        ),
        (
            "note R-1/1 x --lab lab --ledger file:a.db?mode=memory",
            "there is no ledger",
        ),
        (
            "note R-1/1 x --lab lab --ledger :memory:",
            "there is no ledger",
        ),
        ("verify --ledger large.csv", "no rigday ledger"),
        ("verify --ledger zero.csv", "no regular file"),
        ("verify --lab lab --against large.csv", "line 1 is no head"),
        ("backup lab/lab.toml --lab lab", "there already"),
        ("backup folder.csv --lab lab", "there already"),
        ("backup nowhere/b.db --lab lab", "no backup was made"),
    ]
}

#[test]
fn x_what_is_no_file_is_refused_and_the_ledger_stays_as_it_is() {
    let desk = Desk::new();
    desk.run("init lab").good();
    let before = desk.bytes("lab/rigday.db");
    for (line, said) in made_on_the_spot(&desk) {
        // Half a gigabyte would be a bomb that went off; the limit is the shell's, in kilobytes.
        let ended = desk.run_within(line, 512 << 10);
        assert!(ended.code != 0, "{line}: {}", ended.out);
        assert!(ended.err.contains(said), "{line}: {}", ended.err);
        assert_eq!(desk.bytes("lab/rigday.db"), before, "{line}");
        assert!(!desk.has("file:a.db"), "no name is taken for an address");
    }
}
