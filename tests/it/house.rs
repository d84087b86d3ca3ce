//! What the compiler cannot see in one package: who imports whom, and which words stay where.

use std::fmt::Write;
use std::path::{Path, PathBuf};

/// Each room with the rooms that it may import besides itself. A reader can delete the screens and still
/// have a working program; the checker and the planner share nothing.
const MAY_IMPORT: &[(&str, &[&str])] = &[
    ("domain", &[]),
    ("clock", &["domain"]),
    ("lab", &["domain", "clock"]),
    ("problem", &["domain"]),
    ("planner", &["domain", "problem"]),
    ("checker", &["domain", "problem"]),
    ("ledger", &["domain", "clock"]),
    ("floor", &["domain"]),
    ("evidence", &["domain", "floor"]),
    ("usage", &["domain", "floor", "problem", "planner"]),
    (
        "report",
        &["domain", "problem", "floor", "evidence", "usage"],
    ),
    (
        "app",
        &[
            "domain", "clock", "lab", "problem", "planner", "checker", "ledger", "floor",
            "evidence", "usage", "report",
        ],
    ),
    ("widgets", &["domain"]),
    // Beside the program's state, the types of what it shows.
    (
        "screens",
        &[
            "domain", "app", "widgets", "floor", "evidence", "usage", "planner", "lab",
        ],
    ),
    ("terminal", &["app", "screens", "clock"]),
    (
        "cli",
        &[
            "domain", "clock", "lab", "problem", "planner", "checker", "ledger", "floor",
            "evidence", "usage", "report", "app", "widgets", "screens", "terminal",
        ],
    ),
    ("main", &["cli"]),
    ("lib", &[]),
];

/// Words that only the ledger may say.
const SQL: &[&str] = &["SELECT ", "INSERT INTO", "PRAGMA", "CREATE TABLE"];

/// Marks of work that is not done.
const UNDONE: &[&str] = &[concat!("todo", "!("), concat!("FIX", "ME")];

/// Folders that exist on somebody's machine only.
const MACHINE_PATHS: &[&str] = &["/work", "/home", "/tmp", "/root"];

/// A line of a file, with the name that a person looks it up by.
struct Line {
    file: String,
    number: usize,
    text: String,
}

impl Line {
    fn is_comment(&self) -> bool {
        self.text.trim_start().starts_with("//")
    }

    /// The first folder below `src/`, or the name of the file that lies there itself.
    fn room(&self) -> &str {
        let below = self.file.strip_prefix("src/").unwrap_or(&self.file);
        let first = below.split('/').next().unwrap_or(below);
        first.strip_suffix(".rs").unwrap_or(first)
    }
}

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

/// Every file below a folder, or the file itself, sorted by name.
fn files_below(path: &Path) -> Vec<PathBuf> {
    if path.is_file() {
        return vec![path.to_owned()];
    }
    let entries = path.read_dir().expect("a folder of the project");
    let mut paths: Vec<PathBuf> = entries
        .map(|entry| entry.expect("an entry of the project").path())
        .collect();
    paths.sort();
    paths.iter().flat_map(|path| files_below(path)).collect()
}

/// Every line of the text files below the named places.
fn lines_of(places: &[&str]) -> Vec<Line> {
    let mut lines = Vec::new();
    for path in places
        .iter()
        .flat_map(|place| files_below(&root().join(place)))
    {
        let text = std::fs::read_to_string(&path).expect("a text file of the project");
        let name = path.strip_prefix(root()).expect("below the project");
        let file = name.to_string_lossy().replace('\\', "/");
        lines.extend(text.lines().enumerate().map(|(ix, text)| Line {
            file: file.clone(),
            number: ix + 1,
            text: text.to_owned(),
        }));
    }
    assert!(!lines.is_empty(), "{places:?} has no lines");
    lines
}

/// The word at the beginning of a text.
fn first_word(text: &str) -> &str {
    let is_word = |letter: char| letter.is_alphanumeric() || letter == '_';
    &text[..text.find(|letter| !is_word(letter)).unwrap_or(text.len())]
}

/// The rooms that a line names: the word after each `crate::`, or after `rigday::` in the binary.
/// The word is empty where a group is opened, which would hide the names from this test.
fn rooms_named(line: &str) -> Vec<&str> {
    ["crate::", "rigday::"]
        .iter()
        .flat_map(|start| line.split(start).skip(1))
        .map(first_word)
        .collect()
}

/// The rooms that a line reaches through its parents.
fn rooms_climbed_to(line: &str) -> impl Iterator<Item = &str> {
    let is_room = |word: &&str| MAY_IMPORT.iter().any(|(room, _)| room == word);
    line.split("super::super::")
        .skip(1)
        .map(|rest| first_word(rest.trim_start_matches("super::")))
        .filter(is_room)
}

/// Why a line of `src/` must not import what it imports.
fn import_fault(line: &Line) -> Option<String> {
    let room = line.room();
    let allowed = MAY_IMPORT.iter().find(|(own, _)| *own == room);
    let Some((_, allowed)) = allowed else {
        return Some(format!("{room} is not in the table of rooms"));
    };
    let stranger = rooms_named(&line.text)
        .into_iter()
        .chain(rooms_climbed_to(&line.text))
        .find(|named| *named != room && !allowed.contains(named))?;
    Some(if stranger.is_empty() {
        "one `use` a room: crate::room::…, not crate::{…}".to_owned()
    } else {
        format!(
            "{room} must not import {stranger}; it may import: {}",
            allowed.join(", ")
        )
    })
}

/// Fails with every line that has a fault.
fn none_at_fault(lines: &[Line], fault: impl Fn(&Line) -> Option<String>) {
    let mut told = String::new();
    for line in lines {
        if let Some(why) = fault(line) {
            let (file, number, text) = (&line.file, line.number, line.text.trim());
            writeln!(told, "{file}:{number}: {why}\n    {text}").expect("a string takes it");
        }
    }
    assert!(told.is_empty(), "\n{told}");
}

fn says(line: &Line, words: &[&str]) -> Option<String> {
    let found = words.iter().find(|word| line.text.contains(*word))?;
    Some(format!("it says {found}"))
}

#[test]
fn rooms_import_only_what_the_table_allows() {
    let lines: Vec<Line> = lines_of(&["src"])
        .into_iter()
        .filter(|line| {
            Path::new(&line.file)
                .extension()
                .is_some_and(|own| own == "rs")
        })
        // Tests put rooms together as the command line does.
        .filter(|line| !line.is_comment() && !line.file.ends_with("/tests.rs"))
        .collect();
    none_at_fault(&lines, import_fault);
}

#[test]
fn a_forbidden_import_would_be_found() {
    let line = |file: &str, text: &str| Line {
        file: file.to_owned(),
        number: 1,
        text: text.to_owned(),
    };
    let fault = |file, text| import_fault(&line(file, text));
    let planner = "use crate::planner::solve;";
    assert!(fault("src/checker/r01_order.rs", planner).is_some());
    assert!(fault("src/app/desk/mod.rs", planner).is_none());
    assert!(fault("src/clock.rs", "let it = crate::lab::read(folder);").is_some());
    assert!(fault("src/cli/plan.rs", "use crate::{lab, app};").is_some());
    assert!(fault("src/screens/plan.rs", "use super::super::ledger;").is_some());
    assert!(fault("src/lab/text.rs", "    use super::super::value::Doc;").is_none());
    assert!(fault("src/shed/mod.rs", "").is_some());
}

#[test]
fn only_the_ledger_speaks_sql() {
    let lines: Vec<Line> = lines_of(&["src"])
        .into_iter()
        .filter(|line| line.room() != "ledger")
        .collect();
    none_at_fault(&lines, |line| says(line, SQL));
}

#[test]
fn nothing_is_left_undone() {
    none_at_fault(&lines_of(&["src", "tests/it"]), |line| says(line, UNDONE));
}

#[test]
fn no_path_of_a_machine_is_written_down() {
    let lines = lines_of(&["src", "config", "demo-lab", "README.md"]);
    none_at_fault(&lines, |line| says(line, MACHINE_PATHS));
}

#[test]
fn every_file_of_the_tests_is_a_module() {
    let runner = std::fs::read_to_string(root().join("tests/it/main.rs")).expect("the runner");
    for entry in root().join("tests/it").read_dir().expect("the tests") {
        let path = entry.expect("an entry").path();
        let name = path.file_stem().expect("a name").to_string_lossy();
        let is_test = path.is_dir() && path.join("mod.rs").exists()
            || path.extension().is_some_and(|ending| ending == "rs");
        if is_test && name != "main" {
            let declared = runner
                .lines()
                .any(|line| line.trim() == format!("mod {name};"));
            assert!(declared, "tests/it/main.rs lacks: mod {name};");
        }
    }
}
