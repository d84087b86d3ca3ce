//! `rigday verify`, `head`, `backup` and `doctor`: about the ledger's file itself. None of them needs the
//! lab's files to be good.

use super::env::Env;
use super::place::Place;
use super::{Answer, Exit, Failure};
use crate::ledger::{self, Finding, Head, Ledger, SqliteLedger, WAY_BACK};
use clap::Args;
use std::io::Read;
use std::path::{Path, PathBuf};

/// Largest list of heads that is read, in bytes.
const LARGEST_LIST: u64 = 8 << 20;

/// Options of `verify`.
#[derive(Args)]
pub(crate) struct Arguments {
    #[command(flatten)]
    place: Place,
    /// Compare with heads that were written down: one a line, as `rigday head` prints them
    #[arg(long, value_name = "FILE")]
    against: Option<PathBuf>,
    /// It is known to be an older copy: heads from after its end are no fault
    #[arg(long)]
    older: bool,
}

/// Options of `head`.
#[derive(Args)]
pub(crate) struct HeadArguments {
    #[command(flatten)]
    place: Place,
    /// Take the ledger as it stands for the one to remember, after a backup was put back
    #[arg(long)]
    accept: bool,
}

/// Options of `backup`.
#[derive(Args)]
pub(crate) struct BackupArguments {
    #[command(flatten)]
    place: Place,
    /// The new file
    file: PathBuf,
}

/// Options of `doctor`.
#[derive(Args)]
pub(crate) struct DoctorArguments {
    #[command(flatten)]
    place: Place,
}

/// Checks chain, file and heads; every fault is told.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let ledger = inspect(&arguments.place, env)?;
    let mut known: Vec<Head> = ledger.remembered_head().into_iter().collect();
    if let Some(list) = &arguments.against {
        known.extend(heads_in(list)?);
    }
    if arguments.older {
        let end = ledger.head().map_err(Failure::failed)?.seq;
        known.retain(|head| head.seq <= end);
    }
    let report = ledger.verify(&known);
    if report.faults.is_empty() {
        env.print(&format!(
            "ok: {} events; chain and file agree, and {} remembered\n",
            report.events,
            super::place::counted(known.len(), "head")
        ))?;
        return Ok(Exit::Done);
    }
    for (seq, why) in &report.faults {
        match seq {
            Some(seq) => env.print(&format!("event {}: {why}\n", seq.0))?,
            None => env.print(&format!("{why}\n"))?,
        }
    }
    env.say("the ledger is not as it was recorded; rigday doctor has the way back");
    Ok(Exit::Failed)
}

/// Prints the head, or accepts it.
pub(crate) fn head(arguments: &HeadArguments, env: &mut Env) -> Answer {
    let mut ledger = inspect(&arguments.place, env)?;
    if arguments.accept {
        let before = ledger.accept_head().map_err(Failure::failed)?;
        if let Some(before) = before {
            env.say(&format!("was remembered: {}", before.line()));
        }
    }
    let head = ledger.head().map_err(Failure::failed)?;
    env.print(&format!("{}\n", head.line()))?;
    Ok(Exit::Done)
}

/// Copies the ledger while it may be in use.
pub(crate) fn backup(arguments: &BackupArguments, env: &mut Env) -> Answer {
    let ledger = inspect(&arguments.place, env)?;
    let head = ledger
        .copy_to(&arguments.file)
        .map_err(|error| Failure::failed(format!("no backup was made: {error}")))?;
    env.print(&format!("{}\n", head.line()))?;
    env.say(&format!(
        "{} holds every event up to {} and was verified",
        arguments.file.display(),
        head.seq.0
    ));
    Ok(Exit::Done)
}

/// Looks at everything and says what is to be done.
pub(crate) fn doctor(arguments: &DoctorArguments, env: &mut Env) -> Answer {
    let mut bad = false;
    match inspect(&arguments.place, env) {
        Ok(ledger) => {
            for finding in ledger.health() {
                bad |= matches!(finding, Finding::Bad(_));
                env.print(&match finding {
                    Finding::Good(text) => format!("ok    {text}\n"),
                    Finding::Warning(text) => format!("look  {text}\n"),
                    Finding::Bad(text) => format!("BAD   {text}\n"),
                })?;
            }
        }
        Err(failure) => {
            bad = true;
            env.print(&format!("BAD   {}\n", failure.text))?;
        }
    }
    bad |= look_at_display(env)?;
    env.print(&format!("\n{WAY_BACK}\n"))?;
    Ok(if bad { Exit::Failed } else { Exit::Done })
}

/// Says how the screens would look here and why, and what of the user's files does not count; true where
/// something is bad.
fn look_at_display(env: &mut Env) -> Result<bool, Failure> {
    let user = env.user_files();
    for fault in &user.settings.faults {
        env.print(&format!("look  {fault}\n"))?;
    }
    match env.choice(&user.looks) {
        Ok(choice) => {
            for reason in &choice.reasons {
                env.print(&format!("ok    {reason}\n"))?;
            }
            Ok(false)
        }
        Err(failure) => {
            env.print(&format!("BAD   {}\n", failure.text))?;
            Ok(true)
        }
    }
}

/// The ledger for looking only, whatever state its events are in.
fn inspect(place: &Place, env: &Env) -> Result<SqliteLedger, Failure> {
    let path = super::place::ledger_path(place, env);
    ledger::inspect(&path, super::place::plain_store(env)).map_err(Failure::failed)
}

fn heads_in(path: &Path) -> Result<Vec<Head>, Failure> {
    let failed = |why: String| Failure::failed(format!("{}: {why}", path.display()));
    let mut text = String::new();
    std::fs::File::open(path)
        .and_then(|file| file.take(LARGEST_LIST).read_to_string(&mut text))
        .map_err(|error| failed(error.to_string()))?;
    let lines = text
        .lines()
        .zip(1..)
        .filter(|(line, _)| !line.trim().is_empty());
    let heads: Vec<Head> = lines
        .map(|(line, number)| {
            Head::of_line(line).ok_or_else(|| failed(format!("line {number} is no head")))
        })
        .collect::<Result<_, _>>()?;
    if heads.is_empty() {
        return Err(failed("there is no head in it".to_owned()));
    }
    Ok(heads)
}
