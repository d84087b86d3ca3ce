//! Everything that tells of one thing, with its corrections.
//!
//! Of units and rigs it is found by indexes that the database keeps by itself from the stored bodies: they
//! cannot say anything that the events do not, and the file's own check compares them.

use super::open::HISTORY_VERSION;
use super::sqlite::SqliteLedger;
use super::{Ledger, LedgerError};
use crate::domain::event::Subject;
use crate::domain::{Event, Seq};
use std::collections::BTreeMap;

/// What version 3 adds to the file.
pub(super) const HISTORY_INDEXES: [(&str, &str); 4] = [
    (
        "event_unit",
        "CREATE INDEX event_unit ON event (json_extract(body, '$.unit')) WHERE kind IN ('visit_started', 'visit_ended', 'verdict_given', 'unit_withdrawn')",
    ),
    (
        "event_rig",
        "CREATE INDEX event_rig ON event (json_extract(body, '$.rig')) WHERE kind IN ('rig_down', 'rig_up')",
    ),
    (
        "event_note",
        "CREATE INDEX event_note ON event (json_extract(body, '$.name')) WHERE kind = 'note'",
    ),
    (
        "event_correction",
        "CREATE INDEX event_correction ON event (json_extract(body, '$.corrects')) WHERE kind = 'correction'",
    ),
];

/// Visits, verdicts and the withdrawal of a unit.
const OF_UNIT: &str = "INDEXED BY event_unit WHERE kind IN ('visit_started', 'visit_ended', 'verdict_given', 'unit_withdrawn') AND json_extract(body, '$.unit') = ?1";
/// Rigs down and back.
const OF_RIG: &str = "INDEXED BY event_rig WHERE kind IN ('rig_down', 'rig_up') AND json_extract(body, '$.rig') = ?1";
/// Notes about whatever has that name.
const NOTES: &str =
    "INDEXED BY event_note WHERE kind = 'note' AND json_extract(body, '$.name') = ?1";
/// Corrections of an event.
const CORRECTIONS: &str = "INDEXED BY event_correction WHERE kind = 'correction' AND json_extract(body, '$.corrects') = ?1";

/// What tells of a subject, gathered from all events in their order.
pub(super) struct Gathered<'s> {
    of: &'s Subject,
    found: BTreeMap<Seq, Event>,
}

impl<'s> Gathered<'s> {
    pub(super) fn new(of: &'s Subject) -> Self {
        let found = BTreeMap::new();
        Self { of, found }
    }

    pub(super) fn take(&mut self, event: Event) {
        let corrects = event.body.corrects().filter(|own| *own < event.seq);
        let known = corrects.is_some_and(|own| self.found.contains_key(&own));
        if known || event.body.tells_of().as_ref() == Some(self.of) {
            self.found.insert(event.seq, event);
        }
    }

    pub(super) fn all(self) -> Vec<Event> {
        self.found.into_values().collect()
    }
}

impl SqliteLedger {
    /// Everything that tells of a subject, with its corrections.
    pub(super) fn history_of(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        let version: i64 = self
            .connection()
            .pragma_query_value(None, "user_version", |row| row.get(0))?;
        let direct = match of {
            Subject::Unit(unit) if version >= HISTORY_VERSION => (OF_UNIT, unit.as_str()),
            Subject::Rig(rig) if version >= HISTORY_VERSION => (OF_RIG, rig.as_str()),
            _ => return self.by_reading_all(of),
        };
        let mut found = BTreeMap::new();
        for (rest, name) in [direct, (NOTES, direct.1)] {
            let events = self.events_where(rest, [name])?;
            let own = events
                .into_iter()
                .filter(|event| event.body.tells_of().as_ref() == Some(of));
            found.extend(own.map(|event| (event.seq, event)));
        }
        let mut open: Vec<Seq> = found.keys().copied().collect();
        while let Some(seq) = open.pop() {
            let number = i64::try_from(seq.0).unwrap_or(i64::MAX);
            for event in self.events_where(CORRECTIONS, [number])? {
                if event.seq > seq {
                    open.push(event.seq);
                    found.insert(event.seq, event);
                }
            }
        }
        Ok(found.into_values().collect())
    }

    fn by_reading_all(&self, of: &Subject) -> Result<Vec<Event>, LedgerError> {
        let mut gathered = Gathered::new(of);
        self.read_on(Seq(0), &mut |events| {
            for event in events {
                gathered.take(event);
            }
            Ok(())
        })?;
        Ok(gathered.all())
    }
}
