//! `requests.toml` and `pins.toml`: units that walk a sequence, and bookings that are fixed.

use super::names::Names;
use super::sequences_file::MOST_STEPS;
use super::value::{Table, Value};
use crate::domain::lab::{Lab, OnFailure, Pin, Request, Sequence, Shared};
use crate::domain::steps::walk;
use crate::domain::text::id_fault;
use crate::domain::{RequestId, RigId, SequenceId, UnitId, Zone};
use std::collections::{BTreeMap, BTreeSet};

/// Most units of one request.
const MOST_UNITS: i64 = 100_000;

/// The units of all requests, those with a fault included.
#[derive(Default)]
pub(super) struct Units {
    names: Names,
    /// True where the units of some request could not be read, so that any name may be one of theirs.
    in_doubt: bool,
}

/// What requests refer to, and the names that they have given so far.
pub(super) struct Known<'a> {
    zone: &'a Zone,
    sequences: Option<&'a (Vec<Sequence>, Names)>,
    requests: Names,
    /// The units of all requests.
    pub(super) units: Units,
}

impl<'a> Known<'a> {
    pub(super) fn new(zone: &'a Zone, sequences: Option<&'a (Vec<Sequence>, Names)>) -> Self {
        Self {
            zone,
            sequences,
            requests: Names::default(),
            units: Units::default(),
        }
    }
}

/// Fields of a request. The last, a table, has no place in a line of CSV.
pub(super) const FIELDS: [&str; 12] = [
    "id",
    "product",
    "build",
    "sequence",
    "units",
    "serials",
    "ready",
    "due",
    "priority",
    "keep_together",
    "on_failure",
    "show",
];

/// Reads requests, and the names of all units; a request with a fault is left out.
pub(super) fn read(root: &Table<'_>, known: &mut Known<'_>) -> Vec<Request> {
    root.only(&["request"]);
    let mut requests = Vec::new();
    for mut table in root.tables("request") {
        let id = table.identify("request", &mut known.requests);
        let (zone, sequences) = (known.zone, known.sequences);
        requests.extend(request(
            &table,
            id.as_deref(),
            zone,
            sequences,
            &mut known.units,
        ));
    }
    requests
}

/// Reads requests from another file, which holds at least one.
pub(super) fn read_more(root: &Table<'_>, known: &mut Known<'_>) -> Vec<Request> {
    if root.tables("request").is_empty() {
        let why = "there is no request in it";
        root.site.fault(&root.what, why);
    }
    read(root, known)
}

fn request(
    table: &Table<'_>,
    id: Option<&str>,
    zone: &Zone,
    sequences: Option<&(Vec<Sequence>, Names)>,
    known: &mut Units,
) -> Option<Request> {
    table.only(&FIELDS);
    let text = |key| table.need(key).and_then(|value| value.name());
    let (product, build) = (text("product"), text("build"));
    let sequence = table
        .need("sequence")
        .and_then(|value| value.reference("sequence", sequences.map(|(_, names)| names)));
    let units = units(table, id, &mut known.names);
    if let (Some(units), Some((sequences, _))) = (&units, sequences) {
        shares(table, units.len(), sequence.as_deref(), sequences);
    }
    known.in_doubt |= units.is_none();
    let ready = table
        .need("ready")
        .and_then(|value| value.instant(Some(zone)));
    let due_value = table.get("due");
    let due = due_value.as_ref().map(|value| value.instant(Some(zone)));
    if let (Some(value), Some(Some(due)), Some(ready)) = (&due_value, due, ready)
        && due <= ready
    {
        value.site.warn(&value.what, "it is due before it is ready");
    }
    let priority = table
        .get("priority")
        .map_or(Some(5), |value| value.whole(1..=9));
    let keep_together = table
        .get("keep_together")
        .map_or(Some(false), |value| value.truth());
    let on_failure = table
        .get("on_failure")
        .map_or(Some("stop"), |value| value.word(&["stop", "continue"]));
    let show = table
        .get("show")
        .map_or(Some(None), |value| super::show::read(&value).map(Some));
    Some(Request {
        id: RequestId::new(id?),
        product: product?,
        build: build?,
        sequence: SequenceId::new(&sequence?),
        units: units?,
        ready: ready?,
        due: due.map_or(Some(None), |due| due.map(Some))?,
        priority: u8::try_from(priority?).ok()?,
        keep_together: keep_together?,
        on_failure: if on_failure? == "stop" {
            OnFailure::Stop
        } else {
            OnFailure::Continue
        },
        show: show?,
    })
}

/// Warns where the units do not come to whole groups of those that share a count.
fn shares(table: &Table<'_>, units: usize, sequence: Option<&str>, sequences: &[Sequence]) {
    let own = sequences
        .iter()
        .find(|own| sequence == Some(own.id.as_str()));
    let steps = own.map_or(&[][..], |own| &own.steps);
    let uneven = |shared: &Shared| !units.is_multiple_of(shared.by as usize);
    let shared = steps.iter().filter_map(|step| step.shared);
    for shared in shared.filter(uneven) {
        let why = format!(
            "its sequence shares {} cycles over {} units each time, and it has {units}",
            shared.cycles, shared.by
        );
        table.site.warn(&table.what, &why);
    }
}

/// The serials: exactly one of `units` and `serials` says which.
fn units(table: &Table<'_>, id: Option<&str>, taken: &mut Names) -> Option<Vec<UnitId>> {
    match (table.get("units"), table.get("serials")) {
        (Some(count), None) => numbered(&count, id, taken),
        (None, Some(serials)) => named(&serials, taken),
        (Some(_), Some(both)) => {
            both.fault("only one of `units` and `serials` may stand here");
            None
        }
        (None, None) => {
            table
                .site
                .fault(&table.what, "one of `units` and `serials` is needed");
            None
        }
    }
}

/// Units `R-1/1`, `R-1/2`, … of request `R-1`.
fn numbered(count: &Value<'_>, id: Option<&str>, taken: &mut Names) -> Option<Vec<UnitId>> {
    let number = count.whole(1..=MOST_UNITS)?;
    let id = id?;
    let longest = format!("{id}/{number}");
    if let Some(why) = id_fault(&longest) {
        count.fault(&format!("unit {longest}: {why}"));
        return None;
    }
    let names: Vec<String> = (1..=number).map(|unit| format!("{id}/{unit}")).collect();
    let fresh = taken.add_all("unit", &names, count.site);
    fresh.then(|| names.iter().map(|name| UnitId::new(name)).collect())
}

fn named(serials: &Value<'_>, taken: &mut Names) -> Option<Vec<UnitId>> {
    let values = serials.list()?;
    if values.is_empty() {
        serials.fault("a request has at least one unit");
        return None;
    }
    let fresh = |value: &Value<'_>| {
        let name = value.id()?;
        let new = taken.add("unit", &name, value.site);
        new.then(|| UnitId::new(&name))
    };
    let units: Vec<Option<UnitId>> = values.iter().map(fresh).collect();
    units.into_iter().collect()
}

/// What pins may refer to; `None` where the file that says so cannot be read.
pub(super) struct Pinnable<'a> {
    pub(super) zone: &'a Zone,
    pub(super) rigs: Option<&'a Names>,
    pub(super) units: Option<&'a Units>,
    /// Everything read so far, for the number of steps.
    pub(super) lab: Option<&'a Lab>,
}

impl Pinnable<'_> {
    fn unit(&self, value: &Value<'_>) -> Option<String> {
        match self.units {
            Some(units) if !units.in_doubt => value.reference("unit", Some(&units.names)),
            _ => value.reference("unit", None),
        }
    }

    /// How many steps each unit walks, where nothing about them has a fault.
    fn step_counts(&self) -> BTreeMap<&str, usize> {
        let requests = self.lab.map_or(&[][..], |lab| &lab.requests);
        let mut counts = BTreeMap::new();
        for request in requests {
            if let Some(steps) = self.lab.and_then(|lab| step_count(lab, request)) {
                counts.extend(request.units.iter().map(|unit| (unit.as_str(), steps)));
            }
        }
        counts
    }
}

/// Reads pins.
pub(super) fn pins(root: &Table<'_>, to: &Pinnable<'_>) -> Vec<Pin> {
    root.only(&["pin"]);
    let step_counts = to.step_counts();
    let mut seen = BTreeSet::new();
    let mut pins = Vec::new();
    for table in root.tables("pin") {
        if let Some(pin) = pin(&table, to, &step_counts) {
            if seen.insert((pin.unit.clone(), pin.step)) {
                pins.push(pin);
            } else {
                let why = format!("step {} of {} is pinned twice", pin.step, pin.unit);
                table.site.fault("pin", &why);
            }
        }
    }
    pins
}

fn pin(table: &Table<'_>, to: &Pinnable<'_>, step_counts: &BTreeMap<&str, usize>) -> Option<Pin> {
    table.only(&["unit", "step", "rig", "start"]);
    let unit = table.need("unit").and_then(|value| to.unit(&value));
    let rig = table
        .need("rig")
        .and_then(|value| value.reference("rig", to.rigs));
    let start = table
        .need("start")
        .and_then(|value| value.instant(Some(to.zone)));
    let steps = unit.as_deref().and_then(|unit| step_counts.get(unit));
    let most = steps.map_or(MOST_STEPS, |steps| *steps as u64);
    let step = table
        .need("step")
        .and_then(|value| value.whole(1..=most.cast_signed()));
    Some(Pin {
        unit: UnitId::new(&unit?),
        step: u32::try_from(step?).ok()?,
        rig: RigId::new(&rig?),
        start: start?,
    })
}

/// How many steps a unit of the request walks; `None` where its sequence has a fault.
fn step_count(lab: &Lab, request: &Request) -> Option<usize> {
    let sequence = lab
        .sequences
        .iter()
        .find(|sequence| sequence.id == request.sequence)?;
    let known = |id| lab.methods.contains_key(id);
    let whole = sequence.steps.iter().all(|step| {
        known(&step.method) && step.every.as_ref().is_none_or(|every| known(&every.check))
    });
    (whole && !sequence.steps.is_empty()).then(|| walk(lab, sequence).len())
}
