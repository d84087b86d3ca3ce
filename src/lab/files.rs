//! Reading the folder's files without being fooled by what else may stand there.

use super::value::{Doc, Sink, Site};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Largest file that is read, in bytes.
const LARGEST: u64 = 8 << 20;

/// What stands under a file's name.
pub(super) enum Found {
    /// Its text.
    Text(Doc),
    /// Nothing.
    Absent,
    /// Something that cannot be read.
    Unreadable,
}

/// The text of a file of the folder; a fault where it is needed and missing, no regular file, too large
/// or not UTF-8. One byte-order mark is skipped.
pub(super) fn read(folder: &Path, file: &'static str, needed: bool, sink: &Sink) -> Found {
    let path = folder.join(file);
    match std::fs::metadata(&path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && !needed => Found::Absent,
        found => match text_of(&path, found, file, sink) {
            Some(doc) => Found::Text(doc),
            None => Found::Unreadable,
        },
    }
}

fn text_of(
    path: &Path,
    found: std::io::Result<std::fs::Metadata>,
    file: &'static str,
    sink: &Sink,
) -> Option<Doc> {
    let nowhere = Doc::new(file, String::new());
    let fault = |doc: &Doc, why: &str| Site::start(doc, sink).fault(file, why);
    let found = match found {
        Ok(found) => found,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => {
            fault(
                &nowhere,
                "the file is missing; `rigday init` writes a folder to begin with",
            );
            return None;
        }
        Err(error) => {
            fault(&nowhere, &format!("it cannot be read: {error}"));
            return None;
        }
    };
    if !found.is_file() {
        fault(&nowhere, "it is no regular file");
        return None;
    }
    if found.len() > LARGEST {
        fault(&nowhere, "it is larger than 8 MB");
        return None;
    }
    let bytes = match bytes_of(path) {
        Ok(bytes) => bytes,
        Err(error) => {
            fault(&nowhere, &format!("it cannot be read: {error}"));
            return None;
        }
    };
    let bytes = bytes
        .strip_prefix(b"\xef\xbb\xbf")
        .map_or(&bytes[..], |rest| rest);
    match std::str::from_utf8(bytes) {
        Ok(text) => Some(Doc::new(file, text.to_owned())),
        Err(error) => {
            let good = String::from_utf8_lossy(&bytes[..error.valid_up_to()]).into_owned();
            let doc = Doc::new(file, good);
            let site = Site::start(&doc, sink).at(error.valid_up_to());
            site.fault(file, "it is not UTF-8 from here on");
            None
        }
    }
}

fn bytes_of(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}
