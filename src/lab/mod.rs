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
mod sense;
mod sequences_file;
mod show;
mod standards_file;
mod take;
mod text;
mod value;

pub use fault::{Fault, Faults, nearest};
pub use take::{Taken, take};
pub use text::{offset_text, parse_clock, parse_date, parse_duration, parse_instant};

use crate::domain::lab::{Method, Request};
use crate::domain::standard::Standard;
use crate::domain::{Lab, MethodId, StandardId, Zone};
use files::Found;
use lab_file::LabNames;
use methods_file::Methods;
use requests_file::Pinnable;
use standards_file::Standards;
use std::collections::BTreeMap;
use std::path::Path;
use take::More;
use toml::Spanned;
use toml::de::DeTable;
use value::{Doc, Sink, Site, Table, parse};

/// The methods that come with the program: published severities, with the source of each.
pub const CATALOGUE: &str = include_str!("../../config/methods.toml");

/// What the standards say that the built-in methods follow.
pub const STANDARDS: &str = include_str!("../../config/standards.toml");

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
    let docs = Docs::of_folder(folder, &sink);
    let lab = docs.build(None, &sink).map(|(lab, _)| lab);
    let (faults, warnings) = sink.into_sorted();
    match lab {
        Some(lab) if faults.is_empty() => Ok(ReadLab { lab, warnings }),
        _ => Err(Faults(faults)),
    }
}

/// The built-in catalogue alone.
#[derive(Clone, Debug)]
pub struct Catalogue {
    /// Published methods and severities.
    pub methods: BTreeMap<MethodId, Method>,
    /// What the standards say that they follow.
    pub standards: BTreeMap<StandardId, Standard>,
    /// What looks like a mistake; the tests see that there is none.
    pub warnings: Vec<Fault>,
}

/// Reads the built-in catalogue.
///
/// # Panics
/// If the catalogue that is compiled in has a fault, which the tests rule out.
pub fn catalogue() -> Catalogue {
    let (methods, standards, warnings) = built_in();
    Catalogue {
        methods,
        standards: standards.good,
        warnings,
    }
}

fn built_in() -> (BTreeMap<MethodId, Method>, Standards, Vec<Fault>) {
    let sink = Sink::default();
    let text = Doc::new("built-in standards.toml", STANDARDS.to_owned());
    let table = parse(&text, &sink).expect("the standards are TOML");
    let root = Table::root(&table, Site::start(&text, &sink));
    root.only(&["standard", "order"]);
    let standards = standards_file::read(&root);
    let text = Doc::new("built-in methods.toml", CATALOGUE.to_owned());
    let table = parse(&text, &sink).expect("the catalogue is TOML");
    let root = Table::root(&table, Site::start(&text, &sink));
    root.only(&["method"]);
    let methods = methods_file::read(&root, None, &standards).good;
    let (faults, warnings) = sink.into_sorted();
    assert!(
        faults.is_empty(),
        "the catalogue has no fault: {}",
        Faults(faults)
    );
    (methods, standards, warnings)
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
    fn of_folder(folder: &Path, sink: &Sink) -> Self {
        let doc = |file, needed| files::read(folder, file, needed, sink);
        Self {
            lab: doc("lab.toml", true),
            methods: doc("methods.toml", false),
            sequences: doc("sequences.toml", true),
            requests: doc("requests.toml", true),
            pins: doc("pins.toml", false),
        }
    }

    /// Reads one file after another, going on as far as possible after a fault: what a file that cannot
    /// be read would have said is then not known, and references to it are not judged. With the lab come
    /// the requests of `more`, which stand at the end of its own.
    fn build(&self, more: Option<&More<'_>>, sink: &Sink) -> Option<(Lab, Vec<Request>)> {
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
        let (methods, standards) = self.methods(names.as_ref(), sink);
        let sequences_file = Parsed::new(&self.sequences, sink);
        let sequences = sequences_file.as_ref().map(|file| {
            sequences_file::read(&file.root(sink), methods.as_ref(), &standards, lab.as_ref())
        });
        let requests_file = Parsed::new(&self.requests, sink);
        let requests = requests_file.as_ref().map(|file| {
            let mut known = requests_file::Known::new(&zone, sequences.as_ref());
            let mut requests = requests_file::read(&file.root(sink), &mut known);
            let fresh = more.map(|more| more.read(&mut known, sink));
            let fresh = fresh.unwrap_or_default();
            requests.extend(fresh.iter().cloned());
            ((requests, fresh), known.units)
        });
        let (requests, units) = requests.unzip();
        let (requests, fresh) = requests.unzip();
        if let Some(lab) = &mut lab {
            lab.methods = methods.map(|methods| methods.good).unwrap_or_default();
            lab.standards = standards.good;
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
        lab.map(|lab| (Lab { pins, ..lab }, fresh.unwrap_or_default()))
    }

    /// The lab's own methods and the built-in ones, and the standards of both; no methods where the
    /// lab's own cannot be read.
    fn methods(&self, names: Option<&LabNames>, sink: &Sink) -> (Option<Methods>, Standards) {
        let (built_in, standards, _) = built_in();
        if matches!(self.methods, Found::Absent) {
            return (Some(Methods::default().with(built_in)), standards);
        }
        let Some(file) = Parsed::new(&self.methods, sink) else {
            return (None, standards);
        };
        let root = file.root(sink);
        root.only(&["method", "standard"]);
        let standards = standards_file::read(&root).with(standards);
        let own = methods_file::read(&root, names.map(|names| &names.crews), &standards);
        (Some(own.with(built_in)), standards)
    }
}
