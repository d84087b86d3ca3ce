//! Good lab folders with a file cut short, cut up or spoilt at random: the reader never panics, every
//! fault has a place in its file, and what is taken in can be compiled.

use proptest::prelude::*;
use proptest::sample::{Index, select};
use rigday::domain::{Facts, Minute};
use rigday::lab::{Faults, read};
use rigday::problem::compile;

/// Monday 2027-03-01 08:00 UTC.
const START: i64 = 30_064_320 + 480;

type Files = [(&'static str, &'static str); 5];

const SMALL: Files = [
    ("lab.toml", include_str!("../data/broken/base/lab.toml")),
    (
        "methods.toml",
        include_str!("../data/broken/base/methods.toml"),
    ),
    (
        "sequences.toml",
        include_str!("../data/broken/base/sequences.toml"),
    ),
    (
        "requests.toml",
        include_str!("../data/broken/base/requests.toml"),
    ),
    ("pins.toml", include_str!("../data/broken/base/pins.toml")),
];

const DEMO: Files = [
    ("lab.toml", include_str!("../../demo-lab/lab.toml")),
    ("methods.toml", include_str!("../../demo-lab/methods.toml")),
    (
        "sequences.toml",
        include_str!("../../demo-lab/sequences.toml"),
    ),
    (
        "requests.toml",
        include_str!("../../demo-lab/requests.toml"),
    ),
    ("pins.toml", include_str!("../../demo-lab/pins.toml")),
];

/// Text that is likely to hurt where it does not belong.
const HOSTILE: [&str; 32] = [
    "\"",
    "'",
    "\"\"\"",
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "=",
    ",",
    "#",
    "\n",
    "\r",
    "\0",
    "\u{202e}",
    "\u{feff}",
    "é",
    "漢",
    "-1",
    "0",
    "0x7f",
    "1_0",
    "1e308",
    "nan",
    "-inf",
    "true",
    "2027-03-01",
    "99999999999999999999",
    "\"99999999999y\"",
    "\"2027-03-28T01:30\"",
    "\"9999-12-31T23:59Z\"",
];

/// One thing done to the bytes of a file.
#[derive(Clone, Debug)]
enum Change {
    /// Everything from here on is lost.
    Truncate(Index),
    /// A piece is lost.
    Cut(Index, usize),
    /// A text is put in.
    Insert(Index, &'static str),
    /// A byte becomes another, which may not be UTF-8.
    Byte(Index, u8),
    /// The value of a line becomes another.
    Value(Index, &'static str),
    /// A line is there twice.
    Double(Index),
    /// Two lines change places.
    Swap(Index, Index),
}

fn change() -> impl Strategy<Value = Change> {
    let hostile = || select(&HOSTILE[..]);
    let at = any::<Index>;
    prop_oneof![
        at().prop_map(Change::Truncate),
        (at(), 1_usize..40).prop_map(|(at, length)| Change::Cut(at, length)),
        (at(), hostile()).prop_map(|(at, text)| Change::Insert(at, text)),
        (at(), any::<u8>()).prop_map(|(at, byte)| Change::Byte(at, byte)),
        (at(), hostile()).prop_map(|(at, text)| Change::Value(at, text)),
        at().prop_map(Change::Double),
        (at(), at()).prop_map(|(one, other)| Change::Swap(one, other)),
    ]
}

impl Change {
    fn apply(&self, bytes: &mut Vec<u8>) {
        if bytes.is_empty() {
            return;
        }
        match self {
            Self::Truncate(at) => bytes.truncate(at.index(bytes.len())),
            Self::Cut(at, length) => {
                let from = at.index(bytes.len());
                bytes.drain(from..(from + length).min(bytes.len()));
            }
            Self::Insert(at, text) => {
                let at = at.index(bytes.len());
                bytes.splice(at..at, text.bytes());
            }
            Self::Byte(at, byte) => {
                let at = at.index(bytes.len());
                bytes[at] = *byte;
            }
            Self::Value(..) | Self::Double(..) | Self::Swap(..) => self.apply_to_lines(bytes),
        }
    }

    fn apply_to_lines(&self, bytes: &mut Vec<u8>) {
        let mut lines: Vec<Vec<u8>> = bytes
            .split(|byte| *byte == b'\n')
            .map(<[u8]>::to_vec)
            .collect();
        match self {
            Self::Value(at, text) => {
                let at = at.index(lines.len());
                let line = &mut lines[at];
                let key = line
                    .iter()
                    .position(|byte| *byte == b'=')
                    .map_or(0, |equals| equals + 1);
                line.truncate(key);
                line.extend(text.bytes());
            }
            Self::Double(at) => {
                let at = at.index(lines.len());
                lines.insert(at, lines[at].clone());
            }
            Self::Swap(one, other) => {
                let (one, other) = (one.index(lines.len()), other.index(lines.len()));
                lines.swap(one, other);
            }
            _ => unreachable!("the others change bytes"),
        }
        *bytes = lines.join(&b'\n');
    }
}

/// Every fault stands at a place that its file has, and shows nothing that steers a terminal.
fn placed(folder: &std::path::Path, faults: &Faults) {
    assert!(!faults.0.is_empty(), "a refusal has a reason");
    for fault in &faults.0 {
        let bytes = std::fs::read(folder.join(&fault.file)).expect("a file of the folder");
        let line = bytes
            .split(|byte| *byte == b'\n')
            .nth(fault.line.wrapping_sub(1));
        let line = line.unwrap_or_else(|| panic!("{fault}: no such line"));
        let columns = String::from_utf8_lossy(line).chars().count() + 1;
        assert!(
            (1..=columns).contains(&fault.column),
            "{fault}: no such column"
        );
        let text = fault.to_string();
        assert_eq!(text, rigday::domain::text::shown(&text));
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 600, failure_persistence: None, ..ProptestConfig::default()
    })]

    #[test]
    fn a_spoilt_file_is_refused_at_a_place_or_can_be_compiled(
        files in select(vec![SMALL, SMALL, SMALL, DEMO]),
        changes in proptest::collection::vec((0_usize..5, change()), 1..4),
    ) {
        let folder = tempfile::tempdir().expect("a temporary folder");
        let mut texts = files.map(|(_, text)| text.as_bytes().to_vec());
        for (file, change) in &changes {
            change.apply(&mut texts[*file]);
        }
        for ((name, _), bytes) in files.iter().zip(&texts) {
            std::fs::write(folder.path().join(name), bytes).expect("a file");
        }
        match read(folder.path()) {
            Err(faults) => placed(folder.path(), &faults),
            Ok(read) => {
                let problem = compile(&read.lab, &Facts::default(), Minute::new(START));
                prop_assert_eq!(problem.requests.len(), read.lab.requests.len());
                prop_assert!(problem.requests.iter().all(|request| !request.steps.is_empty()));
            }
        }
    }
}
