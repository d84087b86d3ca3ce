//! `rigday init`: a lab folder to begin with.

use super::env::Env;
use super::place::{LedgerFile, desk, folder};
use super::{Answer, Exit, Failure};
use clap::Args;
use std::fs::OpenOptions;
use std::io::Write;
use std::path::PathBuf;

/// Options of `init`.
#[derive(Args)]
pub(crate) struct Arguments {
    /// The folder; default: $RIGDAY_LAB, then the current folder
    lab: Option<PathBuf>,
    #[command(flatten)]
    ledger: LedgerFile,
}

/// The files of a first lab, commented for somebody who has never seen one.
const FILES: [(&str, &str); 4] = [
    ("lab.toml", include_str!("first_lab/lab.toml")),
    ("methods.toml", include_str!("first_lab/methods.toml")),
    ("sequences.toml", include_str!("first_lab/sequences.toml")),
    ("requests.toml", include_str!("first_lab/requests.toml")),
];

/// Writes the files and makes the ledger; changes nothing that is there.
pub(crate) fn run(arguments: &Arguments, env: &mut Env) -> Answer {
    let folder = folder(arguments.lab.as_ref(), env);
    let there: Vec<&str> = FILES
        .iter()
        .map(|(name, _)| *name)
        .filter(|name| folder.join(name).exists())
        .collect();
    if !there.is_empty() {
        let text = format!(
            "{} has {} already; nothing was written",
            folder.display(),
            there.join(", ")
        );
        return Err(Failure::new(Exit::Failed, text));
    }
    std::fs::create_dir_all(&folder)?;
    for (name, text) in FILES {
        let file = OpenOptions::new()
            .write(true)
            .create_new(true)
            .open(folder.join(name));
        file?.write_all(text.as_bytes())?;
        env.print(&format!("wrote {}\n", folder.join(name).display()))?;
    }
    let desk = desk(&folder, &arguments.ledger, env)?;
    let name = crate::domain::text::shown(&desk.lab.name);
    env.print(&format!(
        "{name} is ready; next: rigday plan {0} --publish, then rigday open {0}\n",
        folder.display()
    ))?;
    Ok(Exit::Done)
}
