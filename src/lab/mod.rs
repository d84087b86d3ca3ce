//! The lab folder: TOML files and the built-in catalogue become a checked [`Lab`], or faults.
//!
//! Every fault of every file is found at once, each with its file, line and column, why it is one, and
//! the nearest allowed name; nothing of a faulty folder is taken in. This room writes nothing, and it
//! knows neither ledger nor plan.

mod fault;
mod files;
mod lab_file;
mod methods_file;
mod names;
pub mod published;
mod requests_file;
mod sequences_file;
mod show;
mod text;
mod value;

pub use fault::{Fault, Faults};
pub use text::{offset_text, parse_clock, parse_date, parse_duration, parse_instant};

use crate::domain::lab::Method;
use crate::domain::{Lab, MethodId, Zone};
use files::Found;
use lab_file::LabNames;
use methods_file::Methods;
use requests_file::Pinnable;
use std::collections::BTreeMap;
use std::path::Path;
use toml::Spanned;
use toml::de::DeTable;
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
    let methods = methods_file::read(&Table::root(&table, Site::start(&doc, &sink)), None).good;
    let (faults, _) = sink.into_sorted();
    assert!(
        faults.is_empty(),
        "the catalogue has no fault: {}",
        Faults(faults)
    );
    methods
}

/// What stands under the names of the folder's files.
struct Docs {
    lab: Found,
    methods: Found,
    sequences: Found,
    requests: Found,
    pins: Found,
}

/// A file as tables.
struct Parsed<'a> {
    doc: &'a Doc,
    table: Spanned<DeTable<'a>>,
}

impl<'a> Parsed<'a> {
    /// `None` where the file is absent, or cannot be read, or is no TOML.
    fn new(found: &'a Found, sink: &'a Sink) -> Option<Self> {
        let Found::Text(doc) = found else {
            return None;
        };
        let table = parse(doc, sink)?;
        Some(Self { doc, table })
    }

    fn root(&'a self, sink: &'a Sink) -> Table<'a> {
        Table::root(&self.table, Site::start(self.doc, sink))
    }
}

impl Docs {
    /// Reads one file after another, going on as far as possible after a fault: what a file that cannot
    /// be read would have said is then not known, and references to it are not judged.
    fn build(&self, sink: &Sink) -> Option<Lab> {
        let lab_file = Parsed::new(&self.lab, sink);
        let (mut lab, names) = match &lab_file {
            Some(file) => {
                let (lab, names) = lab_file::read(&file.root(sink));
                (Some(lab), Some(names))
            }
            None => (None, None),
        };
        let zone = lab
            .as_ref()
            .map_or_else(Zone::utc, |lab: &Lab| lab.zone.clone());
        let methods = self.methods(names.as_ref(), sink);
        let sequences_file = Parsed::new(&self.sequences, sink);
        let sequences = sequences_file
            .as_ref()
            .map(|file| sequences_file::read(&file.root(sink), methods.as_ref()));
        let requests_file = Parsed::new(&self.requests, sink);
        let requests = requests_file.as_ref().map(|file| {
            let sequences = sequences.as_ref().map(|(_, names)| names);
            requests_file::read(&file.root(sink), &zone, sequences)
        });
        let (requests, units) = requests.unzip();
        if let Some(lab) = &mut lab {
            lab.methods = methods.map(|methods| methods.good).unwrap_or_default();
            lab.sequences = sequences.map(|(good, _)| good).unwrap_or_default();
            lab.requests = requests.unwrap_or_default();
        }
        let to = Pinnable {
            zone: &zone,
            rigs: names.as_ref().map(|names| &names.rigs),
            units: units.as_ref(),
            lab: lab.as_ref(),
        };
        let pins = Parsed::new(&self.pins, sink)
            .map(|file| requests_file::pins(&file.root(sink), &to))
            .unwrap_or_default();
        lab.map(|lab| Lab { pins, ..lab })
    }

    /// The lab's own methods and the built-in ones; `None` where the lab's own cannot be read.
    fn methods(&self, names: Option<&LabNames>, sink: &Sink) -> Option<Methods> {
        let own = match &self.methods {
            Found::Absent => Methods::default(),
            found => {
                let file = Parsed::new(found, sink)?;
                methods_file::read(&file.root(sink), names.map(|names| &names.crews))
            }
        };
        Some(own.with(catalogue()))
    }
}
