//! A ledger in a file.

use super::chain::{Hash, NO_LINK, leaf, link};
use super::daily::Daily;
use super::env::Env;
use super::permit::{Asked, Decision, Rows};
use super::record::{COLUMNS, Row};
use super::rows::{Sealed, damaged, sealed};
use super::verify::{check_links, link_at};
use super::{Expect, Head, Ledger, LedgerError, Outcome, Report};
use super::{ahead, copy, open, read_in_batches, told};
use crate::domain::event::Subject;
use crate::domain::roles::Roles;
use crate::domain::{Event, EventId, NewEvent, Seq};
use rusqlite::config::DbConfig;
use rusqlite::{Connection, ErrorCode, OptionalExtension};
use std::cell::{Cell, RefCell};
use std::path::{Path, PathBuf};
use std::time::Duration;

/// How long nothing is written before the log is merged into the file.
const AT_REST: Duration = Duration::from_secs(1);
/// How often the head is remembered where others write.
const REMEMBER: Duration = Duration::from_secs(10);
/// Who has written within this time lets others go first.
const JUST_NOW: Duration = Duration::from_millis(20);
/// For so long.
const AFTER_YOU: Duration = Duration::from_millis(1);

/// Events in a file, safe against kill and power cut once they are said to be recorded.
pub struct SqliteLedger {
    connection: Connection,
    env: Env,
    path: PathBuf,
    id: [u8; 16],
    /// What may be done on the connection.
    state: State,
    /// Roles as far as they were read.
    roles: Roles,
    /// Events of which it is unknown whether they are on disk.
    in_doubt: Vec<EventId>,
    /// The last own append that is not merged into the file yet, by the clock that never goes back.
    written: Cell<Option<Duration>>,
    /// The head that was kept last, and when.
    kept: RefCell<Option<(Head, Duration)>>,
    /// Why the head could not be kept.
    trouble: RefCell<Option<String>>,
    /// The event that the user has seen and that is not on the chain any more.
    cut_off: Option<u64>,
    /// The file's own check.
    daily: RefCell<Daily>,
}

/// What may be done on a connection.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
enum State {
    /// Looking only.
    ReadOnly,
    /// Everything.
    Good,
    /// Nothing is written any more, not even by closing, until the file is opened anew.
    Broken,
}

impl SqliteLedger {
    /// Takes over a connection to a file that is ours, for looking only at first.
    pub(super) fn new(
        connection: Connection,
        env: Env,
        path: PathBuf,
    ) -> Result<Self, LedgerError> {
        let id =
            connection.query_row("SELECT id FROM ledger", (), |row| row.get::<_, [u8; 16]>(0))?;
        let mut ledger = Self {
            connection,
            env,
            path,
            id,
            state: State::ReadOnly,
            roles: Roles::default(),
            in_doubt: Vec::new(),
            written: Cell::new(None),
            kept: RefCell::new(None),
            trouble: RefCell::new(None),
            cut_off: None,
            daily: RefCell::default(),
        };
        ledger.recall();
        Ok(ledger)
    }

    /// The last `links` links must fit.
    pub(super) fn check_end(&self, links: u64) -> Result<(), LedgerError> {
        let last = self.last()?.map_or(0, |last| last.row.seq);
        let mut report = Report::default();
        check_links(
            &self.connection,
            self.id,
            last.saturating_sub(links),
            &mut report,
        )?;
        match report.faults.into_iter().next() {
            None => Ok(()),
            Some((seq, why)) => Err(LedgerError::Damaged {
                seq: seq.unwrap_or_default().0,
                why,
            }),
        }
    }

    /// Lets appends through.
    pub(super) fn begin_writing(&mut self) {
        self.state = State::Good;
    }

    pub(super) fn connection(&self) -> &Connection {
        &self.connection
    }

    pub(super) fn env(&self) -> &Env {
        &self.env
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    pub(super) fn id(&self) -> [u8; 16] {
        self.id
    }

    /// The event that the user has seen and that is not on the chain any more.
    pub fn cut_off(&self) -> Option<u64> {
        self.cut_off
    }

    /// The head that the user's folder remembers of this ledger.
    pub fn remembered_head(&self) -> Option<Head> {
        self.kept.borrow().as_ref().map(|(head, _)| head.clone())
    }

    /// Reads the remembered head and compares it with the chain.
    fn recall(&mut self) {
        let Some(heads) = &self.env.heads else {
            return;
        };
        match heads.recall(self.id) {
            Ok(Some(head)) => {
                let there = link_at(&self.connection, head.seq.0).ok().flatten();
                if there != Some(head.link) {
                    self.cut_off = Some(head.seq.0);
                }
                let now = self.env.clock.elapsed();
                *self.kept.borrow_mut() = Some((head, now));
            }
            Ok(None) => {}
            Err(error) => *self.trouble.borrow_mut() = Some(error.to_string()),
        }
    }

    /// Keeps the head in the user's folder, where it has moved.
    fn remember(&self) {
        let (Some(heads), None) = (&self.env.heads, self.cut_off) else {
            return;
        };
        let kept = self.head().and_then(|head| {
            let known = self.kept.borrow().as_ref().map(|(known, _)| known.seq);
            if known.is_none_or(|known| known < head.seq) {
                heads.remember(&head)?;
            }
            *self.kept.borrow_mut() = Some((head, self.env.clock.elapsed()));
            Ok(())
        });
        *self.trouble.borrow_mut() = kept
            .err()
            .map(|error| format!("how far you have seen the ledger could not be kept: {error}"));
    }

    /// Takes the head as it stands for the one to remember, whatever was remembered; that.
    ///
    /// # Errors
    /// Where there is no folder to keep it in, or it cannot be written.
    pub fn accept_head(&mut self) -> Result<Option<Head>, LedgerError> {
        let before = self.kept.borrow_mut().take().map(|(head, _)| head);
        let head = self.head()?;
        let heads = self.env.heads.as_ref().ok_or_else(|| LedgerError::Unsafe {
            path: self.path.display().to_string(),
            why: "there is no folder to remember its head in; set HOME".to_owned(),
        })?;
        heads.remember(&head)?;
        self.cut_off = None;
        *self.kept.borrow_mut() = Some((head, self.env.clock.elapsed()));
        Ok(before)
    }

    /// What the file's own check has found, and what is to be done.
    fn damage(&self) -> Option<String> {
        let found = self.daily.borrow().damage()?;
        Some(damaged(&found))
    }

    /// What is due when nobody writes: merging the log, and remembering the head.
    fn rest(&self) {
        let now = self.env.clock.elapsed();
        let due = |since: Duration, wait: Duration| now.saturating_sub(since) >= wait;
        if self.written.get().is_some_and(|since| due(since, AT_REST)) {
            self.written.set(None);
            // What others still read is merged another time.
            let _merged = self
                .connection
                .execute_batch("PRAGMA wal_checkpoint(PASSIVE)");
        }
        if let Some(heads) = &self.env.heads {
            let now_ms = self.env.clock.now_ms();
            let mut daily = self.daily.borrow_mut();
            daily.begin(&self.path, self.id, heads, now_ms);
        }
        let kept = self.kept.borrow().as_ref().map(|(_, since)| *since);
        if kept.is_none_or(|since| due(since, REMEMBER)) {
            self.remember();
        }
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

    /// The events that `rest` of a statement finds, by seq.
    pub(super) fn events_where(
        &self,
        rest: &str,
        args: impl rusqlite::Params,
    ) -> Result<Vec<Event>, LedgerError> {
        told::events(&self.connection, &format!("{rest} ORDER BY seq"), args)
    }

    /// Reads the roles as they stand now.
    fn read_roles(&mut self) -> Result<(), LedgerError> {
        let seen = self.roles.seen();
        if seen == Seq(0)
            && let Some(first) = self.one("WHERE seq = ?1", [1])?
        {
            self.roles.take(&first.row.event()?);
        }
        let rest =
            "INDEXED BY event_roles WHERE kind IN ('role_granted', 'role_revoked') AND seq > ?1";
        let after = i64::try_from(seen.0).unwrap_or(i64::MAX);
        for event in self.events_where(rest, [after])? {
            self.roles.take(&event);
        }
        Ok(())
    }

    /// Whoever waits for the lock asks for it now and then only: a writer that comes again at once would always
    /// be faster, and the others would wait for seconds.
    fn let_others_go_first(&self) {
        let since = |written| self.env.clock.elapsed().saturating_sub(written);
        // A clock that stands still tells nothing.
        if let Some(since) = self.written.get().map(since)
            && since > Duration::ZERO
            && since < JUST_NOW
        {
            std::thread::sleep(AFTER_YOU);
        }
    }

    /// One immediate transaction around deciding and inserting. Before the commit nothing has happened;
    /// only a commit that fails leaves it open whether the events are on disk.
    fn try_append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        if let Err(error) = self.connection.execute_batch("BEGIN IMMEDIATE") {
            return self.not_recorded(&error.into());
        }
        let (outcome, wrote) = match self.in_transaction(expect, events) {
            Ok(decided) => decided,
            Err(error) => (self.not_recorded(&error), false),
        };
        let end = if wrote { "COMMIT" } else { "ROLLBACK" };
        match self.connection.execute_batch(end) {
            Ok(()) => outcome,
            Err(error) => {
                self.state = State::Broken;
                if matches!(outcome, Outcome::Recorded { .. }) {
                    self.in_doubt = events.iter().map(|event| event.id).collect();
                    return Outcome::Unknown {
                        why: error.to_string(),
                    };
                }
                outcome
            }
        }
    }

    /// The answer, and whether anything was written.
    fn in_transaction(
        &mut self,
        expect: &[Expect],
        events: &[NewEvent],
    ) -> Result<(Outcome, bool), LedgerError> {
        let version: i64 = self
            .connection
            .pragma_query_value(None, "user_version", |row| row.get(0))?;
        if version != open::VERSION {
            let why =
                format!("the ledger was brought to version {version} meanwhile; start rigday anew");
            return Ok((Outcome::Refused { why }, false));
        }
        self.read_roles()?;
        let asked = Asked {
            rows: self,
            roles: &self.roles,
            env: &self.env,
            expect,
            events,
        };
        Ok(match asked.decide()? {
            Decision::Answer(outcome) => (outcome, false),
            Decision::Forbidden { attempt, why } => {
                if let Some(attempt) = &attempt {
                    self.insert_all(std::slice::from_ref(&**attempt))?;
                }
                (Outcome::Refused { why }, attempt.is_some())
            }
            Decision::Go => {
                let first = self.insert_all(events)?;
                (Outcome::Recorded { first }, true)
            }
        })
    }

    /// Inserts events at the end; the seq of the first.
    fn insert_all(&self, events: &[NewEvent]) -> Result<Seq, LedgerError> {
        let last = self.last()?;
        let first = last
            .as_ref()
            .map_or(0, |last| last.row.seq)
            .saturating_add(1);
        let mut before = last.as_ref().map_or(NO_LINK, |last| last.link);
        let mut last_ms = last.as_ref().map_or(i64::MIN, |last| last.row.recorded_ms);
        for (seq, event) in (first..).zip(events) {
            let row = Row::of(event, seq, self.id, last_ms, &self.env);
            let own = leaf(&row);
            before = link(&before, &own);
            last_ms = row.recorded_ms;
            self.insert(&row, &own, &before)?;
        }
        Ok(Seq(first))
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

    /// The answer where the file could not be opened anew.
    fn still_in_doubt(&self, events: &[NewEvent], why: String) -> Outcome {
        if events.iter().any(|own| self.in_doubt.contains(&own.id)) {
            Outcome::Unknown { why }
        } else {
            Outcome::NotRecorded { why }
        }
    }

    /// What an error before the commit means: nothing was recorded; after a failure of the disk nothing
    /// more is tried on this connection.
    fn not_recorded(&mut self, error: &LedgerError) -> Outcome {
        let code = match error {
            LedgerError::Store(rusqlite::Error::SqliteFailure(failure, _)) => Some(failure.code),
            _ => None,
        };
        let why = match code {
            Some(ErrorCode::DatabaseBusy | ErrorCode::DatabaseLocked) => super::BUSY.to_owned(),
            Some(ErrorCode::ReadOnly) => "the ledger may only be read".to_owned(),
            Some(ErrorCode::ConstraintViolation) => error.to_string(),
            Some(ErrorCode::DatabaseCorrupt | ErrorCode::NotADatabase) => {
                self.state = State::ReadOnly;
                damaged(&error.to_string())
            }
            _ => {
                self.state = State::Broken;
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

    fn last_row(&self) -> Result<Option<Row>, LedgerError> {
        Ok(self.last()?.map(|own| own.row))
    }
}

impl Ledger for SqliteLedger {
    fn append(&mut self, expect: &[Expect], events: &[NewEvent]) -> Outcome {
        if let Some(why) = self.damage() {
            return Outcome::NotRecorded { why };
        }
        match self.state {
            State::Good => {}
            State::ReadOnly => {
                let why = "the ledger is open for reading only".to_owned();
                return Outcome::NotRecorded { why };
            }
            State::Broken => match open::open_anew(&self.path, self.env.clone()) {
                Ok(fresh) if fresh.id == self.id => *self = fresh,
                Ok(_) => {
                    let why = "another ledger lies in its place now; start rigday anew".to_owned();
                    return self.still_in_doubt(events, why);
                }
                Err(error) => return self.still_in_doubt(events, error.to_string()),
            },
        }
        self.let_others_go_first();
        let outcome = self.try_append(expect, events);
        if matches!(outcome, Outcome::Recorded { .. }) {
            self.written.set(Some(self.env.clock.elapsed()));
            self.remember();
        }
        outcome
    }

    fn read(&self, after: Seq, limit: u32) -> Result<Vec<Event>, LedgerError> {
        let from = i64::try_from(after.0).unwrap_or(i64::MAX);
        let rest = "WHERE seq > ?1 ORDER BY seq LIMIT ?2";
        let events = told::events(&self.connection, rest, (from, limit))?;
        if events.is_empty() && self.state != State::Broken {
            self.rest();
            if let Some(why) = self.damage() {
                let path = self.path.display().to_string();
                return Err(LedgerError::Unsafe { path, why });
            }
        }
        Ok(events)
    }

    fn read_on(
        &self,
        after: Seq,
        take: &mut dyn FnMut(Vec<Event>) -> Result<(), LedgerError>,
    ) -> Result<(), LedgerError> {
        let at = ahead::read_ahead(self, after, self.head()?.seq, take)?;
        read_in_batches(self, at, take)
    }

    fn history(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        self.history_of(of)
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
            waited = waited.saturating_add(STEP);
        }
    }

    fn hurry(&mut self) -> Result<(), LedgerError> {
        self.daily.borrow_mut().wanted = true;
        open::hurry(&mut self.connection)
    }

    fn copy_to(&self, dest: &Path) -> Result<Head, LedgerError> {
        copy::copy(self, dest)
    }

    fn verify(&self, known: &[Head]) -> Report {
        self.whole_report(known)
    }

    fn warnings(&self) -> Vec<String> {
        let mut all = Vec::new();
        if let Some(seq) = self.cut_off {
            let path = self.path.display().to_string();
            all.push(LedgerError::CutOff { path, seq }.to_string());
        }
        all.extend(self.trouble.borrow().clone());
        let last = self.last().ok().flatten();
        let behind = last.map_or(0, |last| {
            last.row.recorded_ms.saturating_sub(self.env.clock.now_ms())
        });
        if behind > 0 {
            all.push(format!(
                "the host's clock stands {} min before the last event; check it",
                (behind / 60_000).saturating_add(1)
            ));
        }
        all
    }
}

impl Drop for SqliteLedger {
    /// What is still in the write-ahead log moves to the file; where that fails nothing is lost.
    fn drop(&mut self) {
        if self.state == State::Broken {
            return;
        }
        self.remember();
        if self.state == State::ReadOnly {
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
