//! `rigday open`: the screens.

use super::env::Env;
use super::place::{LEDGER, LedgerFile, desk, folder};
use super::{Answer, Exit, Failure};
use crate::app::demo_files::is_sample;
use crate::terminal::End;
use clap::Args;
use std::path::PathBuf;

/// Options of `open`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
}

/// What to say where nobody sits at a terminal.
pub(crate) fn needs_terminal() -> Failure {
    let text =
        "the screens need a terminal; without one use rigday plan, due, load, units and mark";
    Failure::new(Exit::Usage, text)
}

/// Opens the screens on the lab.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    if !env.has_terminal() {
        return Err(needs_terminal());
    }
    // Who opens the screens at another instant says so by doing it.
    env.late
        .get_or_insert_with(|| "the screens were opened with --now".to_owned());
    let folder = folder(arguments.lab.as_ref(), env);
    let desk = desk(&folder, &arguments.ledger, env)?;
    let ledger = arguments.ledger.ledger.clone();
    let keep = env.screens_file(&ledger.unwrap_or_else(|| folder.join(LEDGER)));
    let sample = is_sample(&desk)?;
    show(desk, keep, sample, env)
}

/// Runs the screens until the user leaves; `keep` is the file for what is not in force yet.
pub(crate) fn show(
    desk: crate::app::desk::Desk,
    keep: Option<PathBuf>,
    sample: bool,
    env: &mut Env,
) -> Answer {
    env.flush()?;
    let options = crate::terminal::Options {
        keep,
        ..env.terminal_options(sample)?
    };
    let end = crate::terminal::run(desk, options)
        .map_err(|error| Failure::failed(format!("the terminal failed: {error}")))?;
    Ok(match end {
        End::Left => Exit::Done,
        End::Signal(signal) => Exit::Signal(signal),
    })
}
