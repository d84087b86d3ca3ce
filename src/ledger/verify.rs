//! Checking the chain, the file, and what was remembered of it.

use super::chain::{Hash, NO_LINK, link, stored_leaf};
use super::permit::unknown_heads;
use super::record::COLUMNS;
use super::sqlite::SqliteLedger;
use super::{Head, LedgerError, Report};
use crate::domain::Seq;
use rusqlite::Connection;

/// Events that are checked at a time: a read transaction stays short, so that others can go on.
const BATCH: u32 = 2000;

/// Checks every link after `from`; the first that does not fit ends it.
pub(super) fn check_links(
    connection: &Connection,
    ledger: [u8; 16],
    from: u64,
    report: &mut Report,
) -> Result<(), LedgerError> {
    let sql = format!("SELECT {COLUMNS} FROM event WHERE seq > ?1 ORDER BY seq LIMIT {BATCH}");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut before = link_at(connection, from)?.unwrap_or(NO_LINK);
    let mut at = from;
    loop {
        let begun = at;
        let mut rows = statement.query([i64::try_from(at).unwrap_or(i64::MAX)])?;
        loop {
            let row = match rows.next() {
                Ok(Some(row)) => row,
                Ok(None) => break,
                Err(error) => {
                    let why = format!("it cannot be read: {error}");
                    report.faults.push((Some(Seq(at.saturating_add(1))), why));
                    return Ok(());
                }
            };
            report.events = report.events.saturating_add(1);
            let (seq, sealed) = match checked(row, ledger, at, &before) {
                Ok(good) => good,
                Err((seq, why)) => {
                    report.faults.push((Some(Seq(seq)), why));
                    return Ok(());
                }
            };
            (at, before) = (seq, sealed);
        }
        if at == begun {
            return Ok(());
        }
    }
}

/// The seq and link of a row that follows the one before it, or where it does not and why.
fn checked(
    row: &rusqlite::Row<'_>,
    ledger: [u8; 16],
    at: u64,
    before: &Hash,
) -> Result<(u64, Hash), (u64, String)> {
    let next = at.saturating_add(1);
    let unreadable = |error: rusqlite::Error| (next, format!("it cannot be read: {error}"));
    let seq: i64 = row.get(0).map_err(unreadable)?;
    let seq = u64::try_from(seq).map_err(|_| (next, format!("its number is {seq}")))?;
    let told = |why: &str| Err((seq, why.to_owned()));
    if seq != next {
        return Err((
            next,
            format!("it is missing; event {seq} stands in its place"),
        ));
    }
    if row.get::<_, [u8; 16]>(2).map_err(unreadable)? != ledger {
        return told("it belongs to another ledger");
    }
    let right = stored_leaf(row).map_err(unreadable)?;
    if right != row.get::<_, Hash>(18).map_err(unreadable)? {
        return told("its content was altered");
    }
    let sealed: Hash = row.get(19).map_err(unreadable)?;
    if link(before, &right) != sealed {
        return told("it does not follow the event before it");
    }
    Ok((seq, sealed))
}

/// The link of an event; that before the first is known too.
pub(super) fn link_at(connection: &Connection, seq: u64) -> Result<Option<Hash>, LedgerError> {
    use rusqlite::OptionalExtension;
    if seq == 0 {
        return Ok(Some(NO_LINK));
    }
    let mut statement = connection.prepare_cached("SELECT link FROM event WHERE seq = ?1")?;
    let seq = i64::try_from(seq).unwrap_or(i64::MAX);
    Ok(statement
        .query_row([seq], |row| row.get::<_, Hash>(0))
        .optional()?)
}

/// What the file's own check says, word by word; `None` where it is good.
fn file_fault(connection: &Connection) -> Option<String> {
    let answer = connection.query_row("PRAGMA integrity_check(1)", (), |row| {
        row.get::<_, String>(0)
    });
    match answer {
        Ok(answer) if answer == "ok" => None,
        Ok(answer) => Some(format!("the file: {answer}")),
        Err(error) => Some(format!("the file: {error}")),
    }
}

impl SqliteLedger {
    /// The whole chain, the file, and the heads. The file is checked beside the chain, on a connection of
    /// its own, where there is one to be had.
    pub(super) fn whole_report(&self, known: &[Head]) -> Report {
        let (mut report, file) = std::thread::scope(|scope| {
            let path = self.path();
            let file = scope.spawn(move || match super::open::second_look(path) {
                Ok(connection) => file_fault(&connection),
                Err(error) => Some(format!("the file: {error}")),
            });
            let mut report = Report::default();
            if let Err(error) = check_links(self.connection(), self.id(), 0, &mut report) {
                report.faults.push((None, error.to_string()));
            }
            let file = file.join().unwrap_or_else(|_| {
                Some("the file: its check broke down; run it again".to_owned())
            });
            (report, file)
        });
        report.faults.extend(file.map(|why| (None, why)));
        let link_at = |seq| link_at(self.connection(), seq).ok().flatten();
        report
            .faults
            .extend(unknown_heads(self.id(), known, link_at));
        report
    }
}
