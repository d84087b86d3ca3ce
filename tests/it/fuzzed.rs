//! The targets of the fuzzer with the corpus that is kept of it, as a plain test.

#[path = "../fuzz/targets.rs"]
mod targets;

use std::path::Path;

/// A target by its name.
type Target = (&'static str, fn(&[u8]));

const TARGETS: [Target; 9] = [
    ("lab_toml", targets::lab_toml),
    ("csv", targets::csv),
    ("duration", targets::duration),
    ("instant", targets::instant),
    ("event_body", targets::event_body),
    ("shown", targets::shown),
    ("ledger_file", targets::ledger_file),
    ("badge", targets::badge),
    ("keys", targets::keys),
];

#[test]
fn f13_the_kept_corpus_breaks_nothing_down() {
    let corpus = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/fuzz/corpus");
    let names = |folder: &Path| {
        let entries = folder.read_dir().expect("a folder of the corpus");
        let mut names: Vec<_> = entries
            .map(|entry| entry.expect("an entry").path())
            .collect();
        names.sort();
        names
    };
    assert_eq!(
        names(&corpus).len(),
        TARGETS.len(),
        "every target has its corpus"
    );
    for (name, target) in TARGETS {
        let files = names(&corpus.join(name));
        assert!(!files.is_empty(), "{name}");
        for file in files {
            target(&std::fs::read(&file).expect("a file of the corpus"));
        }
    }
}
