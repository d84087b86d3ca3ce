//! Something worked out from the events, kept for one user so that it need not be worked out again.
//!
//! It is never trusted over the events: it names the ledger, the last event it was made from and that event's
//! link, which seals everything before it, and it carries its own hash. Where any of these is not as on the
//! chain it counts as not there. Its folder is the user's own, and may be emptied at any time.

use super::chain::Hash;
use super::heads::{hex, nofollow};
use super::{Head, LedgerError};
use sha2::{Digest, Sha256};
use std::fs::DirBuilder;
use std::io::{Read, Write};
use std::os::unix::fs::{DirBuilderExt, OpenOptionsExt};
use std::path::{Path, PathBuf};

/// Largest file that is read, in bytes.
const LARGEST: u64 = 1 << 29;
/// Longest first line, in bytes.
const LONGEST_LINE: usize = 512;

/// A user's folder of what can be worked out again.
#[derive(Clone, Debug)]
pub(super) struct Cache {
    folder: PathBuf,
}

impl Cache {
    pub(super) fn new(folder: PathBuf) -> Self {
        Self { folder }
    }

    /// What was kept for a ledger, with the head that it was made at; the caller compares that with the chain.
    /// `None` where there is nothing, or nothing whole.
    pub(super) fn recall(&self, ledger: [u8; 16]) -> Option<(Head, Vec<u8>)> {
        let file = nofollow()
            .read(true)
            .open(self.folder.join(name(ledger)))
            .ok()?;
        let mut bytes = Vec::new();
        file.take(LARGEST).read_to_end(&mut bytes).ok()?;
        let end = bytes.iter().take(LONGEST_LINE).position(|b| *b == b'\n')?;
        let line = std::str::from_utf8(bytes.get(..end)?).ok()?;
        let (head, sum) = line.rsplit_once(' ')?;
        let head = Head::of_line(head).filter(|head| head.ledger == ledger)?;
        let sum = sum.to_owned();
        let content = bytes.split_off(end.checked_add(1)?);
        (sum == hex(&seal(head.link, &content))).then_some((head, content))
    }

    /// Keeps it in place of what was kept before; the file appears whole or not at all. Nothing waits for the
    /// disk: what a power cut leaves half written does not fit its hash.
    pub(super) fn keep(&self, head: &Head, content: &[u8]) -> Result<(), LedgerError> {
        DirBuilder::new()
            .recursive(true)
            .mode(0o700)
            .create(&self.folder)?;
        let own = name(head.ledger);
        let number = getrandom::u32().unwrap_or(std::process::id());
        let half = self.folder.join(format!("{own}.{number:08x}.half"));
        let kept = write(&half, head, content)
            .and_then(|()| std::fs::rename(&half, self.folder.join(own)));
        if kept.is_err() {
            // What is half made is ours; where it cannot be removed the first error says more.
            let _removed = std::fs::remove_file(&half);
        }
        Ok(kept?)
    }
}

fn write(half: &Path, head: &Head, content: &[u8]) -> std::io::Result<()> {
    let mut options = nofollow();
    options.write(true).create_new(true).mode(0o600);
    let mut file = options.open(half)?;
    let sum = hex(&seal(head.link, content));
    file.write_all(format!("{} {sum}\n", head.line()).as_bytes())?;
    file.write_all(content)
}

/// The hash of the content and of the link that it was made at.
fn seal(link: Hash, content: &[u8]) -> Hash {
    let mut hash = Sha256::new();
    hash.update(link);
    hash.update(content);
    hash.finalize().into()
}

fn name(ledger: [u8; 16]) -> String {
    format!("floor-{}", hex(&ledger))
}
