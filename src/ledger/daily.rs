//! The file's own check once a day, on a thread of its own, in programs that run for long.

use super::heads::Heads;
use super::open::second_look;
use std::path::Path;
use std::sync::{Arc, Mutex, PoisonError};

/// A day in milliseconds.
const DAY_MS: i64 = 24 * 3_600_000;

/// When the file was checked last, and what was found.
#[derive(Default)]
pub(super) struct Daily {
    /// Set by whoever runs for long: a check takes seconds on a large ledger.
    pub(super) wanted: bool,
    begun_ms: Option<i64>,
    found: Arc<Mutex<Option<String>>>,
}

impl Daily {
    /// What is wrong with the file; `None` where nothing was found up to now.
    pub(super) fn damage(&self) -> Option<String> {
        let found = self.found.lock();
        found.unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Begins a check where the last one of this user is a day old.
    pub(super) fn begin(&mut self, path: &Path, ledger: [u8; 16], heads: &Heads, now_ms: i64) {
        let is_fresh =
            |ms: &i64| (now_ms.saturating_sub(*ms)).unsigned_abs() < DAY_MS.unsigned_abs();
        if !self.wanted || self.begun_ms.as_ref().is_some_and(is_fresh) {
            return;
        }
        let by_another = heads.checked_ms(ledger).filter(is_fresh);
        self.begun_ms = Some(by_another.unwrap_or(now_ms));
        if by_another.is_some() {
            return;
        }
        let (path, heads, found) = (path.to_owned(), heads.clone(), Arc::clone(&self.found));
        std::thread::spawn(move || match fault(&path) {
            Ok(None) => {
                // Where it cannot be kept the check is made again at the next start.
                let _kept = heads.keep_checked(ledger, now_ms);
            }
            Ok(Some(why)) => {
                *found.lock().unwrap_or_else(PoisonError::into_inner) = Some(why);
            }
            // It could not be checked now, as where others were at it; the next start tries again.
            Err(_) => {}
        });
    }
}

/// What the file's own quick check says, word by word; `None` where it is good.
fn fault(path: &Path) -> Result<Option<String>, super::LedgerError> {
    let connection = second_look(path)?;
    let answer = connection.query_row("PRAGMA quick_check(1)", (), |row| row.get::<_, String>(0));
    match answer {
        Ok(answer) => Ok((answer != "ok").then_some(answer)),
        Err(error) if super::rows::is_damage(&error) => Ok(Some(error.to_string())),
        Err(error) => Err(error.into()),
    }
}
