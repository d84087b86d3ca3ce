//! The built program in a folder of its own, with an empty environment.

use std::path::{Path, PathBuf};
use std::process::{Command, Output, Stdio};
use tempfile::TempDir;

/// The program.
pub(crate) const PROGRAM: &str = env!("CARGO_BIN_EXE_rigday");

/// Takes the environment off a command, but for the place where a build that counts what runs writes its counts.
pub(crate) fn bare(command: &mut Command) -> &mut Command {
    command.env_clear();
    if let Some(place) = std::env::var_os("LLVM_PROFILE_FILE") {
        command.env("LLVM_PROFILE_FILE", place);
    }
    command
}

/// A folder to be in.
pub(crate) struct Desk {
    pub(crate) folder: TempDir,
}

/// How a command ended.
pub(crate) struct Ended {
    pub(crate) code: i32,
    pub(crate) out: String,
    pub(crate) err: String,
}

impl Ended {
    pub(crate) fn of(output: Output) -> Self {
        Self {
            code: output.status.code().expect("it is not killed"),
            out: String::from_utf8(output.stdout).expect("text"),
            err: String::from_utf8(output.stderr).expect("text"),
        }
    }

    /// The command did what it was asked.
    #[track_caller]
    pub(crate) fn good(self) -> String {
        assert_eq!(self.code, 0, "{}{}", self.out, self.err);
        self.out
    }

    /// The command ended with this code, and said this to the person.
    #[track_caller]
    pub(crate) fn bad(&self, code: i32, said: &str) {
        assert_eq!(self.code, code, "{}{}", self.out, self.err);
        assert!(
            self.err.contains(said),
            "{said} is not in:\n{}{}",
            self.out,
            self.err
        );
    }
}

impl Desk {
    pub(crate) fn new() -> Self {
        Self {
            folder: tempfile::tempdir().expect("a temporary folder"),
        }
    }

    /// A desk with the demo lab in `lab`, its story played.
    pub(crate) fn demo() -> Self {
        let desk = Self::new();
        desk.run("demo --keep lab --no-open").good();
        desk
    }

    pub(crate) fn command(&self, words: &[&str]) -> Command {
        let mut command = Command::new(PROGRAM);
        bare(&mut command).current_dir(self.folder.path());
        command.args(words).stdin(Stdio::null());
        command
    }

    /// Runs the words of a line.
    pub(crate) fn run(&self, line: &str) -> Ended {
        self.run_words(&line.split_whitespace().collect::<Vec<&str>>())
    }

    pub(crate) fn run_words(&self, words: &[&str]) -> Ended {
        Ended::of(self.command(words).output().expect("the program runs"))
    }

    /// Runs a line as the coordinator of the demo at an instant.
    pub(crate) fn at(&self, now: &str, line: &str) -> Ended {
        self.run(&format!("{line} --now {now} --person Ines --late trial"))
    }

    pub(crate) fn read(&self, name: &str) -> String {
        std::fs::read_to_string(self.folder.path().join(name)).expect("the file is there")
    }

    pub(crate) fn write(&self, name: &str, text: &str) {
        std::fs::write(self.folder.path().join(name), text).expect("the file is written");
    }

    pub(crate) fn has(&self, name: &str) -> bool {
        Path::new(self.folder.path()).join(name).exists()
    }

    /// Where a name lies.
    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    /// The bytes of a file.
    pub(crate) fn bytes(&self, name: &str) -> Vec<u8> {
        std::fs::read(self.path(name)).expect("the file is there")
    }

    /// Runs the words of a line with no more memory than that many kilobytes, and for no more than a while.
    pub(crate) fn run_within(&self, line: &str, kilobytes: u32) -> Ended {
        let limit = kilobytes.to_string();
        let mut command = Command::new("sh");
        bare(&mut command)
            .env("PATH", "/usr/bin:/bin")
            .current_dir(self.folder.path())
            .args(["-c", "ulimit -v \"$0\"; exec timeout 20 \"$@\"", &limit])
            .arg(PROGRAM)
            .args(line.split_whitespace())
            .stdin(Stdio::null());
        Ended::of(command.output().expect("the program runs"))
    }
}
