//! `rigday init`: a lab folder to begin with.

use super::env::Env;
use super::place::{LEDGER, LedgerFile, folder, parts, seated, tell};
use super::{Answer, Exit, Failure};
use crate::app::desk::{Desk, outcome_words};
use crate::domain::roles::{Holder, Role};
use crate::domain::text::shown;
use crate::ledger::{self, Outcome, Readers};
use clap::Args;
use std::fs::{OpenOptions, Permissions};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::path::{Path, PathBuf};

/// Options of `init`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
    /// Let every user of the host look; only the group may record
    #[arg(long)]
    others_read: bool,
}

/// The files of a first lab, commented for somebody who has never seen one.
const FILES: [(&str, &str); 4] = [
    ("lab.toml", include_str!("first_lab/lab.toml")),
    ("methods.toml", include_str!("first_lab/methods.toml")),
    ("sequences.toml", include_str!("first_lab/sequences.toml")),
    ("requests.toml", include_str!("first_lab/requests.toml")),
];

/// Writes the files and makes the ledger; changes nothing that is there. A folder that is a lab already
/// gets its ledger alone.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let folder = folder(arguments.lab.as_ref(), env);
    let readers = if arguments.others_read {
        Readers::Everyone
    } else {
        Readers::Group
    };
    let there: Vec<&str> = FILES
        .iter()
        .map(|(name, _)| *name)
        .filter(|name| folder.join(name).exists())
        .collect();
    if there.is_empty() {
        make_folder(&folder, readers)?;
        write_files(&folder, env)?;
    } else if there.len() < FILES.len() || folder.join(LEDGER).exists() {
        let text = format!(
            "{} has {} already; nothing was written",
            folder.display(),
            there.join(", ")
        );
        return Err(Failure::failed(text));
    }
    let mut desk = found(&folder, &arguments.ledger, readers, env)?;
    let name = shown(&desk.lab.name);
    if let Err(outcome) = desk.take_in()? {
        return tell(&desk, &outcome, &name, env);
    }
    env.print(&format!(
        "{name} is ready; next: rigday plan {0} --publish, then rigday open {0}\n",
        folder.display()
    ))?;
    Ok(Exit::Done)
}

/// Makes the folder where there is none: what is put into it later belongs to its group too.
fn make_folder(folder: &Path, readers: Readers) -> Result<(), Failure> {
    if folder.exists() {
        return Ok(());
    }
    std::fs::create_dir_all(folder)?;
    std::fs::set_permissions(folder, Permissions::from_mode(readers.folder_mode()))?;
    Ok(())
}

fn write_files(folder: &Path, env: &mut Env) -> Result<(), Failure> {
    for (name, text) in FILES {
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(folder.join(name));
        file?.write_all(text.as_bytes())?;
        env.print(&format!("wrote {}\n", folder.join(name).display()))?;
    }
    Ok(())
}

/// A desk with a new ledger, whose first event names its first manager.
fn found(
    folder: &Path,
    ledger: &LedgerFile,
    readers: Readers,
    env: &mut Env,
) -> Result<Desk, Failure> {
    let (lab, path, store) = parts(folder, ledger, env)?;
    let ledger = ledger::create_for(&path, store, readers).map_err(Failure::failed)?;
    env.say(&format!("a new ledger: {}", path.display()));
    let mut desk = seated(lab, Box::new(ledger), env)?;
    let outcome = desk.grant(Holder::User(env.actor.uid), Role::Manager)?;
    if !matches!(outcome, Outcome::Recorded { .. }) {
        let (_, words) = outcome_words(&outcome, &desk.lab.zone);
        return Err(Failure::failed(words));
    }
    Ok(desk)
}
