//! Remembered heads: how far the chain had come when a user last looked.
//!
//! The chain cannot show that its own tail was cut off, or that an old copy was put back. A head that is
//! kept elsewhere can: each user's state folder holds one for each ledger.

use super::{Head, LedgerError};
use crate::domain::Seq;
use std::fmt::Write as _;
use std::fs::{DirBuilder, File, OpenOptions};
use std::io::{ErrorKind, Read, Write as _};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

/// Largest file of a head that is read, in bytes; one line is far shorter.
const LARGEST: u64 = 4096;

impl Head {
    /// One line for paper, mail or a file: `rigday`, the ledger, the seq, the link.
    pub fn line(&self) -> String {
        format!(
            "rigday {} {} {}",
            hex(&self.ledger),
            self.seq.0,
            hex(&self.link)
        )
    }

    /// The head that a line holds.
    pub fn of_line(line: &str) -> Option<Self> {
        let mut words = line.split_whitespace();
        let (Some("rigday"), Some(ledger), Some(seq), Some(link), None) = (
            words.next(),
            words.next(),
            words.next(),
            words.next(),
            words.next(),
        ) else {
            return None;
        };
        Some(Self {
            ledger: unhex(ledger)?,
            seq: Seq(seq.parse().ok()?),
            link: unhex(link)?,
        })
    }
}

/// A user's folder of remembered heads.
#[derive(Clone, Debug)]
pub struct Heads {
    folder: PathBuf,
}

impl Heads {
    /// The heads in a folder, which is made when the first is kept.
    pub fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    /// The head of a ledger that was kept last.
    pub(super) fn recall(&self, ledger: [u8; 16]) -> Result<Option<Head>, LedgerError> {
        let path = self.folder.join(name(ledger));
        let mut text = String::new();
        match nofollow().read(true).open(&path) {
            Ok(file) => file.take(LARGEST).read_to_string(&mut text)?,
            Err(error) if error.kind() == ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error.into()),
        };
        let head = Head::of_line(text.trim()).filter(|head| head.ledger == ledger);
        head.map(Some).ok_or_else(|| LedgerError::Unsafe {
            path: path.display().to_string(),
            why: "this is no remembered head; look what happened to it, then remove it".to_owned(),
        })
    }

    /// When the file of a ledger was last checked, in milliseconds since 1970; `None` where nobody can tell.
    pub(super) fn checked_ms(&self, ledger: [u8; 16]) -> Option<i64> {
        let path = self.folder.join(checked(ledger));
        let mut text = String::new();
        let file = nofollow().read(true).open(path).ok()?;
        file.take(LARGEST).read_to_string(&mut text).ok()?;
        text.trim().parse().ok()
    }

    /// Keeps when the file of a ledger was checked.
    pub(super) fn keep_checked(&self, ledger: [u8; 16], ms: i64) -> Result<(), LedgerError> {
        self.keep(&checked(ledger), &format!("{ms}\n"))
    }

    /// Keeps a head in place of the one before it; what is no head stays for whoever looks what happened to it.
    pub(super) fn remember(&self, head: &Head) -> Result<(), LedgerError> {
        self.recall(head.ledger)?;
        self.keep(&name(head.ledger), &format!("{}\n", head.line()))
    }

    /// Keeps a text under a name; the file appears whole or not at all.
    fn keep(&self, name: &str, text: &str) -> Result<(), LedgerError> {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(&self.folder)?;
        let half = self.folder.join(format!(
            "{name}.{:08x}.half",
            getrandom::u32().unwrap_or(std::process::id())
        ));
        let kept = self.write(&half, name, text);
        if kept.is_err() {
            // What is half made is ours; where it cannot be removed the first error says more.
            let _removed = std::fs::remove_file(&half);
        }
        kept
    }

    fn write(&self, half: &Path, name: &str, text: &str) -> Result<(), LedgerError> {
        let mut file = nofollow()
            .write(true)
            .create_new(true)
            .mode(0o640)
            .open(half)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()?;
        std::fs::rename(half, self.folder.join(name))?;
        File::open(&self.folder)?.sync_all()?;
        Ok(())
    }
}

fn nofollow() -> OpenOptions {
    let mut options = OpenOptions::new();
    options.custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed());
    options
}

fn name(ledger: [u8; 16]) -> String {
    format!("head-{}", hex(&ledger))
}

fn checked(ledger: [u8; 16]) -> String {
    format!("checked-{}", hex(&ledger))
}

/// Bytes in hexadecimal.
pub fn hex(bytes: &[u8]) -> String {
    bytes.iter().fold(String::new(), |mut text, byte| {
        // A string takes whatever it is given.
        let _fits = write!(text, "{byte:02x}");
        text
    })
}

fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let digits = text.as_bytes();
    if digits.len() != N.checked_mul(2)? || !digits.iter().all(u8::is_ascii_hexdigit) {
        return None;
    }
    let mut bytes = [0; N];
    for (byte, pair) in bytes.iter_mut().zip(digits.chunks(2)) {
        *byte = u8::from_str_radix(std::str::from_utf8(pair).ok()?, 16).ok()?;
    }
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_head_can_be_written_down_and_read_again() {
        let head = Head {
            ledger: std::array::from_fn(|ix| u8::try_from(ix * 16).expect("a byte")),
            seq: Seq(17),
            link: [0xa5; 32],
        };
        let line = head.line();
        assert_eq!(line.split(' ').nth(2), Some("17"));
        assert_eq!(Head::of_line(&line), Some(head));
        for bad in [
            String::new(),
            line.replace("17", "x"),
            line[..line.len() - 1].to_owned(),
            format!("{line} more"),
            line.replace("a5", "+5"),
        ] {
            assert_eq!(Head::of_line(&bad), None, "{bad}");
        }
    }
}
