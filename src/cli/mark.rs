//! `rigday mark`, `start`, `end`, `withdraw`, `note` and `undo`: what a technician records.

use super::env::Env;
use super::place::{Place, tell};
use super::{Answer, Exit, Failure};
use crate::domain::event::Subject;
use crate::domain::{RigId, Verdict};
use clap::{Args, ValueEnum};

/// The three verdicts.
#[derive(Clone, Copy, Debug, ValueEnum)]
pub(crate) enum Word {
    /// Good
    Pass,
    /// Bad; needs --reason
    Fail,
    /// Stopped until somebody decides
    Hold,
}

/// Options of `mark`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
    /// The verdict
    verdict: Word,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: Option<String>,
}

/// Options of `start`.
#[derive(Args)]
pub(crate) struct StartArguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
    /// The rig, where it is not the booked one
    rig: Option<String>,
}

/// Options of `end`.
#[derive(Args)]
pub(crate) struct UnitArguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
}

/// Options of `withdraw`.
#[derive(Args)]
pub(crate) struct WithdrawArguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
    /// Why
    #[arg(long, value_name = "TEXT")]
    reason: String,
}

/// Options of `note`.
#[derive(Args)]
pub(crate) struct NoteArguments {
    #[command(flatten)]
    place: Place,
    /// The unit
    serial: String,
    /// The note
    text: String,
}

/// Options of `undo`.
#[derive(Args)]
pub(crate) struct UndoArguments {
    #[command(flatten)]
    place: Place,
}

/// Gives a verdict.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let reason = arguments.reason.clone().unwrap_or_default();
    let (verdict, word) = match arguments.verdict {
        Word::Pass => (Verdict::Pass, "pass"),
        Word::Fail if reason.trim().is_empty() => {
            return Err(Failure::new(Exit::Usage, "a fail needs --reason TEXT"));
        }
        Word::Fail => (Verdict::Fail { reason }, "fail"),
        Word::Hold => (Verdict::Hold { reason }, "hold"),
    };
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let outcome = desk.mark(&unit, verdict)?;
    tell(&desk, &outcome, &format!("{unit} {word}"), env)
}

/// Loads a unit.
pub(crate) fn start(arguments: &StartArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let rig = arguments.rig.as_deref().map(RigId::new);
    let outcome = desk.start(&unit, rig.as_ref())?;
    tell(&desk, &outcome, &format!("{unit} loaded"), env)
}

/// Unloads a unit.
pub(crate) fn end(arguments: &UnitArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let outcome = desk.end(&unit)?;
    tell(&desk, &outcome, &format!("{unit} unloaded"), env)
}

/// Withdraws a unit.
pub(crate) fn withdraw(arguments: &WithdrawArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let outcome = desk.withdraw(&unit, &arguments.reason)?;
    tell(&desk, &outcome, &format!("{unit} withdrawn"), env)
}

/// Adds a note.
pub(crate) fn note(arguments: &NoteArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let unit = desk.find_unit(&arguments.serial)?;
    let outcome = desk.note(Subject::Unit(unit.clone()), &arguments.text)?;
    tell(&desk, &outcome, &format!("note on {unit}"), env)
}

/// Undoes the last thing that this person recorded.
pub(crate) fn undo(arguments: &UndoArguments, env: &mut Env) -> Answer {
    let mut desk = arguments.place.desk(env)?;
    let (outcome, words) = desk.undo_last_of_person()?;
    tell(&desk, &outcome, &words, env)
}
