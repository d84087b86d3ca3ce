//! Reading the folder's files without being fooled by what else may stand there.

use super::value::{Doc, Sink, Site};
use std::fs::File;
use std::io::Read;
use std::path::Path;

/// Largest file that is read, in bytes.
const LARGEST: u64 = 8 << 20;

/// Longest line that is read, in bytes.
const LONGEST_LINE: usize = 64 << 10;

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
pub(super) fn read(folder: &Path, file: &str, needed: bool, sink: &Sink) -> Found {
    found_at(&folder.join(file), file, needed, sink)
}

/// The text of a file that is needed, wherever it lies; in messages it has its name alone.
pub(super) fn read_path(path: &Path, sink: &Sink) -> Found {
    let name = path.file_name().unwrap_or(path.as_os_str());
    found_at(path, &name.to_string_lossy(), true, sink)
}

fn found_at(path: &Path, file: &str, needed: bool, sink: &Sink) -> Found {
    match std::fs::metadata(path) {
        Err(error) if error.kind() == std::io::ErrorKind::NotFound && !needed => Found::Absent,
        found => match text_of(path, found, file, sink) {
            Some(doc) => Found::Text(doc),
            None => Found::Unreadable,
        },
    }
}

fn text_of(
    path: &Path,
    found: std::io::Result<std::fs::Metadata>,
    file: &str,
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
    if bytes.len() as u64 > LARGEST {
        fault(&nowhere, "it is larger than 8 MB");
        return None;
    }
    let whole = &bytes[..];
    let bytes = bytes
        .strip_prefix(b"\xef\xbb\xbf")
        .map_or(&bytes[..], |rest| rest);
    match std::str::from_utf8(bytes) {
        Ok(text) => {
            let mut doc = Doc::new(file, text.to_owned());
            if text.starts_with('\u{feff}') {
                fault(&doc, "it begins with a second byte-order mark");
                return None;
            }
            if let Some(at) = long_line(text) {
                let site = Site::start(&doc, sink).at(at);
                site.fault(file, "the line is longer than 64 kB");
                return None;
            }
            whole.clone_into(&mut doc.bytes);
            Some(doc)
        }
        Err(error) => {
            let good = String::from_utf8_lossy(&bytes[..error.valid_up_to()]).into_owned();
            let doc = Doc::new(file, good);
            let site = Site::start(&doc, sink).at(error.valid_up_to());
            site.fault(file, "it is not UTF-8 from here on");
            None
        }
    }
}

/// The byte at which a line begins that is longer than any that people write.
fn long_line(text: &str) -> Option<usize> {
    let mut at = 0;
    for line in text.split_inclusive('\n') {
        if line.len() > LONGEST_LINE {
            return Some(at);
        }
        at += line.len();
    }
    None
}

fn bytes_of(path: &Path) -> std::io::Result<Vec<u8>> {
    let mut bytes = Vec::new();
    File::open(path)?
        .take(LARGEST + 1)
        .read_to_end(&mut bytes)?;
    Ok(bytes)
}
