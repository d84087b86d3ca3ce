//! What the ledger promises, each test with the number of its promise or fault.

mod files;
mod forgeries;
mod kill;
mod model;

use crate::support::events::{new_event, note, still_env};
use rigday::ledger::{Env, Ledger, Outcome, SqliteLedger, create};
use rusqlite::Connection;
use std::path::{Path, PathBuf};
use tempfile::TempDir;

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
