//! What a manager looks at before signing: everything that did not go its plain way since the last
//! signature.

use super::desk::{Desk, DeskError};
use super::walk::event_words;
use crate::domain::{Event, EventBody, Seq};
use crate::ledger::hex;
use crate::report::table::Table;
use sha2::{Digest, Sha256};

/// An entry later than this many minutes after what it tells is a late one.
pub const LATE_MINUTES: i64 = 15;

/// What there is to look at.
#[derive(Clone, Debug)]
pub struct Review {
    /// One line an event.
    pub table: Table,
    /// The last event of the ledger, seen or not worth a line.
    pub upto: Seq,
    /// SHA-256 of the table as text, in hexadecimal: what a signature names.
    pub shown: String,
}

/// Everything since the last signature.
///
/// # Errors
/// Where the ledger cannot be read.
pub fn review(desk: &Desk) -> Result<Review, DeskError> {
    let zone = &desk.lab.zone;
    let after = desk.floor.signed;
    let mut rows = Vec::new();
    desk.each_after(after, |event| {
        rows.extend(kinds(event).into_iter().map(|kind| {
            vec![
                event.seq.0.to_string(),
                crate::lab::offset_text(zone, event.happened),
                event.actor.login.clone(),
                event.actor.person.clone(),
                kind.to_owned(),
                event_words(event),
            ]
        }));
    })?;
    let table = Table {
        header: vec!["seq", "happened", "user", "person", "kind", "event"],
        rows,
    };
    let upto = desk.floor.seen();
    let text = format!("{} {}\n{}", after.0, upto.0, table.tsv());
    Ok(Review {
        shown: hex(&Sha256::digest(text.as_bytes())),
        table,
        upto,
    })
}

/// Why an event is worth looking at; most are not.
fn kinds(event: &Event) -> Vec<&'static str> {
    let mut all = Vec::new();
    match &event.body {
        EventBody::Correction { .. } => all.push("correction"),
        EventBody::AttemptRefused { .. } => all.push("refused"),
        EventBody::RoleGranted { .. } | EventBody::RoleRevoked { .. } => all.push("role"),
        EventBody::LateEntry { .. } => all.push("late reason"),
        _ => {}
    }
    if event.recorded_ms.div_euclid(60_000) - event.happened.get() > LATE_MINUTES {
        all.push("late entry");
    }
    if event.clock_back {
        all.push("clock went back");
    }
    all
}
