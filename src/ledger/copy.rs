//! Copies of a ledger in use: whole, verified, and in their place only then.

use super::open::{absolute, connect, inspect, into_place, remove_half};
use super::sqlite::SqliteLedger;
use super::{Head, Ledger, LedgerError};
use std::fs::OpenOptions;
use std::os::unix::fs::OpenOptionsExt;
use std::path::{Path, PathBuf};

/// Copies the ledger to a new file, which appears only once it has been verified.
pub(super) fn copy(ledger: &SqliteLedger, dest: &Path) -> Result<Head, LedgerError> {
    let dest = absolute(dest)?;
    if std::fs::symlink_metadata(&dest).is_ok() {
        return Err(LedgerError::Unsafe {
            path: dest.display().to_string(),
            why: "it is there already; a copy goes over nothing".to_owned(),
        });
    }
    let mut half = dest.clone().into_os_string();
    half.push(format!(".{:08x}.half", getrandom::u32().unwrap_or(0)));
    let half = PathBuf::from(half);
    let made = fill(ledger, &half).and_then(|head| into_place(&half, &dest).map(|()| head));
    if made.is_err() {
        remove_half(&half);
    }
    made
}

/// The copy under its first name, closed and verified; its head.
fn fill(ledger: &SqliteLedger, half: &Path) -> Result<Head, LedgerError> {
    OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(0o640)
        .custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed())
        .open(half)?;
    let mut target = connect(half, false)?;
    {
        let backup = rusqlite::backup::Backup::new(ledger.connection(), &mut target)?;
        // In one step: in several, each write of somebody else would begin it anew.
        match backup.step(-1)? {
            rusqlite::backup::StepResult::Done => {}
            other => {
                return Err(LedgerError::Unsafe {
                    path: half.display().to_string(),
                    why: format!("the ledger could not be copied: {other:?}; try again"),
                });
            }
        }
    }
    // A copy is one file: without a log beside it, it can be looked at wherever it lies.
    target.query_row("PRAGMA journal_mode = DELETE", (), |_| Ok(()))?;
    drop(target);
    let twin = inspect(half, ledger.env().clone())?;
    // Whoever was asked for it says so even where it could not be done: the file itself is asked.
    let mode = twin
        .connection()
        .query_row("PRAGMA journal_mode", (), |row| row.get::<_, String>(0))?;
    let report = twin.verify(&[]);
    let fault = report.faults.into_iter().next();
    if let Some((seq, why)) = fault {
        return Err(LedgerError::Damaged {
            seq: seq.unwrap_or_default().0,
            why,
        });
    }
    if mode != "delete" {
        return Err(LedgerError::Unsafe {
            path: half.display().to_string(),
            why: format!("the copy stays in mode {mode}"),
        });
    }
    twin.head()
}
