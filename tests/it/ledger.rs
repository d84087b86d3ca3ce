//! What the ledger promises, each test with the number of its promise or fault.

mod crowd;
mod damage;
mod disk;
mod files;
mod flips;
mod forgeries;
mod heads;
mod kill;
mod long_past;
mod memory;
mod migration;
mod model;
mod others;
mod paced;
mod power;
mod reader;
mod reads;
mod roles;
mod tap;

use crate::support::events::{new_event, note, still_env};
use rigday::ledger::{Env, Ledger, Outcome, SqliteLedger, create};
use rusqlite::Connection;
use std::path::{Path, PathBuf};
use std::process::Command;
use tempfile::TempDir;

/// Set in a process that a test has started for itself: the seed.
const ALONE: &str = "RIGDAY_TEST_ALONE";

/// How large a fault test is: small among all other tests, as `TEST_FAULTS` says (`quick`, `full`) or
/// `TEST_FULL`.
pub(crate) fn size(small: u64, quick: u64, full: u64) -> u64 {
    let asked = variable("TEST_FAULTS").unwrap_or_default();
    match asked.as_str() {
        "full" => full,
        "quick" => quick,
        _ if std::env::var_os("TEST_FULL").is_some() => full,
        _ => small,
    }
}

/// The seed of a random test: as `TEST_SEED` says, so that it can be had again.
pub(crate) fn seed() -> u64 {
    let asked = variable("TEST_SEED");
    let seed = asked.and_then(|text| text.parse().ok());
    seed.unwrap_or(u64::from(std::process::id()))
}

/// A variable of the environment, which says how a test is to run.
fn variable(name: &str) -> Option<String> {
    std::env::var_os(name)?.into_string().ok()
}

/// Runs the body of a test in a process of its own, as it changes things for the whole process.
#[expect(clippy::print_stdout, reason = "figures and seeds are told")]
fn alone(name: &str, body: impl FnOnce(u64)) {
    if let Some(seed) = variable(ALONE) {
        return body(seed.parse().expect("a seed"));
    }
    let seed = seed();
    println!("TEST_SEED={seed}");
    let own = std::env::current_exe().expect("this test");
    let output = Command::new(own)
        .args(["--exact", name, "--nocapture"])
        .env(ALONE, seed.to_string())
        .output()
        .expect("a process of its own");
    let said = String::from_utf8_lossy(&output.stdout);
    let lines: Vec<&str> = said.lines().collect();
    let few = lines.len().saturating_sub(40);
    println!("{}", lines[few..].join("\n"));
    let err = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "TEST_SEED={seed}\n{err}");
    assert!(said.contains("1 passed"), "no test is called {name}");
}

/// A folder for one ledger.
struct Place {
    folder: TempDir,
}

impl Place {
    fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    fn path(&self) -> PathBuf {
        self.folder.path().join("rigday.db")
    }

    /// A place with a ledger of that many notes, and the ledger, open.
    fn with_notes(count: u128) -> (Self, SqliteLedger) {
        let place = Self::new();
        let (env, _) = still_env(9);
        let mut ledger = create(&place.path(), env).expect("a new ledger");
        for id in 1..=count {
            let outcome = ledger.append(&[], &[new_event(id, note(&format!("note {id}")))]);
            assert!(matches!(outcome, Outcome::Recorded { .. }), "{outcome:?}");
        }
        (place, ledger)
    }
}

fn open(path: &Path, env: Env) -> SqliteLedger {
    rigday::ledger::open(path, env).expect("a good ledger")
}

/// A connection that knows nothing of the ledger's rules: what anybody with a tool for such files has.
#[expect(
    clippy::disallowed_methods,
    reason = "the tests play the stranger who goes past the ledger"
)]
fn stranger(path: &Path) -> Connection {
    Connection::open(path).expect("a connection")
}
