//! What-ifs that are not in force: their changes are kept in the user's folder while they are on the screen, so
//! that whatever ends the program does not end them. They are offered at the next start.

use super::desk::Desk;
use super::state::{App, Field, Overlay};
use super::what_if::Change;
use std::fs::{DirBuilder, OpenOptions};
use std::io::{ErrorKind, Read, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

/// A file that is larger is none of ours, in bytes.
const LARGEST: u64 = 1 << 20;

/// Keeps the changes of one user's what-if in one lab.
pub struct Keeper {
    /// Nothing where there is no folder, or the lab's ledger has no name to tell it by.
    path: Option<PathBuf>,
    /// What the file says, a change a line.
    kept: String,
}

impl Keeper {
    /// In a user's folder, for the lab of a desk.
    pub fn new(folder: Option<&Path>, desk: &Desk) -> Self {
        let file = desk.ledger_id().map(|id| format!("what-if-{id}"));
        Self {
            path: folder.zip(file).map(|(folder, file)| folder.join(file)),
            kept: String::new(),
        }
    }

    /// Puts what was kept on the screen again; what does not fit the lab any more is told.
    pub fn offer(&mut self, app: &mut App) {
        let read = self.path.as_deref().map_or(Ok(String::new()), read);
        match read {
            Ok(text) => {
                app.offer_changes(text.lines());
                self.kept = text;
            }
            Err(error) => complain(app, "read", &error),
        }
    }

    /// Writes down what is on the screen, where it is another than before.
    pub fn keep(&mut self, app: &mut App) {
        let (Some(path), Some(text)) = (&self.path, app.unsaved_changes()) else {
            return;
        };
        if text == self.kept {
            return;
        }
        let written = write(path, &text);
        self.kept = text;
        if let Err(error) = written {
            complain(app, "kept", &error);
        }
    }
}

fn complain(app: &mut App, what: &str, error: &std::io::Error) {
    let words = format!("the what-if could not be {what} for the next start: {error}");
    app.said = Some((false, words));
    app.dirty = true;
}

fn read(path: &Path) -> std::io::Result<String> {
    let mut text = String::new();
    match nofollow().read(true).open(path) {
        Ok(file) => file.take(LARGEST).read_to_string(&mut text)?,
        Err(error) if error.kind() == ErrorKind::NotFound => 0,
        Err(error) => return Err(error),
    };
    Ok(text)
}

/// The file appears whole or not at all; where there is nothing to keep there is no file.
fn write(path: &Path, text: &str) -> std::io::Result<()> {
    if text.is_empty() {
        return match std::fs::remove_file(path) {
            Err(error) if error.kind() != ErrorKind::NotFound => Err(error),
            _ => Ok(()),
        };
    }
    if let Some(folder) = path.parent() {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(folder)?;
    }
    let half = path.with_extension(format!("{}.half", std::process::id()));
    let mut file = nofollow()
        .write(true)
        .create(true)
        .truncate(true)
        .mode(0o600)
        .open(&half)?;
    file.write_all(text.as_bytes())?;
    std::fs::rename(&half, path)
}

fn nofollow() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed());
    options
}

impl App {
    /// The changes of the what-if on the screen, a line each; nothing while it is being planned, for then
    /// what was on the screen before still counts.
    fn unsaved_changes(&self) -> Option<String> {
        let working =
            |own: &Overlay| matches!(own, Overlay::Working { .. } | Overlay::Trying { .. });
        if self.overlays.iter().any(working) {
            return None;
        }
        let changes = self.overlays.iter().rev().find_map(|own| match own {
            Overlay::Changes { changes, .. } => Some(changes),
            Overlay::Beside { what_if, .. } => Some(&what_if.changes),
            _ => None,
        });
        let zone = &self.desk.lab.zone;
        let lines = changes.into_iter().flatten();
        Some(lines.map(|own| own.text(zone) + "\n").collect())
    }

    /// Opens the what-if that was kept, with those changes that can still be made.
    fn offer_changes<'t>(&mut self, lines: impl Iterator<Item = &'t str>) {
        let (mut changes, mut lost) = (Vec::new(), 0_usize);
        let planning = self.desk.planning();
        for line in lines {
            let mut all: Vec<Change> = changes.clone();
            let fits = Change::parse(line, &self.asked()).and_then(|change| {
                all.push(change);
                planning.with_changes(&all)
            });
            match fits {
                Ok(_) => changes = all,
                Err(_) => lost += 1,
            }
        }
        if changes.is_empty() && lost == 0 {
            return;
        }
        let rest = match lost {
            0 => String::new(),
            _ => format!("; {lost} of its changes do not fit the lab any more"),
        };
        self.said = Some((
            true,
            format!("your what-if is here again: Enter plans it, Esc drops it{rest}"),
        ));
        self.overlays.push(Overlay::Changes {
            field: Field::default(),
            changes,
            wrong: None,
        });
        self.dirty = true;
    }
}
