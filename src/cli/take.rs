//! `rigday take`: requests from a file, whole or not at all.

use super::env::Env;
use super::place::{Place, counted, folder, tell};
use super::{Answer, Failure};
use crate::app::desk::FileOfRequests;
use crate::domain::text::shown;
use crate::ledger::{Outcome, hex};
use clap::Args;
use std::path::PathBuf;

/// Options of `take`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// Requests: TOML as in requests.toml, or CSV with the same names in its first line
    file: PathBuf,
}

/// Checks the file with the folder, adds it to `requests.toml`, and records it. Where the ledger does not
/// take it, the folder is as before.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let folder = folder(arguments.place.lab.as_ref(), env);
    let mut desk = arguments.place.desk(env)?;
    let taken = crate::lab::take(&folder, &arguments.file).map_err(|faults| {
        let file = arguments.file.display();
        Failure::failed(format!("{file} was not taken in\n{faults}"))
    })?;
    for warning in &taken.warnings {
        env.say(&format!("warning: {warning}"));
    }
    let name = arguments.file.file_name().unwrap_or_default();
    let name = shown(&name.to_string_lossy());
    let count = taken.requests.len();
    taken.add_to(&folder)?;
    let recorded = desk.take_file(FileOfRequests {
        file: name.chars().take(200).collect(),
        sha256: hex(&taken.sha256),
        lab: taken.lab.clone(),
        count,
    });
    let sure = match &recorded {
        Ok(outcome) => matches!(
            outcome,
            Outcome::Recorded { .. } | Outcome::AlreadyRecorded { .. } | Outcome::Unknown { .. }
        ),
        Err(_) => false,
    };
    if !sure {
        taken.take_back(&folder)?;
    }
    let what = format!("{name}, {}", counted(count, "request"));
    tell(&desk, &recorded?, &what, env)
}
