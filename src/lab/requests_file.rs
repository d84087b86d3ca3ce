//! `requests.toml` and `pins.toml`: units that walk a sequence, and bookings that are fixed.

use super::lab_file::Names;
use super::value::{Site, Table, Value};
use crate::domain::lab::{Lab, OnFailure, Pin, Request, Sequence};
use crate::domain::steps::walk;
use crate::domain::{RequestId, RigId, SequenceId, UnitId, Zone};
use std::collections::{BTreeMap, BTreeSet};

/// Most units of one request.
const MOST_UNITS: i64 = 100_000;

/// Reads requests; those with a fault are left out.
pub(super) fn read(
    root: &Table<'_>,
    zone: Option<&Zone>,
    sequences: Option<&[Sequence]>,
) -> Vec<Request> {
    root.only(&["request"]);
    let utc = Zone::utc();
    let zone = zone.unwrap_or(&utc);
    let (mut names, mut units) = (Names::default(), Names::default());
    let mut requests = Vec::new();
    for mut table in root.tables("request") {
        let id = table.identify("request");
        let request = request(&table, id.as_ref(), zone, sequences, &mut units);
        if let Some((id, site)) = id
            && names.add("request", &id, site)
        {
            requests.extend(request);
        }
    }
    requests
}

fn request(
    table: &Table<'_>,
    id: Option<&(String, Site<'_>)>,
    zone: &Zone,
    sequences: Option<&[Sequence]>,
    taken: &mut Names,
) -> Option<Request> {
    table.only(&[
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
    ]);
    let text = |key| table.need(key).and_then(|value| value.name());
    let (product, build) = (text("product"), text("build"));
    let sequence = table.need("sequence").and_then(|value| match sequences {
        Some(known) => value.reference(
            "sequence",
            known.iter().map(|sequence| sequence.id.as_str()),
        ),
        None => value.id(),
    });
    let units = units(table, id, taken);
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
    Some(Request {
        id: RequestId::new(&id?.0),
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
    })
}

/// The serials: exactly one of `units` and `serials` says which.
fn units(
    table: &Table<'_>,
    id: Option<&(String, Site<'_>)>,
    taken: &mut Names,
) -> Option<Vec<UnitId>> {
    match (table.get("units"), table.get("serials")) {
        (Some(count), None) => {
            let number = count.whole(1..=MOST_UNITS)?;
            let (id, _) = id?;
            let names = (1..=number).map(|unit| format!("{id}/{unit}"));
            let fresh: Vec<String> = names
                .filter(|name| taken.add("unit", name, count.site))
                .collect();
            Some(fresh.iter().map(|name| UnitId::new(name)).collect())
        }
        (None, Some(serials)) => {
            let values = serials.list()?;
            if values.is_empty() {
                serials.fault("a request has at least one unit");
                return None;
            }
            let names: Option<Vec<String>> = values.iter().map(Value::id).collect();
            let names = names?;
            let fresh = names
                .iter()
                .zip(&values)
                .map(|(n, value)| taken.add("unit", n, value.site));
            let all_fresh = fresh.fold(true, |all, fresh| all & fresh);
            all_fresh.then(|| names.iter().map(|name| UnitId::new(name)).collect())
        }
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

/// Reads pins of a lab that is read otherwise.
pub(super) fn pins(root: &Table<'_>, lab: &Lab) -> Vec<Pin> {
    root.only(&["pin"]);
    let requests_of_units: BTreeMap<&str, &Request> = lab
        .requests
        .iter()
        .flat_map(|request| {
            request
                .units
                .iter()
                .map(move |unit| (unit.as_str(), request))
        })
        .collect();
    let mut seen = BTreeSet::new();
    let mut pins = Vec::new();
    for table in root.tables("pin") {
        if let Some(pin) = pin(&table, lab, &requests_of_units) {
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

fn pin(table: &Table<'_>, lab: &Lab, requests: &BTreeMap<&str, &Request>) -> Option<Pin> {
    table.only(&["unit", "step", "rig", "start"]);
    let unit = table
        .need("unit")
        .and_then(|value| value.reference("unit", requests.keys().copied()));
    let rigs = lab.rigs.iter().map(|rig| rig.id.as_str());
    let rig = table
        .need("rig")
        .and_then(|value| value.reference("rig", rigs));
    let start = table
        .need("start")
        .and_then(|value| value.instant(Some(&lab.zone)));
    let steps = unit
        .as_deref()
        .and_then(|unit| step_count(lab, requests.get(unit)?));
    let step = table.need("step").and_then(|value| {
        let most = steps
            .and_then(|steps| i64::try_from(steps).ok())
            .unwrap_or(1_000_000);
        value.whole(1..=most)
    });
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
