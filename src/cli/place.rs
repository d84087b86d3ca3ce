//! Which lab and which ledger a command is about.

use super::env::Env;
use super::{Answer, Exit, Failure};
use crate::app::desk::{Desk, Opening, outcome_words};
use crate::domain::{Lab, Role, Zone};
use crate::lab::{ReadLab, read};
use crate::ledger::{self, Ids, Ledger, LedgerError, MemoryLedger, Outcome};
use clap::Args;
use std::path::{Path, PathBuf};

/// The name of the ledger in the lab folder.
pub(crate) const LEDGER: &str = "rigday.db";

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

/// The path of the ledger that a command names.
pub(crate) fn ledger_path(place: &Place, env: &Env) -> PathBuf {
    let named = place.ledger.ledger.clone();
    named.unwrap_or_else(|| folder(place.lab.as_ref(), env).join(LEDGER))
}

/// What a ledger that is only looked at needs of the world; the lab's files are not read.
pub(crate) fn plain_store(env: &Env) -> ledger::Env {
    ledger::Env {
        clock: env.host.clone(),
        ids: Ids::System,
        site: String::new(),
        zone: Zone::utc(),
        heads: env.heads(),
    }
}

/// Opens the desk of a lab folder for recording, and takes in new requests. Where the ledger may only be
/// looked at, the reason is told and nothing can be recorded.
pub(crate) fn desk(folder: &Path, ledger: &LedgerFile, env: &mut Env) -> Result<Desk, Failure> {
    let (lab, path, store) = parts(folder, ledger, env)?;
    if store.heads.is_none() {
        env.say(
            "HOME is not set and XDG_STATE_HOME is no absolute path: how far the ledger has come is not remembered for you, so that a cut-off end would not be seen; set one of them",
        );
    }
    let late = env.lateness()?.map(str::to_owned);
    let opened = match ledger::open(&path, store.clone()) {
        Err(error @ (LedgerError::CutOff { .. } | LedgerError::Unsafe { .. })) => {
            env.say(&format!("for looking only: {error}"));
            ledger::open_read_only(&path, store)
        }
        other => other,
    };
    let ledger = opened.map_err(Failure::failed)?;
    let cut_off = ledger.cut_off().is_some();
    let mut desk = seated(lab, Box::new(ledger), env)?;
    if let Some(late) = late {
        desk.set_late(&late);
    }
    if !cut_off {
        tell_warnings(&desk, env);
        take_in(&mut desk, env)?;
    }
    Ok(desk)
}

fn tell_warnings(desk: &Desk, env: &Env) {
    for warning in desk.warnings() {
        env.say(&format!("warning: {warning}"));
    }
}

/// Takes in what is new in the folder, where who acts may do so.
fn take_in(desk: &mut Desk, env: &Env) -> Result<(), Failure> {
    let fresh = desk.not_taken_in();
    if fresh == 0 {
        return Ok(());
    }
    let what = counted(fresh, "new request");
    if desk.role() < Role::Coordinator {
        env.say(&format!(
            "in the folder: {what}, for a coordinator to take in"
        ));
        return Ok(());
    }
    match desk.take_in()? {
        Ok(_) => env.say(&format!("taken in from the folder: {what}")),
        Err(outcome) => env.say(&outcome_words(&outcome, &desk.lab.zone).1),
    }
    Ok(())
}

/// Opens the desk of a lab folder for looking only: nothing is written, and no ledger is made.
pub(crate) fn look(folder: &Path, ledger: &LedgerFile, env: &mut Env) -> Result<Desk, Failure> {
    let (lab, path, store) = parts(folder, ledger, env)?;
    let ledger: Box<dyn Ledger> = match ledger::open_read_only(&path, store.clone()) {
        Err(LedgerError::Missing { .. }) => Box::new(MemoryLedger::new(store)),
        other => Box::new(other.map_err(Failure::failed)?),
    };
    let desk = seated(lab, ledger, env)?;
    tell_warnings(&desk, env);
    Ok(desk)
}

/// The lab, the path of its ledger, and what the ledger needs of the world.
pub(crate) fn parts(
    folder: &Path,
    ledger: &LedgerFile,
    env: &mut Env,
) -> Result<(Lab, PathBuf, ledger::Env), Failure> {
    let lab = read_lab(folder, env)?.lab;
    env.settle_clock(&lab.zone)?;
    let path = ledger.ledger.clone().unwrap_or_else(|| folder.join(LEDGER));
    let store = ledger::Env {
        clock: env.host.clone(),
        ids: Ids::System,
        site: lab.name.clone(),
        zone: lab.zone.clone(),
        heads: env.heads(),
    };
    Ok((lab, path, store))
}

pub(crate) fn seated(lab: Lab, ledger: Box<dyn Ledger>, env: &Env) -> Result<Desk, Failure> {
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
        Outcome::NotRecorded { .. } => Exit::NotRecorded,
        Outcome::Unknown { .. } => Exit::Unknown,
        _ => Exit::Refused,
    })
}

/// What is said of a request that the lab does not have.
pub(crate) fn no_request(id: &str, desk: &Desk) -> Failure {
    let known = desk.lab.requests.iter().map(|own| own.id.as_str());
    let known: Vec<&str> = known.collect();
    Failure::failed(format!("no request {id}; the lab has {}", known.join(", ")))
}
