//! Lab folders with faults: each is told at its place and with its reason, nothing else is told, and
//! nothing is written.
//!
//! `tests/data/broken/base` is a good lab. Every other folder there holds the files that replace those of
//! the base, and `expected.txt` with a line for each fault: `file:line:column: a part of the text`.

use crate::support::program::{PROGRAM, bare};
use rigday::lab::{Fault, Faults, ReadLab, read};
use std::collections::BTreeMap;
use std::path::{Path, PathBuf};
use std::process::Command;

const EXPECTED: &str = "expected.txt";

fn data() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/data/broken")
}

/// The names of all broken folders.
fn cases() -> Vec<String> {
    let entries = std::fs::read_dir(data()).expect("the folder of broken labs");
    let mut names: Vec<String> = entries
        .map(|entry| {
            entry
                .expect("an entry")
                .file_name()
                .into_string()
                .expect("a plain name")
        })
        .filter(|name| name != "base")
        .collect();
    names.sort();
    names
}

/// Every file below a folder with its bytes.
fn contents(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut all = BTreeMap::new();
    for entry in std::fs::read_dir(folder).expect("a folder") {
        let path = entry.expect("an entry").path();
        if path.is_dir() {
            all.insert(path.clone(), Vec::new());
            all.extend(contents(&path));
        } else {
            all.insert(path.clone(), std::fs::read(&path).expect("a file"));
        }
    }
    all
}

/// A scratch copy of the base with the files of a case over it.
pub(crate) struct Scratch {
    pub(crate) root: tempfile::TempDir,
}

impl Scratch {
    pub(crate) fn of(case: &str) -> Self {
        let root = tempfile::tempdir().expect("a temporary folder");
        std::fs::create_dir(root.path().join("lab")).expect("a folder");
        std::fs::create_dir(root.path().join("home")).expect("a folder");
        let scratch = Self { root };
        for from in ["base", case] {
            for (path, bytes) in contents(&data().join(from)) {
                let name = path.file_name().expect("a file has a name");
                if name != EXPECTED {
                    std::fs::write(scratch.lab().join(name), bytes).expect("a file");
                }
            }
        }
        scratch
    }

    pub(crate) fn lab(&self) -> PathBuf {
        self.root.path().join("lab")
    }

    /// Reads the folder; all that is there stays as it was.
    fn read(&self) -> Result<ReadLab, Faults> {
        let before = contents(self.root.path());
        let read = read(&self.lab());
        assert_eq!(before, contents(self.root.path()), "reading writes nothing");
        read
    }

    fn faults(&self) -> Vec<Fault> {
        self.read().expect_err("a broken lab is not taken in").0
    }
}

/// What differs between the faults of a case and those expected.
fn difference(case: &str) -> Option<String> {
    let expected = std::fs::read_to_string(data().join(case).join(EXPECTED)).expect("expectations");
    let faults = Scratch::of(case).faults();
    let as_expected = |(fault, line): (&Fault, &str)| {
        let (place, part) = line
            .split_once(": ")
            .expect("a place and a part of the text");
        let text = fault.to_string();
        text.starts_with(&format!("{place}: ")) && text.contains(part)
    };
    let fits = faults.len() == expected.lines().count()
        && faults.iter().zip(expected.lines()).all(as_expected);
    let found = Faults(faults);
    (!fits).then(|| format!("--- {case}\nexpected:\n{expected}found:\n{found}\n"))
}

#[test]
fn the_base_of_the_broken_labs_is_good() {
    let read = Scratch::of("base").read().expect("a good lab");
    assert_eq!(read.warnings, []);
    let lab = read.lab;
    assert_eq!(
        (lab.rigs.len(), lab.requests.len(), lab.pins.len()),
        (3, 2, 1)
    );
}

#[test]
fn every_fault_is_told_once_at_its_place_with_its_reason() {
    let cases = cases();
    assert!(cases.len() >= 90, "{} cases are there", cases.len());
    let differences: Vec<String> = cases.iter().filter_map(|case| difference(case)).collect();
    assert!(differences.is_empty(), "{}", differences.join("\n"));
}

#[test]
fn the_program_refuses_a_broken_lab_and_writes_nothing() {
    for case in cases() {
        let scratch = Scratch::of(&case);
        let before = contents(scratch.root.path());
        let home = scratch.root.path().join("home");
        let output = bare(&mut Command::new(PROGRAM))
            .args(["plan", "--now", "2027-03-01T08:00"])
            .arg(scratch.lab())
            .env("HOME", &home)
            .current_dir(&home)
            .output()
            .expect("the program runs");
        let said = String::from_utf8(output.stderr).expect("plain text");
        assert_eq!(output.status.code(), Some(1), "{case}: {said}");
        assert_eq!(output.stdout, b"", "{case}: nothing on standard output");
        for fault in scratch.faults() {
            assert!(
                said.contains(&fault.to_string()),
                "{case}: {fault} is not in\n{said}"
            );
        }
        assert_eq!(
            before,
            contents(scratch.root.path()),
            "{case}: nothing is written"
        );
    }
}

#[test]
fn a_missing_file_is_a_fault_beside_those_of_the_others() {
    let scratch = Scratch::of("request-priority-ten");
    std::fs::remove_file(scratch.lab().join("sequences.toml")).expect("removed");
    let texts: Vec<String> = scratch.faults().iter().map(ToString::to_string).collect();
    assert_eq!(texts.len(), 2, "{texts:?}");
    assert!(
        texts[0].contains("requests.toml:9:12: request R-1, priority: 1 to 9"),
        "{texts:?}"
    );
    assert!(texts[1].contains("sequences.toml:1:1: sequences.toml: the file is missing"));
}

#[test]
fn methods_that_cannot_be_read_are_one_fault_not_one_a_step() {
    let scratch = Scratch::of("base");
    std::fs::write(scratch.lab().join("methods.toml"), b"\n# caf\xe9\n").expect("a file");
    let texts: Vec<String> = scratch.faults().iter().map(ToString::to_string).collect();
    assert_eq!(
        texts,
        ["methods.toml:2:6: methods.toml: it is not UTF-8 from here on"]
    );
}

#[test]
fn what_is_no_file_or_too_large_is_refused() {
    let scratch = Scratch::of("base");
    let pins = scratch.lab().join("pins.toml");
    std::fs::remove_file(&pins).expect("removed");
    std::fs::create_dir(&pins).expect("a folder");
    let large = vec![b'#'; (8 << 20) + 1];
    std::fs::write(scratch.lab().join("requests.toml"), large).expect("a file");
    let texts: Vec<String> = scratch.faults().iter().map(ToString::to_string).collect();
    assert_eq!(
        texts,
        [
            "pins.toml:1:1: pins.toml: it is no regular file",
            "requests.toml:1:1: requests.toml: it is larger than 8 MB",
        ]
    );
}
