//! The file in which panics are written down.

use std::backtrace::Backtrace;
use std::fs::{DirBuilder, OpenOptions};
use std::io::Write;
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::panic::PanicHookInfo;
use std::path::PathBuf;

/// Its name in the state folder.
const NAME: &str = "rigday.log";

/// Writes down what nobody planned for, with the time and the way to it.
pub(super) struct Journal {
    folder: PathBuf,
    now: Box<dyn Fn() -> String + Send + Sync>,
}

impl Journal {
    /// In a folder, which is made when there is something to write; `now` says the time.
    pub(super) fn new(folder: PathBuf, now: impl Fn() -> String + Send + Sync + 'static) -> Self {
        let now = Box::new(now);
        Self { folder, now }
    }

    /// Writes a panic down; the file.
    ///
    /// # Errors
    /// Where the folder or the file cannot be written.
    pub(super) fn panic(&self, panic: &PanicHookInfo) -> std::io::Result<String> {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(&self.folder)?;
        let path = self.folder.join(NAME);
        let mut file = OpenOptions::new()
            .append(true)
            .create(true)
            .mode(0o600)
            .custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed())
            .open(&path)?;
        let thread = std::thread::current();
        let text = format!(
            "{} rigday {} thread {}: {panic}\n{}\n",
            (self.now)(),
            env!("CARGO_PKG_VERSION"),
            thread.name().unwrap_or("without a name"),
            Backtrace::force_capture()
        );
        file.write_all(text.as_bytes())?;
        Ok(path.display().to_string())
    }
}
