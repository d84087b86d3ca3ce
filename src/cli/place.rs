//! Which lab and which ledger a command is about.

use super::env::Env;
use super::{Answer, Exit, Failure};
use crate::app::desk::{Desk, Opening, outcome_words};
use crate::domain::Lab;
use crate::lab::{ReadLab, read};
use crate::ledger::{self, Ids, Ledger, LedgerError, MemoryLedger, Outcome};
use clap::Args;
use std::path::{Path, PathBuf};

/// `--lab` and `--ledger`, for commands that are not about a whole lab.
#[derive(Args, Clone, Debug)]
pub(crate) struct Place {
    /// The lab folder; default: $RIGDAY_LAB, then the current folder
    #[arg(long, value_name = "DIR")]
    pub(crate) lab: Option<PathBuf>,
    #[command(flatten)]
    pub(crate) ledger: LedgerFile,
}

/// `--ledger`.
#[derive(Args, Clone, Debug)]
pub(crate) struct LedgerFile {
    /// The ledger file; default: rigday.db in the lab folder
    #[arg(long, value_name = "FILE")]
    pub(crate) ledger: Option<PathBuf>,
}

/// The folder of the lab: as named, else as the environment says, else where we are.
pub(crate) fn folder(named: Option<&PathBuf>, env: &Env) -> PathBuf {
    named
        .or(env.lab.as_ref())
        .cloned()
        .unwrap_or_else(|| PathBuf::from("."))
}

/// Reads the lab; warnings are told.
pub(crate) fn read_lab(folder: &Path, env: &Env) -> Result<ReadLab, Failure> {
    match read(folder) {
        Ok(read) => {
            for warning in &read.warnings {
                env.say(&format!("warning: {warning}"));
            }
            Ok(read)
        }
        Err(faults) => Err(Failure::new(
            Exit::Failed,
            format!("{} cannot be used\n{faults}", folder.display()),
        )),
    }
}

impl Place {
    /// The desk of this place, for recording.
    pub(crate) fn desk(&self, env: &mut Env) -> Result<Desk, Failure> {
        desk(&folder(self.lab.as_ref(), env), &self.ledger, env)
    }

    /// The desk of this place, for looking only.
    pub(crate) fn look(&self, env: &mut Env) -> Result<Desk, Failure> {
        look(&folder(self.lab.as_ref(), env), &self.ledger, env)
    }
}

/// Opens the desk of a lab folder for recording; makes its ledger where there is none, and takes in new
/// requests.
pub(crate) fn desk(folder: &Path, ledger: &LedgerFile, env: &mut Env) -> Result<Desk, Failure> {
    let (lab, path, store) = parts(folder, ledger, env)?;
    let opened = match ledger::open(&path, store.clone()) {
        Err(LedgerError::Missing { .. }) => {
            env.say(&format!("a new ledger: {}", path.display()));
            ledger::create(&path, store)
        }
        other => other,
    };
    let mut desk = seated(
        lab,
        Box::new(opened.map_err(|error| Failure::new(Exit::Failed, error))?),
        env,
    )?;
    match desk.take_in()? {
        Ok(0) => {}
        Ok(count) => env.say(&format!(
            "taken in from the folder: {}",
            counted(count, "new request")
        )),
        Err(outcome) => env.say(&outcome_words(&outcome, &desk.lab.zone).1),
    }
    Ok(desk)
}

/// Opens the desk of a lab folder for looking only: nothing is written, and no ledger is made.
pub(crate) fn look(folder: &Path, ledger: &LedgerFile, env: &mut Env) -> Result<Desk, Failure> {
    let (lab, path, store) = parts(folder, ledger, env)?;
    let ledger: Box<dyn Ledger> = match ledger::open_read_only(&path, store.clone()) {
        Err(LedgerError::Missing { .. }) => Box::new(MemoryLedger::new(store)),
        other => Box::new(other.map_err(|error| Failure::new(Exit::Failed, error))?),
    };
    seated(lab, ledger, env)
}

/// The lab, the path of its ledger, and what the ledger needs of the world.
fn parts(
    folder: &Path,
    ledger: &LedgerFile,
    env: &mut Env,
) -> Result<(Lab, PathBuf, ledger::Env), Failure> {
    let lab = read_lab(folder, env)?.lab;
    env.settle_clock(&lab.zone)?;
    let path = ledger
        .ledger
        .clone()
        .unwrap_or_else(|| folder.join("rigday.db"));
    let store = ledger::Env {
        clock: env.clock.clone(),
        ids: Ids::System,
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: None,
    };
    Ok((lab, path, store))
}

fn seated(lab: Lab, ledger: Box<dyn Ledger>, env: &Env) -> Result<Desk, Failure> {
    let (clock, actor) = (env.clock.clone(), env.actor.clone());
    Ok(Desk::open(Opening {
        lab,
        ledger,
        clock,
        ids: Ids::System,
        actor,
    })?)
}

/// `1 unit`, `2 units`.
pub(crate) fn counted(count: usize, what: &str) -> String {
    format!("{count} {what}{}", if count == 1 { "" } else { "s" })
}

/// Tells the answer of the ledger; its exit code.
pub(crate) fn tell(desk: &Desk, outcome: &Outcome, what: &str, env: &mut Env) -> Answer {
    let (good, words) = outcome_words(outcome, &desk.lab.zone);
    if good {
        env.print(&format!("{what}: {words}\n"))?;
        return Ok(Exit::Done);
    }
    env.say(&format!("{what}: {words}"));
    Ok(match outcome {
        Outcome::Conflict { .. } | Outcome::Refused { .. } => Exit::Refused,
        _ => Exit::Failed,
    })
}
