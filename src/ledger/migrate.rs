//! Bringing an older file to the version of this program: forward only, and events stay as they are.

use super::open::{VERSION, added};
use super::sqlite::SqliteLedger;
use super::{LedgerError, copy};
use std::path::PathBuf;

/// What version 2 adds: roles are found without reading everything.
pub(super) const ROLES_INDEX: [(&str, &str); 1] = [(
    "event_roles",
    "CREATE INDEX event_roles ON event (seq) WHERE kind IN ('role_granted', 'role_revoked')",
)];

/// Brings the file of an open ledger from version `found` to ours: first a copy beside it, then one
/// transaction.
pub(super) fn migrate(ledger: &SqliteLedger, found: i64) -> Result<(), LedgerError> {
    let copy_path = copy_path(ledger, found);
    // A copy that is there already was made whole by an attempt that was cut short after it.
    if std::fs::symlink_metadata(&copy_path).is_err() {
        copy::copy(ledger, &copy_path)?;
    }
    let connection = ledger.connection();
    connection.execute_batch("BEGIN IMMEDIATE")?;
    let done = upgrade(ledger);
    if done.is_err() {
        // The first error says more; closing the connection rolls back too.
        let _rolled_back = connection.execute_batch("ROLLBACK");
        return done;
    }
    connection.execute_batch("COMMIT")?;
    Ok(())
}

/// Where the copy from before lies.
fn copy_path(ledger: &SqliteLedger, found: i64) -> PathBuf {
    let mut path = ledger.path().to_owned().into_os_string();
    path.push(format!(".version-{found}"));
    PathBuf::from(path)
}

fn upgrade(ledger: &SqliteLedger) -> Result<(), LedgerError> {
    let connection = ledger.connection();
    let now: i64 = connection.pragma_query_value(None, "user_version", |row| row.get(0))?;
    if now >= VERSION {
        // Somebody else was faster.
        return Ok(());
    }
    for (_, sql) in added(now, VERSION) {
        connection.execute_batch(sql)?;
    }
    connection.pragma_update(None, "user_version", VERSION)?;
    Ok(())
}
