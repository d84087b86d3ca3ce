//! Files that commands write for others: whole or not at all, and never over something that is no file.

use super::env::Env;
use super::{Answer, Exit, Failure};
use clap::Args;
use rustix::fd::OwnedFd;
use rustix::fs::{AtFlags, FileType, Mode, OFlags, RenameFlags};
use rustix::io::Errno;
use std::fs::File;
use std::io::Write;
use std::path::{Path, PathBuf};

/// Where a file goes.
#[derive(Args, Clone, Debug)]
pub(crate) struct Output {
    /// The file to write; - is standard output [default: a name of its own in the current folder]
    #[arg(long, value_name = "FILE")]
    pub(crate) out: Option<PathBuf>,
    /// Replace the file where there is one already
    #[arg(long)]
    pub(crate) force: bool,
}

impl Output {
    /// True where it goes to standard output.
    pub(crate) fn is_stdout(&self) -> bool {
        self.out.as_ref().is_some_and(|out| out.as_os_str() == "-")
    }

    /// Writes the text to where it was asked for, else to `name` in the current folder, and prints the path.
    pub(crate) fn put(&self, name: &str, text: &str, env: &mut Env) -> Answer {
        if self.is_stdout() {
            env.print(text)?;
            return Ok(Exit::Done);
        }
        let path = self.out.clone().unwrap_or_else(|| PathBuf::from(name));
        write(&path, text.as_bytes(), self.force)?;
        let path = crate::domain::text::shown(&path.display().to_string());
        env.print(&format!("{path}\n"))?;
        Ok(Exit::Done)
    }
}

/// Writes a file so that it is there whole or not at all. What is there already is left as it is, but for
/// a regular file that `force` replaces.
///
/// # Errors
/// Where something is there, or the disk fails; then nothing is written.
pub(crate) fn write(path: &Path, bytes: &[u8], force: bool) -> Result<(), Failure> {
    let failed = |why: &dyn std::fmt::Display| {
        Failure::failed(format!("{}: {why}; nothing was written", path.display()))
    };
    let Some(name) = path.file_name().and_then(|name| name.to_str()) else {
        return Err(failed(&"this is no file name"));
    };
    let above = path
        .parent()
        .filter(|above| !above.as_os_str().is_empty())
        .unwrap_or(Path::new("."));
    let flags = OFlags::RDONLY | OFlags::DIRECTORY | OFlags::CLOEXEC;
    let folder = rustix::fs::open(above, flags, Mode::empty()).map_err(|error| failed(&error))?;
    check_place(&folder, name, force).map_err(|why| failed(&why))?;
    let half = format!(
        ".rigday-{:08x}.half",
        getrandom::u32().unwrap_or(std::process::id())
    );
    let written = write_half(&folder, &half, bytes).and_then(|()| {
        if force {
            rustix::fs::renameat(&folder, &half, &folder, name)
        } else {
            rustix::fs::renameat_with(&folder, &half, &folder, name, RenameFlags::NOREPLACE)
        }
        .map_err(std::io::Error::from)
    });
    if let Err(error) = written {
        // What is half made is ours; where it cannot be removed the first error says more.
        let _removed = rustix::fs::unlinkat(&folder, &half, AtFlags::empty());
        return Err(failed(&error));
    }
    rustix::fs::fsync(&folder).map_err(|error| {
        Failure::failed(format!(
            "{}: {error}; it is written, but the disk may forget it",
            path.display()
        ))
    })
}

/// Says why a file may not come to lie there.
fn check_place(folder: &OwnedFd, name: &str, force: bool) -> Result<(), String> {
    match rustix::fs::statat(folder, name, AtFlags::SYMLINK_NOFOLLOW) {
        Err(Errno::NOENT) => Ok(()),
        Err(error) => Err(error.to_string()),
        Ok(_) if !force => Err("it is there already; --force replaces it".to_owned()),
        Ok(found) if FileType::from_raw_mode(found.st_mode) == FileType::RegularFile => Ok(()),
        Ok(_) => Err("it is no regular file, and only such a file is replaced".to_owned()),
    }
}

fn write_half(folder: &OwnedFd, half: &str, bytes: &[u8]) -> std::io::Result<()> {
    let flags = OFlags::WRONLY | OFlags::CREATE | OFlags::EXCL | OFlags::NOFOLLOW | OFlags::CLOEXEC;
    let mode = Mode::RUSR | Mode::WUSR | Mode::RGRP;
    let mut file = File::from(rustix::fs::openat(folder, half, flags, mode)?);
    file.write_all(bytes)?;
    file.sync_all()
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::os::unix::fs::{PermissionsExt, symlink};

    fn names(folder: &Path) -> Vec<String> {
        let entries = folder.read_dir().expect("a folder");
        let name = |entry: std::io::Result<std::fs::DirEntry>| {
            entry
                .expect("an entry")
                .file_name()
                .to_string_lossy()
                .into_owned()
        };
        let mut names: Vec<String> = entries.map(name).collect();
        names.sort();
        names
    }

    #[test]
    fn a_file_is_there_whole_and_what_was_there_stays() {
        let folder = tempfile::tempdir().expect("a folder");
        let path = folder.path().join("a.txt");
        write(&path, b"one", false).expect("written");
        let refused = write(&path, b"two", false).expect_err("it is there");
        assert!(refused.text.contains("--force"), "{}", refused.text);
        assert_eq!(std::fs::read(&path).expect("read"), b"one");
        write(&path, b"three", true).expect("replaced");
        assert_eq!(std::fs::read(&path).expect("read"), b"three");
        let mode = path.metadata().expect("metadata").permissions().mode();
        assert_eq!(mode & 0o137, 0, "{mode:o}");
        assert_eq!(names(folder.path()), ["a.txt"]);
    }

    #[test]
    fn only_a_regular_file_is_replaced() {
        let folder = tempfile::tempdir().expect("a folder");
        let target = folder.path().join("target");
        std::fs::write(&target, "mine").expect("written");
        let link = folder.path().join("link");
        symlink(&target, &link).expect("a link");
        let inner = folder.path().join("folder");
        std::fs::create_dir(&inner).expect("a folder");
        for place in [&link, &inner] {
            let refused = write(place, b"x", true).expect_err("no regular file");
            assert!(refused.text.contains("no regular file"), "{}", refused.text);
        }
        assert_eq!(std::fs::read(&target).expect("read"), b"mine");
        assert!(write(&folder.path().join("none/a"), b"x", false).is_err());
        assert_eq!(names(folder.path()), ["folder", "link", "target"]);
    }
}
