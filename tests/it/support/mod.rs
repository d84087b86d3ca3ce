//! What many tests need.

pub(crate) mod events;
pub(crate) mod exact;
pub(crate) mod parts;
pub(crate) mod program;
pub(crate) mod pty;
pub(crate) mod random;
pub(crate) mod random_lab;
pub(crate) mod stage;
pub(crate) mod tiny_lab;
pub(crate) mod tmux;
pub(crate) mod wide_lab;

use rigday::checker::check;
use rigday::domain::Lab;
use rigday::problem::{Plan, Problem};

/// A lab from the texts of its files, through the real reader.
pub(crate) fn lab_from_files(files: &[(&str, String)]) -> Lab {
    let folder = tempfile::tempdir().expect("a temporary folder");
    for (name, text) in files {
        std::fs::write(folder.path().join(name), text).expect("a file");
    }
    match rigday::lab::read(folder.path()) {
        Ok(read) => read.lab,
        Err(faults) => panic!("the test's lab has faults:\n{faults}"),
    }
}

/// The checker finds nothing.
pub(crate) fn check_clean(problem: &Problem, plan: &Plan) {
    let clashes = check(problem, plan);
    let texts: Vec<String> = clashes
        .iter()
        .map(|clash| format!("{} {}", clash.rule.name(), clash.text))
        .collect();
    assert!(texts.is_empty(), "clashes:\n{}", texts.join("\n"));
}

/// The lab of the demo.
pub(crate) fn demo_lab() -> Lab {
    let folder = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("demo-lab");
    rigday::lab::read(&folder)
        .expect("the demo lab has no fault")
        .lab
}
