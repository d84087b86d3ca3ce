//! The lab folder: TOML files and the built-in catalogue become a checked [`Lab`], or faults.
//!
//! Every fault of every file is found at once, each with its file, line and column, why it is one, and
//! the nearest allowed name; nothing of a faulty folder is taken in. This room writes nothing, and it
//! knows neither ledger nor plan.

mod fault;
mod files;
mod lab_file;
mod methods_file;
pub mod published;
mod requests_file;
mod sequences_file;
mod text;
mod value;

pub use fault::{Fault, Faults};
pub use text::{offset_text, parse_clock, parse_date, parse_duration, parse_instant};

use crate::domain::Lab;
use crate::domain::MethodId;
use crate::domain::lab::Method;
use std::collections::BTreeMap;
use std::path::Path;
use value::{Doc, Sink, Site, Table, parse};

/// The methods that come with the program: published severities, with the source of each.
pub const CATALOGUE: &str = include_str!("../../config/methods.toml");

/// A lab that passed every check.
#[derive(Clone, Debug)]
pub struct ReadLab {
    /// The lab.
    pub lab: Lab,
    /// What is allowed, but looks like a mistake.
    pub warnings: Vec<Fault>,
}

/// Reads and checks a lab folder.
///
/// # Errors
/// Every fault of every file.
pub fn read(folder: &Path) -> Result<ReadLab, Faults> {
    let sink = Sink::default();
    let doc = |file, needed| files::read(folder, file, needed, &sink);
    let docs = Docs {
        lab: doc("lab.toml", true),
        methods: doc("methods.toml", false),
        sequences: doc("sequences.toml", true),
        requests: doc("requests.toml", true),
        pins: doc("pins.toml", false),
    };
    let lab = docs.build(&sink);
    let (faults, warnings) = sink.into_sorted();
    match lab {
        Some(lab) if faults.is_empty() => Ok(ReadLab { lab, warnings }),
        _ => Err(Faults(faults)),
    }
}

/// The built-in methods alone.
///
/// # Panics
/// If the catalogue that is compiled in has a fault, which the tests rule out.
pub fn catalogue() -> BTreeMap<MethodId, Method> {
    let sink = Sink::default();
    let doc = Doc::new("built-in methods.toml", CATALOGUE.to_owned());
    let table = parse(&doc, &sink).expect("the catalogue is TOML");
    let methods = methods_file::read(&Table::root(&table, Site::start(&doc, &sink)), None);
    let (faults, _) = sink.into_sorted();
    assert!(
        faults.is_empty(),
        "the catalogue has no fault: {}",
        Faults(faults)
    );
    methods
}

/// The texts of the folder's files; `None` where one is missing or cannot be read.
struct Docs {
    lab: Option<Doc>,
    methods: Option<Doc>,
    sequences: Option<Doc>,
    requests: Option<Doc>,
    pins: Option<Doc>,
}

impl Docs {
    /// Reads one file after another, going on as far as possible after a fault.
    fn build(&self, sink: &Sink) -> Option<Lab> {
        let table = |doc: &'_ Option<Doc>| doc.is_some();
        let lab_root = self
            .lab
            .as_ref()
            .and_then(|doc| Some((doc, parse(doc, sink)?)));
        let methods_root = self
            .methods
            .as_ref()
            .and_then(|doc| Some((doc, parse(doc, sink)?)));
        let sequences_root = self
            .sequences
            .as_ref()
            .and_then(|doc| Some((doc, parse(doc, sink)?)));
        let requests_root = self
            .requests
            .as_ref()
            .and_then(|doc| Some((doc, parse(doc, sink)?)));
        let pins_root = self
            .pins
            .as_ref()
            .and_then(|doc| Some((doc, parse(doc, sink)?)));
        let mut lab = lab_root
            .as_ref()
            .map(|(doc, root)| lab_file::read(&Table::root(root, Site::start(doc, sink))));
        let crews = lab.as_ref().map(|lab| lab.crews.clone());
        let mut methods = Some(catalogue());
        if let Some((doc, root)) = &methods_root {
            let own =
                methods_file::read(&Table::root(root, Site::start(doc, sink)), crews.as_deref());
            methods.get_or_insert_default().extend(own);
        } else if table(&self.methods) {
            methods = None;
        }
        let sequences = sequences_root.as_ref().map(|(doc, root)| {
            sequences_file::read(&Table::root(root, Site::start(doc, sink)), methods.as_ref())
        });
        let zone = lab.as_ref().map(|lab| lab.zone.clone());
        let requests = requests_root.as_ref().map(|(doc, root)| {
            let root = Table::root(root, Site::start(doc, sink));
            requests_file::read(&root, zone.as_ref(), sequences.as_deref())
        });
        let whole = lab.is_some() && sequences.is_some() && requests.is_some() && methods.is_some();
        if let Some(lab) = &mut lab {
            lab.methods = methods.unwrap_or_default();
            lab.sequences = sequences.unwrap_or_default();
            lab.requests = requests.unwrap_or_default();
        }
        if let (Some((doc, root)), Some(lab), true) = (&pins_root, &mut lab, whole) {
            lab.pins = requests_file::pins(&Table::root(root, Site::start(doc, sink)), lab);
        }
        lab.filter(|_| whole && (pins_root.is_some() || self.pins.is_none()))
    }
}
