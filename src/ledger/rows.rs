//! Rows of the file as they are read, and what its errors mean.

use super::chain::Hash;
use super::record::Row;
use rusqlite::ErrorCode;

/// A row with its hashes.
pub(super) struct Sealed {
    pub(super) row: Row,
    pub(super) link: Hash,
}

/// True where the file itself is damaged.
pub(super) fn is_damage(error: &rusqlite::Error) -> bool {
    let damage = [ErrorCode::DatabaseCorrupt, ErrorCode::NotADatabase];
    error
        .sqlite_error_code()
        .is_some_and(|code| damage.contains(&code))
}

/// What is said of a damaged file.
pub(super) fn damaged(why: &str) -> String {
    format!(
        "the file is damaged ({why}), and nothing more is written to it; `rigday doctor` has the way back to a backup"
    )
}

/// Of a row with all columns.
pub(super) fn sealed(row: &rusqlite::Row<'_>) -> rusqlite::Result<Sealed> {
    let seq: i64 = row.get(0)?;
    let own = Row {
        seq: u64::try_from(seq).map_err(|_| rusqlite::Error::IntegralValueOutOfRange(0, seq))?,
        id: row.get(1)?,
        ledger: row.get(2)?,
        site: row.get(3)?,
        happened_ms: row.get(4)?,
        recorded_ms: row.get(5)?,
        zone: row.get(6)?,
        offset_min: row.get(7)?,
        uid: row.get(8)?,
        login: row.get(9)?,
        person: row.get(10)?,
        host: row.get(11)?,
        session: row.get(12)?,
        program: row.get(13)?,
        clock_back: row.get(14)?,
        kind: row.get(15)?,
        ver: row.get(16)?,
        body: row.get(17)?,
    };
    Ok(Sealed {
        row: own,
        link: row.get(19)?,
    })
}
