//! `methods.toml`: a lab's own methods, and the built-in catalogue.

use super::lab_file::{lines, settle, temperature};
use super::names::Names;
use super::sense;
use super::standards_file::Standards;
use super::value::{Faulty, Table, Value};
use crate::domain::lab::{CountsFrom, Length, Method, Pace, Segment, Share, Watch};
use crate::domain::steps::own_amount;
use crate::domain::{CrewId, MethodId, Minutes, StandardId};
use std::collections::BTreeMap;

/// Largest count of cycles.
pub(super) const MOST_CYCLES: i64 = 10_000_000_000;
/// Largest count of repeats of a profile.
pub(super) const MOST_REPEATS: i64 = 1_000_000;

/// Methods without a fault, and the names of all.
#[derive(Default)]
pub(super) struct Methods {
    pub(super) good: BTreeMap<MethodId, Method>,
    pub(super) names: Names,
}

impl Methods {
    /// The built-in ones added; an entry of the lab's own replaces the whole of one, faulty or not.
    pub(super) fn with(mut self, built_in: BTreeMap<MethodId, Method>) -> Self {
        for (id, method) in built_in {
            if !self.names.has(id.as_str()) {
                self.names.note(id.as_str());
                self.good.insert(id, method);
            }
        }
        self
    }
}

/// Reads methods. `crews` is `None` where the crews are not known.
pub(super) fn read(root: &Table<'_>, crews: Option<&Names>, standards: &Standards) -> Methods {
    let mut methods = Methods::default();
    for mut table in root.tables("method") {
        let id = table.identify("method", &mut methods.names);
        let method = method(&table, id.as_deref().unwrap_or_default(), crews, standards);
        if let (Some(id), Ok(method)) = (id, method) {
            let standard = method.standard.as_ref();
            if let Some(standard) = standard.and_then(|id| standards.good.get(id)) {
                let asked = sense::Asked::of(&method, own_amount(&method.length), &method.severity);
                sense::severity(table.site, &table.what, &asked, standard);
            }
            methods.good.insert(MethodId::new(&id), method);
        }
    }
    methods
}

const KNOWN: [&str; 22] = [
    "id",
    "name",
    "does",
    "crew",
    "watch",
    "pausable",
    "verdict",
    "max_wait",
    "severity",
    "source",
    "caution",
    "cycles",
    "hold",
    "profile",
    "repeat",
    "before",
    "shape",
    "counts_from",
    "settle",
    "time_constant",
    "share",
    "standard",
];

fn method(
    table: &Table<'_>,
    id: &str,
    crews: Option<&Names>,
    standards: &Standards,
) -> Result<Method, Faulty> {
    table.only(&KNOWN);
    table.get("name").and_then(|value| value.name());
    let does = table.need("does").and_then(|value| value.id());
    let crew = table.maybe("crew", |value| value.reference("crew", crews));
    let watch = table.maybe("watch", |value| value.word(&["none", "site", "full"]));
    let pausable = table.maybe("pausable", Value::truth);
    let verdict = table.maybe("verdict", Value::truth);
    let max_wait = table.maybe("max_wait", Value::duration);
    let severity = table.maybe("severity", severity);
    let source = table.maybe("source", Value::name);
    let standard = table.maybe("standard", |value| {
        value.reference("standard", Some(&standards.names))
    });
    let length = length(table);
    let (before, shape) = (before(table), shape(table));
    let (counts_from, settle, share) = (counts_from(table), settle(table), share(table));
    let own_cautions = table.get("caution").map(|value| lines(&value));
    let standard = standard?.map(|id| StandardId::new(&id));
    Ok(Method {
        id: MethodId::new(id),
        does: does.ok_or(Faulty)?,
        crew: crew?.map(|id| CrewId::new(&id)),
        watch: match watch? {
            Some("full") => Watch::Full,
            Some("site") => Watch::Site,
            _ => Watch::None,
        },
        pausable: pausable?.unwrap_or(false),
        verdict: verdict?.unwrap_or(false),
        max_wait: max_wait?,
        severity: severity?.unwrap_or_default(),
        length: length.ok_or(Faulty)?,
        before: before?.unwrap_or_default(),
        shape: shape?.unwrap_or_default(),
        counts_from: counts_from?,
        settle: settle?,
        share: share?,
        source: source?.unwrap_or_default(),
        cautions: cautions(
            own_cautions.unwrap_or_default(),
            standard.as_ref(),
            standards,
        ),
        standard,
    })
}

/// The method's own cautions, then those of its standard that are not among them.
fn cautions(
    mut own: Vec<String>,
    standard: Option<&StandardId>,
    standards: &Standards,
) -> Vec<String> {
    let standard = standard.and_then(|id| standards.good.get(id));
    for caution in standard.iter().flat_map(|standard| &standard.cautions) {
        if !own.contains(caution) {
            own.push(caution.clone());
        }
    }
    own
}

/// Severity values by name.
pub(super) fn severity(value: &Value<'_>) -> Option<BTreeMap<String, f64>> {
    let mut values = BTreeMap::new();
    let mut good = true;
    for (name, value) in value.inner_table()?.entries() {
        match value.number() {
            Some(number) => {
                values.insert(name, number);
            }
            None => good = false,
        }
    }
    good.then_some(values)
}

/// Exactly one of `cycles`, `hold` and `profile`, the last perhaps with a `repeat`.
fn length(table: &Table<'_>) -> Option<Length> {
    let given: Vec<&str> = ["cycles", "hold", "profile"]
        .into_iter()
        .filter(|key| table.has(key))
        .collect();
    let repeat = table.get("repeat");
    if let Some(repeat) = repeat.as_ref().filter(|_| !given.contains(&"profile")) {
        repeat.fault("`repeat` goes with a `profile` only");
    }
    let [key] = given[..] else {
        let why = match given.len() {
            0 => "one of `cycles`, `hold` and `profile` is needed".to_owned(),
            _ => format!("only one of {} may stand here", given.join(", ")),
        };
        table.site.fault(&table.what, &why);
        return None;
    };
    let value = table.get(key)?;
    match key {
        "cycles" => Some(Length::Cycles(value.whole(1..=MOST_CYCLES)?.unsigned_abs())),
        "hold" => Some(Length::Hold(value.length()?)),
        _ => {
            let repeat = repeat.map_or(Some(1), |value| value.whole(1..=MOST_REPEATS));
            let segments = segments(&value)?;
            Some(Length::Profile {
                segments,
                repeat: u32::try_from(repeat?).ok()?,
            })
        }
    }
}

/// A field that goes with a `profile`, or with a `hold`, only.
fn goes_with(table: &Table<'_>, key: &str, length: &str) -> Result<(), Faulty> {
    match table.get(key) {
        Some(value) if !table.has(length) => {
            value.fault(&format!("`{key}` goes with a `{length}` only"));
            Err(Faulty)
        }
        _ => Ok(()),
    }
}

fn before(table: &Table<'_>) -> Result<Option<Vec<Segment>>, Faulty> {
    goes_with(table, "before", "profile")?;
    table.maybe("before", segments)
}

/// What the rig does during a hold: it keeps its own times, so each change says how long it takes.
fn shape(table: &Table<'_>) -> Result<Option<Vec<Segment>>, Faulty> {
    goes_with(table, "shape", "hold")?;
    let Some(shape) = table.maybe("shape", segments)? else {
        return Ok(None);
    };
    let fault = |why| {
        if let Some(value) = table.get("shape") {
            value.fault(why);
        }
        Err(Faulty)
    };
    let own_time = |segment: &Segment| matches!(segment.pace, Pace::Own | Pace::Over(_));
    if !shape.iter().all(own_time) {
        return fault("a change in a shape takes the time that `over` says");
    }
    let takes_time =
        |segment: &Segment| segment.hold > Minutes::ZERO || matches!(segment.pace, Pace::Over(_));
    let goes_somewhere = shape.iter().any(|segment| segment.to_c.is_some());
    if !goes_somewhere || !shape.iter().any(takes_time) {
        return fault("a shape has a temperature, and takes some time");
    }
    Ok(Some(shape))
}

fn counts_from(table: &Table<'_>) -> Result<CountsFrom, Faulty> {
    let word = table.maybe("counts_from", |value| value.word(&["set-point", "stable"]))?;
    if word != Some("stable") {
        return Ok(CountsFrom::SetPoint);
    }
    goes_with(table, "counts_from", "profile")?;
    Ok(CountsFrom::Stable)
}

fn share(table: &Table<'_>) -> Result<Share, Faulty> {
    let word = table.maybe("share", |value| value.word(&["any", "product", "request"]))?;
    Ok(match word {
        Some("product") => Share::Product,
        Some("request") => Share::Request,
        _ => Share::Any,
    })
}

fn segments(value: &Value<'_>) -> Option<Vec<Segment>> {
    let values = value.list()?;
    if values.is_empty() {
        value.fault("a profile has at least one segment");
        return None;
    }
    let segments: Vec<Option<Segment>> = values.iter().map(segment).collect();
    segments.into_iter().collect()
}

fn segment(value: &Value<'_>) -> Option<Segment> {
    let table = value.inner_table()?;
    table.only(&[
        "to_c",
        "to_rh",
        "rate_k_per_min",
        "over",
        "transfer_s",
        "hold",
    ]);
    let to_c = table.maybe("to_c", temperature);
    let to_rh = table.maybe("to_rh", humidity);
    let pace = pace(&table);
    let hold = table.maybe("hold", Value::duration);
    Some(Segment {
        to_c: to_c.ok()?,
        to_rh: to_rh.ok()?,
        pace: pace.ok()?,
        hold: hold.ok()?.unwrap_or(Minutes::ZERO),
    })
}

/// At most one of `rate_k_per_min`, `over` and `transfer_s`; the latter two need somewhere to go.
fn pace(table: &Table<'_>) -> Result<Pace, Faulty> {
    let rate = table.maybe("rate_k_per_min", Value::rate);
    let over = table.maybe("over", Value::length);
    let transfer = table.maybe("transfer_s", Value::rate);
    let fault = |key: &str, why: &str| {
        if let Some(value) = table.get(key) {
            value.fault(why);
        }
        Err(Faulty)
    };
    for key in ["over", "transfer_s"] {
        if table.has(key) && !table.has("to_c") {
            return fault(key, &format!("`{key}` needs a `to_c` to go to"));
        }
    }
    match (rate?, over?, transfer?) {
        (None, None, None) => Ok(Pace::Own),
        (Some(rate), None, None) => Ok(Pace::Rate(rate)),
        (None, Some(time), None) => Ok(Pace::Over(time)),
        (None, None, Some(seconds_max)) => Ok(Pace::Transfer { seconds_max }),
        (_, Some(_), _) => fault("over", "only one pace may stand here"),
        (_, _, Some(_)) => fault("transfer_s", "only one pace may stand here"),
    }
}

fn humidity(value: &Value<'_>) -> Option<f64> {
    let percent = value.number()?;
    if (0.0..=100.0).contains(&percent) {
        return Some(percent);
    }
    value.fault("0 to 100 % is allowed");
    None
}
