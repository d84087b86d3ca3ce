//! An event as it is read from the file: without what only the check of the chain asks for.

use super::LedgerError;
use super::form::Body;
use super::quick;
use super::record::{FORM, kind};
use crate::domain::{Actor, Event, EventBody, EventId, Minute, Seq};
use rusqlite::{Connection, Row};
use std::sync::Arc;

/// The columns that an event is read from, in the order in which they are read.
const TOLD: &str = "seq, id, happened_ms, recorded_ms, uid, login, person, host, session, clock_back, kind, ver, body";

/// The fields of a row that an event has.
pub(super) struct Told<'r> {
    pub(super) seq: u64,
    pub(super) id: [u8; 16],
    pub(super) happened_ms: i64,
    pub(super) recorded_ms: i64,
    pub(super) uid: i64,
    pub(super) login: &'r str,
    pub(super) person: &'r str,
    pub(super) host: &'r str,
    pub(super) session: &'r str,
    pub(super) clock_back: i64,
    pub(super) kind: &'r str,
    pub(super) ver: i64,
    pub(super) body: &'r str,
}

impl<'r> Told<'r> {
    /// Of a row with the columns of [`TOLD`].
    fn of(row: &'r Row<'_>) -> rusqlite::Result<Self> {
        let seq: i64 = row.get(0)?;
        Ok(Self {
            seq: u64::try_from(seq)
                .map_err(|_| rusqlite::Error::IntegralValueOutOfRange(0, seq))?,
            id: row.get(1)?,
            happened_ms: row.get(2)?,
            recorded_ms: row.get(3)?,
            uid: row.get(4)?,
            login: text(row, 5)?,
            person: text(row, 6)?,
            host: text(row, 7)?,
            session: text(row, 8)?,
            clock_back: row.get(9)?,
            kind: text(row, 10)?,
            ver: row.get(11)?,
            body: text(row, 12)?,
        })
    }

    /// The event; of one actor after another that are the same only one is kept, which is `last`.
    pub(super) fn event(&self, last: &mut Option<Arc<Actor>>) -> Result<Event, LedgerError> {
        let damaged = |why: String| LedgerError::Damaged { seq: self.seq, why };
        if self.ver != FORM {
            return Err(damaged(format!("version {} is not known", self.ver)));
        }
        let body = if let Some(body) = quick::body(self.kind, self.body) {
            body
        } else {
            let body: Body =
                serde_json::from_str(self.body).map_err(|error| damaged(error.to_string()))?;
            EventBody::from(body)
        };
        let own = kind(&body);
        if own != self.kind {
            return Err(damaged(format!("it says {}, and holds {own}", self.kind)));
        }
        Ok(Event {
            seq: Seq(self.seq),
            id: EventId(self.id),
            happened: Minute::new(self.happened_ms.div_euclid(60_000)),
            recorded_ms: self.recorded_ms,
            clock_back: self.clock_back != 0,
            actor: self.actor(last),
            body,
        })
    }

    fn actor(&self, last: &mut Option<Arc<Actor>>) -> Arc<Actor> {
        let uid = u32::try_from(self.uid).unwrap_or(u32::MAX);
        let is_same = |own: &&Arc<Actor>| {
            (own.uid, &*own.person, &*own.session) == (uid, self.person, self.session)
                && (&*own.login, &*own.host) == (self.login, self.host)
        };
        if let Some(own) = last.as_ref().filter(is_same) {
            return Arc::clone(own);
        }
        let own = Arc::new(Actor {
            uid,
            login: self.login.to_owned(),
            person: self.person.to_owned(),
            host: self.host.to_owned(),
            session: self.session.to_owned(),
        });
        *last = Some(Arc::clone(&own));
        own
    }
}

/// A column that holds a text, whatever may stand in the file.
fn text<'r>(row: &'r Row<'_>, column: usize) -> rusqlite::Result<&'r str> {
    let found = row.get_ref(column)?;
    found.as_str().map_err(|error| {
        rusqlite::Error::FromSqlConversionFailure(column, found.data_type(), Box::new(error))
    })
}

/// The events that `rest` of a statement finds.
pub(super) fn events(
    connection: &Connection,
    rest: &str,
    args: impl rusqlite::Params,
) -> Result<Vec<Event>, LedgerError> {
    let sql = format!("SELECT {TOLD} FROM event {rest}");
    let mut statement = connection.prepare_cached(&sql)?;
    let mut rows = statement.query(args)?;
    let (mut events, mut actor) = (Vec::new(), None);
    while let Some(row) = rows.next()? {
        events.push(Told::of(row)?.event(&mut actor)?);
    }
    Ok(events)
}
