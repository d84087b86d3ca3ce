//! Deeds that the ledger is too busy for: they are tried again while the keys stay alive, for a while, or until
//! the user gives up. Until it answers nothing has happened, so a deed is never recorded twice.

use super::desk::DeskError;
use super::effects::carry_out;
use super::jobs::Jobs;
use super::state::{App, Effect, Purpose};
use crate::ledger::Outcome;
use std::time::Duration;

/// How long a busy ledger is asked again.
const LONGEST: Duration = Duration::from_secs(10);

/// A deed that waits for the ledger.
#[derive(Clone, Debug)]
pub struct Recording {
    effect: Effect,
    since: Duration,
}

/// Carries an effect out; what the ledger is too busy for is tried again at each tick.
pub fn perform(app: &mut App, effect: Effect, jobs: &mut Jobs) {
    if app.recording.is_some() && effect.records() {
        let words = "the last deed is still being recorded; Esc gives it up";
        app.said = Some((false, words.to_owned()));
        app.dirty = true;
        return;
    }
    let since = app.desk.clock().elapsed();
    attempt(app, Recording { effect, since }, jobs);
}

/// Tries what waits for the ledger once more.
pub fn try_again(app: &mut App, jobs: &mut Jobs) {
    if let Some(recording) = app.recording.take() {
        attempt(app, recording, jobs);
    }
}

fn attempt(app: &mut App, recording: Recording, jobs: &mut Jobs) {
    app.busy = false;
    carry_out(app, recording.effect.clone(), jobs);
    if !app.busy {
        app.shown = None;
        if let Some(by) = app.conflict.take() {
            app.show_conflict(recording.effect, &by);
        }
        return;
    }
    app.dirty = true;
    let waited = app.desk.clock().elapsed().saturating_sub(recording.since);
    if waited >= LONGEST {
        let words = "not recorded, nothing happened: the ledger has been busy for 10 s; try again";
        app.said = Some((false, words.to_owned()));
        return;
    }
    let words = format!(
        "Recording {} s: the ledger is busy; Esc gives up",
        waited.as_secs()
    );
    app.said = Some((true, words));
    app.recording = Some(recording);
}

/// True where nothing was recorded because others were at it.
pub(super) fn is_busy(done: &Result<(Outcome, String), DeskError>) -> bool {
    match done {
        Ok((outcome, _)) => outcome.is_busy(),
        Err(DeskError::Ledger(error)) => error.is_busy(),
        Err(_) => false,
    }
}

impl Effect {
    /// True for a load, an unload or a verdict: it may have happened earlier than now.
    pub(super) const fn is_at_bench(&self) -> bool {
        matches!(
            self,
            Self::LoadUnit(_)
                | Self::UnloadUnit(_)
                | Self::Pass(_)
                | Self::Overrule(..)
                | Self::Record(Purpose::Fail(_) | Purpose::Hold(_), _)
        )
    }

    /// True where the ledger is to be written.
    const fn records(&self) -> bool {
        match self {
            Self::Publish
            | Self::PublishWhatIf
            | Self::Record(..)
            | Self::LoadUnit(_)
            | Self::UnloadUnit(_)
            | Self::Pass(_)
            | Self::Overrule(..)
            | Self::RigUp(_)
            | Self::RigDown(..)
            | Self::Undo
            | Self::Redo => true,
            Self::Plan
            | Self::Keep
            | Self::WhatIf(_)
            | Self::Explain(_)
            | Self::Forecast
            | Self::Size(_)
            | Self::StopPlanning
            | Self::Refresh
            | Self::CopyRow
            | Self::CopyTable
            | Self::Export
            | Self::Quit => false,
        }
    }
}

impl App {
    /// Gives up what waits for the ledger; true where something did.
    pub(super) fn give_up_recording(&mut self) -> bool {
        let given_up = self.recording.take().is_some();
        if given_up {
            self.said = Some((true, "given up: nothing was recorded".to_owned()));
        }
        given_up
    }
}
