//! A ledger in a file.

use super::chain::{Hash, NO_LINK, leaf, link};
use super::env::Env;
use super::memory::{Rows, objection, unknown_heads};
use super::open::{copy_target, finish_copy};
use super::record::{Row, VERSION};
use super::{Expect, Head, Ledger, LedgerError, Outcome, Report};
use crate::domain::{Event, NewEvent, Seq};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OptionalExtension};
use std::path::Path;
use std::time::Duration;

const COLUMNS: &str = "seq, id, ledger, site, happened_ms, recorded_ms, zone, offset_min, uid, login, person, host, session, program, clock_back, kind, ver, body, leaf, link";

/// Events in a file, safe against kill and power cut once they are said to be recorded.
pub struct SqliteLedger {
    connection: Connection,
    env: Env,
    id: [u8; 16],
    /// True before the links were checked and after a failure of the disk: nothing is written then, not
    /// even by closing, until the ledger is opened anew.
    broken: bool,
}

/// A row with its hashes.
struct Sealed {
    row: Row,
    leaf: Hash,
    link: Hash,
}

impl SqliteLedger {
    /// Takes over a checked connection; the last `links` links must fit.
    pub(super) fn new(connection: Connection, env: Env, links: u64) -> Result<Self, LedgerError> {
        let id =
            connection.query_row("SELECT id FROM ledger", (), |row| row.get::<_, [u8; 16]>(0))?;
        let mut ledger = Self {
            connection,
            env,
            id,
            broken: true,
        };
        let last = ledger.last()?.map_or(0, |last| last.row.seq);
        let from = last.saturating_sub(links);
        let mut report = Report::default();
        ledger.check_links(from, &mut report)?;
        if let Some((seq, why)) = report.faults.into_iter().next() {
            return Err(LedgerError::Damaged {
                seq: seq.unwrap_or_default().0,
                why,
            });
        }
        ledger.broken = false;
        Ok(ledger)
    }

    fn last(&self) -> Result<Option<Sealed>, LedgerError> {
        self.one("ORDER BY seq DESC LIMIT 1", ())
    }

    fn one(&self, rest: &str, args: impl rusqlite::Params) -> Result<Option<Sealed>, LedgerError> {
        let mut statement = self
            .connection
            .prepare_cached(&format!("SELECT {COLUMNS} FROM event {rest}"))?;
        Ok(statement.query_row(args, sealed).optional()?)
    }

    fn many(&self, after: u64, limit: u32) -> Result<Vec<Sealed>, LedgerError> {
        let sql = format!("SELECT {COLUMNS} FROM event WHERE seq > ?1 ORDER BY seq LIMIT ?2");
        let mut statement = self.connection.prepare_cached(&sql)?;
        let after = i64::try_from(after).unwrap_or(i64::MAX);
        let rows = statement.query_map((after, limit), sealed)?;
        Ok(rows.collect::<Result<_, _>>()?)
    }

    /// Checks every link after `from`, in batches.
    fn check_links(&self, from: u64, report: &mut Report) -> Result<(), LedgerError> {
        let start = self.one("WHERE seq = ?1", [i64::try_from(from).unwrap_or(0)])?;
        let (mut before, mut at) = (start.map_or(NO_LINK, |start| start.link), from);
        loop {
            let batch = self.many(at, 1000)?;
            if batch.is_empty() {
                return Ok(());
            }
            for own in batch {
                report.events += 1;
                let right = leaf(&own.row);
                let why = if own.row.seq != at + 1 {
                    Some("an event before it is missing")
                } else if own.row.ledger != self.id {
                    Some("it belongs to another ledger")
                } else if right != own.leaf {
                    Some("its content was altered")
                } else if link(&before, &right) != own.link {
                    Some("it does not follow the event before it")
                } else {
                    None
                };
                if let Some(why) = why {
                    report.faults.push((Some(Seq(own.row.seq)), why.to_owned()));
                    return Ok(());
                }
                before = own.link;
                at = own.row.seq;
            }
        }
    }

    /// One immediate transaction around deciding and inserting. Before the commit nothing has happened;
    /// only a commit that fails leaves it open whether the events are on disk.
    fn try_append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        if let Err(error) = self.connection.execute_batch("BEGIN IMMEDIATE") {
            return self.not_recorded(&error.into());
        }
        let decided = self.in_transaction(expect, events);
        if let Ok(outcome @ Outcome::Recorded { .. }) = decided {
            return match self.connection.execute_batch("COMMIT") {
                Ok(()) => outcome,
                Err(error) => {
                    self.broken = true;
                    Outcome::Unknown {
                        why: error.to_string(),
                    }
                }
            };
        }
        if self.connection.execute_batch("ROLLBACK").is_err() {
            self.broken = true;
        }
        decided.unwrap_or_else(|error| self.not_recorded(&error))
    }

    fn in_transaction(
        &self,
        expect: &[Expect],
        events: &[NewEvent],
    ) -> Result<Outcome, LedgerError> {
        let version: i64 = self
            .connection
            .pragma_query_value(None, "user_version", |row| row.get(0))?;
        if version != VERSION {
            let why =
                format!("the ledger was brought to version {version} meanwhile; start rigday anew");
            return Ok(Outcome::Refused { why });
        }
        if let Some(outcome) = objection(self, expect, events)? {
            return Ok(outcome);
        }
        let last = self.last()?;
        let first = last.as_ref().map_or(0, |last| last.row.seq) + 1;
        let mut before = last.as_ref().map_or(NO_LINK, |last| last.link);
        let mut last_ms = last.as_ref().map_or(i64::MIN, |last| last.row.recorded_ms);
        for (seq, event) in (first..).zip(events) {
            let row = Row::of(event, seq, self.id, last_ms, &self.env);
            let own = leaf(&row);
            before = link(&before, &own);
            last_ms = row.recorded_ms;
            self.insert(&row, &own, &before)?;
        }
        Ok(Outcome::Recorded { first: Seq(first) })
    }

    fn insert(&self, row: &Row, leaf: &Hash, link: &Hash) -> Result<(), LedgerError> {
        let marks: Vec<String> = (1..=20).map(|ix| format!("?{ix}")).collect();
        let sql = format!(
            "INSERT INTO event ({COLUMNS}) VALUES ({})",
            marks.join(", ")
        );
        let seq = i64::try_from(row.seq).unwrap_or(i64::MAX);
        self.connection
            .prepare_cached(&sql)?
            .execute(rusqlite::params![
                seq,
                &row.id[..],
                &row.ledger[..],
                row.site,
                row.happened_ms,
                row.recorded_ms,
                row.zone,
                row.offset_min,
                row.uid,
                row.login,
                row.person,
                row.host,
                row.session,
                row.program,
                row.clock_back,
                row.kind,
                row.ver,
                row.body,
                &leaf[..],
                &link[..],
            ])?;
        Ok(())
    }

    /// What an error before the commit means: nothing was recorded; after a failure of the disk nothing
    /// more is tried on this connection.
    fn not_recorded(&mut self, error: &LedgerError) -> Outcome {
        let code = match error {
            LedgerError::Store(rusqlite::Error::SqliteFailure(failure, _)) => Some(failure.code),
            _ => None,
        };
        let why = match code {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => {
                "the ledger is busy; try again".to_owned()
            }
            Some(ErrorCode::ReadOnly) => "the ledger may only be read".to_owned(),
            Some(ErrorCode::ConstraintViolation) => error.to_string(),
            _ => {
                self.broken = true;
                error.to_string()
            }
        };
        Outcome::NotRecorded { why }
    }
}

impl Rows for SqliteLedger {
    fn by_seq(&self, seq: u64) -> Result<Option<Row>, LedgerError> {
        let seq = i64::try_from(seq).unwrap_or(i64::MAX);
        Ok(self.one("WHERE seq = ?1", [seq])?.map(|own| own.row))
    }

    fn by_id(&self, id: [u8; 16]) -> Result<Option<Row>, LedgerError> {
        Ok(self.one("WHERE id = ?1", [&id[..]])?.map(|own| own.row))
    }

    fn after(&self, seq: u64) -> Result<Vec<Row>, LedgerError> {
        Ok(self
            .many(seq, u32::MAX)?
            .into_iter()
            .map(|own| own.row)
            .collect())
    }
}

impl Ledger for SqliteLedger {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        if self.broken {
            let why = "the disk failed before; start rigday anew".to_owned();
            return Outcome::NotRecorded { why };
        }
        self.try_append(expect, events)
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        self.many(after.0, limit)?
            .iter()
            .map(|own| own.row.event())
            .collect()
    }

    fn head(&self) -> Result<Head, LedgerError> {
        let last = self.last()?;
        let seq = Seq(last.as_ref().map_or(0, |last| last.row.seq));
        Ok(Head {
            ledger: self.id,
            seq,
            link: last.map_or(NO_LINK, |last| last.link),
        })
    }

    fn wait(&self, after: Seq, at_most: Duration) -> Result<Head, LedgerError> {
        const STEP: Duration = Duration::from_millis(20);
        let mut waited = Duration::ZERO;
        loop {
            let head = self.head()?;
            if head.seq > after || waited >= at_most {
                return Ok(head);
            }
            std::thread::sleep(STEP);
            waited += STEP;
        }
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        let half = dest.with_extension("half");
        let (mut target, half) = copy_target(&half)?;
        let copied = rusqlite::backup::Backup::new(&self.connection, &mut target)
            .and_then(|backup| backup.run_to_completion(256, Duration::ZERO, None));
        drop(target);
        if let Err(error) = copied {
            std::fs::remove_file(&half)?;
            return Err(error.into());
        }
        finish_copy(&half, dest)?;
        super::open_read_only(dest, self.env.clone())?.head()
    }

    fn verify(&self, known: &[Head]) -> Report {
        let mut report = Report::default();
        if let Err(error) = self.check_links(0, &mut report) {
            report.faults.push((None, error.to_string()));
        }
        let integrity: Result<String, _> =
            self.connection
                .query_row("PRAGMA integrity_check(1)", (), |row| row.get(0));
        match integrity {
            Ok(answer) if answer == "ok" => {}
            Ok(answer) => report.faults.push((None, answer)),
            Err(error) => report.faults.push((None, error.to_string())),
        }
        let link_at = |seq: u64| {
            if seq == 0 {
                Some(NO_LINK)
            } else {
                let seq = i64::try_from(seq).unwrap_or(i64::MAX);
                self.one("WHERE seq = ?1", [seq])
                    .ok()
                    .flatten()
                    .map(|own| own.link)
            }
        };
        report.faults.extend(unknown_heads(self.id, known, link_at));
        report
    }
}

impl Drop for SqliteLedger {
    /// What is still in the write-ahead log moves to the file; where that fails nothing is lost.
    fn drop(&mut self) {
        if self.broken {
            return;
        }
        let _merges = self
            .connection
            .set_db_config(DbConfig::SQLITE_DBCONFIG_NO_CKPT_ON_CLOSE, false);
        let _moved = self
            .connection
            .execute_batch("PRAGMA wal_checkpoint(TRUNCATE)");
    }
}

fn sealed(row: &rusqlite::Row<'_>) -> rusqlite::Result<Sealed> {
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
        leaf: row.get(18)?,
        link: row.get(19)?,
    })
}
