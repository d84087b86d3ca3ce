//! Requests that come in by a file, TOML or CSV: checked with the whole folder, whole or not at all.

use super::files::{self, Found};
use super::requests_file;
use super::text::offset_text;
use super::value::{Doc, Sink, Site, Table, parse};
use super::{Docs, Fault, Faults};
use crate::domain::csv::{self, Cell};
use crate::domain::lab::{OnFailure, Request};
use crate::domain::{Lab, Zone};
use sha2::{Digest, Sha256};
use std::borrow::Cow;
use std::fmt::Write as _;
use std::fs::{File, OpenOptions};
use std::io::Write as _;
use std::os::unix::fs::{OpenOptionsExt, PermissionsExt};
use std::path::Path;
use toml::Spanned;
use toml::de::{DeArray, DeTable, DeValue};

/// Columns of a CSV file of requests; each is named as the field of a request in TOML.
const COLUMNS: &[&str] = requests_file::FIELDS
    .split_last()
    .expect("a request has fields")
    .1;

/// A file of requests that passed every check.
#[derive(Debug)]
pub struct Taken {
    /// The lab with the new requests at the end.
    pub lab: Lab,
    /// The new requests.
    pub requests: Vec<Request>,
    /// SHA-256 of the file.
    pub sha256: [u8; 32],
    /// What is allowed, but looks like a mistake.
    pub warnings: Vec<Fault>,
    /// `requests.toml` as it was read.
    before: String,
    /// `requests.toml` as it is to be.
    after: String,
}

/// Reads a file of requests and checks it together with the folder. Nothing is written.
///
/// # Errors
/// Every fault of the file; those of the folder too, where it has any.
pub fn take(folder: &Path, file: &Path) -> Result<Taken, Faults> {
    let sink = Sink::default();
    let docs = Docs::of_folder(folder, &sink);
    let found = files::read_path(file, &sink);
    let bytes = match &found {
        Found::Text(doc) => doc.bytes.clone(),
        _ => Vec::new(),
    };
    let is_csv = file
        .extension()
        .is_some_and(|ending| ending.eq_ignore_ascii_case("csv"));
    let more = match &found {
        Found::Text(doc) => Some(More { doc, is_csv }),
        _ => None,
    };
    let built = docs.build(more.as_ref(), &sink);
    let before = match &docs.requests {
        Found::Text(doc) => doc.text.clone(),
        _ => String::new(),
    };
    let (faults, warnings) = sink.into_sorted();
    match built {
        Some((lab, requests)) if faults.is_empty() => {
            let after = before.clone() + &as_toml(&requests, &lab.zone);
            Ok(Taken {
                lab,
                requests,
                sha256: Sha256::digest(&bytes).into(),
                warnings,
                before,
                after,
            })
        }
        _ => Err(Faults(faults)),
    }
}

impl Taken {
    /// Adds the requests to `requests.toml`, which changes as a whole or not at all.
    ///
    /// # Errors
    /// Where the file is another than was checked, or cannot be written.
    pub fn add_to(&self, folder: &Path) -> std::io::Result<()> {
        replace(&folder.join("requests.toml"), &self.before, &self.after)
    }

    /// Takes the requests out of `requests.toml` again.
    ///
    /// # Errors
    /// As [`Taken::add_to`].
    pub fn take_back(&self, folder: &Path) -> std::io::Result<()> {
        replace(&folder.join("requests.toml"), &self.after, &self.before)
    }
}

/// Gives a file another text, where it still has the one it had.
fn replace(path: &Path, before: &str, after: &str) -> std::io::Result<()> {
    let found = std::fs::symlink_metadata(path)?;
    let changed = !found.is_file() || {
        let now = std::fs::read(path)?;
        now.strip_prefix(b"\xef\xbb\xbf").unwrap_or(&now) != before.as_bytes()
    };
    if changed {
        let why = format!("{} was changed meanwhile; try again", path.display());
        return Err(std::io::Error::other(why));
    }
    let half = path.with_extension(format!("{:08x}.half", getrandom::u32().unwrap_or(0)));
    let written = write_new(&half, after, found.permissions().mode() & 0o777)
        .and_then(|()| std::fs::rename(&half, path));
    if written.is_err() {
        // What is half made is ours; where it cannot be removed the first error says more.
        let _removed = std::fs::remove_file(&half);
    }
    written?;
    File::open(path.parent().unwrap_or(Path::new(".")))?.sync_all()
}

fn write_new(path: &Path, text: &str, mode: u32) -> std::io::Result<()> {
    let mut file = OpenOptions::new()
        .write(true)
        .create_new(true)
        .mode(mode)
        .custom_flags(rustix::fs::OFlags::NOFOLLOW.bits().cast_signed())
        .open(path)?;
    file.set_permissions(std::fs::Permissions::from_mode(mode))?;
    file.write_all(text.as_bytes())?;
    file.sync_all()
}

/// Requests as text for the end of `requests.toml`.
fn as_toml(requests: &[Request], zone: &Zone) -> String {
    let mut text = String::new();
    for own in requests {
        let quoted = |text: &str| toml::Value::String(text.to_owned()).to_string();
        let numbered = own
            .units
            .iter()
            .zip(1..)
            .all(|(unit, number)| unit.as_str() == format!("{}/{number}", own.id));
        let mut field = |key: &str, value: String| {
            // A string takes whatever it is given.
            let _fits = writeln!(text, "{key} = {value}");
        };
        field("\n[[request]]\nid", quoted(own.id.as_str()));
        field("product", quoted(&own.product));
        field("build", quoted(&own.build));
        field("sequence", quoted(own.sequence.as_str()));
        if numbered {
            field("units", own.units.len().to_string());
        } else {
            let all: Vec<String> = own.units.iter().map(|unit| quoted(unit.as_str())).collect();
            field("serials", format!("[{}]", all.join(", ")));
        }
        field("ready", quoted(&offset_text(zone, own.ready)));
        if let Some(due) = own.due {
            field("due", quoted(&offset_text(zone, due)));
        }
        field("priority", own.priority.to_string());
        field("keep_together", own.keep_together.to_string());
        let on_failure = match own.on_failure {
            OnFailure::Stop => "stop",
            OnFailure::Continue => "continue",
        };
        field("on_failure", quoted(on_failure));
    }
    text
}

/// A file of more requests.
pub(super) struct More<'a> {
    doc: &'a Doc,
    is_csv: bool,
}

impl More<'_> {
    /// Its requests; `None` where it cannot be read as a table at all.
    pub(super) fn read(&self, known: &mut requests_file::Known<'_>, sink: &Sink) -> Vec<Request> {
        if !self.is_csv {
            let Some(table) = parse(self.doc, sink) else {
                return Vec::new();
            };
            let root = Table::root(&table, Site::start(self.doc, sink));
            return requests_file::read_more(&root, known);
        }
        match csv::read(&self.doc.text) {
            Ok(rows) => {
                let table = as_table(&rows, Site::start(self.doc, sink));
                let root = Table::root(&table, Site::start(self.doc, sink));
                requests_file::read_more(&root, known)
            }
            Err(fault) => {
                let site = Site::start(self.doc, sink).at(fault.at);
                site.fault(&self.doc.file, &fault.why);
                Vec::new()
            }
        }
    }
}

/// Rows of cells as the tables that a TOML file would hold, each value with its place in the CSV file.
fn as_table<'a>(rows: &'a [Vec<Cell>], site: Site<'_>) -> Spanned<DeTable<'a>> {
    let mut list = DeArray::new();
    if let Some((header, rows)) = rows.split_first() {
        for (ix, own) in header.iter().enumerate() {
            if header.iter().take(ix).any(|other| other.text == own.text) {
                let why = format!("column {} stands there twice", own.text.trim());
                site.at(own.at).fault("header", &why);
            }
        }
        for row in rows {
            let at = row.first().map_or(0, |cell| cell.at);
            if row.len() != header.len() {
                let why = format!("{} cells, the header has {}", row.len(), header.len());
                site.at(at).fault("row", &why);
                continue;
            }
            let value = DeValue::Table(one_row(header, row));
            list.push(Spanned::new(at..at, value));
        }
    } else {
        let why = format!(
            "it is empty; the first line names columns: {}",
            COLUMNS.join(", ")
        );
        site.fault("header", &why);
    }
    let mut root = DeTable::new();
    root.insert(
        Spanned::new(0..0, Cow::Borrowed("request")),
        Spanned::new(0..0, DeValue::Array(list)),
    );
    Spanned::new(0..0, root)
}

/// A row under its header; empty cells say nothing.
fn one_row<'a>(header: &'a [Cell], row: &'a [Cell]) -> DeTable<'a> {
    let mut table = DeTable::new();
    for (name, cell) in header.iter().zip(row) {
        let key = name.text.trim();
        let text = cell.text.trim();
        if text.is_empty() {
            continue;
        }
        let span = cell.at..cell.at;
        let plain = || DeValue::String(Cow::Borrowed(text));
        let value = match key {
            "units" | "priority" if text.bytes().all(|c| c.is_ascii_digit()) => {
                DeValue::parse(text).map_or_else(|_| plain(), Spanned::into_inner)
            }
            "keep_together" => match text {
                "true" => DeValue::Boolean(true),
                "false" => DeValue::Boolean(false),
                _ => plain(),
            },
            "serials" => {
                let mut list = DeArray::new();
                for serial in text.split(';').map(str::trim) {
                    let serial = DeValue::String(Cow::Borrowed(serial));
                    list.push(Spanned::new(span.clone(), serial));
                }
                DeValue::Array(list)
            }
            _ => plain(),
        };
        table.insert(
            Spanned::new(name.at..name.at, Cow::Borrowed(key)),
            Spanned::new(span, value),
        );
    }
    table
}
