//! What can be said of a ledger's health, beyond its chain.

use super::sqlite::SqliteLedger;
use super::{Ledger, LedgerError, open};
use crate::domain::Seq;

/// A write-ahead log above this many bytes means that something keeps it from being merged.
const LARGE_LOG: u64 = 64 << 20;

/// How to go on from a backup, for whoever stands before a damaged ledger.
pub const WAY_BACK: &str = "\
The way back to a backup:
 1. Let nobody record: everyone leaves rigday.
 2. Keep what is there: move rigday.db, rigday.db-wal and rigday.db-shm together into a folder of their own.
 3. Check the newest backup: rigday verify --ledger BACKUP
    Where it is not good either, take the one before it.
 4. Copy it into its place: cp BACKUP rigday.db && chmod 660 rigday.db
 5. rigday log --plain of the old files shows what the backup lacks; enter that again, with --now and --late.
 6. Each user whose program now says ALARM: rigday head --accept";

/// One thing that was looked at.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum Finding {
    /// Good.
    Good(String),
    /// To be looked after.
    Warning(String),
    /// Not to be worked with.
    Bad(String),
}

impl SqliteLedger {
    /// Looks at everything that can be looked at without changing it.
    pub fn health(&self) -> Vec<Finding> {
        let mut all = vec![self.settings()];
        all.push(self.log_size());
        let report = self.verify(&self.remembered_head().into_iter().collect::<Vec<_>>());
        if report.faults.is_empty() {
            all.push(Finding::Good(format!(
                "{} events: chain, file and remembered head agree",
                report.events
            )));
        }
        for (seq, why) in report.faults {
            all.push(Finding::Bad(match seq {
                Some(Seq(seq)) => format!("event {seq}: {why}"),
                None => why,
            }));
        }
        all.push(match open::writable(self.path()) {
            Ok(()) => Finding::Good("its folder and its disk are fit for writing".to_owned()),
            Err(error) => Finding::Warning(format!("for reading only: {error}")),
        });
        all.extend(self.warnings().into_iter().map(Finding::Warning));
        all
    }

    fn settings(&self) -> Finding {
        let mode = self
            .connection()
            .query_row("PRAGMA journal_mode", (), |row| row.get::<_, String>(0));
        match mode {
            Ok(mode) if mode == "wal" => {
                Finding::Good(format!("write-ahead log; SQLite {}", rusqlite::version()))
            }
            Ok(mode) => Finding::Warning(format!(
                "journal mode {mode}: this is a copy, or nobody has written it yet"
            )),
            Err(error) => Finding::Bad(LedgerError::from(error).to_string()),
        }
    }

    /// How long the write-ahead log is. Its length is asked by name: opening it here would drop locks.
    fn log_size(&self) -> Finding {
        let mut log = self.path().to_owned().into_os_string();
        log.push("-wal");
        let bytes = std::fs::symlink_metadata(&log).map_or(0, |found| found.len());
        let text = format!("the write-ahead log has {} kB", bytes.div_ceil(1024));
        if bytes > LARGE_LOG {
            let cause = "some program keeps the ledger open and reads on and on; end it";
            Finding::Warning(format!("{text}: {cause}"))
        } else {
            Finding::Good(text)
        }
    }
}
