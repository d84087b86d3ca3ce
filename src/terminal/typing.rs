//! Between the keyboard and the program: here a scan is told from keys by its pace.

use super::step;
use crate::app::scan_burst::Burst;
use crate::app::{App, Jobs};
use std::time::Duration;

/// Keys that are not decided yet.
#[derive(Default)]
pub(super) struct Typing {
    burst: Burst,
}

impl Typing {
    /// When something waits to be decided: at the latest when.
    pub(super) fn due(&self) -> Option<Duration> {
        self.burst.due()
    }

    /// A key came at `at`, by the same clock as everywhere in here.
    pub(super) fn key(&mut self, app: &mut App, key: &str, at: Duration, jobs: &mut Jobs) {
        self.lapse(app, at, jobs);
        for typed in self.burst.key(key, at, app.place_of(key)) {
            step(app, typed.into(), jobs);
        }
    }

    /// Nothing has come until `at`: what has waited long enough is decided.
    pub(super) fn lapse(&mut self, app: &mut App, at: Duration, jobs: &mut Jobs) {
        for typed in self.burst.lapse(at) {
            step(app, typed.into(), jobs);
        }
    }
}
