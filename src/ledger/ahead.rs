//! A long past, read ahead on threads of their own.
//!
//! Reading an event and taking it in are about as much work, and nothing recorded ever changes: so the past is
//! cut into pieces that two threads read in turn, each on a connection of its own, while whoever asked takes
//! them in, in order.

use super::LedgerError;
use super::open::second_look;
use super::sqlite::SqliteLedger;
use super::told::events;
use crate::domain::{Event, Seq};
use std::path::Path;
use std::sync::mpsc::{Receiver, SyncSender, sync_channel};

/// Events of one piece.
const PIECE: u64 = 5_000;
/// A past that is shorter is read by whoever asks.
const LONG: u64 = 4 * PIECE;
/// Threads that read.
const READERS: u64 = 2;
/// Pieces that each of them is ahead.
const AHEAD: usize = 4;

type Piece = Result<Vec<Event>, LedgerError>;

/// Hands out the events after `after` in order, where there are so many that it pays; up to which.
pub(super) fn read_ahead(
    ledger: &SqliteLedger,
    after: Seq,
    head: Seq,
    take: &mut dyn FnMut(Vec<Event>) -> Result<(), LedgerError>,
) -> Result<Seq, LedgerError> {
    if head.0.saturating_sub(after.0) < LONG {
        return Ok(after);
    }
    let path = ledger.path();
    std::thread::scope(|scope| {
        let reader = |number: u64| {
            let (sender, pieces) = sync_channel(AHEAD);
            let from = Seq(after.0.saturating_add(number.saturating_mul(PIECE)));
            scope.spawn(move || read_every_other(path, from, head, &sender));
            pieces
        };
        let readers: Vec<Receiver<Piece>> = (0..READERS).map(reader).collect();
        let mut at = after;
        for pieces in readers.iter().cycle() {
            if at >= head {
                break;
            }
            // A reader that has ended without a word has nothing more; the rest is read by whoever asked.
            let Ok(piece) = pieces.recv() else { break };
            let events = piece?;
            let Some(last) = events.last() else { break };
            at = last.seq;
            take(events)?;
        }
        Ok(at)
    })
}

/// Reads one piece after `from`, leaves out those of the other readers, and so on up to the head.
fn read_every_other(path: &Path, from: Seq, head: Seq, sender: &SyncSender<Piece>) {
    let connection = match second_look(path) {
        Ok(connection) => connection,
        Err(error) => {
            // Nobody listens where the taking in has failed already.
            let _heard = sender.send(Err(error));
            return;
        }
    };
    let number = |seq: u64| i64::try_from(seq).unwrap_or(i64::MAX);
    let mut at = from.0;
    while at < head.0 {
        let upto = at.saturating_add(PIECE).min(head.0);
        let within = "WHERE seq > ?1 AND seq <= ?2 ORDER BY seq";
        let piece = events(&connection, within, (number(at), number(upto)));
        let is_bad = piece.is_err();
        if sender.send(piece).is_err() || is_bad {
            return;
        }
        at = at.saturating_add(READERS.saturating_mul(PIECE));
    }
}
