//! `methods.toml`: a lab's own methods, and the built-in catalogue.

use super::lab_file::{lines, temperature};
use super::names::Names;
use super::value::{Table, Value};
use crate::domain::lab::{Length, Method, Segment, Watch};
use crate::domain::{CrewId, MethodId, Minutes};
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
pub(super) fn read(root: &Table<'_>, crews: Option<&Names>) -> Methods {
    root.only(&["method"]);
    let mut methods = Methods::default();
    for mut table in root.tables("method") {
        let id = table.identify("method", &mut methods.names);
        let method = method(&table, id.as_deref().unwrap_or_default(), crews);
        if let (Some(id), Some(method)) = (id, method) {
            methods.good.insert(MethodId::new(&id), method);
        }
    }
    methods
}

fn method(table: &Table<'_>, id: &str, crews: Option<&Names>) -> Option<Method> {
    table.only(&[
        "id", "name", "does", "crew", "watch", "pausable", "verdict", "max_wait", "severity",
        "source", "caution", "cycles", "hold", "profile", "repeat",
    ]);
    table.get("name").and_then(|value| value.name());
    let flag = |key| table.get(key).map_or(Some(false), |value| value.truth());
    let does = table.need("does").and_then(|value| value.id());
    let crew = table
        .get("crew")
        .map(|value| value.reference("crew", crews));
    let watch = table
        .get("watch")
        .map_or(Some("none"), |value| value.word(&["none", "site", "full"]));
    let (pausable, verdict) = (flag("pausable"), flag("verdict"));
    let max_wait = table.get("max_wait").map(|value| value.duration());
    let severity = table
        .get("severity")
        .map_or(Some(BTreeMap::new()), |value| severity(&value));
    let source = table
        .get("source")
        .map_or(Some(String::new()), |value| value.name());
    let cautions = table
        .get("caution")
        .map(|value| lines(&value))
        .unwrap_or_default();
    let length = length(table);
    Some(Method {
        id: MethodId::new(id),
        does: does?,
        crew: crew.map_or(Some(None), |crew| crew.map(|id| Some(CrewId::new(&id))))?,
        watch: match watch? {
            "full" => Watch::Full,
            "site" => Watch::Site,
            _ => Watch::None,
        },
        pausable: pausable?,
        verdict: verdict?,
        max_wait: max_wait.map_or(Some(None), |wait| wait.map(Some))?,
        severity: severity?,
        length: length?,
        source: source?,
        cautions,
    })
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
    table.only(&["to_c", "to_rh", "rate_k_per_min", "hold"]);
    let to_c = table.get("to_c").map(|value| temperature(&value));
    let to_rh = table.get("to_rh").map(|value| humidity(&value));
    let rate = table.get("rate_k_per_min").map(|value| value.rate());
    let hold = table
        .get("hold")
        .map_or(Some(Minutes::ZERO), |value| value.duration());
    Some(Segment {
        to_c: to_c.map_or(Some(None), |value| value.map(Some))?,
        to_rh: to_rh.map_or(Some(None), |value| value.map(Some))?,
        rate_k_per_min: rate.map_or(Some(None), |value| value.map(Some))?,
        hold: hold?,
    })
}

fn humidity(value: &Value<'_>) -> Option<f64> {
    let percent = value.number()?;
    if (0.0..=100.0).contains(&percent) {
        return Some(percent);
    }
    value.fault("0 to 100 % is allowed");
    None
}
